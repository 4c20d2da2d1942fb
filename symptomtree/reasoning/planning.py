"""The bike's side of planning: which steps there are, what they cost, and what they may turn out.

The sets of causes drawn from the posterior become scenarios, the knowledge's questions, checks, fixes and access states
become the numbers of a `decide.Problem`, and the choices made there come back as steps with names.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from symptomtree.kb.compile import Array, KnowledgeBase, probability
from symptomtree.kb.model import Check, Observable, Symptom
from symptomtree.reasoning import decide
from symptomtree.reasoning.belief import Belief
from symptomtree.reasoning.context import facts_in_play, holds, prior_in_context
from symptomtree.reasoning.costs import Profile, access_minutes, access_path, minutes_of, price_of
from symptomtree.reasoning.decide import distinct
from symptomtree.reasoning.state import State

Bools = NDArray[np.bool_]
Doing = Literal["fact", "ask", "question", "check", "fix", "hand-over"]
Rank = Callable[[decide.Problem, decide.Standing, Sequence[str]], list[decide.Choice]]
"""From a problem, where it stands and the names of its fixes to its steps, best first."""

MOST_OUTCOMES = 32
FLOOR = 1e-12
FACT_MINUTES = 0.2


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do next.

    Attributes:
        doing: which kind of step.
        name: id of the fact, symptom, question, check or fix; empty for a hand-over.
        settles: the findings it would settle.
        minutes: of the step itself, getting there included.
        cost: of the step itself, in money.
        total: expected cost to a fixed bike when it is taken next, in money.
        tells: the causes between which it tells most: (cause, least, greatest probability over its outcomes).
    """

    doing: Doing
    name: str
    settles: tuple[str, ...]
    minutes: float
    cost: float
    total: float
    tells: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class FixRank:
    """A fix, how likely it is needed, and the causes it would remove (likeliest first)."""

    fix: str
    needed: float
    cost: float
    minutes: float
    causes: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Everything the planner says.

    Attributes:
        steps: all candidates, lowest expected total first.
        fixes: in the order in which they would be tried if nothing more were asked.
        expected: expected cost to a fixed bike with fixes alone, in money.
    """

    steps: tuple[Step, ...]
    fixes: tuple[FixRank, ...]
    expected: float


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The distinct sets of relevant causes among those drawn. R relevant causes, N sets.

    Attributes:
        rows: (R,) the relevant causes.
        sets: (N, R) which of them are there.
        active: (N, R) which of those made anything of what was found; the others may be there, but are no part of the
            complaint.
        weights: (N,) sum 1.
        others: (F, G) P(finding <= grade) that the leak and all other causes leave; they need no sets, since given the
            evidence each goes by its own odds.
    """

    rows: NDArray[np.int64]
    sets: Bools
    active: Bools
    weights: Array
    others: Array

    @classmethod
    def of(cls, kb: KnowledgeBase, belief: Belief, relevant: Bools, abnormal: Mapping[str, int]) -> "_Drawn":
        rows = np.flatnonzero(relevant)
        sets = belief.sets[:, rows]
        active = _active(kb, rows, sets, abnormal)
        both, which = distinct(np.concatenate([sets, active], axis=1))
        rest = np.flatnonzero(~relevant & (belief.now > 1e-6))
        p = belief.now[rest][:, None, None]
        others = kb.leak * np.prod(1 - p + p * kb.reach[rest], axis=0)
        weights: Array = np.bincount(which, weights=belief.weights, minlength=len(both)).astype(float)
        return cls(rows, both[:, : len(rows)], both[:, len(rows) :], weights, others)


def _active(kb: KnowledgeBase, rows: NDArray[np.int64], sets: Bools, abnormal: Mapping[str, int]) -> Bools:
    """Draw which of the causes present made the abnormal findings, given that each was made by one at least.

    A mechanism that may not exceed the grade seen reaches it with chance u = 1 - c(x-1)/c(x). The first that does is
    drawn, the later ones go by their own chance; this is the joint distribution given 'at least one'.
    """
    random = np.random.default_rng(len(sets))
    active = np.zeros_like(sets)
    for finding, grade in abnormal.items():
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


def cheapest_way(problem: decide.Problem, at: decide.Standing, _: Sequence[str]) -> list[decide.Choice]:
    """Rank by expected cost to a fixed bike."""
    return decide.choices(problem, at)


