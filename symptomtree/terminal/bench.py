"""The bench: one thing at a time, large; beside it what is likely and what comes next; above it what stops the ride."""

from collections.abc import Callable
from typing import ClassVar

from rich.style import Style
from rich.text import Text
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.events import Paste
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from symptomtree.cases.bikes import Bike, bikes_folder, keep_bike, lasting
from symptomtree.cases.model import AnyEvent, Correction, Note
from symptomtree.plain import show
from symptomtree.plain.card import Card, card_of, onward, reading_event, step_line, what_if
from symptomtree.plain.sheet import sheet
from symptomtree.plain.text import clean, measured, same_unit
from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.turn import Turn, next_turn
from symptomtree.terminal.look import bar, moved
from symptomtree.terminal.parts import Base, KeyLine, Line, Sheet, StopLine, key, still_there, text
from symptomtree.terminal.ticks import Ticks

MOST_CAUSES, MOST_STEPS, FEW_STEPS = 8, 5, 3
TALL, LINES = 30, 2
"""Rows from which all steps have room at the side; rows that one cause or step takes, at least."""
AT_ITS_END = "Nothing is left to answer. The key for Sheet shows the job sheet, the one for Cases a new case."
READING = 0.25
"""Seconds without a key after which what the answers would come to is worked out, so that it is there at once."""


