"""The knowledge to read, for whoever extends it: search, read, follow what hangs together, and read the files again."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from symptomtree.kb.compile import KnowledgeBase, compile_entries
from symptomtree.kb.load import Draft, Unreadable, read, read_bytes
from symptomtree.kb.nodes import MAX_BYTES, Place, Problem
from symptomtree.kb.nodes import Path as Keys
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vet import vet
from symptomtree.plain.text import clean
from symptomtree.reasoning.graph import causal_graph
from symptomtree.reasoning.profiles import BadProfile
from symptomtree.terminal.entry import described, entry_at, excerpt, links, path_of
from symptomtree.terminal.finder import Finder
from symptomtree.terminal.parts import Base, KeyLine, StopLine, key, still_there, text
from symptomtree.terminal.shelf import kept_cases
from symptomtree.terminal.uses import Cases, read_cases, uses

PAUSE = 0.12
"""Seconds without a key after which words are looked up."""


@dataclass
class Page:
    """What is read: an entry, or a message of the vetting and the entry that it is about.

    Attributes:
        name: id of the entry; empty when a message is about none that is in use.
        problem: the message.
        at: the link that was followed last, to come back to it.
    """

    name: str
    problem: Problem | None = None
    at: int = 0


class BrowserScreen(Base):
    """Shows the knowledge in use. What it reads again it hands to the application, which takes it or not."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("search"),
        key("reload"),
        key("copy"),
        key("back"),
        key("stops", "app.stops", show=False),
        key("theme", "app.next_look", show=False),
        key("quit", "app.leave"),
        Binding("down", "to_list", show=False),
        Binding("j", "move(1)", show=False),
        Binding("k", "move(-1)", show=False),
        Binding("pagedown", "read(1)", show=False, priority=True),
        Binding("pageup", "read(-1)", show=False, priority=True),
    ]
    DEFAULT_CSS = """
    BrowserScreen Input, BrowserScreen Input:focus { margin: 0 1; border: none; height: 1; background: $panel; }
    BrowserScreen #said { padding: 0 1; color: $text-muted; max-height: 4; }
    BrowserScreen Horizontal { height: 1fr; }
    BrowserScreen OptionList { border: none; padding: 0 1; background: $background; }
    BrowserScreen #found { width: 1fr; height: 1fr; }
    BrowserScreen #page { width: 1fr; display: none; }
    BrowserScreen #title { text-style: bold; color: $primary; padding: 0 1; }
    BrowserScreen #read { height: 1fr; padding: 0 1; scrollbar-size-vertical: 1; }
    BrowserScreen #links { height: auto; max-height: 40%; border-top: solid $primary; }
    BrowserScreen #where { padding: 0 1; background: $panel; max-height: 3; }
    BrowserScreen.-reading #page { display: block; }
    BrowserScreen.-reading #found { display: none; }
    BrowserScreen.-wide #found { display: block; }
    BrowserScreen.-wide #page { display: block; width: 2fr; border-left: solid $primary; }
    """

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Input(placeholder="search: an id, a name, or what riders say", max_length=200, id="words")
        yield Static(id="said", markup=False)
        with Horizontal():
            yield OptionList(id="found")
            with Vertical(id="page"):
                yield Static(id="title", markup=False)
                with VerticalScroll(id="read"):
                    yield Static(id="entry", markup=False)
                yield OptionList(id="links")
        yield Static(id="where", markup=False)
        yield KeyLine()

    def on_mount(self) -> None:
        self._trail: list[Page] = []
        self._links: list[tuple[str, str]] = []
        self._listed: Sequence[str | Problem] = ()
        self._places: dict[Keys, Place] = {}
        self._cases = Cases({}, {}, 0)
        self._timer = self.set_timer(0, lambda: None)
        self._open(self.ours.kb)
        self._look_up()
        self._read_beside()

    def _open(self, kb: KnowledgeBase) -> None:
        self._kb = kb
        self._graph = causal_graph(kb)
        self._finder = Finder(kb, self._graph)

    # Searching

    @on(Input.Changed, "#words")
    def _typed(self) -> None:
        self._timer.stop()
        self._timer = self.set_timer(PAUSE, self._look_up)

    @on(Input.Submitted, "#words")
    def _entered(self) -> None:
        self._look_up()
        self._to_list()

    def _look_up(self) -> None:
        """List what the words find; with no words, the parts of the bike to begin at."""
        self._timer.stop()
        said = clean(self.query_one("#words", Input).value)
        found = self._finder.search(said) if said else list(self._kb.entries.parts)
        count = (
            f"{len(found)} found, what fits best first." if found else "Nothing is called so. Say it in other words."
        )
        self._list(found, count if said else "Type to search, or begin at a part of the bike.")

    def _list(self, items: Sequence[str | Problem], said: str) -> None:
        """Show a list to choose from; whatever was read before is closed."""
        self._listed = items
        box = self.query_one("#found", OptionList)
        box.clear_options()
        box.add_options(Option(text(str(x) if isinstance(x, Problem) else self._finder.line(x))) for x in items)
        if items:
            box.highlighted = 0
        self._say(said)
        self._trail.clear()
        self._show()

    def _say(self, said: str) -> None:
        if not self.is_open:  # it was left while the files were read
            return
        self.query_one("#said", Static).update(text(said))

    @on(OptionList.OptionSelected, "#found")
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        if not still_there(event):
            return
        chosen = self._listed[event.option_index]
        if isinstance(chosen, Problem):
            about = entry_at(self._places, chosen.place)
            self._trail = [Page(about if about and about in self._graph else "", chosen)]
        else:
            self._trail = [Page(chosen)]
        self._show()

    # Reading

    @on(OptionList.OptionSelected, "#links")
    def _follow(self, event: OptionList.OptionSelected) -> None:
        if not still_there(event):
            return
        self._trail[-1].at = event.option_index
        self._trail.append(Page(self._links[event.option_index][0]))
        self._show()

    def _show(self) -> None:
        """Show the page at the end of the trail, or the list when there is none."""
        self.set_class(bool(self._trail), "-reading")
        page = self._trail[-1] if self._trail else Page("")
        self._links = links(self._graph, page.name) if page.name else []
        self.query_one("#title", Static).update(text(self._title(page)))
        self.query_one("#entry", Static).update(text(*self._body(page)))
        self.query_one("#where", Static).update(text(self._where(page)))
        self.query_one("#where").display = bool(self._trail)
        self.query_one("#read").scroll_home(animate=False)
        box = self.query_one("#links", OptionList)
        box.clear_options()
        box.add_options(Option(text(line)) for _, line in self._links)
        box.display = bool(self._links)
        if self._links:
            box.highlighted = min(page.at, len(self._links) - 1)
        if self._trail:
            (box if self._links else self.query_one("#read")).focus()  # not the search: letters are keys here

    def _title(self, page: Page) -> str:
        if page.problem:
            return f"{page.problem.code}: {page.problem.text}"
        return str(self._graph.nodes[page.name]["name"]) if page.name else ""

    def _body(self, page: Page) -> list[str]:
        lines = []
        if page.problem:
            at = page.problem.place
            lines = [f"In {at.source}, line {at.line}, column {at.column}:", *excerpt(_content(at.source), at), ""]
            lines.append("Still in use:" if page.name else "Nothing of this is in use.")
        if page.name:
            lines += [*described(self._kb, self._graph, page.name), *uses(self._kb, page.name, self._cases)]
        return lines

    def _where(self, page: Page) -> str:
        """Return where a page stands: path:line:column."""
        if page.problem:
            return str(page.problem.place)
        if not page.name or not self._places:
            return "Finding out where it stands ..."
        place = self._places.get(path_of(self._kb, self._graph, page.name))
        return str(place) if place else "It is in use, but not in the files any more."

    # The files

    @property
    def _folder(self) -> Path:
        return self.ours._folder or shipped("knowledge")

    @work(exclusive=True)
    async def _read_beside(self) -> None:
        """Read the cases, and where everything stands, while the person reads."""
        walkthroughs = sorted(shipped("walkthroughs").glob("*.yaml"))
        self._cases = await asyncio.to_thread(read_cases, walkthroughs, kept_cases())
        try:
            draft = await asyncio.to_thread(lambda: read(read_bytes(self._folder), self._folder))
        except Unreadable as error:
            self._say(str(error))
            return
        self._places = draft.places
        if draft.digest != self._kb.digest:
            self._say("The files have changed since they were read: read them again.")
        self._refresh()

    def _refresh(self) -> None:
        """Show what became known about the page that is open; the reader stays where he is."""
        if self._trail and self.is_open:
            page = self._trail[-1]
            self.query_one("#entry", Static).update(text(*self._body(page)))
            self.query_one("#where", Static).update(text(self._where(page)))

    @work(exclusive=True)
    async def action_reload(self) -> None:
        """Read the files again: what is in order is taken into use, what is not is told."""
        self._say("Reading the files again ...")
        try:
            draft, problems, kb = await asyncio.to_thread(_read_again, self._folder)
        except Unreadable as error:
            self._say(f"{error}. What was read before stays in use.")
            return
        if not self.is_open:
            return
        if kb is None:
            self._places |= draft.places  # of what cannot be read any more, the place where it stood
            few = "1 message" if len(problems) == 1 else f"{len(problems)} messages"
            self._list(problems, f"{few}. What was read before stays in use. Choose one to see what it is about.")
            self._to_list()
            return
        self._places = draft.places
        self._take(kb)

    def _take(self, kb: KnowledgeBase) -> None:
        changed = kb.digest != self._kb.digest
        if not kb.cause_ids or not kb.entries.symptoms:
            self._say("The files hold no causes or no symptoms any more. What was read before stays in use.")
            return
        if changed:
            try:
                self.ours.take_knowledge(kb)
            except BadProfile as error:
                self._say(f"The knowledge is in order, but not for your profile: {error}. The old one stays in use.")
                return
            self._open(kb)
        trail = [Page(p.name, at=p.at) for p in self._trail if p.name in self._graph]
        self._look_up()
        self._trail = trail
        self._show()
        self._say(f"Read again: no messages. {'It is in use from now on.' if changed else 'Nothing has changed.'}")

    # Moving

    def action_search(self) -> None:
        self.query_one("#words").focus()

    def action_to_list(self) -> None:
        self._to_list()

    def _to_list(self) -> None:
        reading = self._trail and not self.query_one("#found").display
        self.query_one("#found" if not reading else "#links" if self._links else "#read").focus()

    def action_move(self, lines: int) -> None:
        if isinstance(self.focused, OptionList):
            (self.focused.action_cursor_down if lines > 0 else self.focused.action_cursor_up)()

    def action_read(self, pages: int) -> None:
        """Turn the page of what is to be read."""
        read = self.query_one("#read", VerticalScroll)
        read.scroll_relative(y=pages * max(1, read.size.height - 1), animate=False)

    def action_copy(self) -> None:
        """Copy where this stands, so that an editor can open it."""
        if self._trail:
            self.ours.copy_text(self._where(self._trail[-1]))

    def action_back(self) -> None:
        """Go back the way one came, and out at its beginning."""
        if not self._trail:
            self.dismiss(None)
            return
        self._trail.pop()
        self._show()
        if not self._trail:
            self.query_one("#found").focus()


def _read_again(folder: Path) -> tuple[Draft, list[Problem], KnowledgeBase | None]:
    """Return what the files say now, what is wrong with it, and the knowledge when nothing is.

    What makes a file or an entry unreadable comes first: it may be why something else does not fit.
    """
    draft = read(read_bytes(folder), folder)
    problems = sorted(vet(draft), key=lambda p: (p.code[:2], p))
    return draft, problems, None if problems else compile_entries(draft.entries, draft.digest)


def _content(source: str) -> str:
    """Return the text of a file as far as it can be shown."""
    try:
        with open(source, "rb") as file:
            return file.read(MAX_BYTES).decode("utf-8", "replace")
    except OSError:
        return ""
