"""`symptomtree ask`: a dialogue in plain lines, from the complaint to the proof that it is gone.

The dialogue decides nothing. It shows what the assessment says, asks its first step, and appends the answer as events.
Whatever is typed changes only the list of events, so `back`, leaving and resuming need no code of their own in a step.
"""

import shlex
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from symptomtree.cases.model import HAND_OVER, AnyEvent, Complaint, FixDone, LeftOut, Note, Reading
from symptomtree.plain import show
from symptomtree.plain.answers import Option
from symptomtree.plain.asker import Asker, Prompt, Reply
from symptomtree.plain.complaint import LONGEST, ComplaintDesk
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.talk import Ended, Talk
from symptomtree.plain.text import Measured

if TYPE_CHECKING:
    from symptomtree.measuring.tool import Tool
    from symptomtree.plain.card import Card
    from symptomtree.reasoning.turn import Turn


class _Leave(Exception):
    """The person wants to go."""


class _Again(Exception):
    """The case has changed under the prompt: look at it anew."""


class _Done(Exception):
    """The case is closed."""


class _Worked(Exception):
    """A tool has worked out what is asked."""

    def __init__(self, *events: AnyEvent) -> None:
        self.events = events


class Dialogue:
    """One case, talked through."""

    def __init__(self, talk: Talk, keeper: Keeper) -> None:
        self._talk, self._keeper, self._kb = talk, keeper, keeper.kb
        self._asker = Asker(
            talk,
            {
                "back": self._back,
                "list": self._list,
                "fix": self._go_to_fix,
                "why-not": lambda said: self._talk.say(*show.why_not(self._keeper.assessment, said)),
                "also": self._also,
                "parts": self._parts,
                "measure": self._measure,
                "note": self._note,
                "stop": self._stop,
            },
        )
        self._desk = ComplaintDesk(talk, self._asker, keeper)
        self._told: set[str] = set()  # alarms said that still hold: their lines, or the cause of a warning
        self._likeliest = ""
        self._heard = False  # whether the complaint was gone through
        self._want_fix = False
        self._card: Card | None = None  # what is being asked

    def run(self, complaint: str = "") -> int:
        """Talk until the case is closed, the person leaves or the input ends. Returns the exit code."""
        try:
            self._greet()
            if complaint:
                self._heard = True
                self._try(lambda: self._desk.hear(complaint))
            while True:
                self._try(self._next)
        except (Ended, KeyboardInterrupt, _Leave) as left:
            if isinstance(left, KeyboardInterrupt):
                self._talk.say("")
            if self._keeper.events:
                self._talk.say(*show.stops(self._kb, self._keeper.assessment.standing_stops))
        except _Done:
            pass
        self._say_goodbye()
        return 0

    def _try(self, action: Callable[[], None]) -> None:
        with suppress(_Again):
            action()

    def _greet(self) -> None:
        path = self._keeper.path
        self._talk.say("Type help at any prompt to see what you can type; stop leaves.")
        if path and self._keeper.events:
            self._talk.say(f"Going on with: {self._keeper.case.title}", f"The case is kept in {path}")
        else:
            self._talk.say(f"The case will be kept in {path}" if path else "Nothing will be saved.")

    def _say_goodbye(self) -> None:
        if not self._keeper.events:
            self._talk.say("Nothing was told, so nothing was saved.")
        elif self._keeper.path and self._keeper.saved:
            self._talk.say("The case is saved. To go on with it:")
            self._talk.say_whole(f"symptomtree ask --resume {shlex.quote(str(self._keeper.path))}")
        else:
            self._talk.say("The case is not saved.")

    # What comes next

    def _next(self) -> None:
        """Ask or show the one thing that comes next."""
        if not self._keeper.events:  # the first question needs no reasoning, and so comes at once
            self._heard = True
            self._desk.open()
            return
        from symptomtree.reasoning.turn import Turn, next_turn  # noqa: PLC0415 - the first question is there before it

        self._alarm()
        a = self._keeper.assessment
        if self._want_fix:
            self._want_fix = False
            if a.fixes:
                self._work(Turn("fix", a.fixes[0].fix))
            else:
                self._talk.say("There is nothing to fix yet: no cause is likely so far.")
            return
        turn = next_turn(a)
        if turn.kind == "complaint":
            self._complain()
        else:
            self._work(turn)

    def _work(self, turn: "Turn") -> None:
        """Put the card of a turn to the person, and whatever comes right after it."""
        from symptomtree.plain.card import card_of, onward  # noqa: PLC0415 - as above

        a = self._keeper.assessment
        for c in a.causes[:1]:
            if turn.kind in ("step", "fix") and c.cause != self._likeliest:
                self._likeliest = c.cause
                self._talk.say("", show.likeliest(self._kb, c))
        card: Card | None = card_of(a, turn)
        read = ""
        while card:
            if card.title != read:
                self._read(card, turn)
                read = card.title
            self._talk.say("")
            events = self._put(card)
            self._alarm()
            card = onward(self._keeper.assessment, card, events)
        after = self._keeper.assessment
        if turn.kind == "retest" and not after.due and after.stage == "search":
            self._talk.say("", show.NOT_GONE)

    def _read(self, card: "Card", turn: "Turn") -> None:
        """Say what is to be read before the question; a question of the plan needs no more than itself."""
        if card.about or card.steps or turn.kind != "step":
            stops = show.stops(self._kb, self._keeper.assessment.standing_stops) if card.steps else ()
            end = "" if card.title[-1] in ".:?" else "."
            self._talk.say("", *stops, f"{card.title}{end}", *card.about)
            self._talk.say(*show.guided("Steps:", card.steps), *card.after)

    def _put(self, card: "Card") -> tuple[AnyEvent, ...]:
        """Ask what a card asks, write the answer down, and return the events that it came to."""
        from symptomtree.plain.card import reading_event  # noqa: PLC0415 - as above

        if not card.choices:
            raise _Done
        options = [Option(c.name, c.words, c.says) for c in card.choices]
        self._card = card
        said: Option | Measured | Reply | str | _Worked
        try:
            if card.tools:
                what = "it out from readings" if card.measures else "out what it needs"
                self._talk.say(f"Type measure to work {what}.")
            said = self._asker.ask(Prompt(card.question, options, card.gauge, card.how, card.why, card.numbers))
        except _Worked as worked:
            said = worked
        finally:
            self._card = None
        choice = card.choices[options.index(said)] if isinstance(said, Option) else None
        events: tuple[AnyEvent, ...]
        if choice:
            events = choice.events
        elif isinstance(said, _Worked):
            events = said.events
        elif isinstance(said, Measured):
            events = (reading_event(card, said.value, said.error),)
        else:
            assert card.skip, "only what can be left out is asked"
            events = card.unsure if said is Reply.UNSURE and card.unsure else card.skip
        self._keeper.add(*events)
        a = self._keeper.assessment
        match events[-1 if isinstance(said, _Worked) else 0]:
            case Reading():
                self._talk.say(f"That is: {show.told(a, card.finding)}")
            case FixDone():
                self._talk.say("Written down as done.")
            case LeftOut(about=about) if about in self._kb.entries.fixes:
                self._talk.say("Left out for now. It comes back when you type fix.")
        if choice and choice.closes:
            self._talk.say("", *show.summary(a))
            raise _Done
        return events

    def _alarm(self) -> None:
        """Say at once, and once, what must be known: stops first, then dangers, then hand-overs."""
        a, kb = self._keeper.assessment, self._kb
        lines = {line: line for line in show.stops(kb, a.standing_stops)}
        # By cause: a warning is not said again because its odds moved.
        lines |= {w.cause: show.warning(kb, w.cause, w.words) for w in a.warnings}
        workshop = [f"For a qualified workshop: {c.because}" for c in a.conclusions if c.kind == HAND_OVER]
        cleared = [f"Cleared: {s.because} ({kb.name_of(s.until)})" for s in a.stops if s.cleared]
        lines |= {line: line for line in (*workshop, *cleared)}
        fresh = [line for about, line in lines.items() if about not in self._told]
        if fresh:
            self._talk.say("", *fresh)
        self._told = set(lines)

    def _complain(self) -> None:
        """Hear what is wrong; after `back` or when resumed, go through the last complaint again."""
        heard = [e for _, e in self._keeper.in_force() if isinstance(e, Complaint)]
        if heard and not self._heard:
            self._heard = True
            self._talk.say(f"You said: {heard[-1].text}")
            self._desk.confirm(heard[-1].text)
        else:
            self._heard = True
            self._desk.open()

    # Commands

    def _back(self, _: str) -> None:
        gone = self._keeper.take_back()
        if not gone:
            self._talk.say("There is nothing to take back.")
            return
        self._talk.say(*(f"Taken back: {show.event(self._kb, event)}" for event in gone))
        self._heard = any(isinstance(event, Complaint) for event in gone)
        raise _Again

    def _list(self, rest: str) -> None:
        a = self._keeper.assessment
        if rest.isascii() and rest.isdigit() and 1 <= int(rest[:4]) <= len(a.causes):
            cause = a.causes[int(rest[:4]) - 1]
            self._talk.say(f"{self._kb.name_of(cause.cause)} ({cause.words}, {cause.probability:.0%})")
            self._talk.say(self._kb.entries.causes[cause.cause].mechanism, *show.evidence(a, cause.cause))
        else:
            self._talk.say(*show.standing(a), *show.stops(self._kb, a.standing_stops))

    def _go_to_fix(self, _: str) -> None:
        self._want_fix = True
        raise _Again

    def _also(self, text: str) -> None:
        if text:
            self._desk.hear(text)
        else:
            self._desk.open()
        raise _Again

    def _parts(self, _: str) -> None:
        self._desk.by_part()
        raise _Again

    def _measure(self, _: str) -> None:
        """Work out what is asked from readings."""
        from symptomtree.plain import measure  # noqa: PLC0415 - tools are loaded when one is wanted

        tool = self._tool(self._card.tools if self._card else ())
        if not tool:
            return
        result = measure.run(self._talk, tool, measure.filled_in(tool, self._keeper.events, self._card))
        if result:
            what = "take it as the answer" if self._card and self._card.measures else "write it down"
            self._talk.say(f"Type yes to {what}; anything else leaves it.")
            if self._talk.read().casefold() in ("yes", "y"):
                raise _Worked(*measure.events_of(self._kb, self._card, result))

    def _tool(self, names: Sequence[str]) -> "Tool | None":
        """Return the tool for what is asked, or one of several; None when there is none, or it is not wanted."""
        from symptomtree.measuring.tools import tool_named  # noqa: PLC0415 - as above

        if not names:
            self._talk.say("There is no tool for this. symptomtree measure lists the tools.")
            return None
        if len(names) == 1:
            return tool_named(names[0])
        options = [Option(name, tool_named(name).title) for name in names]
        said = self._asker.ask(Prompt("Which tool?", options))
        return tool_named(said.value) if isinstance(said, Option) else None

    def _note(self, text: str) -> None:
        if not text:
            self._talk.say("Type note and then the text.")
            return
        self._keeper.add(*(Note(text=text[at : at + LONGEST]) for at in range(0, len(text), LONGEST)))
        self._talk.say("Written down.")

    def _stop(self, _: str) -> None:
        raise _Leave
