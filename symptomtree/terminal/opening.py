"""What is wrong with the bike: in one's own words, or shown on the drawing; nothing counts before it is ticked."""

from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.timer import Timer
from textual.widgets import Button, Input, Label, Static

from symptomtree.cases.bikes import bikes_folder, lasting, read_bikes
from symptomtree.cases.model import Answer, AnyEvent, Context
from symptomtree.plain.complaint import MOST_SHOWN, complaints_of, meaning
from symptomtree.plain.text import clean
from symptomtree.reasoning.words import Candidate
from symptomtree.terminal.bicycle import AREAS, Bicycle, area_of, symptoms_in
from symptomtree.terminal.parts import Base, KeyLine, Sheet, StopLine, key, text
from symptomtree.terminal.shelf import kept_cases
from symptomtree.terminal.ticks import Ticks

PAUSE = 0.12
"""Seconds without a key after which words are looked up."""


class OpeningScreen(Base):
    """Hears a complaint: for a new case, or something else that is wrong in one that goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        key("help", "app.keys"),
        key("go"),
        key("bikes"),
        key("cases", "app.cases"),
        key("lessons", "app.lessons"),
        key("browse", "app.browse"),
        key("measure", "app.measure", show=False),
        key("theme", "app.next_look", show=False),
        key("stops", "app.stops", show=False),
        key("back", "back"),
        key("quit", "app.leave"),
        Binding("down", "to_meanings", show=False),
    ]
    DEFAULT_CSS = """
    OpeningScreen Input { margin: 0 1; border: none; height: 1; background: $panel; }
    OpeningScreen #heading { text-style: bold; padding: 0 1; }
    OpeningScreen #said { width: 1fr; }
    OpeningScreen #found { height: 1fr; }
    OpeningScreen.-narrow Bicycle, OpeningScreen.-short Bicycle { width: 28; height: 10; }
    OpeningScreen #row { height: 3; padding: 0 1; }
    OpeningScreen #hint { width: 1fr; padding: 1; color: $text-muted; }
    """

    def compose(self) -> ComposeResult:
        yield StopLine()
        yield Label("What is wrong with the bike?", id="heading")
        yield Input(placeholder="say it in your own words: the back brake squeals ...", max_length=1000, id="words")
        with Horizontal():
            with Vertical(id="said"):
                yield Ticks(id="found")
            yield Bicycle()
        with Horizontal(id="row"):
            yield Static(id="hint", markup=False)
            yield Button("Go on (g)", id="go", disabled=True)
        yield KeyLine()

    def on_mount(self) -> None:
        self._found: list[Candidate] = []
        self._ticked: dict[tuple[str, str], Candidate] = {}  # (kind, name): a later tick takes the earlier's place
        self._timer: Timer | None = None
        earlier = not self.ours.has_case and kept_cases()
        self._hint(
            "Type, or choose a place. Earlier cases: Esc, then Cases."
            if earlier
            else "Type, or choose a place on the bike."
        )

    # What is said

    @on(Input.Changed, "#words")
    def _typed(self) -> None:
        if self._timer:
            self._timer.stop()
        self._timer = self.set_timer(PAUSE, self._look_up)

    @on(Input.Submitted, "#words")
    def _entered(self) -> None:
        self._look_up()
        self.query_one("#found").focus()

    def _look_up(self) -> None:
        """Show what the words may mean, and which parts of the bike that is about."""
        if self._timer:  # after Enter nothing is shown a second time: it would lose the line that one is at
            self._timer.stop()
        said = clean(self.query_one("#words", Input).value)
        found = self.ours.matcher.candidates(said)[:MOST_SHOWN] if said else []
        self._show([*found, *(c for c in self._ticked.values() if c not in found)])
        kb = self.ours.kb
        parts = [kb.entries.symptoms[c.name].part for c in found if c.kind == "finding"]
        self.query_one(Bicycle).lit = frozenset(area_of(kb, p) for p in parts)
        hint = (
            "Tick what is true. None? Other words, or Tab to the bike."
            if found
            else "Say what it does, where, and when."
        )
        unknown = "That is not recognised. Say it in other words, or choose a place on the bike."
        self._hint(unknown if said and not found else hint)

    @on(Bicycle.Chosen)
    def _place(self, event: Bicycle.Chosen) -> None:
        """Show what a rider can notice there, each as bad as it comes."""
        kb = self.ours.kb
        found = [
            Candidate("finding", s, grade, 1.0, ()) for s in symptoms_in(kb, event.letter) for grade in kb.grades(s)[1:]
        ]
        self._show([*found, *(c for c in self._ticked.values() if c not in found)])
        nothing = "Nothing is known of this place yet. Say it in words."
        self._hint(f"At the {AREAS[event.letter][0]}: tick what is true." if found else nothing)
        if found:
            self.query_one("#found").focus()

    def _show(self, found: list[Candidate]) -> None:
        self._found = found
        self.query_one("#found", Ticks).fill(
            [self._line(c) for c in found], frozenset(n for n, c in enumerate(found) if c in self._ticked.values())
        )

    def _line(self, c: Candidate) -> str:
        kb = self.ours.kb
        part = "" if c.kind == "fact" else f" ({AREAS[area_of(kb, kb.entries.symptoms[c.name].part)][0]})"
        return meaning(kb, c) + part

    @on(Ticks.Toggled, "#found")
    def _ticked_one(self, event: Ticks.Toggled) -> None:
        """Keep one grade of each thing: of two that exclude each other the later tick counts."""
        c = self._found[event.index]
        if event.on:
            for n, other in enumerate(self._found):
                if n != event.index and (other.kind, other.name) == (c.kind, c.name):
                    self.query_one("#found", Ticks).set_tick(n, False)
            self._ticked[c.kind, c.name] = c
        else:
            self._ticked.pop((c.kind, c.name), None)
        self.query_one("#go", Button).disabled = not self._ticked
        wrong = any(c.kind == "finding" for c in self._ticked.values())
        self._hint("Go on when all that is true is ticked." if wrong else "Tick at least one thing that is wrong.")

    def _hint(self, said: str) -> None:
        self.query_one("#hint", Static).update(text(said))

    # Going on

    @on(Button.Pressed, "#go")
    def action_go(self) -> None:
        """Write down the words and what was ticked, and go to the bench."""
        if not any(c.kind == "finding" for c in self._ticked.values()):
            self._hint("Tick at least one thing that is wrong, with Space.")
            return
        said = clean(self.query_one("#words", Input).value)
        events: list[AnyEvent] = list(complaints_of(said))
        if self.ours.bike and not self.ours.has_case:
            events += [Context(fact=f, value=v) for f, v in lasting(self.ours.kb, self.ours.bike.facts).items()]
            if self.ours.bike.figures:
                from symptomtree.plain.measure import bike_figures  # noqa: PLC0415 - few have measured anything

                events.append(bike_figures(self.ours.bike.figures))
        for c in self._ticked.values():
            if c.kind == "fact":
                events.append(Context(fact=c.name, value=c.value))
            else:
                events.append(Answer(finding=c.name, grade=c.value, complaint=True))
        self.ours.begin(events)

    def action_bikes(self) -> None:
        """Choose a bike that is known: what is true of it need not be asked."""
        bikes, messages = read_bikes(bikes_folder())

        def chosen(n: int | None) -> None:
            if n is not None:
                self.ours.bike = bikes[n]
                self._hint(f"The bike: {bikes[n].name}. {self._about_bike()}")

        nothing = "No bike is kept yet. On the bench, the same key keeps the bike of a case."
        lines = [*messages, "Which bike is it?" if bikes else nothing]
        self.app.push_screen(Sheet("Bikes", lines, [b.name for b in bikes]), chosen)

    def _about_bike(self) -> str:
        kb = self.ours.kb
        facts = lasting(kb, self.ours.bike.facts if self.ours.bike else {})
        return "; ".join(kb.entries.facts[f].values[v] for f, v in facts.items())

    def action_to_meanings(self) -> None:
        self.query_one("#found").focus()

    def action_back(self) -> None:
        if self.query_one("#words").has_focus:  # so that letters are keys again
            self.query_one("#found").focus()
        else:
            self.ours.back_to_case()
