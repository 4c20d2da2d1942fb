"""The cheapest way to a fixed bike, on a small abstract problem: which step next, and what it all will cost.

Everything the planner knows of bikes is taken out here: N *scenarios* (what may be wrong, with weights), J *fixes*
(which scenarios need them), *looks* (questions and checks, by how likely each outcome is in each scenario) and a tree
of A *access* states, each paid for once and shared by all that lies behind it. So the same code advises a mechanic, is
held against an exact optimum in the tests, and can be read without knowing bicycles.

- Expected cost of repair (ECR) of a fixed order of fixes: Heckerman, Breese and Rommelse, CACM 38(3), 1995. A scenario
  costs what is spent up to the last fix it needs. The order may end in a hand-over after any number of fixes; every
  such end is looked at, since the cost can rise and fall again.
- Order with shared access: bottom-up P over C (Langseth and Jensen, RESS 80, 2003; Ottosen and Jensen, UAI 2010): the
  prefix of a closed cluster's fixes with the best ratio of chance to cost, opening included, becomes one compound;
  inner clusters first; then all compounds and single fixes by ratio. Where several faults can be there at once, odds
  stand in for chance (Srinivas, UAI 1995).
- A step is worth its cost plus the mean, over its outcomes, of what is left. What is left is the ECR (one-step
  look-ahead) or, where another look at it can pay, what the best next step would leave, and so on to a depth. All that
  is priced at one depth is priced in one go. Weights are not divided by the chance to get there, so what comes of a
  step just adds up.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

TINY = 1e-9
RARE = 1e-6  # a fix with less chance than that to be needed is left out
NEWTON = 6  # steps; half the error goes in each where it goes slowest
WORTH = 1e-4  # share of the whole cost that another look at a step must be able to save


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

    def path(self, access: int) -> list[int]:
        """Return an access state and all around it, innermost first."""
        out = []
        while access >= 0:
            out.append(access)
            access = int(self.parent[access])
        return out

    @cached_property
    def patterns(self) -> Array:
        """Return (P, J) the distinct rows of `need`, as numbers."""
        return self._distinct[0].astype(np.float64)

    def mass(self, weights: Array) -> Array:
        """Return (R, P) the weights of the patterns, from those of the scenarios (R, N)."""
        shape = len(weights), len(self.patterns)  # not a product with a matrix of 0 and 1: that may start threads
        place = self._distinct[1] + shape[1] * np.arange(shape[0])[:, None]
        return np.bincount(place.ravel(), weights.ravel(), shape[0] * shape[1]).astype(np.float64).reshape(shape)

    @cached_property
    def _distinct(self) -> tuple[Bools, Ints]:
        return distinct(self.need)

    @cached_property
    def wanted(self) -> Ints:
        """Return (P, W) the fixes that each pattern needs, the last one repeated; J where it needs none."""
        count = self.patterns.sum(axis=1).astype(np.int64)
        most = max(int(count.max(initial=0)), 1)
        fixes = np.argsort(-self.patterns, axis=1, kind="stable")
        fixes = np.concatenate([fixes, np.full((len(fixes), 1), self.need.shape[1])], axis=1)
        place = np.minimum(np.arange(most), np.maximum(count - 1, 0)[:, None])
        place[count == 0] = -1
        return np.take_along_axis(fixes, place, axis=1)

    @cached_property
    def behind(self) -> Array:
        """Return (P, A) 1 where some fix that a pattern needs lies in or behind an access state."""
        return (self.patterns @ self.ways[self.fix_access] > 0).astype(np.float64)

    @cached_property
    def ways(self) -> Bools:
        """Return (A + 1, A) what an access state needs open; the last row, for none, is empty."""
        ways = np.zeros((len(self.parent) + 1, len(self.parent)), dtype=bool)
        for access in range(len(self.parent)):
            ways[access, self.path(access)] = True
        return ways

    @cached_property
    def look_cost(self) -> Array:
        """Return (Q,) the cost of each look."""
        return np.array([look.cost for look in self.looks])

    @cached_property
    def look_access(self) -> Ints:
        """Return (Q,) the access state each look needs, -1 for none."""
        return np.array([look.access for look in self.looks], dtype=np.int64)

    @cached_property
    def told(self) -> tuple[Array, Ints]:
        """Return (T, N) the likelihoods of all looks in one, and (T,) whose outcome each row is."""
        owner = [n for n, look in enumerate(self.looks) for _ in look.likelihood]
        rows = [np.zeros((0, len(self.need))), *(look.likelihood for look in self.looks)]
        return np.concatenate(rows), np.array(owner, dtype=np.int64)


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


# --- an order of fixes and its price -----------------------------------------------------------------------------


def ecr(problem: Problem, weights: Array, open_: Bools, done: Bools) -> tuple[Array, Ints]:
    """Return (R,) the expected cost of the best known order of fixes, and (R, L) that order.

    Args:
        weights: (R, N) of the scenarios; the cost of a row goes with its sum.
        open_: (R, A) what is open in each row.
        done: (J,) fixes carried out, or (R, J) in each row; they are not done again.
    """
    done = np.broadcast_to(done, (len(weights), done.shape[-1]))
    cost, order, _ = _price(problem, problem.mass(weights), open_, done)
    return cost, order


def _price(problem: Problem, mass: Array, open_: Bools, done: Bools) -> tuple[Array, Ints, Array]:
    """Return cost and order as `ecr` does, from the weights (R, P) of the patterns, and (R, L) the order's chances."""
    total = mass.sum(axis=1, keepdims=True)
    chance = mass @ problem.patterns
    chance[done] = 0.0
    left = np.flatnonzero((chance > RARE * total).any(axis=0))
    if not left.size:
        return total[:, 0] * problem.trip, np.zeros((len(mass), 0), dtype=np.int64), chance[:, left]
    worth = chance = chance[:, left]
    if problem.wanted.shape[1] > 1:
        worth = _odds(chance, total - mass[:, ~problem.patterns.any(axis=1)].sum(axis=1, keepdims=True))
    order, step = _bottom_up(problem, open_, left, worth)
    fixes = left[order]
    rows, length = order.shape
    needed = chance.ravel()[order + length * np.arange(rows)[:, None]]

    # where the last fix that a pattern needs stands
    width = problem.need.shape[1] + 1
    position = np.full((rows, width), length)
    position.ravel()[fixes + width * np.arange(rows)[:, None]] = np.arange(length)
    position[:, :-1][done] = -1
    last = position[:, problem.wanted[:, 0]]
    for column in problem.wanted.T[1:]:
        np.maximum(last, position[:, column], out=last)
    last[last < 0] = length  # no order ends it
    last += (length + 1) * np.arange(rows)[:, None]
    ended = np.bincount(last.ravel(), weights=mass.ravel(), minlength=rows * (length + 1)).reshape(rows, length + 1)

    # While a scenario still needs a fix, each step is paid; at a hand-over, the trip and the fixes it still needs.
    rest = np.empty((rows, length + 1))  # how much is not fixed before each step, and after the last
    rest[:, :1] = total
    np.subtract(total, np.cumsum(ended[:, :-1], axis=1), out=rest[:, 1:])
    own = needed * problem.fix_cost[fixes]
    ends = rest * problem.trip + own.sum(axis=1, keepdims=True)
    ends[:, 1:] += np.cumsum(rest[:, :-1] * step + needed * problem.fix_fails[fixes] - own, axis=1)
    return ends.min(axis=1), fixes, needed