def make_plan(
    kb: KnowledgeBase,
    state: State,
    belief: Belief,
    facts: dict[str, str],
    relevant: Bools,
    implied: frozenset[str],
    profile: Profile,
    do_first: Sequence[str] = (),
    rank: Rank = cheapest_way,
) -> Plan:
    """Rank every step that could come next.

    Args:
        belief: with drawn sets.
        facts: known and implied.
        relevant: (C,) whether a cause can make any abnormal finding of this case.
        implied: findings and facts that need not be asked.
        do_first: checks and fixes that rules put before everything else.
        rank: what is best; trials put other ways beside the planner's own.
    """
    abnormal = {f: grade for f in state.seen if (grade := kb.grades(f).index(state.grade(f) or "")) > 0}
    drawn = _Drawn.of(kb, belief, relevant, abnormal)
    done = frozenset(fix for fix, _ in state.fixes)
    fixes, need = _fixes(kb, drawn, done)
    prospects = _prospects(kb, state, facts, implied, relevant, belief, do_first, drawn, profile)
    problem, at = _problem(kb, state, fixes, need, prospects, drawn, profile)
    expected, order = decide.ecr(problem, at.weights[None], at.open[None], at.done)
    needed = at.weights @ problem.need
    steps = [_step(kb, c, prospects, fixes, drawn, profile, state.open) for c in rank(problem, at, fixes)]
    for name in do_first:
        if name in kb.entries.fixes and name not in done and all(s.name != name for s in steps):
            fix = kb.entries.fixes[name]
            cost = price_of(kb, fix, profile)
            steps.append(Step("fix", name, (), minutes_of(kb, fix, state.open), cost, cost + float(expected[0])))
    turn = {name: n for n, name in enumerate(do_first)}  # safety before cost
    first = {p.name for p in prospects if p.doing == "fact" and _divides(kb, p.name, relevant, belief)}
    steps.sort(key=lambda s: (turn.get(s.name, len(turn)), s.name not in first))  # stable: else as ranked
    ranks = tuple(_rank(kb, belief, fixes[j], float(needed[j]), profile, state.open) for j in order[0])
    return Plan(tuple(steps), ranks, float(expected[0]))


def _fixes(kb: KnowledgeBase, drawn: _Drawn, done: frozenset[str]) -> tuple[list[str], Bools]:
    """Return the fixes in question (each cause's best that was not done yet), and (N, J) which sets need which."""
    first: dict[str, list[int]] = {}
    for n in np.flatnonzero(drawn.active.any(axis=0)):
        left = [f for f in kb.entries.causes[kb.cause_ids[drawn.rows[n]]].fixes if f not in done]
        if left:
            first.setdefault(left[0], []).append(int(n))
    fixes = sorted(first)
    need = np.zeros((len(drawn.sets), len(fixes)), dtype=bool)
    for j, fix in enumerate(fixes):
        need[:, j] = drawn.active[:, first[fix]].any(axis=1)
    return fixes, need


def _problem(
    kb: KnowledgeBase,
    state: State,
    fixes: list[str],
    need: Bools,
    prospects: Sequence["_Prospect"],
    drawn: _Drawn,
    profile: Profile,
) -> tuple[decide.Problem, decide.Standing]:
    """Take the bike out: what is left is numbers."""
    entries = [kb.entries.fixes[f] for f in fixes]
    ways = [e.access if e.kind != "hand-over" and profile.can(kb, e) else None for e in entries]
    wanted = {a for way in (*ways, *(p.access for p in prospects)) for a in access_path(kb, way)}
    access = sorted(wanted, key=lambda a: (len(access_path(kb, a)), a))  # a state stands after the one around it
    number: dict[str | None, int] = {None: -1, **{a: n for n, a in enumerate(access)}}
    states = [kb.entries.access[a] for a in access]
    problem = decide.Problem(
        need=need,
        fix_cost=np.array([price_of(kb, e, profile) for e in entries]),
        fix_access=np.array([number[way] for way in ways], dtype=np.int64),
        fix_fails=np.array([(1 - probability(e.works)) * profile.hand_over for e in entries]),
        looks=tuple(decide.Look(p.cost, number[p.access], p.likelihood) for p in prospects),
        parent=np.array([number[s.inside] for s in states], dtype=np.int64),
        opening=np.array([profile.money(s.open + s.close) for s in states]),
        trip=profile.hand_over,
    )
    return problem, decide.start(problem, drawn.weights, np.array([a in state.open for a in access], dtype=bool))


def _rank(
    kb: KnowledgeBase, belief: Belief, fix: str, needed: float, profile: Profile, open_: frozenset[str]
) -> FixRank:
    entry = kb.entries.fixes[fix]
    causes = sorted(kb.fixed_by[fix], key=lambda c: -belief.now[kb.row[c]])
    likely = tuple(c for c in causes if belief.now[kb.row[c]] > 0.005)
    cost = price_of(kb, entry, profile) + profile.money(access_minutes(kb, entry.access, open_))
    return FixRank(fix, needed, cost, minutes_of(kb, entry, open_), likely)


