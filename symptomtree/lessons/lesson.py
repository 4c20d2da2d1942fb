"""A lesson: a bike whose truth is known, and what comes of everything that a learner can do to it.

A learner's way is a list of events like any other case, so the same `assess` explains it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from symptomtree.cases.model import (
    Answer,
    AnyEvent,
    Case,
    Complaint,
    Context,
    FixDone,
    Known,
    LeftOut,
    Reading,
    Unsure,
)
from symptomtree.kb.compile import KnowledgeBase, probability
from symptomtree.kb.model import Check, Fix, Observable
from symptomtree.reasoning.context import holds, settled_here
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.state import State, fold, in_force
from symptomtree.reasoning.words import Matcher
from symptomtree.trials.bikes import WHICH_END, Bench, Bike, interval
from symptomtree.trials.known import workshop_bill

Difficulty = Literal["first", "steady", "tricky"]
DIFFICULTIES: tuple[Difficulty, ...] = ("first", "steady", "tricky")
LIKELY = 0.5
"""What a story does not tell of, a cause has pushed out of normal when it does so at least this often."""


class NoLesson(Exception):
    """A case from which no lesson can be made, or no lesson that was asked for; the message says why."""


@dataclass(frozen=True)
class Lesson:
    """A bike with a known fault.

    Attributes:
        name: the stem of the walkthrough's file, or `drawn-NUMBER`.
        title: what it is listed as; it gives nothing away.
        opening: what is told at the start: the complaint, what the rider says and what one sees of the bike.
        bike: the truth.
        readings: finding -> number that the gauge shows while the finding is as it came in.
        cause: the answer.
        accepted: all answers that count as right.
        story: how it was, told at the end.
        difficulty: first, steady or tricky.
        area: the largest part of the bike in which the complaint is felt.
    """

    name: str
    title: str
    opening: tuple[AnyEvent, ...]
    bike: Bike
    readings: Mapping[str, float]
    cause: str
    accepted: frozenset[str]
    story: str
    difficulty: Difficulty
    area: str


def area_of(kb: KnowledgeBase, part: str) -> str:
    """Return the largest part around a part that is not the whole bike."""
    while (around := kb.entries.parts[part].inside) and kb.entries.parts[around].inside:
        part = around
    return part


# --- from a walkthrough ------------------------------------------------------------------------------------------


def from_case(kb: KnowledgeBase, matcher: Matcher, name: str, case: Case) -> Lesson:
    """Make a lesson from a walkthrough.

    What its events tell is true of the bike, up to the fix that cured it. A finding that they do not mention is pushed
    as far as its cause pushes it at least every second time, else it is normal. A fact that they do not mention has
    the likeliest value with which the cause and what was found can be.

    Args:
        kb: what the case was checked against.
        matcher: reads the rider's words.
        name: what the lesson is called.
        case: with `known`.

    Raises:
        NoLesson: the case has no known cause, or no symptom that this cause makes.
    """
    known = case.known
    if known is None:
        raise NoLesson(f"{name}: nothing says what was wrong with this bike, so it is no lesson; add 'known'")
    before = list(_before_cure(case, known))
    found = fold(kb, before)
    causes = _causes(kb, known, found)
    facts = _facts(kb, found, causes)
    levels = _levels(kb, found, facts, causes)
    told = _told(kb, matcher, before, found)
    opening = tuple(_opening(kb, before, told, levels))
    complaint = next((e.finding for e in opening if isinstance(e, Answer) and e.complaint), None)
    if complaint is None:
        raise NoLesson(f"{name}: no symptom in it is made by {known.cause!r}, so its rider has nothing to complain of")
    places = np.full(len(kb.finding_ids), 0.5)
    rows = np.array([kb.row[c] for c in causes], dtype=np.int64)
    bike = Bike(facts, rows, levels, places, complaint, _luck(kb, causes))
    return Lesson(
        name,
        case.title,
        opening,
        bike,
        {f: looks[-1].value for f, looks in found.seen.items() if looks[-1].value is not None},
        known.cause,
        frozenset({known.cause, *known.also_accept, *causes}),
        known.story or "",
        known.difficulty,
        area_of(kb, kb.entries.symptoms[complaint].part),
    )


def _before_cure(case: Case, known: Known) -> Iterator[AnyEvent]:
    for _, event in in_force(case.events):
        if isinstance(event, FixDone) and event.fix == known.fix:
            return
        yield event


def _causes(kb: KnowledgeBase, known: Known, found: State) -> list[str]:
    """Return the known cause, and of those an expert would also take what is needed for everything that was found."""
    causes = [known.cause]
    for finding, looks in found.seen.items():
        level = kb.grades(finding).index(looks[-1].grade)
        if level and not any(_can(kb, c, finding, level) for c in causes):
            causes += [c for c in known.also_accept if _can(kb, c, finding, level)][:1]
    return causes


def _can(kb: KnowledgeBase, cause: str, finding: str, level: int) -> bool:
    return bool(kb.reach[kb.row[cause], kb.column[finding], level - 1] < 1)


def _facts(kb: KnowledgeBase, found: State, causes: Sequence[str]) -> dict[str, str]:
    """Return the value of each fact that applies: as told, else the likeliest that goes with causes and findings."""
    facts = {name: value for name, (value, _) in found.facts.items()}
    needs: list[Mapping[str, object]] = [
        *(kb.needs[c] for c in causes),
        *(kb.findings[f].applies_to for f in found.seen),
        *(kb.entries.facts[f].applies_to for f in found.facts),
    ]
    left = {name: fact for name, fact in kb.entries.facts.items() if name not in facts}
    while ready := [name for name, fact in left.items() if holds(fact.applies_to, facts)]:
        for name in ready:
            share = left.pop(name).share
            can_be = [v for v in share if all(v in n.get(name, share) for n in needs)]  # type: ignore[operator]
            facts[name] = max(can_be or share, key=lambda v: share[v])
    return facts


def _levels(kb: KnowledgeBase, found: State, facts: Mapping[str, str], causes: Sequence[str]) -> NDArray[np.int64]:
    """Return (K + 1, F) the level to which each cause, and last what no cause explains, pushes each finding."""
    levels = np.zeros((len(causes) + 1, len(kb.finding_ids)), dtype=np.int64)
    for column, finding in enumerate(kb.finding_ids):
        if finding in found.seen:
            level = kb.grades(finding).index(found.seen[finding][-1].grade)
            maker = next((n for n, c in enumerate(causes) if level and _can(kb, c, finding, level)), len(causes))
            levels[maker, column] = level
        elif holds(kb.findings[finding].applies_to, facts) is not False:
            reach = kb.reach[[kb.row[c] for c in causes], column]
            levels[:-1, column] = (1 - reach >= LIKELY).sum(axis=1)
    return levels


def _told(kb: KnowledgeBase, matcher: Matcher, events: Sequence[AnyEvent], found: State) -> set[str]:
    """Return the symptoms and facts that are told at the start.

    Everything that the complaint's own words mean, symptoms that stand for themselves, what one sees of the bike, and
    what is unusual in its history or the conditions. The rest is the learner's to find out.
    """
    meant = {(c.name, c.value) for e in events if isinstance(e, Complaint) for c in matcher.candidates(e.text)}
    told = set()
    for name, looks in found.seen.items():
        symptom = kb.entries.symptoms.get(name)
        if symptom and (
            (name, looks[0].grade) in meant or (looks[0].grade != kb.grades(name)[0] and not symptom.asked_when)
        ):
            told.add(name)
    for name, (value, _) in found.facts.items():
        fact = kb.entries.facts[name]
        seen = fact.about == "bike" or name == WHICH_END
        if seen or (name, value) in meant or value != next(iter(fact.values)):
            told.add(name)
    return told


def _opening(
    kb: KnowledgeBase, events: Sequence[AnyEvent], told: set[str], levels: NDArray[np.int64]
) -> Iterator[AnyEvent]:
    """Yield what is told of a case's events; the rider wants put right what the causes make."""
    for event in events:
        match event:
            case Complaint() | FixDone():
                yield event
            case Context(fact=fact) if fact in told:
                yield event
            case Answer(finding=finding) if finding in told:
                made = bool((levels[:-1, kb.column[finding]] > 0).any())
                yield msgspec.structs.replace(event, complaint=made and event.grade != kb.grades(finding)[0])
            case _:
                pass


