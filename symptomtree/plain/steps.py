"""The steps of a dialogue: one question, check or fix shown and asked, its answer written down."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from symptomtree.cases.model import Answer, Context, FixDone, Reading, Unsure
from symptomtree.kb.model import Observable
from symptomtree.plain import show
from symptomtree.plain.answers import Option
from symptomtree.plain.asker import Asker, Prompt, Reply
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.talk import Talk
from symptomtree.plain.text import Measured

if TYPE_CHECKING:
    from symptomtree.reasoning.planning import Step
    from symptomtree.reasoning.turn import Turn


class Steps:
    """Asks one step and appends what comes of it."""

    def __init__(self, talk: Talk, asker: Asker, keeper: Keeper, alarm: Callable[[], None]) -> None:
        """Take what is needed.

        Args:
            talk, asker, keeper: of the dialogue.
            alarm: says at once what an answer means for safety; called between the findings of a check.
        """
        self._talk, self._asker, self._keeper, self._alarm = talk, asker, keeper, alarm
        self._kb = keeper.kb
        self._showing = ""  # the check whose steps are on the screen

    def take(self, step: "Step") -> None:
        """Ask a step that is no fix and no hand-over."""
        match step.doing:
            case "check":
                self.check(step.name, step.settles, step)
            case "fact":
                self._fact(step)
            case "question":
                self._question(step)
            case _:
                if self.finding(step.name, step) is Reply.SKIP:
                    self._keeper.add(Unsure(about=step.name))

    def _fact(self, step: "Step") -> None:
        fact = self._kb.entries.facts[step.name]
        options = [Option(v, words, tuple(fact.says.get(v, ()))) for v, words in fact.values.items()]
        said = self._ask(step, fact.ask, options, fact.how)
        told = isinstance(said, Option)
        self._keeper.add(Context(fact=step.name, value=said.value) if told else Unsure(about=step.name))

    def _question(self, step: "Step") -> None:
        question = self._kb.entries.questions[step.name]
        options = [Option(key, answer.words, tuple(answer.says)) for key, answer in question.answers.items()]
        said = self._ask(step, question.ask, options, question.how)
        if isinstance(said, Option):
            sets = question.answers[said.value].sets
            self._keeper.add(*(Answer(finding=f, grade=g) for f, g in sets.items()))
        else:
            self._keeper.add(Unsure(about=step.name), *(Unsure(about=f) for f in step.settles))

    def _ask(self, step: "Step", text: str, options: Sequence[Option], how: Sequence[str]) -> Option | Reply:
        a = self._keeper.assessment
        self._talk.say("")
        why, figures = (show.reason(a, step),), tuple(show.numbers(a, step))
        said = self._asker.ask(Prompt(text, options, how=tuple(show.numbered("How:", how)), why=why, numbers=figures))
        assert isinstance(said, (Option, Reply))
        return said

    def finding(self, name: str, step: "Step | None", why: str = show.PROOF) -> Reply | None:
        """Ask for one finding and write the answer down; return how it was left open, None when it was answered."""
        a = self._keeper.assessment
        known = self._kb.findings[name]
        says = getattr(known, "says", {})
        options = tuple(Option(g, words, tuple(says.get(g, ()))) for g, words in known.grades.items())
        reading = known.reading if isinstance(known, Observable) else None
        check = self._kb.settled_by.get(name)
        how = (
            tuple(show.how(self._kb, self._kb.entries.checks[check]))
            if check
            else tuple(show.numbered("How:", getattr(known, "how", ())))
        )
        reasons, figures = ((show.reason(a, step),), tuple(show.numbers(a, step))) if step else ((why,), ())
        self._talk.say("")
        said = self._asker.ask(Prompt(known.ask, options, reading, how, reasons, figures))
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

    def check(self, name: str, settles: Sequence[str], step: "Step | None", why: str = show.PROOF) -> None:
        """Show a check and ask for each of its findings in turn."""
        if self._showing != name:
            self._talk.say("", *show.check(self._kb, name, self._keeper.assessment.state.open))
            self._showing = name
        for finding in settles:
            left = self.finding(finding, step, why)
            if left is Reply.SKIP or (left is Reply.UNSURE and step is None):
                self._keeper.add(Unsure(about=name))
                break
            self._alarm()
        self._showing = ""

    def forget_screen(self) -> None:
        """Show the next check in full, even if it is the one shown last."""
        self._showing = ""

    def due_check(self, name: str, findings: Sequence[str]) -> None:
        """Do a check that is due because of what went before."""
        self.check(name, findings, None, show.DUE)

    def fix(self, name: str) -> bool:
        """Show a fix; return whether it was done."""
        a = self._keeper.assessment
        rank = next((r for r in a.fixes if r.fix == name), None)
        step = next((s for s in a.steps if s.name == name), None)
        self._talk.say("", *show.stops(self._kb, a.standing_stops), *show.fix(self._kb, name, rank, a.state.open), "")
        if name in a.state.times:
            self._talk.say(show.ONCE_MORE)
        options = (Option("done", "done"), Option("not-now", "cannot, or not now"))
        why, figures = (show.reason(a, step), tuple(show.numbers(a, step))) if step else (show.DUE, ())
        how = tuple(show.how(self._kb, self._kb.entries.fixes[name]))
        said = self._asker.ask(Prompt("When it is done:", options, how=how, why=(why,), numbers=figures))
        done = isinstance(said, Option) and said.value == "done"
        if done:
            self._keeper.add(FixDone(fix=name))
            self._talk.say("Written down as done.")
        return done

    def retest(self, turn: "Turn") -> None:
        """Look again at one thing, or at what one check shows, that the last fix should have changed."""
        if turn.name in self._kb.entries.checks:
            self.check(turn.name, turn.findings, None)
        elif self.finding(turn.name, None) is Reply.SKIP:
            self._keeper.add(Unsure(about=turn.name))
