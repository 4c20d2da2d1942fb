"""The best that any plan could do on a small problem, by a dynamic programme over everything that can come about.

What is left to pay depends on three things only: what each look taken so far showed, which access is open, and which
fixes are done. With U for the expected rest, not divided by the chance to get there, so that nothing needs dividing:

    U(seen, open, done) = min of
        hand over:  M x trip + work that the scenarios still need
        fix j:      M x (cost + opening) + needed x fails + U(seen, open + path, done + j)
        look q:     M x (cost + opening) + sum over its outcomes o of U(seen + q=o, open + path, done)

where M is the weight of the scenarios that agree with what was seen and are not fixed yet. A scenario is fixed when all
fixes it needs are done; one that needs none can only be handed over (`decide.Problem` says the same).

The table grows as 2^fixes x (outcomes + 1)^looks x states of access: for small problems only.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.decide import Array, Bools, Choice, Ints, Problem, Standing

Choose = Callable[[Problem, Standing], Choice]


def optimum(problem: Problem, at: Standing) -> float:
    """Return the least expected cost from here to the end that any plan can reach."""
    fixes = np.flatnonzero(~at.done & problem.need.any(axis=0))
    looks = [n for n in range(len(problem.looks)) if n not in at.asked]
    access = _accesses(problem, at.open)
    seen = _seen(problem, at.weights, looks)
    need = problem.need[:, fixes]
    stuck = ~need.any(axis=1)
    done = (np.arange(1 << len(fixes))[:, None] >> np.arange(len(fixes)) & 1).astype(bool)  # (D, J)
    missing = (~done).astype(np.float64) @ need.T  # (D, N) how many fixes a scenario still needs
    alive = (missing > 0) | stuck
    work = (~done * problem.fix_cost[fixes]) @ need.T  # (D, N)
    mass = alive @ seen.joint.T  # (D, S)
    rest = np.repeat((problem.trip * mass + work @ seen.joint.T)[:, :, None], len(access.opens), axis=2)  # (D, S, A)
    fails = seen.joint @ need * problem.fix_fails[fixes]  # (S, J)
    for count in range(len(fixes), -1, -1):
        now = np.flatnonzero(done.sum(axis=1) == count)
        for j, fix in enumerate(fixes):
            here = now[~done[now, j]]
            inside = int(problem.fix_access[fix])
            price = problem.fix_cost[fix] + access.opening[inside]
            then = rest[here | 1 << j][:, :, access.after[inside]]
            rest[here] = np.minimum(rest[here], mass[here][:, :, None] * price + fails[:, j, None] + then)
        for group in seen.groups:
            for n, outcomes in group.follow:
                look = problem.looks[n]
                price = look.cost + access.opening[look.access]
                then = sum(rest[np.ix_(now, o, access.after[look.access])] for o in outcomes)
                cells = np.ix_(now, group.members)
                rest[cells] = np.minimum(rest[cells], mass[cells][:, :, None] * price + then)
    return float(rest[0, 0, 0])


@dataclass(frozen=True, slots=True)
class _Accesses:
    """The combinations of open access that can come about, the present one first.

    Attributes:
        opens: each combination.
        after: by access state, the combination that each one becomes when it is opened (-1: none needed).
        opening: by access state, what that costs in each combination.
    """

    opens: list[tuple[bool, ...]]
    after: dict[int, Ints]
    opening: dict[int, Array]


def _accesses(problem: Problem, open_: Bools) -> _Accesses:
    opens = [tuple(bool(o) for o in open_)]
    needed = [-1, *range(len(problem.parent))]
    after: dict[int, list[int]] = {a: [] for a in needed}
    opening: dict[int, list[float]] = {a: [] for a in needed}
    for at in opens:  # grows while it is walked
        for access in needed:
            path = problem.path(access)
            then = tuple(o or a in path for a, o in enumerate(at))
            if then not in opens:
                opens.append(then)
            after[access].append(opens.index(then))
            opening[access].append(float(sum(problem.opening[a] for a in path if not at[a])))
    return _Accesses(opens, {a: np.array(v) for a, v in after.items()}, {a: np.array(v) for a, v in opening.items()})


@dataclass(frozen=True, slots=True)
class _Group:
    """What can have been seen after one set of looks.

    Attributes:
        members: indices of its combinations of outcomes.
        follow: for each look not taken, its number and, for each of its outcomes, where each member leads.
    """

    members: Ints
    follow: list[tuple[int, list[Ints]]]


@dataclass(frozen=True, slots=True)
class _Seen:
    """Everything that can have been seen.

    Attributes:
        joint: (S, N) weight of each scenario together with what was seen; nothing seen comes first.
        groups: most looks taken first, so that what a group leads to is known before it.
    """

    joint: Array
    groups: list[_Group]


def _seen(problem: Problem, weights: Array, looks: list[int]) -> _Seen:
    sizes = [len(problem.looks[n].likelihood) + 1 for n in looks]  # 0 is not taken, outcome o is o + 1
    joint = weights[None]
    for n in looks:
        factor = np.vstack([np.ones(len(weights)), problem.looks[n].likelihood])
        joint = (joint[:, None, :] * factor).reshape(-1, len(weights))
    index = np.arange(len(joint)).reshape(sizes)
    groups = []
    for taken in sorted(product([False, True], repeat=len(looks)), key=sum, reverse=True):
        picks = [slice(1, None) if t else slice(0, 1) for t in taken]
        follow = []
        for k, n in enumerate(looks):
            if not taken[k]:
                then = [index[(*picks[:k], slice(o, o + 1), *picks[k + 1 :])].ravel() for o in range(1, sizes[k])]
                follow.append((n, then))
        groups.append(_Group(index[tuple(picks)].ravel(), follow))
    return _Seen(joint, groups)


def policy_cost(problem: Problem, at: Standing, choose: Choose) -> float:
    """Return the exact expected cost of doing what `choose` says, from here to the end, whatever comes."""
    known: dict[tuple[bytes, ...], float] = {}

    def rest(weights: NDArray[np.float64], now: Standing) -> float:
        mass = float(weights.sum())
        if mass <= 0:
            return 0.0
        now = Standing(weights / mass, now.open, now.done, now.asked)
        key = (now.weights.round(12).tobytes(), now.open.tobytes(), now.done.tobytes(), bytes(sorted(now.asked)))
        if key not in known:
            known[key] = follow(now)
        return mass * known[key]

    def follow(now: Standing) -> float:
        step = choose(problem, now)
        if step.kind == "hand-over":
            return float(now.weights @ (problem.trip + (problem.need & ~now.done) @ problem.fix_cost))
        if step.kind == "fix":
            inside, price = int(problem.fix_access[step.index]), problem.fix_cost[step.index]
        else:
            inside, price = problem.looks[step.index].access, problem.looks[step.index].cost
        path = problem.path(inside)
        open_ = now.open.copy()
        open_[path] = True
        price += sum(problem.opening[a] for a in path if not now.open[a])
        if step.kind == "look":
            assert step.index not in now.asked, "a look is taken once"
            then = Standing(now.weights, open_, now.done, now.asked | {step.index})
            return float(price) + sum(rest(row * now.weights, then) for row in problem.looks[step.index].likelihood)
        assert not now.done[step.index], "a fix is done once"
        done = now.done.copy()
        done[step.index] = True
        needed = problem.need[:, step.index]
        fixed = needed & ~(problem.need & ~done).any(axis=1)
        price += now.weights @ needed * problem.fix_fails[step.index]
        return float(price) + rest(np.where(fixed, 0.0, now.weights), Standing(now.weights, open_, done, now.asked))

    return rest(at.weights, at)
