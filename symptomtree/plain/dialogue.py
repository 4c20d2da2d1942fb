"""`symptomtree ask`: a dialogue in plain lines, from the complaint to the proof that it is gone.

The dialogue decides nothing. It shows what the assessment says, asks its first step, and appends the answer as events.
Whatever is typed changes only the list of events, so `back`, leaving and resuming need no code of their own in a step.
"""

import shlex
from collections.abc import Callable, Sequence

from symptomtree.cases.model import Answer, AnyEvent, Complaint, Context, Correction, FixDone, Note, Reading, Unsure
from symptomtree.kb.model import Observable
from symptomtree.plain import show
from symptomtree.plain.answers import Option
from symptomtree.plain.asker import Asker, Prompt, Reply
from symptomtree.plain.complaint import LONGEST, ComplaintDesk
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.report import evidence
from symptomtree.plain.talk import Ended, Talk
from symptomtree.plain.text import Measured
from symptomtree.reasoning.assess import Assessment, Contradiction
from symptomtree.reasoning.context import holds
from symptomtree.reasoning.planning import Step

HAND_OVER = "hand-over"


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
                "also": self._also,
                "parts": self._parts,
                "note": self._note,
                "stop": self._stop,
            },
        )
        self._desk = ComplaintDesk(talk, self._asker, keeper)
        self._told: set[str] = set()  # alarms on the screen that still hold
        self._likeliest = ""
        self._passed: set[str] = set()  # fixes, and the hand-over, that the person does not want now
        self._left: set[str] = set()  # contradictions that the person lets stand
        self._heard = False  # whether the complaint was gone through
        self._want_fix = False
        self._showing = ""  # the check whose steps are on the screen

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
                self._talk.say(*(show.stop(self._kb, s) for s in self._keeper.assessment.standing_stops))
        except _Done:
            pass
        self._say_goodbye()
        return 0

    def _try(self, action: Callable[[], None]) -> None:
        try:
            action()
        except _Again:
            self._showing = ""

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
        a = self._keeper.assessment
        self._alarm(a)
        for contradiction in a.contradictions:
            if contradiction.because not in self._left:
                return self._settle(contradiction)
        if self._want_fix:
            self._want_fix = False
            if a.fixes:
                return self._do_fix(a, a.fixes[0].fix)
            self._talk.say("There is nothing to fix yet: no cause is likely so far.")
        if a.due:
            return self._retest(a)
        follow = [name for name in a.follow if not self._waved(name)]
        if follow:
            self._talk.say("", "Because of what was done, this comes next.")
            return self._carry_out(a, follow[0])
        if a.stage == "complaint":
            return self._complain()
        clearing = [s.until for s in a.standing_stops if not self._waved(s.until)]
        if a.stage == "done":
            if clearing:
                self._talk.say("", "This clears the way to riding again.")
                return self._carry_out(a, clearing[0])
            return self._close(a)
        return self._step(a)

    def _step(self, a: Assessment) -> None:
        """Take the best step of the plan that the person has not passed over."""
        for c in a.causes[:1]:
            if c.cause != self._likeliest:
                self._likeliest = c.cause
                self._talk.say("", f"Most likely so far: {self._kb.name_of(c.cause)} ({c.words}, {c.probability:.0%}).")
        step = next((s for s in a.steps if s.name not in self._passed and s.doing != HAND_OVER), None)
        handed = next((s for s in a.steps if s.doing == HAND_OVER), None)
        if handed and HAND_OVER not in self._passed and (step is None or handed.total <= step.total):
            return self._hand_over(a, handed, last=step is None)
        if step is None:
            self._talk.say("", "There is nothing left to ask, to check or to try.")
            return self._close(a)
        match step.doing:
            case "fix":
                self._do_fix(a, step.name)
            case "check":
                self._do_check(step.name, step.settles, step)
            case "fact":
                self._ask_fact(a, step)
            case "question":
                self._ask_question(a, step)
            case _:
                if self._ask_finding(step.name, step) is Reply.SKIP:
                    self._keeper.add(Unsure(about=step.name))
        return None

    def _waved(self, name: str) -> bool:
        """Return whether the person left something out since the last fix."""
        if name in self._passed:
            return True
        events = self._keeper.events
        fixed = max((n for _, n in self._keeper.assessment.state.fixes), default=0)
        return name in self._keeper.assessment.state.unsure and Unsure(about=name) in events[fixed:]

    def _alarm(self, a: Assessment) -> None:
        """Say at once, and once, what must be known: stops first, then dangers, then hand-overs."""
        kb = self._kb
        lines = [show.stop(kb, s) for s in a.standing_stops]
        lines += [show.warning(kb, w.cause, w.words) for w in a.warnings]
        lines += [f"For a qualified workshop: {c.because}" for c in a.conclusions if c.kind == HAND_OVER]
        lines += [f"Cleared: {s.because} ({kb.name_of(s.until)})" for s in a.stops if s.cleared]
        fresh = [line for line in dict.fromkeys(lines) if line not in self._told]
        if fresh:
            self._talk.say("", *fresh)
        self._told = set(lines)

    # Steps

    def _ask_fact(self, a: Assessment, step: Step) -> None:
        fact = self._kb.entries.facts[step.name]
        options = tuple(Option(v, words, tuple(fact.says.get(v, ()))) for v, words in fact.values.items())
        said = self._ask(a, step, fact.ask, options, fact.how)
        self._keeper.add(
            Context(fact=step.name, value=said.value) if isinstance(said, Option) else Unsure(about=step.name)
        )

    def _ask_question(self, a: Assessment, step: Step) -> None:
        question = self._kb.entries.questions[step.name]
        options = tuple(Option(key, answer.words, tuple(answer.says)) for key, answer in question.answers.items())
        said = self._ask(a, step, question.ask, options, question.how)
        if isinstance(said, Option):
            sets = question.answers[said.value].sets
            self._keeper.add(*(Answer(finding=f, grade=g) for f, g in sets.items()))
        else:
            self._keeper.add(Unsure(about=step.name), *(Unsure(about=f) for f in step.settles))

    def _ask(
        self, a: Assessment, step: Step, text: str, options: Sequence[Option], how: Sequence[str]
    ) -> Option | Measured | Reply | str:
        self._talk.say("")
        why, figures = (show.reason(a, step),), tuple(show.numbers(a, step))
        return self._asker.ask(Prompt(text, options, how=how, why=why, numbers=figures))

    def _ask_finding(self, name: str, step: Step | None, why: str = "") -> Reply | None:
        """Ask for one finding and write the answer down; return how it was left open, None when it was answered."""
        a = self._keeper.assessment
        known = self._kb.findings[name]
        says = getattr(known, "says", {})
        options = tuple(Option(g, words, tuple(says.get(g, ()))) for g, words in known.grades.items())
        reading = known.reading if isinstance(known, Observable) else None
        check = self._kb.settled_by.get(name)
        how = self._kb.entries.checks[check].how if check else getattr(known, "how", ())
        self._talk.say("")
        said = self._asker.ask(
            Prompt(
                known.ask,
                options,
                reading,
                how,
                (why or (show.reason(a, step) if step else "It proves whether the work helped."),),
                tuple(show.numbers(a, step)) if step else (),
            )
        )
        match said:
            case Option():
                self._keeper.add(Answer(finding=name, grade=said.value))
            case Measured():
                self._keeper.add(Reading(finding=name, value=said.value, error=said.error))
                self._talk.say(f"That is: {show.told(self._keeper.assessment, name)}")
            case Reply.UNSURE:
                self._keeper.add(Unsure(about=name))
                return said
            case _:
                return Reply.SKIP
        return None

    def _do_check(self, name: str, settles: Sequence[str], step: Step | None, why: str = "") -> None:
        """Show a check and ask for each of its findings in turn."""
        if self._showing != name:
            self._talk.say("", *show.check(self._kb, name))
            self._showing = name
        for finding in settles:
            left = self._ask_finding(finding, step, why)
            if left is Reply.SKIP or (left is Reply.UNSURE and step is None):
                self._keeper.add(Unsure(about=name))
                break
            self._alarm(self._keeper.assessment)
        self._showing = ""

    def _carry_out(self, a: Assessment, name: str) -> None:
        """Do a check or fix that is due because of what went before."""
        if name in self._kb.entries.fixes:
            self._do_fix(a, name)
        else:
            looks = self._kb.entries.checks[name].settles
            settles = [f for f, o in looks.items() if holds(o.applies_to, a.facts) is not False]
            if not settles:  # nothing of it is on this bike
                self._passed.add(name)
                return
            self._do_check(name, settles, None, "It is due because of what was found or done before.")

    def _do_fix(self, a: Assessment, name: str) -> None:
        rank = next((r for r in a.fixes if r.fix == name), None)
        entry = self._kb.entries.fixes[name]
        self._talk.say("", *(show.stop(self._kb, s) for s in a.standing_stops), *show.fix(self._kb, name, rank))
        step = next((s for s in a.steps if s.name == name), None)
        why = show.reason(a, step) if step else "It is due because of what was found or done before."
        options = (Option("done", "done"), Option("not-now", "cannot, or not now"))
        self._talk.say("")
        said = self._asker.ask(
            Prompt("When it is done:", options, None, entry.steps, (why,), tuple(show.numbers(a, step)) if step else ())
        )
        if isinstance(said, Option) and said.value == "done":
            self._keeper.add(FixDone(fix=name))
            self._talk.say("Written down as done.")
        else:
            self._passed.add(name)
            self._keeper.add(Note(text=f"Not done for now: {entry.name}"[:LONGEST]))
            self._talk.say("Left out for now. It comes back when you type fix.")

    def _retest(self, a: Assessment) -> None:
        """Look again at what the last fix should have changed."""
        first = a.due[0]
        check = self._kb.settled_by.get(first)
        self._talk.say("", "After the work, look again.")
        if check:
            due = [f for f in a.due if self._kb.settled_by.get(f) == check]
            self._do_check(check, due, None, "It proves whether the work helped.")
        elif self._ask_finding(first, None) is Reply.SKIP:
            self._keeper.add(Unsure(about=first))
        after = self._keeper.assessment
        if not after.due and after.stage == "search":
            self._talk.say("", "It is not all gone, so the search goes on.")

    def _settle(self, c: Contradiction) -> None:
        """Show two things that cannot both be so, and ask which was wrong."""
        self._talk.say("", f"This does not fit together. {c.because}")
        options = [Option(str(n), self._event(self._keeper.events[n - 1])) for n in c.numbers]
        options.append(Option("leave", "leave it as it is"))
        said = self._asker.ask(
            Prompt("Which of these is wrong? You will be asked again.", options, why=("Two answers do not fit.",))
        )
        if not isinstance(said, Option) or said.value == "leave":
            self._left.add(c.because)
            return
        number = int(said.value)
        event = self._keeper.events[number - 1]
        self._keeper.add(Correction(number=number))
        if isinstance(event, (Answer, Reading)):
            self._ask_finding(event.finding, None, "The answer before did not fit.")

    def _hand_over(self, a: Assessment, step: Step, last: bool) -> None:
        because = [c.because for c in a.conclusions if c.kind == HAND_OVER]
        if not because:
            because = [
                "There is nothing left here to ask, to check or to try that would tell more."
                if last
                else "What is left to try is likely to cost more than having it done there."
            ]
        self._talk.say("", "The best way from here is a qualified workshop.", *because)
        options = (Option("hand-over", "hand the bike over, and close with a summary"), Option("go-on", "go on here"))
        said = self._asker.ask(Prompt("What now?", options, why=tuple(because), numbers=tuple(show.numbers(a, step))))
        if isinstance(said, Option) and said.value == HAND_OVER:
            self._keeper.add(Note(text="Handed over to a workshop."))
            self._close(self._keeper.assessment)
        self._passed.add(HAND_OVER)

    def _complain(self) -> None:
        """Hear what is wrong; after `back` or when resumed, go through the last complaint again."""
        heard = self._keeper.complaints()
        if heard and not self._heard:
            self._heard = True
            self._talk.say(f"You said: {heard[-1].text}")
            self._desk.confirm(heard[-1].text)
        else:
            self._heard = True
            self._desk.open()

    def _close(self, a: Assessment) -> None:
        self._talk.say("", *show.summary(a, sorted(self._passed - {HAND_OVER})))
        raise _Done

    # Commands

    def _back(self, _: str) -> None:
        gone = self._keeper.take_back()
        if not gone:
            self._talk.say("There is nothing to take back.")
            return
        self._talk.say(*(f"Taken back: {self._event(event)}" for event in gone))
        self._heard = any(isinstance(event, Complaint) for event in gone)
        self._passed.clear()
        self._left.clear()
        raise _Again

    def _list(self, rest: str) -> None:
        a = self._keeper.assessment
        if rest.isascii() and rest.isdigit() and 1 <= int(rest[:4]) <= len(a.causes):
            cause = a.causes[int(rest[:4]) - 1]
            self._talk.say(f"{self._kb.name_of(cause.cause)} ({cause.words}, {cause.probability:.0%})")
            self._talk.say(self._kb.entries.causes[cause.cause].mechanism, *evidence(a, cause))
        else:
            self._talk.say(*show.standing(a), *(show.stop(self._kb, s) for s in a.standing_stops))

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

    def _event(self, event: AnyEvent) -> str:
        """Return an event in plain words."""
        kb = self._kb
        match event:
            case Answer(finding=finding, grade=grade):
                return f"{kb.findings[finding].ask} {kb.findings[finding].grades[grade]}"
            case Reading(finding=finding, value=value):
                return f"{kb.findings[finding].ask} {value:g}"
            case Context(fact=fact, value=value):
                return f"{kb.entries.facts[fact].ask} {kb.entries.facts[fact].values[value]}"
            case FixDone(fix=fix):
                return f"done: {kb.name_of(fix)}"
            case Unsure(about=about):
                return f"not sure: {kb.asks(about)}"
            case Complaint(text=text):
                return f"complaint: {text}"
            case _:
                return "a note"
