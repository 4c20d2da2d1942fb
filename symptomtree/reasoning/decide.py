"""The cheapest way to a fixed bike, on a small abstract problem: which step next, and what it all will cost.

Everything the planner knows of bikes is taken out here: N *scenarios* (what may be wrong, with weights), J *fixes* (which
scenarios need them), *looks* (questions and checks, by how likely each outcome is in each scenario) and a tree of A
*access* states, each paid for once and shared by all that lies behind it. So the same code advises a mechanic, is held
against an exact optimum in the tests, and can be read without knowing bicycles.

- Expected cost of repair (ECR) of a fixed order of fixes: Heckerman, Breese and Rommelse, CACM 38(3), 1995. A scenario
  costs what is spent up to the last fix it needs. The order may end in a hand-over after any number of fixes; every such
  end is looked at, since the cost can rise and fall again.
- Order with shared access: bottom-up P over C (Langseth and Jensen, RESS 80, 2003; Ottosen and Jensen, UAI 2010): the
  prefix of a closed cluster's fixes with the best ratio of chance to cost, opening included, becomes one compound; inner
  clusters first; then all compounds and single fixes by ratio. Several faults at once are ordered by odds over cost
  instead (Srinivas, UAI 1995); both orders are priced and the cheaper one stands.
- A step is worth its cost plus the mean, over its outcomes, of what is left. What is left is the ECR (one-step
  look-ahead), and on a short list of the best steps what the best next step would leave (look-ahead again, to a depth).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Look:
    """A question or check.

    Attributes:
        cost: of the look itself, access not counted.
        access: index of the access state it needs, -1 for none.
        likelihood: (O, N) chance of each outcome in each scenario; columns sum to 1.
    """

    cost: float
    access: int
    likelihood: Array


@dataclass(frozen=True)
class Problem:
    """What may be wrong and what can be done.

    Attributes:
        need: (N, J) whether a scenario needs a fix. A scenario that needs none of them can only be handed over.
        fix_cost: (J,) of the work itself, parts and retest included, access not.
        fix_access: (J,) index of the access state it needs, -1 for none.
        fix_fails: (J,) expected extra cost, when it is needed, because it may not work.
        looks: what can be asked or looked at.
        parent: (A,) the access state around each, -1 at the top; a state stands after the one around it.
        opening: (A,) cost to open a state and to close it again.
        trip: what a hand-over costs before any work is done there; the work a scenario needs is charged there too.
    """

    need: Bools
    fix_cost: Array
    fix_access: Ints
    fix_fails: Array
    looks: tuple[Look, ...]
    parent: Ints
    opening: Array
    trip: float
    patterns: Bools = field(init=False)
    which: Array = field(init=False)

    def __post_init__(self) -> None:
        patterns, which = distinct(self.need)
        object.__setattr__(self, "patterns", patterns)
        object.__setattr__(self, "which", np.eye(len(patterns))[which])

    def path(self, access: int) -> list[int]:
        """Return an access state and all around it, innermost first."""
        out = []
        while access >= 0:
            out.append(access)
            access = int(self.parent[access])
        return out


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the work stands.

    Attributes:
        weights: (N,) of the scenarios, sum 1 (those already fixed have none).
        open: (A,) which access states are open.
        done: (J,) fixes carried out.
        asked: looks already taken.
    """

    weights: Array
    open: Bools
    done: Bools
    asked: frozenset[int]


@dataclass(frozen=True, slots=True)
class Choice:
    """A step and what it comes to.

    Attributes:
        kind: look, fix or hand-over.
        index: of the look or fix, -1 for a hand-over.
        cost: of the step itself with the access it opens.
        total: expected cost from here to the end when it comes next.
    """

    kind: str
    index: int
    cost: float
    total: float


def distinct(rows: Bools) -> tuple[Bools, Ints]:
    """Return the distinct rows and, for each row, which of them it is."""
    packed = np.packbits(rows, axis=1) if rows.shape[1] else np.zeros((len(rows), 1), dtype=np.uint8)
    keys = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1]))).reshape(-1)
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    return rows[first], which.reshape(-1)


def start(problem: Problem, weights: Array, open_: Bools | None = None) -> Standing:
    """Return the standing before any step."""
    shut = np.zeros(len(problem.parent), dtype=bool)
    return Standing(weights, shut if open_ is None else open_, np.zeros(len(problem.fix_cost), dtype=bool), frozenset())


