"""What the events come to: facts told, findings looked at (and when), fixes done. A fold, nothing else."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from symptomtree.cases.files import corrected_event
from symptomtree.cases.model import Answer, AnyEvent, Context, Correction, FixDone, LeftOut, Opened, Reading, Unsure
from symptomtree.kb.compile import KnowledgeBase, grade_of, probability, reading_weights
from symptomtree.kb.model import Observable
from symptomtree.reasoning.costs import FACT_MINUTES, PART_WORTH, RETEST_MINUTES, access_minutes, access_path
from symptomtree.reasoning.evidence import Look, Observed, Repair
from symptomtree.reasoning.rules import Told


@dataclass(frozen=True, slots=True)
class Seen:
    """One look at a finding.

    Attributes:
        at: number of the event, from 1.
        after: how many fixes had been done.
        grade: the grade seen, or that the reading's number falls in.
        value, error: of a reading.
        sure: of an answer, see there.
    """

    at: int
    after: int
    grade: str
    value: float | None = None
    error: float | None = None
    sure: float = 1.0


@dataclass(frozen=True, slots=True)
class Worsened:
    """A finding that was worse after a fix than before it: a new fault, or one of the answers is wrong."""

    finding: str
    before: Seen
    after: Seen


@dataclass(frozen=True)
class State:
    """The events, added up.

    Attributes:
        facts: fact -> (value, number of the event).
        seen: finding -> its looks, oldest first, the last of each stretch between fixes.
        fixes: (fix, number of the event), in order.
        unsure: what the person could not tell.
        complaint: the findings that the rider wants put right.
        left_out: what the person does not want now (see `LeftOut`).
        worsened: findings that got worse over a fix; their earlier looks count no more.
        told: everything as the rule engine wants it, superseded looks included.
        current: the items of `told` that still stand.
        open: access states that are open now: the last check or fix opened them, and nothing has closed them since.
        minutes: that all of it takes by the knowledge, access and retests included; what the rider told costs nothing.
        parts: worth of the parts used, in money.
    """

    facts: Mapping[str, tuple[str, int]]
    seen: Mapping[str, tuple[Seen, ...]]
    fixes: tuple[tuple[str, int], ...]
    unsure: frozenset[str]
    complaint: frozenset[str]
    left_out: frozenset[str]
    worsened: tuple[Worsened, ...]
    told: tuple[Told, ...]
    current: frozenset[Told]
    open: frozenset[str]
    minutes: float
    parts: float

    def grade(self, finding: str) -> str | None:
        """Return the grade last seen, None when it was not looked at."""
        looks = self.seen.get(finding)
        return looks[-1].grade if looks else None

    @cached_property
    def times(self) -> Mapping[str, int]:
        """Return how often each fix was done."""
        return Counter(name for name, _ in self.fixes)


def in_force(events: Sequence[AnyEvent]) -> list[tuple[int, AnyEvent]]:
    """Return (number, event) of everything that still counts, corrections applied.

    A correction can itself be corrected, so they are settled from the last to the first.
    """
    corrections: dict[int, Correction] = {}
    void: set[int] = set()
    for number in range(len(events), 0, -1):
        event = events[number - 1]
        if isinstance(event, Correction) and number not in void:
            if isinstance(events[event.number - 1], Correction):
                void.add(event.number)
            else:
                corrections.setdefault(event.number, event)
    out = []
    for number, event in enumerate(events, start=1):
        if isinstance(event, Correction):
            continue
        kept = corrected_event(event, corrections[number]) if number in corrections else event
        if kept is not None:
            out.append((number, kept))
    return out


def fold(kb: KnowledgeBase, events: Sequence[AnyEvent]) -> State:
    """Add the events up.

    Args:
        kb: the knowledge.
        events: checked against it (`cases.files.event_problems`).
    """
    facts: dict[str, tuple[str, int]] = {}
    seen: dict[str, list[Seen]] = {}
    fixes: list[tuple[str, int]] = []
    unsure: set[str] = set()
    complaint: set[str] = set()
    left_out: set[str] = set()
    worsened: list[Worsened] = []
    past: list[Told] = []
    open_: frozenset[str] = frozenset()
    minutes = parts = 0.0
    looking: tuple[str, int] | None = None  # what is being looked at or asked, and after how many fixes
    for number, event in in_force(events):
        if isinstance(event, (Answer, Reading)):
            before, looking = looking, (_asked_by(kb, event.finding), len(fixes))
            if looking != before and not event.complaint:
                minutes += _look_minutes(kb, event.finding, open_, again=bool(fixes) and event.finding in seen)
        match event:
            case Context(fact=fact, value=value):
                facts[fact] = (value, number)
                minutes += FACT_MINUTES
                unsure.discard(fact)
            case Answer(finding=finding, grade=grade, complaint=came_with, sure=sure):
                complaint |= {finding} if came_with else set()
                open_ = _after_look(kb, open_, finding, bool(fixes) and finding in seen)
                _look(kb, seen, past, worsened, finding, Seen(number, len(fixes), grade, sure=sure))
                unsure.discard(finding)
            case Reading(finding=finding, value=number_read, error=error, complaint=came_with):
                complaint |= {finding} if came_with else set()
                observable = kb.findings[finding]
                assert isinstance(observable, Observable)
                assert observable.reading
                grade = grade_of(observable.reading, list(observable.grades), number_read)
                open_ = _after_look(kb, open_, finding, False)
                look = Seen(number, len(fixes), grade, number_read, error)
                _look(kb, seen, past, worsened, finding, look)
                unsure.discard(finding)
            case Unsure(about=about):
                unsure.add(about)
            case FixDone(fix=fix):
                fixes.append((fix, number))
                left_out.discard(fix)
                done = kb.entries.fixes[fix]
                minutes += done.minutes + RETEST_MINUTES + access_minutes(kb, done.access, open_)
                parts += PART_WORTH[done.price]
                open_ = _opened(kb, open_, kb.entries.fixes[fix].access)
            case LeftOut(about=about):
                left_out.add(about)
            case Opened(access=access):
                open_ = _opened(kb, frozenset(), access)
            case _:
                pass
    current = [Told(at, "fact", fact, value) for fact, (value, at) in facts.items()]
    current += [told for finding, looks in seen.items() for told in _told(finding, looks[-1])]
    current += [Told(at, "done", fix) for fix, at in fixes]
    return State(
        facts,
        {finding: tuple(looks) for finding, looks in seen.items()},
        tuple(fixes),
        frozenset(unsure),
        frozenset(complaint),
        frozenset(left_out),
        tuple(worsened),
        tuple(sorted({*past, *current}, key=lambda t: (t.at, t.kind, t.name))),
        frozenset(current),
        open_,
        minutes,
        parts,
    )


def _asked_by(kb: KnowledgeBase, finding: str) -> str:
    """Return the check or question that tells of a finding, or the finding itself."""
    return kb.settled_by.get(finding) or kb.set_by.get(finding, finding)


def _look_minutes(kb: KnowledgeBase, finding: str, open_: frozenset[str], again: bool) -> float:
    """Return the minutes of a look; a symptom tried again after a fix is part of the fix's retest."""
    name = _asked_by(kb, finding)
    if check := kb.entries.checks.get(name):
        return check.minutes + access_minutes(kb, check.access, open_)
    if again:
        return 0.0
    entry = kb.entries.questions.get(name) or kb.entries.symptoms[finding]
    return entry.minutes


