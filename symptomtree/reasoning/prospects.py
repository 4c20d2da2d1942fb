"""What can be asked or looked at next, and what each of it may turn out in every set of causes drawn."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from symptomtree.kb.compile import Array, KnowledgeBase
from symptomtree.kb.model import Check, Observable, Symptom
from symptomtree.reasoning.belief import Belief
from symptomtree.reasoning.context import facts_in_play, holds, prior_by_value, prior_in_context
from symptomtree.reasoning.costs import FACT_MINUTES, Profile, price_of
from symptomtree.reasoning.decide import distinct
from symptomtree.reasoning.state import State

Bools = NDArray[np.bool_]
Asking = Literal["fact", "ask", "question", "check"]

MOST_OUTCOMES = 32
FLOOR = 1e-12


@dataclass(frozen=True)
class Scene:
    """What a plan is made from.

    Attributes:
        kb: the knowledge.
        state: the events, added up.
        belief: with drawn sets.
        facts: known and implied.
        job: finding -> number of the grade, of what is to be put right.
        relevant: (C,) whether a cause can make anything that was found out of order.
        wanted: (C,) whether a cause can make any of the job.
        implied: findings and facts that need not be asked.
        do_first: checks and fixes that rules put before everything else.
        profile: whose time and money it is.
    """

    kb: KnowledgeBase
    state: State
    belief: Belief
    facts: dict[str, str]
    job: Mapping[str, int]
    relevant: Bools
    wanted: Bools
    implied: frozenset[str]
    do_first: Sequence[str]
    profile: Profile


@dataclass(frozen=True, slots=True)
class Drawn:
    """The distinct sets of relevant causes among those drawn. R relevant causes, N sets.

    Attributes:
        rows: (R,) the relevant causes.
        sets: (N, R) which of them are there.
        active: (N, R) which of those made any of the job; the others may be there, but are not looked for.
        weights: (N,) sum 1.
    """

    rows: NDArray[np.int64]
    sets: Bools
    active: Bools
    weights: Array

    @classmethod
    def of(cls, scene: Scene) -> "Drawn":
        kb, belief, relevant = scene.kb, scene.belief, scene.relevant
        rows = np.flatnonzero(relevant)
        sets = belief.sets(rows)
        active = _active(kb, rows, sets, scene.job)
        both, which = distinct(np.concatenate([sets, active], axis=1))
        weights: Array = np.bincount(which, minlength=len(both)) / len(which)
        return cls(rows, both[:, : len(rows)], both[:, len(rows) :], weights)


def _active(kb: KnowledgeBase, rows: NDArray[np.int64], sets: Bools, job: Mapping[str, int]) -> Bools:
    """Draw which of the causes present made the findings of the job, given that each was made by one at least.

    A mechanism that may not exceed the grade seen reaches it with chance u = 1 - c(x-1)/c(x). The first that does is
    drawn, the later ones go by their own chance; this is the joint distribution given 'at least one'.
    """
    random = np.random.default_rng(len(sets))
    active = np.zeros_like(sets)
    for finding, grade in job.items():
        column = kb.column[finding]
        reach = np.concatenate([kb.reach[rows, column], kb.leak[column][None]])
        lit = 1 - reach[:, grade - 1] / np.maximum(reach[:, grade], FLOOR)
        chance = np.concatenate([sets, np.ones((len(sets), 1), dtype=bool)], axis=1) * lit
        none_before = np.concatenate([np.ones((len(sets), 1)), np.cumprod(1 - chance, axis=1)[:, :-1]], axis=1)
        edges = np.cumsum(none_before * chance, axis=1)
        first = (random.random((len(sets), 1)) * edges[:, -1:] >= edges[:, :-1]).sum(axis=1)
        later = np.arange(len(rows) + 1) > first[:, None]
        made = later & (random.random(chance.shape) < chance)
        made[np.arange(len(sets)), first] = True
        active |= made[:, :-1] & sets
    return active


@dataclass(frozen=True, slots=True)
class Prospect:
    """A step that could tell something: `likelihood` is (O, N), of each outcome under each drawn set."""

    doing: Asking
    name: str
    settles: tuple[str, ...]
    minutes: float
    cost: float
    access: str | None
    likelihood: Array


def prospects(scene: Scene, drawn: Drawn) -> list[Prospect]:
    """List everything that can be asked or looked at, with what it may turn out."""
    kb, profile = scene.kb, scene.profile
    candidates = _candidates(scene)
    chances = _chances(scene, drawn, sorted({f for c in candidates for f in c.findings}))
    doable = [c for c in candidates if c.work is None or c.name in scene.do_first or profile.can(kb, c.work)]
    return [_look(kb, c, chances, profile) for c in doable] + _fact_looks(scene, drawn)


def divides(scene: Scene, fact: str) -> bool:
    """Return whether likely causes need different values of the fact: without it the right questions stay closed."""
    kb = scene.kb
    likely = np.flatnonzero(scene.wanted & (scene.belief.now > 0.05))
    wanted = [values for row in likely if (values := kb.needs[kb.cause_ids[row]].get(fact))]
    return any(not (a & b) for a in wanted for b in wanted)


def bears_on(scene: Scene, fact: str, fix: str) -> bool:
    """Return whether a likely cause that the fix removes needs the fact: work that may not fit the bike can wait."""
    kb = scene.kb
    return any(scene.belief.now[kb.row[c]] > 0.05 and fact in kb.needs[c] for c in kb.fixed_by.get(fix, ()))


@dataclass(frozen=True, slots=True)
class _Candidate:
    doing: Asking
    name: str
    findings: tuple[str, ...]
    """What it would settle that bears on the causes in question."""
    settles: tuple[str, ...]
    """Everything it would settle: whoever looks, looks at it all."""
    work: Check | None
    minutes: float
    outcomes: tuple[tuple[tuple[str, str], ...], ...] = ()
    """For a question: each answer as (finding, grade) pairs."""


def _candidates(scene: Scene) -> list[_Candidate]:
    """List what can be asked or looked at now and could tell anything."""
    kb, state, facts = scene.kb, scene.state, scene.facts
    weighty = scene.wanted & (scene.belief.now > 0.002)
    shown = {kb.finding_ids[f] for f in np.flatnonzero((kb.reach[weighty, :, 0] < 1).any(axis=0))}

    def unasked(finding: str, entry: Symptom | Observable) -> bool:
        return (
            finding not in state.seen
            and finding not in state.unsure
            and finding not in scene.implied
            and holds(entry.applies_to, facts) is True
            and asked(entry.asked_when)
        )

    def asked(when: dict[str, list[str]]) -> bool:
        return not when or any(state.grade(f) in grades for f, grades in when.items())

    out = []
    together: set[str] = set()
    for name, question in kb.entries.questions.items():
        sets = tuple(next(iter(question.answers.values())).sets)
        fit = holds(question.applies_to, facts) is True and asked(question.asked_when) and name not in state.unsure
        if (
            fit
            and any(f in shown and unasked(f, kb.findings[f]) for f in sets)
            and not any(f in state.seen for f in sets)
        ):
            together |= set(sets)
            outcomes = tuple(tuple(answer.sets.items()) for answer in question.answers.values())
            out.append(_Candidate("question", name, sets, sets, None, question.minutes, outcomes))
    for name, symptom in kb.entries.symptoms.items():
        if name not in together and name in shown and unasked(name, symptom):
            out.append(_Candidate("ask", name, (name,), (name,), None, symptom.minutes))
    for name, check in kb.entries.checks.items():
        if shown.isdisjoint(check.settles) and name not in scene.do_first:
            continue
        if name in state.unsure or holds(check.applies_to, facts) is not True or not asked(check.asked_when):
            continue
        settles = tuple(f for f, o in check.settles.items() if unasked(f, o))
        findings = tuple(f for f in settles if f in shown)
        if findings or (settles and name in scene.do_first and not any(f in state.seen for f in check.settles)):
            out.append(_Candidate("check", name, findings or settles, settles, check, check.minutes))
    return out


def _facts(scene: Scene) -> list[str]:
    """List the facts that could be asked and bear on a likely cause."""
    kb, facts = scene.kb, scene.facts
    likely = [kb.cause_ids[r] for r in np.flatnonzero(scene.wanted & (scene.belief.now > 0.005))]
    return [
        f
        for f in facts_in_play(kb, likely)
        if f not in facts
        and f not in scene.implied
        and f not in scene.state.unsure
        and holds(kb.entries.facts[f].applies_to, facts) is not False
    ]


def _chances(scene: Scene, drawn: Drawn, findings: Sequence[str]) -> dict[str, Array]:
    """Return finding -> (N, its grades) P(grade | set), for every drawn set.

    The causes that are not relevant need no sets: given the evidence each goes by its own odds.
    """
    if not findings:
        return {}
    kb = scene.kb
    columns = np.array([kb.column[f] for f in findings])
    others = kb.leak.copy()
    rest = np.where(scene.relevant, 0.0, scene.belief.now)
    rows, linked, lacks = kb.links
    if len(rows):
        first = np.flatnonzero(np.diff(linked, prepend=-1))
        others[linked[first]] *= np.multiply.reduceat(1 - rest[rows, None] * lacks, first)
    others = others[columns]
    logs = np.log(np.maximum(kb.reach[drawn.rows][:, columns], FLOOR))
    flat = drawn.sets.astype(float) @ logs.reshape(len(drawn.rows), len(columns) * kb.leak.shape[1])
    levels = np.exp(flat).reshape(len(drawn.sets), len(columns), kb.leak.shape[1]) * others
    levels[:, :, 1:] -= levels[:, :, :-1].copy()
    levels = np.maximum(levels, 0.0)
    return {f: levels[:, n, : len(kb.grades(f))] for n, f in enumerate(findings)}


def _look(kb: KnowledgeBase, c: _Candidate, chances: dict[str, Array], profile: Profile) -> Prospect:
    """Say what a question or check may turn out."""
    mine = {f: chances[f] for f in c.findings}
    if c.outcomes:
        likelihood = np.array([_together(kb, mine, dict(answer)) for answer in c.outcomes])
        other = np.maximum(
            1 - likelihood.sum(axis=0), 0.0
        )  # what has no answer of its own takes its share all the same
        likelihood = np.concatenate([likelihood, other[None]])
    else:
        likelihood = _joint(list(mine.values()))
    cost = price_of(kb, c.work, profile) if c.work else profile.money(c.minutes)
    return Prospect(c.doing, c.name, c.settles, c.minutes, cost, c.work.access if c.work else None, likelihood)


def _together(kb: KnowledgeBase, chances: dict[str, Array], answer: dict[str, str]) -> Array:
    out: Array = np.prod([table[:, kb.grades(f).index(answer[f])] for f, table in chances.items()], axis=0)
    return out


def _joint(tables: list[Array]) -> Array:
    """Return (O, N) the likelihood of each joint outcome; past a limit the least telling findings are left out."""
    if prod(t.shape[1] for t in tables) > MOST_OUTCOMES:
        tables = sorted(tables, key=lambda t: -float(t.std(axis=0).sum()))
        while prod(t.shape[1] for t in tables) > MOST_OUTCOMES:
            tables = tables[:-1]
    out = tables[0].T
    for table in tables[1:]:
        out = (out[:, None, :] * table.T[None]).reshape(-1, len(table))
    return out


def _fact_looks(scene: Scene, drawn: Drawn) -> list[Prospect]:
    """Say what each fact may turn out: a value would change the priors, and so the weights of the drawn sets."""
    kb, cost = scene.kb, scene.profile.money(FACT_MINUTES)
    base = prior_in_context(kb, scene.facts)[drawn.rows]
    there_now, not_there_now = np.log(np.maximum(base, FLOOR)), np.log1p(-base)
    sets = drawn.sets.astype(float)
    out = []
    for fact, told in prior_by_value(kb, scene.facts, _facts(scene)).items():
        share = kb.entries.facts[fact].share
        then = np.array([told[value][drawn.rows] for value in share])  # (O, R)
        there = np.log(np.maximum(then, FLOOR)) - there_now
        not_there = np.log1p(-then) - not_there_now
        odds = not_there.sum(axis=1, keepdims=True) + (there - not_there) @ sets.T
        likelihood = np.array(list(share.values()))[:, None] * np.exp(odds)
        likelihood /= likelihood.sum(axis=0)
        out.append(Prospect("fact", fact, (), FACT_MINUTES, cost, None, likelihood))
    return out
