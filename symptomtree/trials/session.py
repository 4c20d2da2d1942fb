"""One simulated bike, worked to the end by the adviser or by a rule of thumb, with everything that it cost.

What must follow work in any case, such as bedding in new pads, is the same whoever advises and is left out.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import groupby
from time import perf_counter
from typing import Literal

from symptomtree.cases.model import Answer, AnyEvent, Context, FixDone, Reading, Unsure
from symptomtree.reasoning.assess import Adviser, Assessment
from symptomtree.reasoning.costs import PART_WORTH, Profile, access_minutes, price_of
from symptomtree.reasoning.planning import Rank, Step, cheapest_way
from symptomtree.reasoning.state import fold
from symptomtree.trials.bikes import Bench, told
from symptomtree.trials.known import workshop_bill
from symptomtree.trials.naive import stops

MOST_STEPS = 80


@dataclass
class Session:
    """How it went.

    Attributes:
        ended: fixed (all that was found is normal again), handed over to a workshop, or not at all.
        minutes: at the bench, access included.
        spent: money for parts and workshops.
        cost: minutes and money in one.
        questions, checks, fixes, hand_overs: how many; work that was given away counts as both fix and hand-over.
        missed: assessments that lacked a stop which should stand.
        gone: whether the complaint is truly gone.
        said, so: for each cause listed before the first fix (or at the end): its probability, and whether it was there.
        causes: what was wrong.
        steps: what was done, in order.
        seconds: each assessment took; it differs from run to run and is no part of the result.
    """

    ended: Literal["fixed", "handed over", "not ended"] = "not ended"
    minutes: float = 0.0
    spent: float = 0.0
    cost: float = 0.0
    questions: int = 0
    checks: int = 0
    fixes: int = 0
    hand_overs: int = 0
    missed: int = 0
    gone: bool = False
    said: tuple[float, ...] = ()
    so: tuple[bool, ...] = ()
    causes: tuple[str, ...] = ()
    steps: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list, compare=False)


def work(adviser: Adviser, bench: Bench, profile: Profile, rank: Rank = cheapest_way) -> Session:
    """Work a bike to the end.

    Args:
        adviser: what it knows may differ from what is true of the bike.
        rank: whose choice of steps to follow.
    """
    return _Work(adviser, bench, profile, rank).run()


class _Work:
    def __init__(self, adviser: Adviser, bench: Bench, profile: Profile, rank: Rank) -> None:
        self._adviser, self._bench, self._profile, self._rank = adviser, bench, profile, rank
        self._kb = adviser.knowledge
        self._events: list[AnyEvent] = told(self._kb, bench)
        self._session = Session(causes=tuple(sorted(bench.causes)), steps=[f"told {_all(self._events)}"])

    def run(self) -> Session:
        s = self._session
        for _ in range(MOST_STEPS):
            a = self._assess()
            if a.stage == "done":
                s.ended = "fixed"
                break
            if a.meanwhile:
                self._fix(a.meanwhile[0].fix)
                continue
            if a.stage == "retest":
                self._look("retest", a.due)
                continue
            step = a.steps[0]
            if step.doing in ("fix", "hand-over") and not s.said:
                self._note_forecast(a)
            if step.doing == "hand-over":
                self._hand_over(a)
                break
            self._take(step)
        if not s.said:
            self._note_forecast(a)
        complaint = self._bench.bike.complaint
        s.gone = self._bench.grade(complaint) == self._kb.grades(complaint)[0]
        s.cost = s.spent + self._profile.money(s.minutes)
        return s

    def _assess(self) -> Assessment:
        began = perf_counter()
        a = self._adviser.assess(self._events, self._profile, self._rank)
        self._session.seconds.append(perf_counter() - began)
        stated = {stop.conclusion.rule for stop in a.standing_stops}
        self._session.missed += not stops(self._kb, self._events) <= stated
        return a

    def _note_forecast(self, a: Assessment) -> None:
        there = self._bench.causes
        self._session.said = tuple(c.probability for c in a.causes)
        self._session.so = tuple(c.cause in there for c in a.causes)

    def _take(self, step: Step) -> None:
        s = self._session
        match step.doing:
            case "fix":
                self._fix(step.name)
            case "check":
                s.checks += 1
                self._look("check", step.settles)
            case "fact":
                s.questions += 1
                s.minutes += step.minutes
                self._tell("fact", [self._bench.fact(step.name) or Unsure(about=step.name)])
            case _:
                s.questions += 1
                s.minutes += step.minutes
                self._tell(step.doing, self._bench.look(step.settles))

    def _look(self, doing: str, findings: Iterable[str]) -> None:
        """Look at findings, check by check. After a fix a symptom is tried at no cost of its own: the fix has it."""
        for check, some in groupby(findings, self._kb.settled_by.get):
            if check:
                entry = self._kb.entries.checks[check]
                if self._profile.can(self._kb, entry):
                    self._session.minutes += entry.minutes + self._to_open(entry.access)
                else:
                    self._session.spent += self._profile.hand_over
            self._tell(f"{doing} {check or ''}".strip(), self._bench.look(some))

    def _fix(self, name: str) -> None:
        s, fix = self._session, self._kb.entries.fixes[name]
        price = price_of(self._kb, fix, self._profile)
        s.fixes += 1
        if fix.kind == "hand-over" or not self._profile.can(self._kb, fix):
            s.hand_overs += 1
            s.spent += price
        else:
            parts = PART_WORTH[fix.price]
            s.spent += parts
            s.minutes += (price - parts) / self._profile.money(1) + self._to_open(fix.access)
        self._bench.fix(name)
        self._tell("fix", [FixDone(fix=name)])

    def _to_open(self, access: str | None) -> float:
        return access_minutes(self._kb, access, fold(self._kb, self._events).open)

    def _tell(self, doing: str, events: list[AnyEvent]) -> None:
        self._events += events
        self._session.steps.append(f"{doing} {_all(events)}")

    def _hand_over(self, a: Assessment) -> None:
        """The workshop puts right what the job is about, and bills its work besides the trip."""
        s = self._session
        s.ended = "handed over"
        s.hand_overs += 1
        s.steps.append("hand-over")
        s.spent += self._profile.hand_over + workshop_bill(self._kb, self._bench, a.job, self._profile)


def _all(events: Iterable[AnyEvent]) -> str:
    """Return events as one short line."""
    return ", ".join(_in_short(event) for event in events)


def _in_short(event: AnyEvent) -> str:
    match event:
        case Context(fact=fact, value=value):
            return f"{fact}={value}"
        case Answer(finding=finding, grade=grade):
            return f"{finding}={grade}"
        case Reading(finding=finding, value=number):
            return f"{finding}={number:.4g}"
        case FixDone(fix=fix):
            return fix
        case _:
            return "not sure"