def _step(
    kb: KnowledgeBase,
    choice: decide.Choice,
    prospects: Sequence["_Prospect"],
    fixes: list[str],
    drawn: _Drawn,
    profile: Profile,
    open_: frozenset[str],
) -> Step:
    """Put a choice back into words."""
    if choice.kind == "fix":
        name = fixes[choice.index]
        return Step("fix", name, (), minutes_of(kb, kb.entries.fixes[name], open_), choice.cost, choice.total)
    if choice.kind == "hand-over":
        return Step("hand-over", "", (), 0.0, choice.cost, choice.total)
    p = prospects[choice.index]
    joint = p.likelihood * drawn.weights
    chance = joint.sum(axis=1)
    joint, chance = joint[chance > 1e-6], chance[chance > 1e-6]
    then = joint @ drawn.sets / chance[:, None]
    spread = chance @ (then - chance @ then) ** 2
    top = [int(r) for r in np.argsort(-spread, kind="stable")[:3] if spread[r] > 1e-4]
    tells = tuple((kb.cause_ids[drawn.rows[r]], float(then[:, r].min()), float(then[:, r].max())) for r in top)
    minutes = p.minutes + access_minutes(kb, p.access, open_)
    return Step(p.doing, p.name, p.settles, minutes, choice.cost, choice.total, tells)


@dataclass(frozen=True, slots=True)
class _Candidate:
    doing: Doing
    name: str
    findings: tuple[str, ...]
    """What it would settle that bears on the causes in question."""
    settles: tuple[str, ...]
    """Everything it would settle: whoever looks, looks at it all."""
    work: Check | None
    minutes: float
    outcomes: tuple[tuple[tuple[str, str], ...], ...] = ()
    """For a question: each answer as (finding, grade) pairs."""


def _candidates(
    kb: KnowledgeBase,
    state: State,
    facts: dict[str, str],
    implied: frozenset[str],
    relevant: Bools,
    belief: Belief,
    do_first: Sequence[str],
) -> list[_Candidate]:
    """List what can be asked or looked at now and could tell anything."""
    weighty = relevant & (belief.now > 0.002)
    shown = np.asarray((kb.reach[weighty] < 1).any(axis=(0, 2)))

    def unasked(finding: str, entry: Symptom | Observable) -> bool:
        return (
            finding not in state.seen
            and finding not in state.unsure
            and finding not in implied
            and holds(entry.applies_to, facts) is True
            and asked(entry.asked_when)
        )

    def tells(finding: str) -> bool:
        return bool(shown[kb.column[finding]])

    def asked(when: dict[str, list[str]]) -> bool:
        return not when or any(state.grade(f) in grades for f, grades in when.items())

    out = []
    together: set[str] = set()
    for name, question in kb.entries.questions.items():
        sets = tuple(next(iter(question.answers.values())).sets)
        fit = holds(question.applies_to, facts) is True and asked(question.asked_when) and name not in state.unsure
        if (
            fit
            and any(tells(f) and unasked(f, kb.findings[f]) for f in sets)
            and not any(f in state.seen for f in sets)
        ):
            together |= set(sets)
            outcomes = tuple(tuple(answer.sets.items()) for answer in question.answers.values())
            out.append(_Candidate("question", name, sets, sets, None, question.minutes, outcomes))
    for name, symptom in kb.entries.symptoms.items():
        if name not in together and tells(name) and unasked(name, symptom):
            out.append(_Candidate("ask", name, (name,), (name,), None, symptom.minutes))
    for name, check in kb.entries.checks.items():
        if name in state.unsure or holds(check.applies_to, facts) is not True or not asked(check.asked_when):
            continue
        settles = tuple(f for f, o in check.settles.items() if unasked(f, o))
        findings = tuple(f for f in settles if tells(f))
        if findings or (settles and name in do_first and not any(f in state.seen for f in check.settles)):
            out.append(_Candidate("check", name, findings or settles, settles, check, check.minutes))
    return out


def _facts(
    kb: KnowledgeBase,
    state: State,
    facts: dict[str, str],
    implied: frozenset[str],
    relevant: Bools,
    belief: Belief,
) -> list[str]:
    likely = [kb.cause_ids[r] for r in np.flatnonzero(relevant & (belief.now > 0.005))]
    return [
        f
        for f in facts_in_play(kb, likely)
        if f not in facts
        and f not in implied
        and f not in state.unsure
        and holds(kb.entries.facts[f].applies_to, facts) is not False
    ]