def _odds(chance: Array, some: Array) -> Array:
    """Return (R, L) the odds p/(1 - p) of causes that are there independently, from their chances once one is known.

    Of independent causes the order by odds over cost is the cheapest (Srinivas 1995: exchange two neighbours). But the
    chances here are given that something is wrong at all: p = z * chance / some, where z = 1 - product of (1 - p) is
    the chance of that. It goes to 0 where only one cause at a time can be there: the order is then that by p over c.
    Solved by Newton's method from 1: the function is concave, so that no step passes the root.

    Args:
        chance: (R, L) that each is needed.
        some: (R, 1) that any is.
    """
    share = chance / np.maximum(some, TINY)
    z = np.ones_like(some)
    for _ in range(NEWTON):
        absent = np.maximum(1 - z * share, TINY)
        none = absent.prod(axis=1, keepdims=True)
        slope = none * (share / absent).sum(axis=1, keepdims=True) - 1
        z = np.clip(z - (1 - none - z) / np.minimum(slope, -TINY), TINY, 1.0)
    p = z * share
    return p / np.maximum(1 - p, TINY)


def _bottom_up(problem: Problem, open_: Bools, left: Ints, worth: Array) -> tuple[Ints, Array]:
    """Return (R, L) the order of the fixes `left` and what each costs at its place, its opening included.

    `key` holds each fix's ratio, or that of the compound it is part of; `rank` keeps the order within a compound.
    """
    rows, length = worth.shape
    start_of = length * np.arange(rows)
    flat_cost = np.tile(problem.fix_cost[left], rows)
    flat_worth = worth.ravel()
    flat_key = flat_worth / flat_cost
    flat_rank = np.tile(np.arange(float(length)), rows)
    inside = problem.ways[problem.fix_access[left]]  # (L, A)
    for access in range(len(problem.parent) - 1, -1, -1):  # a state stands after the one around it: innermost first
        columns = np.flatnonzero(inside[:, access])
        shut = ~open_[:, access]
        if not columns.size or problem.opening[access] == 0 or not shut.any():
            continue
        opening = shut * problem.opening[access]
        here = columns + start_of[:, None]  # (R, M)
        here = columns[_falling(flat_key[here], flat_rank[here])] + start_of[:, None]
        first = here[:, 0]
        flat_cost[first] += opening
        ratio = flat_worth[here].cumsum(axis=1) / flat_cost[here].cumsum(axis=1)
        best = ratio.argmax(axis=1)
        within = np.arange(len(columns)) <= best[:, None]
        within &= shut[:, None]
        flat_key[here] = np.where(within, ratio.max(axis=1, keepdims=True), flat_key[here])
        flat_rank[here] = np.arange(float(len(columns)))
    order = _falling(flat_key.reshape(rows, length), flat_rank.reshape(rows, length))
    return order, flat_cost[order + start_of[:, None]]


