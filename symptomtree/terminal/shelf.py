"""The cases that were begun, newest first; one is taken up again, or a new one begun."""

from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from symptomtree.cases.files import BadCase, read_case
from symptomtree.plain.keeper import cases_folder
from symptomtree.terminal.parts import Base, KeyLine, StopLine, key, still_there, text

MOST = 200


def kept_cases() -> list[Path]:
    """Return the case files in the user's data folder, newest first."""
    folder = cases_folder()
    files = [p for p in folder.glob("*.yaml") if p.is_file()] if folder.is_dir() else []
    return sorted(files, key=lambda p: p.stat().st_mtime, reverse=True)[:MOST]


def title_of(path: Path) -> str:
    """Return a case file's title without reading it all."""
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            lines = [next(file, "") for _ in range(4)]
    except OSError as error:
        return str(error.strerror)
    found = next((line for line in lines if line.startswith("title:")), "title: ?")
    return found.removeprefix("title:").strip().strip("'\"")


class CasesScreen(Base):
    """Lists the cases."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("new"),
        key("back", "app.pop_screen"),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = "CasesScreen #head { padding: 0 1; text-style: bold; } CasesScreen OptionList { height: 1fr; }"

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Static("Cases: Enter goes on with one, + begins a new one.", id="head", markup=False)
        yield OptionList()
        yield KeyLine()

    def on_mount(self) -> None:
        self._files = kept_cases()
        box = self.query_one(OptionList)
        box.add_options(Option(text(f"{p.stem}  {title_of(p)}")) for p in self._files)
        if not self._files:
            box.add_option(Option("No case was begun yet.", disabled=True))
        box.highlighted = 0 if self._files else None
        box.focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        if not still_there(event):
            return
        path = self._files[event.option_index]
        try:
            case = read_case(path, self.ours.kb)
        except BadCase as error:
            self.ours.show_text("This case cannot be opened", str(error))
            return
        self.ours.take(case, path)

    def action_new(self) -> None:
        self.ours.new_case()