class BenchScreen(Base):
    """Works one case. It shows the assessment and adds events; it computes nothing."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("unsure"),
        key("leave"),
        key("undo"),
        key("answers"),
        key("why"),
        key("what-if"),
        key("causes", show=False),
        key("steps", show=False),
        key("fix"),
        key("add", show=False),
        key("note", show=False),
        key("measure", show=False),
        key("sheet"),
        key("bikes", show=False),
        key("stops", "app.stops", show=False),
        key("cases", "app.cases", show=False),
        key("lessons", "app.lessons", show=False),
        key("browse", "app.browse", show=False),
        key("theme", "app.next_look", show=False),
        key("back", "back", show=False),
        key("quit", "app.leave"),
        *(Binding(sign, f"choose('{sign}')", show=False) for sign in "0123456789"),
        *(
            Binding(k, f"choose('{sign}')", show=False)
            for k, sign in (("full_stop", "."), ("comma", ","), ("minus", "-"))
        ),
        Binding("pagedown", "read(1)", show=False, priority=True),
        Binding("pageup", "read(-1)", show=False, priority=True),
    ]
    DEFAULT_CSS = """
    BenchScreen Horizontal { height: 1fr; }
    BenchScreen #card { width: 3fr; padding: 0 1; }
    BenchScreen #side { width: 2fr; border-left: solid $primary; padding: 0 1; }
    BenchScreen #title { text-style: bold; color: $primary; }
    BenchScreen #read { height: 1fr; scrollbar-size-vertical: 1; }
    BenchScreen #ask { height: auto; max-height: 70%; border-top: solid $primary; }
    BenchScreen #question { text-style: bold; }
    BenchScreen #about, BenchScreen #after { padding-top: 1; }
    BenchScreen #ticks { height: auto; border: none; padding: 0; background: $background; }
    BenchScreen #choices { height: auto; max-height: 1fr; border: none; padding: 0; background: $background; }
    BenchScreen #reading { display: none; border: none; height: 1; background: $panel; }
    BenchScreen #reading.-on { display: block; }
    BenchScreen #told { color: $accent; }
    BenchScreen #side Static { link-style: none; link-style-hover: reverse; link-color: $foreground; }
    BenchScreen #side Static { link-background: $background; link-background-hover: $background; }
    BenchScreen #causes { height: 1fr; }
    BenchScreen #steps { max-height: 60%; }
    BenchScreen .head { text-style: bold; color: $secondary; }
    BenchScreen #state { height: 1; padding: 0 1; background: $panel; }
    BenchScreen.-narrow #side { display: none; }
    """

    def compose(self) -> ComposeResult:
        yield StopLine()
        with Horizontal():
            with Vertical(id="card"):
                with VerticalScroll(id="read", can_focus=False):
                    yield Static(id="told", markup=False)
                    yield Static(id="title", markup=False)
                    yield Static(id="about", markup=False)
                    yield Ticks(id="ticks")
                    yield Static(id="after", markup=False)
                with Vertical(id="ask"):
                    yield Static(id="question", markup=False)
                    yield Input(id="reading", max_length=40, select_on_focus=False)  # the digit that leads here stays
                    yield OptionList(id="choices")
            with Vertical(id="side"):
                yield Static("Likely causes", classes="head", markup=False)
                yield Static(id="causes", markup=False)
                yield Static("Next steps", classes="head", markup=False)
                yield Static(id="steps", markup=False)
        yield Static(id="state", markup=False)
        yield KeyLine()

    def on_mount(self) -> None:
        self._before: dict[str, float] = {}
        self._stale = False
        self._beside: Assessment | None = None  # what the side shows
        self._card = Card("")
        self._told = ""
        self._thinking = self.set_timer(READING, self._think_ahead, pause=True)
        self.refresh_case()

    # Showing

    def refresh_case(self, card: Card | None = None) -> None:
        """Show what follows from the events now; `card` goes on with a check that is under way."""
        a = self.ours.keeper.assessment
        self.ours.case_stops = tuple(
            [
                *show.stops(a.knowledge, a.standing_stops),
                *(show.warning(a.knowledge, w.cause, w.words) for w in a.warnings),
            ]
        )
        if not self.is_open:
            return
        if card is None:
            turn = next_turn(a)
            if turn.kind == "complaint":
                self.ours.hear()
                return
            card = card_of(a, turn)
        self._card = card
        self._think_ahead_in(READING)
        self._show_card(card)
        self._show_side(a)
        self._show_state(a)

    def _think_ahead_in(self, seconds: float) -> None:
        self._thinking.stop()
        self._thinking = self.set_timer(seconds, self._think_ahead)

    def _think_ahead(self) -> None:
        """Work out one answer, and leave room for a key before the next."""
        if not (self.is_open and self.ours.has_case):  # a new case may have been begun since
            return
        keeper = self.ours.keeper
        ways = [*(c.events for c in self._card.choices), self._card.unsure, self._card.skip]
        left = [events for events in ways if events and not keeper.foresees(*events)]
        if left and self.is_active:
            keeper.after(*left[0])
            self._think_ahead_in(READING / 10)

    def _show_card(self, card: Card) -> None:
        self.query_one("#told", Static).update(text(self._told))
        self.query_one("#told").display = bool(self._told)
        self._told = ""
        self.query_one("#title", Static).update(text(card.title))
        about = card.about or card.how
        if not card.choices:
            about = (AT_ITS_END, "", *about)
        if card.steps:
            about = (*about, "Steps, to tick off with Shift+Tab and Space, or a click:")
        question = card.question
        if card.tools:
            question += " (r works it out from readings)" if card.measures else " (r works out what it needs)"
        for name, lines in (("#about", about), ("#after", card.after), ("#question", (question,))):
            self.query_one(name, Static).update(text(*lines))
            self.query_one(name).display = any(lines)
        ticks = self.query_one("#ticks", Ticks)
        ticks.fill(
            [f"{n}. {step}" for n, (_, step) in enumerate(card.steps, start=1)], before=[c for c, _ in card.steps]
        )
        ticks.display = bool(card.steps)
        reading = self.query_one("#reading", Input)
        reading.set_class(card.gauge is not None, "-on")
        reading.value = ""
        if card.gauge:
            reading.placeholder = f"the number in {card.gauge.unit}; or like 1.6 +- 0.1"
        choices = self.query_one("#choices", OptionList)
        signs = ["-" if card.gauge else str(n) for n in range(1, len(card.choices) + 1)]
        choices.clear_options().add_options(
            Option(text(f"{s}  {c.words}")) for s, c in zip(signs, card.choices, strict=True)
        )
        choices.display = bool(card.choices)
        self.query_one("#read").scroll_home(animate=False)
        self.call_after_refresh(self._say_more)
        if card.choices:
            choices.highlighted = 0
            choices.focus()

    def on_resize(self) -> None:
        """Fill the side anew: how much stands there goes by the room."""
        self.call_after_refresh(self._say_more)
        if self._beside:
            a, self._beside = self._beside, None
            self._show_side(a)

    def _say_more(self) -> None:
        """Say that there is more to read than has room; a caution may be in it."""
        more = self.query_one("#read", VerticalScroll).max_scroll_y
        self.query_one("#ask").border_title = " more above: Page Down " if more else ""

    def _show_side(self, a: Assessment) -> None:
        if a is self._beside:  # else the signs of what moved would go
            return
        self._beside = a
        steps = FEW_STEPS if self.size.height < TALL else MOST_STEPS
        causes = max(1, (self.size.height - LINES * steps) // LINES)  # what is cut off would be laid out all the same
        self.query_one("#causes", Static).update(_clickable(self._causes(a)[:causes], "why_cause"))
        self.query_one("#steps", Static).update(_clickable(self._steps(a)[:steps], "why_not"))
        self._before = {c.cause: c.probability for c in a.causes}

    def _causes(self, a: Assessment) -> list[Text]:
        """Return the likely causes: a name, a bar, how it moved since the last answer, and a word."""
        lines = []
        for c in a.causes[:MOST_CAUSES]:
            if c.probability >= show.LEAST_LISTED:
                sign = moved(self._before.get(c.cause), c.probability) if self._before else " "
                line = text(a.knowledge.name_of(c.cause), bold=True)
                lines.append(line.append(f"\n{bar(c.probability)}{c.probability:4.0%}{sign} {c.words}", "not bold"))
        return lines

    def _steps(self, a: Assessment) -> list[Text]:
        if not a.job:  # what is still due comes of itself, and to hand over what is in order is no next step
            return []
        return [text(step_line(a, s)) for s in a.steps[:MOST_STEPS]]

    def _show_state(self, a: Assessment) -> None:
        kb, keeper = a.knowledge, self.ours.keeper
        names = [kb.entries.access[x].name for x in sorted(a.state.open, key=lambda x: -len(x))]
        open_ = f"open: {', '.join(names)}" if names else "nothing taken apart"
        kept = "saved" if keeper.saved else "NOT SAVED"
        self.query_one("#state", Static).update(text(f"{open_}  |  {a.state.minutes:.0f} min so far  |  {kept}"))

    # Answering

    def add(self, *events: AnyEvent) -> None:
        """Write an answer down and show what follows; a check that is under way goes on."""
        card, proving = self._card, self.ours.keeper.assessment.stage == "retest"
        self.ours.keeper.add(*events)
        a = self.ours.keeper.assessment
        if proving and a.stage == "search":
            self._told = show.NOT_GONE
        self.refresh_case(onward(a, card, events))

    @on(OptionList.OptionSelected, "#choices")
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        if still_there(event):
            self._take(event.option_index)

    def action_choose(self, sign: str) -> None:
        """Take the answer of that number. Where a number is asked for, the sign begins that number: 0.4 is not 4."""
        if self._card.gauge:
            self._type(sign)
        elif sign.isdigit() and 1 <= int(sign) <= len(self._card.choices):
            self._take(int(sign) - 1)
        elif self._card.choices:
            self._say(f"There is no answer {sign} here.")
        else:
            self._say(AT_ITS_END)

    def on_paste(self, event: Paste) -> None:
        """Take what is pasted for the number that is asked for, wherever one is."""
        if self._card.gauge:
            self._type(clean(event.text))

    def _type(self, signs: str) -> None:
        """Go to the number, and go on with it."""
        reading = self.query_one("#reading", Input)
        reading.focus()
        reading.insert_text_at_cursor(signs[: reading.max_length])

    def _take(self, n: int) -> None:
        choice = self._card.choices[n]
        if choice.closes:  # what lies beneath the sheet is drawn when it is seen again
            self.ours.keeper.add(*choice.events)
            self._stale = True
            self.action_sheet()
        else:
            self.add(*choice.events)

    def on_screen_resume(self) -> None:
        """Show the case as it is, when it changed while something lay over it."""
        if self._stale:
            self._stale = False
            self.refresh_case()

    @on(Input.Submitted, "#reading")
    def _read(self, event: Input.Submitted) -> None:
        gauge = self._card.gauge
        if gauge is None or event.value != event.input.value:  # a second Enter in one go: this was taken already
            return
        number = measured(event.value)
        low, high = gauge.span
        if number is None:
            self._say(f"'{event.value[:30]}' is no number. Type it in {gauge.unit}, or choose an answer below.")
        elif not same_unit(number.unit, gauge.unit):
            self._say(f"The number is needed in {gauge.unit}, not in {number.unit}.")
        elif not low <= number.value <= high:
            self._say(f"{number.value:g} is outside {low:g} to {high:g} {gauge.unit}. A slip, or another unit?")
        else:
            finding = self._card.finding
            self.add(reading_event(self._card, number.value, number.error))
            self._say(f"That was: {show.told(self.ours.keeper.assessment, finding)}")

    def _say(self, said: str) -> None:
        if not self.is_open:
            return
        told = self.query_one("#told", Static)
        told.update(text(said))
        told.display = True
        self.query_one("#read").scroll_home(animate=False)

    def action_read(self, pages: int) -> None:
        """Turn the page of what is to be read."""
        read = self.query_one("#read", VerticalScroll)
        read.scroll_relative(y=pages * max(1, read.size.height - 1), animate=False)

    def action_unsure(self) -> None:
        """Write down that the person cannot tell."""
        if self._card.unsure is None:
            self._say("Choose one of the answers; or leave it out.")
        else:
            self.add(*self._card.unsure)

    def action_leave(self) -> None:
        """Leave the step out."""
        if self._card.skip is None:
            self._say("This cannot be left out: choose one of the answers.")
        else:
            self._told = "Left out. The best fix comes back with the key for Fix."
            self.add(*self._card.skip)

    def action_undo(self) -> None:
        """Take the last answer back."""
        gone = self.ours.keeper.take_back()
        kb = self.ours.kb
        self._told = f"Taken back: {'; '.join(show.event(kb, e) for e in gone)}" if gone else "Nothing to take back."
        self.refresh_case()

    def action_fix(self) -> None:
        """Show the best fix now."""
        a = self.ours.keeper.assessment
        if a.fixes:
            self.refresh_case(card_of(a, Turn("fix", a.fixes[0].fix)))
        else:
            self._say("There is nothing to fix yet: no cause is likely so far.")

    def action_measure(self) -> None:
        """Open the tool for what is asked, or the list of all."""
        from symptomtree.measuring.tools import tool_named  # noqa: PLC0415 - tools are loaded when one is wanted
        from symptomtree.terminal.measure import FormScreen  # noqa: PLC0415

        card = self._card
        tools = [tool_named(name) for name in card.tools]

        def chosen(n: int | None) -> None:
            if n is not None:
                self.app.push_screen(FormScreen(tools[n], card))

        if len(tools) > 1:
            self.app.push_screen(Sheet("Work it out", ["With which tool?"], [t.title for t in tools]), chosen)
        elif tools:
            chosen(0)
        else:
            self.ours.action_measure()

    def action_add(self) -> None:
        self.ours.hear()

    def action_note(self) -> None:
        def write(said: str | None) -> None:
            if said:
                self.ours.keeper.add(Note(text=said))
                self._say("Written down.")

        self.app.push_screen(Line("Write down (Enter to keep):"), write)

    def action_bikes(self) -> None:
        """Keep what is known of this bike under a name."""
        from symptomtree.plain.measure import lasting_figures  # noqa: PLC0415 - as above

        a = self.ours.keeper.assessment
        facts = lasting(a.knowledge, a.facts)
        figures = lasting_figures(self.ours.keeper.events)

        def keep(name: str | None) -> None:
            if not name:
                return
            try:
                path = keep_bike(bikes_folder(), Bike(symptomtree_bike=1, name=name, facts=facts, figures=figures))
            except OSError as error:
                self._say(f"The bike cannot be kept: {error.strerror or error}")
            else:
                self._say(f"Kept in {path}. A new case can begin with it.")

        words = [a.knowledge.entries.facts[f].values[v] for f, v in facts.items()]
        known = "; ".join([*words, *(f"{name} {figure}" for name, figure in figures.items())])
        if known:
            self.app.push_screen(Line(f"Keep this bike ({known}) under which name?"), keep)
        else:
            self._say("Nothing is known of this bike yet that could be kept.")

    def action_back(self) -> None:
        """Go back from a number or a fix to what comes next."""
        if self.query_one("#reading").has_focus:
            self.query_one("#choices").focus()
        else:
            self.refresh_case()

    # Asking back

    def action_why(self) -> None:
        lines = [*self._card.why, "", *self._card.numbers]
        self.app.push_screen(Sheet("Why this?", lines))

    def action_what_if(self) -> None:
        """Show what each answer would make of the causes; nothing is written down."""
        keeper = self.ours.keeper
        lines = []
        for c in self._card.choices:
            lines.append(f"If: {c.words}")
            lines += [f"  {bar(p)} {p:4.0%}  {name}" for name, p in what_if(keeper.after(*c.events))]
        self.app.push_screen(Sheet("What if I answered ...", lines or ["There is nothing to answer here."]))

    def action_causes(self) -> None:
        self._ask_back("Likely causes", self._causes(self.ours.keeper.assessment), self.action_why_cause)

    def action_steps(self) -> None:
        self._ask_back("Next steps", self._steps(self.ours.keeper.assessment), self.action_why_not)

    def _ask_back(self, title: str, lines: list[Text], why: Callable[[int], None]) -> None:
        """List what stands at the side; for one that is chosen, say why."""

        def chosen(n: int | None) -> None:
            if n is not None:
                why(n)

        about = ["Choose one to see why it stands there."] if lines else ["Nothing yet."]
        self.app.push_screen(Sheet(title, about, lines), chosen)

    def action_why_cause(self, n: int) -> None:
        """Show what speaks for and against a cause."""
        causes = self.ours.keeper.assessment.causes
        if n < len(causes):
            self.ours.show_cause(causes[n].cause)

    def action_why_not(self, n: int) -> None:
        """Show what a step costs and settles, and why it does not come first."""
        a = self.ours.keeper.assessment
        if n < len(a.steps):
            step = a.steps[n]
            lines = list(show.why_not(a, step.name)) if step.name else [show.reason(a, step), *show.numbers(a, step)]
            self.app.push_screen(Sheet("Why not this now?" if n else "Why this?", lines))

    def action_answers(self) -> None:
        """List the answers; one that is chosen can be put right or taken back.

        Each keeps its number: corrections are events too, but are not counted, and nothing takes the place of one gone.
        """
        kb, live = self.ours.kb, self.ours.keeper.in_force()
        corrections = [n for n, e in enumerate(self.ours.keeper.events, start=1) if isinstance(e, Correction)]
        listed = [f"{n - sum(c < n for c in corrections)}. {show.event(kb, e)}" for n, e in live]

        def chosen(n: int | None) -> None:
            if n is not None:
                self._correct(*live[n])

        lines = ["Choose one to put it right."] if live else ["Nothing was answered yet."]
        self.app.push_screen(Sheet("Answers so far", lines, listed), chosen)

    def _correct(self, number: int, event: AnyEvent) -> None:
        kb = self.ours.kb
        finding, fact = getattr(event, "finding", None), getattr(event, "fact", None)
        ways: list[tuple[str, Correction]] = []
        if hasattr(event, "grade") and finding:
            ways = [(w, Correction(number=number, grade=g)) for g, w in kb.findings[finding].grades.items()]
        elif fact:
            ways = [(w, Correction(number=number, value=v)) for v, w in kb.entries.facts[fact].values.items()]
        ways.append(("take it back", Correction(number=number)))

        def chosen(n: int | None) -> None:
            if n is not None:
                self.ours.keeper.add(ways[n][1])
                self._told = "Put right."
                self.refresh_case()

        self.app.push_screen(Sheet("It should be", [show.event(kb, event)], [w for w, _ in ways]), chosen)

    def action_sheet(self) -> None:
        keeper = self.ours.keeper
        self.ours.show_text("Job sheet", sheet(keeper.case.title, keeper.assessment))


def _clickable(lines: list[Text], action: str) -> Text:
    """Return lines one under the other, each of which calls an action of the screen with its place."""
    for n, line in enumerate(lines):
        line.stylize(Style(meta={"@click": f"screen.{action}({n})"}))
    return Text("\n").join(lines)