def _falling(key: Array, rank: Array) -> Ints:
    """Return the order by falling key, by rank where keys are the same. (Half the time of `lexsort`.)"""
    return np.argsort(key * (rank * 1e-12 - 1), axis=1, kind="stable")


# --- which step next ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Front:
    """Standings looked at together. Weights carry the chance to get there, and costs go with it.

    Attributes:
        weights: (S, N).
        open: (S, A).
        done: (S, J).
        asked: (S, Q).
        fixes: (S, L) in the order of the ECR, -1 where none is left.
        plan: (S,) the ECR.
        slack: (S,) how much of it could be saved if it were known what is wrong.
    """

    weights: Array
    open: Bools
    done: Bools
    asked: Bools
    fixes: Ints
    plan: Array
    slack: Array

    def only(self, rows: Ints, fixes: int) -> "_Front":
        """Return some of the standings, with the first fixes only."""
        some = self.fixes[rows, :fixes]
        asked, plan, slack = self.asked[rows], self.plan[rows], self.slack[rows]
        return _Front(self.weights[rows], self.open[rows], self.done[rows], asked, some, plan, slack)


@dataclass(frozen=True, slots=True)
class _Steps:
    """The K steps that could come next in each of S standings: looks first, then fixes.

    Attributes:
        cost: (S, K) of the step itself.
        can: (S, K) whether there is such a step.
        then: the R standings that come of all of them.
        step: (R,) which step each of those comes of, counted through all S x K.
    """

    cost: Array
    can: Bools
    then: _Front
    step: Ints

    def sums(self, values: Array) -> Array:
        """Return (S, K) the sum of values (R,) over what comes of each step."""
        sums = np.bincount(self.step, weights=values, minlength=self.can.size)
        return sums.astype(np.float64).reshape(self.can.shape)

    def totals(self, left: Array) -> Array:
        """Return (S, K) what it costs to the end with each step next, from what is left (R,) after it."""
        return np.where(self.can, self.cost + self.sums(left), np.inf)