def _divides(kb: KnowledgeBase, fact: str, relevant: Bools, belief: Belief) -> bool:
    """Return whether likely causes need different values of the fact: without it the right questions stay closed."""
    likely = np.flatnonzero(relevant & (belief.now > 0.05))
    wanted = [values for row in likely if (values := kb.needs[kb.cause_ids[row]].get(fact))]
    return any(not (a & b) for a in wanted for b in wanted)


def _chances(kb: KnowledgeBase, drawn: _Drawn, findings: Sequence[str]) -> dict[str, Array]:
    """Return finding -> (N, its grades) P(grade | set), for every drawn set."""
    if not findings:
        return {}
    columns = [kb.column[f] for f in findings]
    logs = np.log(np.maximum(kb.reach[drawn.rows][:, columns], FLOOR))
    flat = drawn.sets.astype(float) @ logs.reshape(len(drawn.rows), -1)
    levels = np.exp(flat).reshape(len(drawn.sets), len(columns), kb.leak.shape[1]) * drawn.others[columns]
    levels[:, :, 1:] -= levels[:, :, :-1].copy()
    levels = np.maximum(levels, 0.0)
    return {f: levels[:, n, : len(kb.grades(f))] for n, f in enumerate(findings)}


@dataclass(frozen=True, slots=True)
class _Prospect:
    """A step that could tell something: `likelihood` is (O, N), of each outcome under each drawn set."""

    doing: Doing
    name: str
    settles: tuple[str, ...]
    minutes: float
    cost: float
    access: str | None
    likelihood: Array


def _prospects(
    kb: KnowledgeBase,
    state: State,
    facts: dict[str, str],
    implied: frozenset[str],
    relevant: Bools,
    belief: Belief,
    do_first: Sequence[str],
    drawn: _Drawn,
    profile: Profile,
) -> list[_Prospect]:
    """List everything that can be asked or looked at, with what it may turn out."""
    candidates = _candidates(kb, state, facts, implied, relevant, belief, do_first)
    chances = _chances(kb, drawn, sorted({f for c in candidates for f in c.findings}))
    doable = [c for c in candidates if c.work is None or c.name in do_first or profile.can(kb, c.work)]
    out = [_look(kb, c, chances, profile) for c in doable]
    return out + [_fact(kb, f, drawn, facts, profile) for f in _facts(kb, state, facts, implied, relevant, belief)]


def _look(kb: KnowledgeBase, c: _Candidate, chances: dict[str, Array], profile: Profile) -> _Prospect:
    """Say what a question or check may turn out."""
    mine = {f: chances[f] for f in c.findings}
    if c.outcomes:
        likelihood = np.array([_together(kb, mine, dict(answer)) for answer in c.outcomes])
    else:
        likelihood = _joint(list(mine.values()))
    cost = price_of(kb, c.work, profile) if c.work else profile.money(c.minutes)
    return _Prospect(c.doing, c.name, c.settles, c.minutes, cost, c.work.access if c.work else None, likelihood)


def _together(kb: KnowledgeBase, chances: dict[str, Array], answer: dict[str, str]) -> Array:
    out: Array = np.prod([table[:, kb.grades(f).index(answer[f])] for f, table in chances.items()], axis=0)
    return out


def _joint(tables: list[Array]) -> Array:
    """Return (O, N) the likelihood of each joint outcome; past a limit the least telling findings are left out."""
    tables = sorted(tables, key=lambda t: -float(t.std(axis=0).sum()))
    while np.prod([t.shape[1] for t in tables]) > MOST_OUTCOMES:
        tables = tables[:-1]
    out = tables[0].T
    for table in tables[1:]:
        out = (out[:, None, :] * table.T[None]).reshape(-1, len(table))
    return out


def _fact(kb: KnowledgeBase, fact: str, drawn: _Drawn, facts: dict[str, str], profile: Profile) -> _Prospect:
    """Say what a fact may turn out: each value would change the priors, and so the weights of the drawn sets."""
    base = prior_in_context(kb, facts)[drawn.rows]
    rows = []
    for value, share in kb.entries.facts[fact].share.items():
        told = prior_in_context(kb, {**facts, fact: value})[drawn.rows]
        there = np.log(np.maximum(told, FLOOR)) - np.log(np.maximum(base, FLOOR))
        not_there = np.log1p(-told) - np.log1p(-base)
        rows.append(share * np.exp(not_there.sum() + drawn.sets @ (there - not_there)))
    likelihood = np.array(rows)
    likelihood /= likelihood.sum(axis=0)
    return _Prospect("fact", fact, (), FACT_MINUTES, profile.money(FACT_MINUTES), None, likelihood)
