"""Measuring: a form for each tool, what it comes to while one types, and its picture."""

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from time import monotonic
from typing import ClassVar

from platformdirs import user_data_path
from rich.style import Style
from rich.text import Text
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.suggester import SuggestFromList
from textual.timer import Timer
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from symptomtree.cases.model import HAND_OVER, AnyEvent
from symptomtree.measuring.tool import BadInput, Field, Result, Tool, work
from symptomtree.measuring.tools import FAMILIES, tool_named
from symptomtree.plain.card import Card, card_of
from symptomtree.plain.measure import (
    MOST_CHOICES,
    asked,
    bike_figures,
    events_of,
    filled_in,
    keep_log,
    sentence,
    told,
    tool_of,
)
from symptomtree.reasoning.turn import Turn
from symptomtree.terminal.parts import Base, KeyLine, Line, Sheet, StopLine, clean_line, key, still_there, text

PAUSE = 0.15
"""Seconds without a key after which the form is worked out."""
SIDE_BY_SIDE = 110
"""Columns from which the form and its result stand beside each other."""
LEAST = 40, 10
"""Cells of the smallest picture."""


class Taps(Input):
    """Takes the times at which Space is tapped in it; they can be typed as well."""

    def on_focus(self) -> None:
        self._begun: float | None = None

    def on_key(self, event: events.Key) -> None:
        if event.key == "space":
            event.prevent_default().stop()
            now = monotonic()
            if self._begun is None:
                self._begun, self.value = now, ""
            self.value = f"{self.value} {now - self._begun:.2f}".strip()
            self.cursor_position = len(self.value)


class Fields(VerticalScroll, can_focus=False):
    """The fields of a form; the arrows go from one to the next."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "app.focus_next", show=False),
        Binding("up", "app.focus_previous", show=False),
    ]

    def on_resize(self) -> None:
        """Keep the field that is being filled in on the screen, whatever room the result takes."""
        if isinstance(self.screen.focused, Input):
            self.screen.focused.scroll_visible(animate=False)


class ToolsScreen(Base):
    """The tools, by family."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("back", "app.pop_screen"),
        key("theme", "app.next_look", show=False),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = """
    ToolsScreen #title { text-style: bold; color: $primary; padding: 0 1; }
    ToolsScreen OptionList { height: 1fr; }
    """

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Static("Measure: which tool?", id="title")
        yield OptionList()
        yield KeyLine()

    def on_mount(self) -> None:
        box = self.query_one(OptionList)
        for title, tools in FAMILIES.values():
            box.add_option(Option(text(title, bold=True), disabled=True))
            box.add_options(Option(text(f"  {tool_named(name).title}"), id=name) for name in tools)
        box.highlighted = 1
        box.focus()

    @on(OptionList.OptionSelected)
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        if still_there(event):
            tool = tool_named(str(event.option.id))
            self.app.push_screen(FormScreen(tool, self._asked(tool)))

    def _asked(self, tool: Tool) -> Card | None:
        """Return what the case would still ask that the tool works out, so that it need not be measured again."""
        if not self.ours.has_case:
            return None
        a = self.ours.keeper.assessment
        asks = [s for s in a.steps if s.doing not in ("fix", HAND_OVER)]
        cards = (card_of(a, Turn("step", s.name, s.settles, s)) for s in asks)
        return next((card for card in cards if tool_of(card) is tool), None)