def choices(
    problem: Problem,
    at: Standing,
    depth: int = 3,
    short: int = 6,
    looks: Sequence[int] | None = None,
    fixes: int = 6,
    effort: int = 70_000,
) -> list[Choice]:
    """Return every step that could come next, lowest expected total first.

    Args:
        depth: 1 prices what is left after a step by the ECR; each further level lets the best next step follow.
        short: how many steps of a standing are looked at again, and how many looks can follow.
        looks: only these (all that were not taken yet when None).
        fixes: how many of the first fixes of the best order can come next.
        effort: how much is priced at each further level, in scenarios and fixes over all rows. So a small problem is
            solved almost exactly, and a large one takes no longer.
    """
    left = [n for n in (range(len(problem.looks)) if looks is None else looks) if n not in at.asked]
    ask = np.array(sorted(left), dtype=np.int64)
    asked = np.zeros((1, len(problem.looks)), dtype=bool)
    front = _front(problem, at.weights[None], at.open[None], at.done[None], asked)
    front = front.only(np.array([0]), fixes)
    cost, total, _ = _look_ahead(problem, front, ask, depth, short, effort)
    kinds = [("look", int(n)) for n in ask] + [("fix", int(j)) for j in front.fixes[0]]
    out = [
        Choice(kind, n, float(c), float(t))
        for (kind, n), c, t in zip(kinds, cost[0], total[0], strict=True)
        if t < np.inf
    ]
    out.append(Choice("hand-over", -1, problem.trip, _end(problem, at)))
    out.sort(key=lambda c: (round(c.total, 9), c.cost, c.kind, c.index))
    return out


