"""The bike's side of planning: which steps there are, what they cost, and which comes next.

The sets of causes drawn from the posterior become scenarios, the knowledge's questions, checks, fixes and access states
become the numbers of a `decide.Problem`, and the choices made there come back as steps with names.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from symptomtree.kb.compile import KnowledgeBase, probability
from symptomtree.reasoning import decide
from symptomtree.reasoning.context import holds
from symptomtree.reasoning.costs import access_minutes, access_path, minutes_of, price_of
from symptomtree.reasoning.decide import Array, Bools
from symptomtree.reasoning.prospects import Drawn, Prospect, Scene, bears_on, divides, prospects

Doing = Literal["fact", "ask", "question", "check", "fix", "hand-over"]
Told = tuple[str, float, float]
TRIED_TWICE = ("clean", "adjust", "repair")
Rank = Callable[[decide.Problem, decide.Standing, Sequence[str]], list[decide.Choice]]
"""From a problem, where it stands and the names of its fixes to its steps, best first."""


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
    tells: tuple[Told, ...] = ()


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


def cheapest_way(problem: decide.Problem, at: decide.Standing, _: Sequence[str]) -> list[decide.Choice]:
    """Rank by expected cost to a fixed bike."""
    return decide.choices(problem, at)


def make_plan(scene: Scene, rank: Rank = cheapest_way) -> Plan:
    """Rank every step that could come next.

    Args:
        rank: what is best; trials put other ways beside the planner's own.
    """
    kb, state = scene.kb, scene.state
    drawn = Drawn.of(scene)
    fixes, need, fails = _fixes(scene, drawn)
    looks = prospects(scene, drawn)
    problem, at = _problem(scene, fixes, need, fails, looks, drawn)
    expected, order = decide.ecr(problem, at.weights[None], at.open[None], at.done)
    needed = at.weights @ problem.need
    tells = _tells(kb, problem, drawn)
    steps = [_step(scene, c, looks, fixes, tells) for c in rank(problem, at, fixes)]
    for name in scene.do_first:
        if name in kb.entries.fixes and name not in state.times and all(s.name != name for s in steps):
            fix = kb.entries.fixes[name]
            cost = price_of(kb, fix, scene.profile)
            steps.append(Step("fix", name, (), minutes_of(kb, fix, state.open), cost, cost + float(expected[0])))
    turn = {name: n for n, name in enumerate(scene.do_first)}  # safety before cost
    steps.sort(key=lambda s: turn.get(s.name, len(turn)))  # stable: else as ranked
    first = {
        p.name
        for p in looks
        if p.doing == "fact" and (divides(scene, p.name) or bears_on(scene, p.name, steps[0].name))
    }
    steps.sort(key=lambda s: (turn.get(s.name, len(turn)), s.name not in first))
    ranks = tuple(_rank(scene, fixes[j], float(needed[j])) for j in order[0])
    return Plan(tuple(steps), ranks, float(expected[0]))


def _fixes(scene: Scene, drawn: Drawn) -> tuple[list[str], Bools, Array]:
    """Return the fixes in question, (N, J) which sets need which, and (J,) what each costs more when it does not work.

    Of each cause the best that is left; what comes after that is what a failure costs.
    """
    kb, profile = scene.kb, scene.profile
    first: dict[str, list[int]] = {}
    after: dict[str, float] = {}
    for n in np.flatnonzero(drawn.active.any(axis=0)):
        left = left_to_try(kb, kb.cause_ids[drawn.rows[n]], scene.state.times, scene.facts)
        if left:
            first.setdefault(left[0], []).append(int(n))
            then = profile.hand_over
            for name in reversed(left[1:]):
                fix = kb.entries.fixes[name]
                then = min(then, price_of(kb, fix, profile) + (1 - probability(fix.works)) * then)
            after[left[0]] = max(after.get(left[0], 0.0), then)
    fixes = sorted(first)
    need = np.zeros((len(drawn.sets), len(fixes)), dtype=bool)
    for j, name in enumerate(fixes):
        need[:, j] = drawn.active[:, first[name]].any(axis=1)
    fails = np.array([(1 - probability(kb.entries.fixes[f].works)) * after[f] for f in fixes])
    return fixes, need, fails


def left_to_try(kb: KnowledgeBase, cause: str, times: Mapping[str, int], facts: Mapping[str, str]) -> list[str]:
    """Return what can still be tried against a cause on a bike with these facts, in order.

    Work of the hands that did not help is worth one more try, with more care; the same new part is not.

    Args:
        kb: the knowledge.
        cause: which.
        times: how often each fix was done.
        facts: what is known of the bike; what does not apply to it cannot be tried.
    """
    fixes = [f for f in kb.entries.causes[cause].fixes if holds(kb.entries.fixes[f].applies_to, facts) is not False]
    again = [f for f in fixes if kb.entries.fixes[f].kind in TRIED_TWICE]
    return [f for f in fixes if not times.get(f)] + [f for f in again if times.get(f, 0) == 1]


def meanwhile(scene: Scene, plan: Plan) -> tuple[FixRank, ...]:
    """Return the fixes that pay before the bike is put together to try whether the last one helped, best first.

    To do it now costs its work for sure; to wait costs the work and the way back in, if it turns out to be needed. (No
    efficient optimal rule is known where trying needs closing: Ottosen and Jensen, UAI 2010.)
    """
    kb, profile, open_ = scene.kb, scene.profile, scene.state.open
    out = []
    for rank in plan.fixes:
        fix = kb.entries.fixes[rank.fix]
        way = access_path(kb, fix.access)
        if way and set(way) <= open_ and profile.can(kb, fix) and fix.reversible and rank.fix not in scene.state.times:
            work = price_of(kb, fix, profile)
            if rank.needed * (work + profile.money(access_minutes(kb, fix.access))) > work:
                out.append(rank)
    return tuple(out)


def _problem(
    scene: Scene, fixes: list[str], need: Bools, fails: Array, looks: Sequence[Prospect], drawn: Drawn
) -> tuple[decide.Problem, decide.Standing]:
    """Take the bike out: what is left is numbers."""
    kb, profile = scene.kb, scene.profile
    entries = [kb.entries.fixes[f] for f in fixes]
    ways = [e.access if e.kind != "hand-over" and profile.can(kb, e) else None for e in entries]
    wanted = {a for way in (*ways, *(p.access for p in looks)) for a in access_path(kb, way)}
    access = sorted(wanted, key=lambda a: (len(access_path(kb, a)), a))  # a state stands after the one around it
    number: dict[str | None, int] = {None: -1, **{a: n for n, a in enumerate(access)}}
    states = [kb.entries.access[a] for a in access]
    problem = decide.Problem(
        need=need,
        fix_cost=np.array([price_of(kb, e, profile) for e in entries]),
        fix_access=np.array([number[way] for way in ways], dtype=np.int64),
        fix_fails=fails,
        looks=tuple(decide.Look(p.cost, number[p.access], p.likelihood) for p in looks),
        parent=np.array([number[s.inside] for s in states], dtype=np.int64),
        opening=np.array([profile.money(s.open + s.close) for s in states]),
        trip=profile.hand_over,
    )
    return problem, decide.start(problem, drawn.weights, np.array([a in scene.state.open for a in access], dtype=bool))


def _rank(scene: Scene, fix: str, needed: float) -> FixRank:
    kb, belief, profile, open_ = scene.kb, scene.belief, scene.profile, scene.state.open
    entry = kb.entries.fixes[fix]
    causes = sorted(kb.fixed_by[fix], key=lambda c: -belief.now[kb.row[c]])
    likely = tuple(c for c in causes if belief.now[kb.row[c]] > 0.005)
    cost = price_of(kb, entry, profile) + profile.money(access_minutes(kb, entry.access, open_))
    return FixRank(fix, needed, cost, minutes_of(kb, entry, open_), likely)


def _tells(kb: KnowledgeBase, problem: decide.Problem, drawn: Drawn) -> list[tuple[Told, ...]]:
    """Return of each look the causes between which it tells most, with their least and greatest chance after it."""
    told, owner = problem.told
    joint = told * drawn.weights
    chance = joint.sum(axis=1)
    can = np.flatnonzero(chance > 1e-6)
    if not can.size:
        return [() for _ in problem.looks]
    chance, owner = chance[can], owner[can]
    then = joint[can] @ drawn.sets.astype(float) / chance[:, None]  # (T, R)
    first = np.flatnonzero(np.diff(owner, prepend=-1))  # every look has an outcome that can be
    mean = np.add.reduceat(chance[:, None] * then, first)
    spread = np.add.reduceat(
        chance[:, None] * (then - np.repeat(mean, np.diff(first, append=len(then)), axis=0)) ** 2, first
    )
    least, most = np.minimum.reduceat(then, first), np.maximum.reduceat(then, first)
    top = np.argsort(-spread, axis=1, kind="stable")[:, :3]
    return [
        tuple((kb.cause_ids[drawn.rows[r]], float(least[n, r]), float(most[n, r])) for r in row if spread[n, r] > 1e-4)
        for n, row in enumerate(top)
    ]


def _step(
    scene: Scene, choice: decide.Choice, looks: Sequence[Prospect], fixes: list[str], tells: Sequence[tuple[Told, ...]]
) -> Step:
    """Put a choice back into words."""
    kb, open_ = scene.kb, scene.state.open
    if choice.kind == "fix":
        name = fixes[choice.index]
        return Step("fix", name, (), minutes_of(kb, kb.entries.fixes[name], open_), choice.cost, choice.total)
    if choice.kind == "hand-over":
        return Step("hand-over", "", (), 0.0, choice.cost, choice.total)
    p = looks[choice.index]
    minutes = p.minutes + access_minutes(kb, p.access, open_)
    return Step(p.doing, p.name, p.settles, minutes, choice.cost, choice.total, tells[choice.index])