def _luck(kb: KnowledgeBase, causes: Sequence[str]) -> int:
    """Return the first luck with which every fix of these causes works at once: chance would teach nothing here."""
    least = {kb.row[c]: min(probability(kb.entries.fixes[f].works) for f in kb.entries.causes[c].fixes) for c in causes}
    return next(n for n in count() if all(np.random.default_rng([n, 1, row]).random() < p for row, p in least.items()))


def can_be(kb: KnowledgeBase, facts: Mapping[str, str], cause: str) -> bool:
    """Return whether a cause can be on a bike of these facts; a fact that it lacks rules nothing out."""
    return all(f not in facts or facts[f] in values for f, values in kb.needs[cause].items())


# --- what a learner does -----------------------------------------------------------------------------------------

Doing = Literal["fact", "ask", "question", "check", "fix", "hand-over", "leave-out"]


@dataclass(frozen=True, slots=True)
class Action:
    """Something done to a lesson's bike.

    Attributes:
        doing: ask the rider (a fact, a symptom, or a question about several), check, fix, hand over to a workshop, or
            leave out what does not fit together.
        name: id of what is asked, checked or done; empty for a hand-over.
    """

    doing: Doing
    name: str = ""


@dataclass(frozen=True, slots=True)
class Move:
    """What came of an action.

    Attributes:
        events: what is known or done from now on.
        minutes: of work, access included; what is open already costs nothing.
        spent: on parts and workshops, in money.
    """

    action: Action
    events: tuple[AnyEvent, ...]
    minutes: float
    spent: float