def _opened(kb: KnowledgeBase, open_: frozenset[str], access: str | None) -> frozenset[str]:
    """Open a state with all around it. States side by side are not open together, but those on the way are shared."""
    path = access_path(kb, access)
    return frozenset(path) if path and not set(path) <= open_ else open_


def _after_look(kb: KnowledgeBase, open_: frozenset[str], finding: str, again: bool) -> frozenset[str]:
    """A check opens what it needs; a rider's symptom tried again after a fix means the bike is together again."""
    check = kb.settled_by.get(finding)
    if check:
        return _opened(kb, open_, kb.entries.checks[check].access)
    return frozenset() if again else open_


def _look(
    kb: KnowledgeBase,
    seen: dict[str, list[Seen]],
    past: list[Told],
    worsened: list[Worsened],
    finding: str,
    look: Seen,
) -> None:
    looks = seen.setdefault(finding, [])
    if looks and looks[-1].after == look.after:  # the later answer corrects the earlier
        looks[-1] = look
    elif looks:
        past += _told(finding, looks[-1])
        grades = kb.grades(finding)
        if grades.index(look.grade) > grades.index(looks[-1].grade):
            worsened.append(Worsened(finding, looks[-1], look))
            looks.clear()
        looks.append(look)
    else:
        looks.append(look)


def _told(finding: str, look: Seen) -> list[Told]:
    out = [Told(look.at, "finding", finding, look.grade)]
    if look.value is not None:
        out.append(Told(look.at, "reading", finding, look.value))
    return out


def evidence(kb: KnowledgeBase, state: State) -> list[Observed]:
    """Return the looks as belief wants them, sorted by finding."""
    return [
        Observed(
            kb.column[finding], tuple(Look(look.after, weights(kb, finding, look)) for look in state.seen[finding])
        )
        for finding in sorted(state.seen)
    ]


def weights(kb: KnowledgeBase, finding: str, look: Seen) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return (G,) how likely the look is in each true grade."""
    most = kb.leak.shape[1]
    known = kb.findings[finding]
    if look.value is not None and isinstance(known, Observable) and known.reading:
        return reading_weights(known.reading, list(known.grades), look.value, look.error, most)
    grades = kb.grades(finding)
    out = np.zeros(most)
    out[: len(grades)] = (1.0 - look.sure) / (len(grades) - 1)
    out[grades.index(look.grade)] = look.sure
    return out


def repairs(kb: KnowledgeBase, state: State) -> list[Repair]:
    """Return the fixes done, as belief wants them."""
    return [
        Repair(n, tuple(kb.row[c] for c in kb.fixed_by[fix]), probability(kb.entries.fixes[fix].works))
        for n, (fix, _) in enumerate(state.fixes, start=1)
    ]