def ecr(problem: Problem, weights: Array, open_: Bools, done: Bools) -> tuple[Array, Ints]:
    """Return (R,) the expected cost of the best known order of fixes, and (R, J) that order.

    Args:
        weights: (R, N) rows sum to 1.
        open_: (R, A) what is open in each row.
        done: (J,) fixes carried out; they are not done again.
    """
    w = weights @ problem.which
    need = problem.patterns & ~done
    p = np.clip(w @ need, TINY, 1 - TINY)
    left = np.flatnonzero(~done & (p > 1e-6).any(axis=0))
    end = problem.trip + need @ problem.fix_cost
    if not left.size:
        return w @ end, np.zeros((len(w), 0), dtype=np.int64)
    cost, order = _price(problem, w, need, end, open_, left, p[:, left])
    if (need.sum(axis=1) > 1).any():
        odds = p / (1 - p)
        other, other_order = _price(problem, w, need, end, open_, left, odds[:, left])
        better = other < cost
        cost = np.where(better, other, cost)
        order[better] = other_order[better]
    return cost, left[order]


def _price(
    problem: Problem, w: Array, need: Bools, end: Array, open_: Bools, left: Ints, worth: Array
) -> tuple[Array, Ints]:
    """Order the fixes `left` by worth over cost, bottom up, and price the order with every possible end."""
    order, step = _bottom_up(problem, open_, left, worth)
    spent = np.cumsum(step, axis=1)  # (R, L)
    rows, fixes = order.shape
    position = np.empty_like(order)
    np.put_along_axis(position, order, np.arange(fixes)[None], axis=1)
    last = np.zeros((rows, len(need)), dtype=np.int64)  # position of the last fix that a pattern needs
    for n, j in enumerate(left):
        mine = need[:, j]
        last[:, mine] = np.maximum(last[:, mine], position[:, n : n + 1])
    last[:, ~need[:, left].any(axis=1) | need[:, _others(need, left)].any(axis=1)] = fixes  # no order ends it
    flat = (last + np.arange(rows)[:, None] * (fixes + 1)).ravel()
    size = rows * (fixes + 1)
    mass = np.bincount(flat, weights=w.ravel(), minlength=size).reshape(rows, fixes + 1)
    ends = np.bincount(flat, weights=(w * end).ravel(), minlength=size).reshape(rows, fixes + 1)
    fails = np.bincount(flat, weights=(w * (need @ problem.fix_fails)).ravel(), minlength=size).reshape(rows, fixes + 1)
    fixed = np.cumsum(mass[:, :-1] * spent + fails[:, :-1], axis=1)
    rest = 1 - np.cumsum(mass[:, :-1], axis=1)
    handed = ends.sum(axis=1, keepdims=True) - np.cumsum(ends[:, :-1], axis=1)
    stops = np.concatenate([ends.sum(axis=1, keepdims=True), fixed + rest * spent + handed], axis=1)
    return stops.min(axis=1), order


def _others(need: Bools, left: Ints) -> Ints:
    rest = np.ones(need.shape[1], dtype=bool)
    rest[left] = False
    return np.flatnonzero(rest)


def _bottom_up(problem: Problem, open_: Bools, left: Ints, worth: Array) -> tuple[Ints, Array]:
    """Return (R, L) the order of the fixes `left` and what each costs at its place, its opening included.

    `key` holds each fix's ratio, or that of the compound it is part of; `rank` keeps the order within a compound.
    """
    rows = len(worth)
    cost = np.broadcast_to(problem.fix_cost[left], worth.shape).copy()
    key = worth / cost
    rank = np.broadcast_to(np.arange(len(left)), worth.shape).copy()
    inside = [set(problem.path(int(a))) for a in problem.fix_access[left]]
    for access in range(len(problem.parent) - 1, -1, -1):  # a state stands after the one around it: innermost first
        columns = np.array([n for n, path in enumerate(inside) if access in path], dtype=np.int64)
        if not columns.size:
            continue
        opening = np.where(open_[:, access], 0.0, problem.opening[access])
        if not opening.any():
            continue
        sort = np.lexsort((rank[:, columns], -key[:, columns]), axis=1)
        here = columns[sort]  # (R, M)
        ps = np.cumsum(np.take_along_axis(worth, here, axis=1), axis=1)
        cs = np.cumsum(np.take_along_axis(cost, here, axis=1), axis=1) + opening[:, None]
        ratio = ps / cs
        best = ratio.argmax(axis=1)
        within = (np.arange(len(columns)) <= best[:, None]) & (opening > 0)[:, None]
        keys = np.take_along_axis(key, here, axis=1)
        keys = np.where(within, np.take_along_axis(ratio, best[:, None], axis=1), keys)
        np.put_along_axis(key, here, keys, axis=1)
        np.put_along_axis(rank, here, np.arange(len(columns))[None], axis=1)
        first = here[:, 0]
        cost[np.arange(rows), first] += opening
    order = np.lexsort((rank, -key), axis=1)
    return order, np.take_along_axis(cost, order, axis=1)


def choices(
    problem: Problem, at: Standing, depth: int = 2, short: int = 6, looks: Sequence[int] | None = None
) -> list[Choice]:
    """Return every step that could come next, lowest expected total first.

    Args:
        depth: 1 prices what is left after a step by the ECR; each further level lets the best next step follow, on the
            short list.
        short: how many steps are looked at again at each deeper level.
        looks: only these (all that were not taken yet when None).
    """
    found = _level(problem, at, looks)
    if depth > 1:
        again = [c for c in found if c.kind != "hand-over"][:short]
        useful = sorted({c.index for c in again if c.kind == "look"})
        deeper = [_deeper(problem, at, c, depth - 1, short, useful) for c in again]
        found = deeper + [c for c in found if c not in again]
        found.sort(key=_order)
    return found