def _look_ahead(
    problem: Problem, front: _Front, looks: Ints, depth: int, short: int, effort: int
) -> tuple[Array, Array, Array]:
    """Return (S, K) the cost of each step itself and with all that follows it, and (S,) that of the best way on."""
    steps = _steps(problem, front, looks)
    left, total = steps.then.plan, steps.totals(steps.then.plan)
    best = np.minimum(front.plan, total.min(axis=1, initial=np.inf))
    if depth == 1:
        return steps.cost, total, best

    # Only a step that could become the best one is looked at again, and of what comes of it only what leaves something
    # to be saved, most first.
    could = np.where(total - steps.sums(steps.then.slack) < best[:, None] - TINY, total, np.inf)
    turn = could.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    again = (turn < short) & (could < np.inf)
    # The best fix always is: what need not be asked before it may wait until its retest has failed, and only a deeper
    # look shows what that saves.
    if total.shape[1] > len(looks):
        at, best_fix = np.arange(len(total)), len(looks) + total[:, len(looks) :].argmin(axis=1)
        again[at, best_fix] |= could[at, best_fix] < np.inf
    rows = np.flatnonzero(again.ravel()[steps.step] & (steps.then.slack > WORTH * front.plan.sum()))
    if len(looks) > short:
        looks = np.sort(looks[total[:, : len(looks)].min(axis=0).argsort(kind="stable")[:short]])
    tries = front.fixes.shape[1]
    each = (np.isin(problem.told[1], looks).sum() + tries) * (len(problem.need) + 10 * len(problem.fix_cost))
    rows = rows[(-steps.then.slack[rows]).argsort(kind="stable")[: effort // max(1, int(each))]]
    if not rows.size:
        return steps.cost, total, best
    left = left.copy()
    left[rows] = _look_ahead(problem, steps.then.only(rows, tries), looks, depth - 1, short, effort)[2]
    total = steps.totals(left)
    return steps.cost, total, np.minimum(front.plan, total.min(axis=1))


def _steps(problem: Problem, front: _Front, looks: Ints) -> _Steps:
    """Take every step from each standing."""
    standings, tries = front.fixes.shape
    told, owner = problem.told
    place = np.full(len(problem.looks), -1)
    place[looks] = np.arange(len(looks))
    use = np.flatnonzero(place[owner] >= 0)
    told, outcomes = told[use], len(use)  # (T, N)
    slot = np.concatenate([place[owner[use]], np.arange(len(looks), len(looks) + tries)])  # (T + F,)

    needed = np.take_along_axis(front.weights @ problem.need, front.fixes, axis=1)
    can = np.concatenate([~front.asked[:, looks], front.fixes >= 0], axis=1)
    own = np.concatenate([np.tile(problem.look_cost[looks], (standings, 1)), problem.fix_cost[front.fixes]], axis=1)
    access = np.concatenate(
        [np.tile(problem.look_access[looks], (standings, 1)), problem.fix_access[front.fixes]], axis=1
    )
    ways = problem.ways[access]  # (S, K, A)
    own += (ways & ~front.open[:, None]) @ problem.opening
    cost = own * front.weights.sum(axis=1, keepdims=True)
    cost[:, len(looks) :] += needed * problem.fix_fails[front.fixes]

    # what comes of a step: each outcome of a look, and what a fix leaves
    done = np.repeat(front.done[:, None], outcomes + tries, axis=1)
    np.put_along_axis(done[:, outcomes:], front.fixes[:, :, None], True, axis=2)
    unfixed = (~done[:, outcomes:]).astype(np.float64) @ problem.need.T > 0  # (S, F, N)
    unfixed |= ~problem.need.T[front.fixes]
    weights = np.concatenate([front.weights[:, None] * told, front.weights[:, None] * unfixed], axis=1)
    at, row = np.nonzero(can[:, slot] & (weights.sum(axis=2) > TINY))
    asked = front.asked[at]
    looked = np.flatnonzero(row < outcomes)
    asked[looked, looks[slot[row[looked]]]] = True
    open_ = front.open[at] | ways[at, slot[row]]
    then = _front(problem, weights[at, row], open_, done[at, row], asked)
    return _Steps(cost, can, then, at * can.shape[1] + slot[row])


def _front(problem: Problem, weights: Array, open_: Bools, done: Bools, asked: Bools) -> _Front:
    """Price the best order in each standing, and what it would cost if it were known what is wrong."""
    mass = problem.mass(weights)
    plan, fixes, needed = _price(problem, mass, open_, done)
    stuck = mass[:, problem.wanted[:, 0] == len(problem.fix_cost)].sum(axis=1)
    work = (needed * problem.fix_cost[fixes]).sum(axis=1)
    rest = (needed * problem.fix_fails[fixes]).sum(axis=1) + (mass @ problem.behind * ~open_) @ problem.opening
    known = work + stuck * problem.trip + np.minimum(rest, (mass.sum(axis=1) - stuck) * problem.trip)
    return _Front(weights, open_, done, asked, np.where(needed > 0, fixes, -1), plan, plan - known)


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
    return chance, Standing(weights / chance, at.open | problem.ways[problem.fix_access[j]], done, at.asked)


def after_look(problem: Problem, at: Standing, n: int) -> list[tuple[float, Standing]]:
    """Return (chance, standing) of each outcome of look n."""
    look = problem.looks[n]
    joint = look.likelihood * at.weights
    chance = joint.sum(axis=1)
    open_ = at.open | problem.ways[look.access]
    return [
        (float(c), Standing(row / c, open_, at.done, at.asked | {n}))
        for row, c in zip(joint, chance, strict=True)
        if c > 1e-6
    ]


def fix_price(problem: Problem, at: Standing, j: int) -> float:
    """Return what fix j costs now: work, the access it opens, and what it costs on average that it may not work."""
    needed = float(at.weights @ (problem.need[:, j] & ~at.done[j]))
    opening = (problem.ways[problem.fix_access[j]] & ~at.open) @ problem.opening
    return float(problem.fix_cost[j] + opening + needed * problem.fix_fails[j])