class FormScreen(Base):
    """One tool. What it comes to can be taken as the answer to what is asked on the bench, or written down."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("back", "app.pop_screen"),
        key("copy"),
        key("theme", "app.next_look", show=False),
        key("stops", "app.stops", show=False),
        key("quit", "app.leave"),
    ]
    DEFAULT_CSS = """
    FormScreen #title { text-style: bold; color: $primary; padding: 0 1; }
    FormScreen #both { height: 1fr; }
    FormScreen #form, FormScreen #made { padding: 0 1; scrollbar-size-vertical: 1; }
    FormScreen #form { height: 1fr; }
    FormScreen #made { height: auto; max-height: 45%; border-top: solid $primary; }
    FormScreen .-beside { layout: horizontal; }
    FormScreen .-beside #form { width: 2fr; }
    FormScreen .-beside #made { width: 3fr; height: 1fr; max-height: 100%; border-top: none; }
    FormScreen .-beside #made { border-left: solid $primary; }
    FormScreen #about { color: $text-muted; padding-bottom: 1; }
    FormScreen .row { height: auto; }
    FormScreen .row Static { width: 3fr; padding-right: 1; link-style: bold underline; }
    FormScreen .row Input { width: 2fr; border: none; height: 1; padding: 0 1; background: $panel; }
    FormScreen .row Input:focus { background: $primary 30%; }
    FormScreen #picture { display: none; padding-top: 1; text-wrap: nowrap; }
    FormScreen .-beside #picture { display: block; }
    FormScreen OptionList { height: auto; max-height: 4; border-top: solid $primary; padding: 0; }
    """

    def __init__(self, tool: Tool, card: Card | None = None) -> None:
        """Take what is needed.

        Args:
            tool: which.
            card: what is asked on the bench, if the tool was opened for that.
        """
        super().__init__()
        self.tool, self._asked = tool, card
        self._timer: Timer | None = None
        self._result: Result | None = None
        self._worked: Mapping[str, str] | None = None  # what the result shown, or on its way, is of

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Static(text(self.tool.title), id="title")
        with Vertical(id="both"):
            with Fields(id="form"):
                yield Static(text(*self.tool.cautions, self.tool.about), id="about")
                known = filled_in(self.tool, self._before(), self._asked)
                for f in self.tool.fields:
                    with Horizontal(classes="row"):
                        yield Static(self._label(f))
                        yield self._input(f, known.get(f.name, f.usual))
            with VerticalScroll(id="made", can_focus=False):
                yield Static(id="result", markup=False)
                yield Static(id="picture", markup=False)
        yield OptionList(id="then")
        yield KeyLine()

    def _before(self) -> Sequence[AnyEvent]:
        """Return what may hold figures of the bike: the case, or before there is one the bike that was chosen."""
        if self.ours.has_case:
            return self.ours.keeper.events
        return [bike_figures(self.ours.bike.figures)] if self.ours.bike else []

    def _label(self, f: Field) -> Text:
        """Return a field's question; the names that can be chosen are filled in by a click."""
        if f.kind != "choice":
            return text(asked(replace(f, usual="")))  # what is usual stands in the field
        label = text(f.ask)
        if len(f.choices) > MOST_CHOICES:
            click = Style(meta={"@click": f"screen.list({f.name!r})"})
            return label.append("\n  ").append("the list of them", click).append("  (Enter in an empty field)")
        for name, words in f.choices.items():
            click = Style(meta={"@click": f"screen.choose({f.name!r}, {name!r})"})
            label.append("\n  ").append(name, click).append(f"  {words}" if words != name else "")
        return label

    def _input(self, f: Field, value: str) -> Input:
        if f.kind == "taps":
            return Taps(value, id=f.name, placeholder="tap Space in time with it", max_length=2000)
        suggester = SuggestFromList(list(f.choices), case_sensitive=False) if f.choices else None
        return Input(value, id=f.name, placeholder=self._hint(f), suggester=suggester, max_length=5000)

    def _hint(self, f: Field) -> str:
        like = self.tool.example.get(f.name, "")
        return f"like {like}" if like else f.unit

    def on_mount(self) -> None:
        first = next((i for i in self.query(Input) if not i.value), self.query(Input).first())
        first.focus()
        self._work_out()

    def on_resize(self, event: events.Resize) -> None:
        self.query_one("#both").set_class(event.size.width >= SIDE_BY_SIDE, "-beside")
        self.call_after_refresh(self._draw)

    # Filling in

    @on(Input.Changed)
    def _typed(self) -> None:
        if self._timer:
            self._timer.stop()
        typed = self._filled()
        if typed == self._worked:
            return
        if self._has_file(typed):
            self._worked = None
            self._show("Enter works it out.")
        else:
            self._timer = self.set_timer(PAUSE, self._work_out)

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        """Go on to the next field; after the last one, to what can be done with the result."""
        f = next(f for f in self.tool.fields if f.name == event.input.id)
        if len(f.choices) > MOST_CHOICES and event.value not in f.choices and (f.needed or event.value):
            self.action_list(f.name)
            return
        inputs = list(self.query(Input))
        after = inputs.index(event.input) + 1
        self._work_out(ended=after == len(inputs))
        if after < len(inputs):
            inputs[after].focus()

    def action_choose(self, field: str, name: str) -> None:
        """Fill in a name that was clicked."""
        box = self.query_one(f"#{field}", Input)
        box.value = name
        box.focus()

    def action_list(self, field: str) -> None:
        """List what can be chosen in a field; what was typed there narrows it down."""
        choices = next(f for f in self.tool.fields if f.name == field).choices
        typed = self.query_one(f"#{field}", Input).value.casefold()
        some = [n for n, words in choices.items() if typed in n.casefold() or typed in words.casefold()] or list(
            choices
        )

        def chosen(n: int | None) -> None:
            if n is not None:
                self.action_choose(field, some[n])

        self.app.push_screen(Sheet("Which?", [], [f"{n}: {choices[n]}" for n in some]), chosen)

    def _filled(self) -> dict[str, str]:
        return {f.name: self.query_one(f"#{f.name}", Input).value for f in self.tool.fields}

    def _has_file(self, typed: Mapping[str, str]) -> bool:
        return any(f.kind == "file" and typed[f.name] for f in self.tool.fields)

    def _work_out(self, ended: bool = False) -> None:
        """Show what the form comes to now, or what is missing; a recording takes its time, and holds up nothing.

        Args:
            ended: whether the last field was filled in, so that it goes on with what can be done with the result.
        """
        if self._timer:
            self._timer.stop()
        self._worked = typed = self._filled()
        if self._has_file(typed):
            self._show("Working it out; this can take a few seconds.")
            self.run_worker(self._work_out_beside(typed, ended))
        else:
            self._show(_made(self.tool, typed), ended)

    async def _work_out_beside(self, typed: Mapping[str, str], ended: bool) -> None:
        made = await asyncio.to_thread(_made, self.tool, typed)
        if self._worked is typed:  # else something else was filled in meanwhile
            self._show(made, ended)

    def _show(self, made: Result | str, ended: bool = False) -> None:
        """Show a result, or what is said in its place."""
        self._result = None if isinstance(made, str) else made
        shown = [made] if isinstance(made, str) else list(told(made))[len(self.tool.cautions) :]
        self.query_one("#result", Static).update(text(*shown))
        self._draw()
        self._offer()
        if ended and self._result:
            self.query_one(OptionList).focus()

    def _draw(self) -> None:
        """Draw the picture beside the form, where there is room."""
        if self.query_one("#both").has_class("-beside"):
            room = self.query_one("#made").size
            rows = self._picture(room.width, room.height - len(self._result.says) - 4 if self._result else 0)
            self.query_one("#picture", Static).update(Text("\n".join(rows), no_wrap=True))

    def _picture(self, width: int, height: int) -> Sequence[str]:
        if not (self._result and self._result.picture):
            return ()
        return self._result.picture(max(LEAST[0], width), max(LEAST[1], height))

    # What can be done with it

    def _offer(self) -> None:
        box = self.query_one(OptionList)
        offers: list[Option] = []
        if self._result:
            if self._asked and tool_of(self._asked) is self.tool:
                offers.append(Option(text(f"Take it as the answer: {self._asked.question}"), id="answer"))
            elif self.ours.has_case:
                offers.append(Option("Write it down in the case", id="note"))
            if self._result.log:
                offers.append(Option("Keep the log", id="log"))
            if self._result.picture:
                offers.append(Option("See the picture", id="picture"))
            offers.append(Option("Sources", id="sources"))
        box.disabled = not offers  # an empty list would take the focus, and letters would be keys in it
        if [o.id for o in offers] != [o.id for o in box.options]:
            box.clear_options().add_options(offers)
            box.highlighted = 0 if offers else None

    @on(OptionList.OptionSelected, "#then")
    def _then(self, event: OptionList.OptionSelected) -> None:
        if not self._result or not still_there(event):
            return
        if event.option.id == "sources":
            self.ours.show_text(self.tool.title, "\n".join(self.tool.sources))
            return
        if event.option.id == "picture":
            self.ours.show_text(self.tool.title, "\n".join(self._picture(self.size.width - 4, self.size.height - 5)))
            return
        if event.option.id == "log":
            self._keep_log()
            return
        card = self._asked if event.option.id == "answer" else None
        found = events_of(self.ours.kb, card, self._result)
        self.dismiss()
        self.ours.call_later(partial(self.ours.take_measured, found))

    def _keep_log(self) -> None:
        """Keep what was filled in, in a file of its own, and go on from there: a bike and a trail have one."""
        result, field = self._result, self.query_one("#log", Input)
        assert result

        def write(said: str | None) -> None:
            if not said:
                return
            path = Path(said).expanduser()
            try:
                keep_log(result, path)
            except BadInput as error:
                self.notify(sentence(error), severity="error", markup=False)
            else:
                field.value = str(path)
                for f in self.tool.fields:  # what the file holds now need not be typed
                    if f.kind == "lines" and f.lasting:
                        self.query_one(f"#{f.name}", Input).value = ""
                self._work_out()
                self.notify(clean_line(f"Kept in {path}. Add the next run, and keep it again."), markup=False)

        usual = field.value or str(user_data_path("symptomtree") / "logs" / "bike-and-trail.yaml")
        self.app.push_screen(Line("Keep it in which file? One for each bike and trail.", usual), write)

    def action_copy(self) -> None:
        lines = [self.tool.title, *(f"{n}: {t}" for n, t in self._result.given.items())] if self._result else []
        self.ours.copy_text("\n".join([*lines, *told(self._result)] if self._result else ["Nothing came out yet."]))


def _made(tool: Tool, typed: Mapping[str, str]) -> Result | str:
    """Return what was worked out, or a sentence that says what is wrong."""
    try:
        return work(tool, typed)
    except BadInput as error:
        return sentence(error)