def act(kb: KnowledgeBase, profile: Profile, lesson: Lesson, taken: Sequence[AnyEvent], action: Action) -> Move:
    """Return what comes of an action.

    Args:
        kb: the knowledge that the lesson was made from.
        profile: whose time and money it is; work that they cannot do costs a hand-over.
        lesson: the bike.
        taken: all events so far, the opening included.
        action: one that `choices` offers.
    """
    bench = bench_after(kb, lesson, taken)
    if action.doing == "hand-over":
        bill = workshop_bill(kb, bench, sorted(fold(kb, taken).complaint), profile)
        return Move(action, (), 0.0, profile.hand_over + bill)
    events = tuple(_shown(kb, lesson, bench, e) for e in _events(kb, lesson, bench, taken, action))
    before, after = fold(kb, taken), fold(kb, (*taken, *events))
    minutes, spent = after.minutes - before.minutes, after.parts - before.parts
    work = work_of(kb, action)
    if work and (not profile.can(kb, work) or (isinstance(work, Fix) and work.kind == "hand-over")):
        minutes, spent = 0.0, spent + profile.hand_over
    return Move(action, events, minutes, spent)


def work_of(kb: KnowledgeBase, action: Action) -> Check | Fix | None:
    """Return the check or fix that an action is, None for others."""
    if action.doing == "fix":
        return kb.entries.fixes[action.name]
    return kb.entries.checks[action.name] if action.doing == "check" else None


def bench_after(kb: KnowledgeBase, lesson: Lesson, taken: Sequence[AnyEvent]) -> Bench:
    """Return the bike as it is after these events, the opening included."""
    bench = Bench(kb, lesson.bike)
    for event in taken[len(lesson.opening) :]:
        if isinstance(event, FixDone):
            bench.fix(event.fix)
    return bench


def _events(
    kb: KnowledgeBase, lesson: Lesson, bench: Bench, taken: Sequence[AnyEvent], action: Action
) -> list[AnyEvent]:
    name = action.name
    match action.doing:
        case "fix":
            return [FixDone(fix=name)]
        case "leave-out":
            return [LeftOut(about=name)]
        case "fact":
            return [bench.fact(name) or Unsure(about=name)]
        case "ask":
            return bench.look([name])
        case "question":
            return bench.look(next(iter(kb.entries.questions[name].answers.values())).sets)
        case _:
            return list(_check(kb, lesson, bench, taken, name))


def _check(kb: KnowledgeBase, lesson: Lesson, bench: Bench, taken: Sequence[AnyEvent], name: str) -> Iterator[AnyEvent]:
    """Yield what a check shows; whoever looks also sees what decides whether the bike has it, and which findings."""
    state, truth = fold(kb, taken), lesson.bike.facts
    known = {fact: value for fact, (value, _) in state.facts.items()}
    check = kb.entries.checks[name]
    conditions = [check.applies_to, *(o.applies_to for o in check.settles.values())]
    needs = dict.fromkeys(f for needed in conditions if holds(needed, known) is None for f in needed)
    yield from (Context(fact=f, value=truth[f]) for f in needs if f in truth and f not in known)
    here = settled_here(kb, name, truth)
    yield from bench.look(f for f in here if f in state.seen or asked(kb.findings[f].asked_when, state))


def asked(when: Mapping[str, Sequence[str]], state: State) -> bool:
    """Return whether something can be asked yet."""
    return not when or any(state.grade(f) in grades for f, grades in when.items())


def _shown(kb: KnowledgeBase, lesson: Lesson, bench: Bench, event: AnyEvent) -> AnyEvent:
    """Let the gauge show the story's number while the bike is as it came in."""
    if isinstance(event, Reading) and event.finding in lesson.readings:
        known = kb.findings[event.finding]
        assert isinstance(known, Observable)
        assert known.reading
        value = lesson.readings[event.finding]
        least, greatest = interval(known.reading, kb.grades(event.finding), bench.grade(event.finding))
        if least <= value <= greatest:
            return msgspec.structs.replace(event, value=value)
    return event
