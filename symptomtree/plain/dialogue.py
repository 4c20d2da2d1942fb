"""`symptomtree ask`: a dialogue in plain lines, from the complaint to the proof that it is gone.

The dialogue decides nothing. It shows what the assessment says, asks its first step, and appends the answer as events.
Whatever is typed changes only the list of events, so `back`, leaving and resuming need no code of their own in a step.
"""

import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING

from symptomtree.cases.model import (
    BESIDES,
    HAND_OVER,
    Answer,
    Complaint,
    Correction,
    LeftOut,
    Note,
    Reading,
    conflict_name,
)
from symptomtree.plain import show
from symptomtree.plain.answers import Option
from symptomtree.plain.asker import Asker, Prompt
from symptomtree.plain.complaint import LONGEST, ComplaintDesk
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.steps import Steps
from symptomtree.plain.talk import Ended, Talk

if TYPE_CHECKING:
    from symptomtree.reasoning.assess import Assessment
    from symptomtree.reasoning.turn import Turn


class _Leave(Exception):
    """The person wants to go."""


class _Again(Exception):
    """The case has changed under the prompt: look at it anew."""


class _Done(Exception):
    """The case is closed."""


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
                "note": self._note,
                "stop": self._stop,
            },
        )
        self._desk = ComplaintDesk(talk, self._asker, keeper)
        self._steps = Steps(talk, self._asker, keeper, self._alarm)
        self._told: set[str] = set()  # alarms said that still hold: their lines, or the cause of a warning
        self._likeliest = ""
        self._retesting = 0  # the fix whose proof is being asked for
        self._heard = False  # whether the complaint was gone through
        self._want_fix = False

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
        try:
            action()
        except _Again:
            self._steps.forget_screen()

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
        self._alarm()
        a = self._keeper.assessment
        if self._want_fix:
            self._want_fix = False
            if a.fixes:
                self._do_fix(a.fixes[0].fix)
            else:
                self._talk.say("There is nothing to fix yet: no cause is likely so far.")
            return
        from symptomtree.reasoning.turn import next_turn  # noqa: PLC0415 - the first question is there before it

        turn = next_turn(a)
        match turn.kind:
            case "settle":
                self._settle(turn)
            case "meanwhile":
                self._talk.say("", "Before it is put together to try: while it is open, this pays as well.")
                self._talk.say(show.BOTH_AT_ONCE)
                self._do_fix(turn.name)
            case "retest":
                self._retest(a, turn)
            case "follow":
                self._talk.say("", "Because of what was done, this comes next.")
                self._carry_out(turn)
            case "clear":
                self._talk.say("", "This decides whether the bike may be ridden again.")
                self._carry_out(turn)
            case "complaint":
                self._complain()
            case "besides":
                self._besides(a)
            case "hand-over":
                self._hand_over(a, turn)
            case "close":
                if turn.last:
                    self._talk.say("", show.NOTHING_LEFT)
                self._close(a)
            case _:
                self._step(a, turn)

    def _step(self, a: "Assessment", turn: "Turn") -> None:
        """Take the best step of the plan that the person has not left out."""
        for c in a.causes[:1]:
            if c.cause != self._likeliest:
                self._likeliest = c.cause
                self._talk.say("", f"Most likely so far: {self._kb.name_of(c.cause)} ({c.words}, {c.probability:.0%}).")
        if turn.step is not None and turn.kind == "step":
            self._steps.take(turn.step)
        else:
            self._do_fix(turn.name)

    def _do_fix(self, name: str) -> None:
        if not self._steps.fix(name):
            self._keeper.add(LeftOut(about=name))
            self._talk.say("Left out for now. It comes back when you type fix.")

    def _carry_out(self, turn: "Turn") -> None:
        """Do a check or fix that is due because of what went before."""
        if turn.findings:
            self._steps.due_check(turn.name, turn.findings)
        else:
            self._do_fix(turn.name)

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

    def _retest(self, a: "Assessment", turn: "Turn") -> None:
        """Look again at what the last fix should have changed."""
        if len(a.state.fixes) != self._retesting:
            self._retesting = len(a.state.fixes)
            self._talk.say("", "After the work, look again.")
        self._steps.retest(turn)
        after = self._keeper.assessment
        if not after.due and after.stage == "search":
            self._talk.say("", "It is not all gone, so the search goes on.")

    def _settle(self, turn: "Turn") -> None:
        """Show two things that cannot both be so, and ask which was wrong."""
        c = turn.contradiction
        assert c is not None
        self._talk.say("", f"This does not fit together. {c.because}")
        standing = dict(self._keeper.in_force())
        numbers = [n for n in c.numbers if n in standing]
        options = [Option(f"event-{n}", show.event(self._kb, standing[n])) for n in numbers]
        options.append(Option("leave", "leave it as it is"))
        why = (show.CONFLICT,)
        said = self._asker.ask(Prompt("Which of these is wrong? It is asked again.", options, why=why))
        if not isinstance(said, Option) or said.value == "leave":
            self._keeper.add(LeftOut(about=conflict_name(c.numbers)))
            return
        number = numbers[options.index(said)]
        self._keeper.add(Correction(number=number))
        wrong = standing[number]
        if isinstance(wrong, (Answer, Reading)):
            self._steps.finding(wrong.finding, None, "The answer before did not fit.")

    def _hand_over(self, a: "Assessment", turn: "Turn") -> None:
        because = show.hand_over_because(a, turn.last)
        self._talk.say("", "The best way from here is a qualified workshop.", *because)
        options = (Option(HAND_OVER, "hand the bike over, and close with a summary"), Option("go-on", "go on here"))
        said = self._asker.ask(
            Prompt("What now?", options, why=because, numbers=tuple(show.numbers(a, turn.step)) if turn.step else ())
        )
        handed = isinstance(said, Option) and said.value == HAND_OVER
        if handed:
            self._keeper.add(Note(text="Handed over to a workshop."))
            self._close(self._keeper.assessment)
        self._keeper.add(LeftOut(about=HAND_OVER))

    def _besides(self, a: "Assessment") -> None:
        """Say what else was found, and let the person take it up."""
        self._talk.say("", show.CAME_UP)
        self._talk.say(*(f"  {line}" for line in show.besides(a)))
        options = (Option("close", "close with a summary"), Option("go-on", "go on, and put this right too"))
        said = self._asker.ask(Prompt("What now?", options, why=("It was not what you came with.",)))
        if isinstance(said, Option) and said.value == "go-on":
            from symptomtree.reasoning.turn import take_up  # noqa: PLC0415 - as above

            self._keeper.add(*take_up(a))
        else:
            self._keeper.add(LeftOut(about=BESIDES))

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

    def _close(self, a: "Assessment") -> None:
        self._talk.say("", *show.summary(a))
        raise _Done

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

    def _note(self, text: str) -> None:
        if not text:
            self._talk.say("Type note and then the text.")
            return
        self._keeper.add(*(Note(text=text[at : at + LONGEST]) for at in range(0, len(text), LONGEST)))
        self._talk.say("Written down.")

    def _stop(self, _: str) -> None:
        raise _Leave