def _order(c: Choice) -> tuple[float, float, str, int]:
    return (round(c.total, 9), c.cost, c.kind, c.index)


def _level(problem: Problem, at: Standing, looks: Sequence[int] | None) -> list[Choice]:
    """Price every step by one-step look-ahead, all outcomes of all looks in one go."""
    wanted = [n for n in (range(len(problem.looks)) if looks is None else looks) if n not in at.asked]
    rows, opens, owners, chances = [at.weights[None]], [at.open[None]], [np.array([-1])], [np.array([1.0])]
    for n in wanted:
        look = problem.looks[n]
        joint = look.likelihood * at.weights
        chance = joint.sum(axis=1)
        keep = chance > 1e-6
        rows.append(joint[keep] / chance[keep, None])
        opens.append(np.broadcast_to(_opened(problem, at.open, look.access), (int(keep.sum()), len(at.open))))
        owners.append(np.full(int(keep.sum()), n))
        chances.append(chance[keep] / chance[keep].sum())
    cost, order = ecr(problem, np.concatenate(rows), np.concatenate(opens), at.done)
    owner, chance = np.concatenate(owners), np.concatenate(chances)
    left = np.bincount(owner + 1, weights=chance * cost, minlength=len(problem.looks) + 1)[1:]
    out = []
    for n in wanted:
        price = problem.looks[n].cost + _to_open(problem, at.open, problem.looks[n].access)
        out.append(Choice("look", n, price, price + float(left[n])))
    for j in order[0][:3]:
        out.append(_fix(problem, at, int(j)))
    out.append(Choice("hand-over", -1, problem.trip, _end(problem, at)))
    out.sort(key=_order)
    return out


def _opened(problem: Problem, open_: Bools, access: int) -> Bools:
    out = open_.copy()
    out[problem.path(access)] = True
    return out


def _to_open(problem: Problem, open_: Bools, access: int) -> float:
    return float(sum(problem.opening[a] for a in problem.path(access) if not open_[a]))


def _end(problem: Problem, at: Standing) -> float:
    return float(at.weights @ (problem.trip + (problem.need & ~at.done) @ problem.fix_cost))


def after_fix(problem: Problem, at: Standing, j: int) -> tuple[float, Standing | None]:
    """Return the chance that the bike is still not right after fix j, and the standing then."""
    done = at.done.copy()
    done[j] = True
    solved = problem.need[:, j] & ~(problem.need & ~done).any(axis=1)
    weights = np.where(solved, 0.0, at.weights)
    chance = float(weights.sum())
    if chance < 1e-6:
        return 0.0, None
    return chance, Standing(weights / chance, _opened(problem, at.open, int(problem.fix_access[j])), done, at.asked)


def after_look(problem: Problem, at: Standing, n: int) -> list[tuple[float, Standing]]:
    """Return (chance, standing) of each outcome of look n."""
    look = problem.looks[n]
    joint = look.likelihood * at.weights
    chance = joint.sum(axis=1)
    open_ = _opened(problem, at.open, look.access)
    return [
        (float(c), Standing(row / c, open_, at.done, at.asked | {n}))
        for row, c in zip(joint, chance, strict=True)
        if c > 1e-6
    ]


def fix_price(problem: Problem, at: Standing, j: int) -> float:
    """Return what fix j costs now: work, the access it opens, and what it costs on average that it may not work."""
    needed = float(at.weights @ (problem.need[:, j] & ~at.done[j]))
    opening = _to_open(problem, at.open, int(problem.fix_access[j]))
    return float(problem.fix_cost[j] + opening + needed * problem.fix_fails[j])


def _fix(problem: Problem, at: Standing, j: int) -> Choice:
    price = fix_price(problem, at, j)
    chance, then = after_fix(problem, at, j)
    total = price
    if then is not None:
        cost, _ = ecr(problem, then.weights[None], then.open[None], then.done)
        total += chance * float(cost[0])
    return Choice("fix", j, price, total)


def _deeper(problem: Problem, at: Standing, c: Choice, depth: int, short: int, useful: list[int]) -> Choice:
    """Price a step again with the best next step after each of its outcomes."""
    if c.kind == "fix":
        chance, then = after_fix(problem, at, c.index)
        outcomes = [(chance, then)] if then is not None else []
    else:
        outcomes = list(after_look(problem, at, c.index))
    left = sum(p * choices(problem, then, depth, short, useful)[0].total for p, then in outcomes)
    # what is found deeper may only be better than what the ECR already gave
    return Choice(c.kind, c.index, c.cost, min(c.total, c.cost + left))
