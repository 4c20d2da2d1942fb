"""How far each policy is from the best plan there is, on small random problems that can be solved exactly."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from symptomtree.reasoning import decide
from symptomtree.reasoning.decide import Array, Bools, Choice, Problem, Standing
from symptomtree.trials.optimum import Choose, optimum, policy_cost
from symptomtree.trials.small import Shape, small

SMALL = Shape(causes=6, looks=4, clusters=2)
LARGER = Shape(causes=8, looks=5, clusters=3)
SEVERAL = Shape(causes=6, looks=4, clusters=2, several=True)

BITS = 0.05  # information per unit of cost under which the policy that goes by it stops asking


@dataclass(frozen=True, slots=True)
class Gap:
    """How much dearer than the optimum a policy is, in percent.

    Attributes:
        policy: what it is called.
        mean: over all problems.
        high: 95th percentile.
        worst: of all problems.
    """

    policy: str
    mean: float
    high: float
    worst: float


def adviser(problem: Problem, at: Standing) -> Choice:
    """Do what the planner puts first."""
    return decide.choices(problem, at)[0]


def one_step(problem: Problem, at: Standing) -> Choice:
    """Look one step ahead, on the order that knows shared access."""
    return decide.choices(problem, at, depth=1)[0]


def one_step_plain(problem: Problem, at: Standing) -> Choice:
    """Look one step ahead, on chance over cost without regard to access."""
    cost, first = _plain(problem, at.weights, at.open, at.done)
    best = _repair(first, cost)
    for n, look in enumerate(problem.looks):
        if n not in at.asked:
            path = problem.path(look.access)
            open_ = at.open.copy()
            open_[path] = True
            price = look.cost + float(problem.opening[path] @ ~at.open[path])
            left = [_plain(problem, row, open_, at.done)[0] for row in look.likelihood * at.weights]
            best = min(best, Choice("look", n, price, price + sum(left)), key=lambda c: c.total)
    return best


def informative(problem: Problem, at: Standing) -> Choice:
    """Take the look that tells most about the scenario per cost; repair when none tells enough."""
    best, most = None, BITS
    for n, look in enumerate(problem.looks):
        if n not in at.asked:
            path = problem.path(look.access)
            price = look.cost + float(problem.opening[path] @ ~at.open[path])
            joint = look.likelihood * at.weights
            bits = (_bits(at.weights) + _bits(joint.sum(axis=1)) - _bits(joint.ravel())) / price
            if bits > most:
                best, most = Choice("look", n, price, 0.0), bits
    return best or repair(problem, at)


def repair(problem: Problem, at: Standing) -> Choice:
    """Ask nothing; repair in the order that knows shared access."""
    return decide.choices(problem, at, depth=1, looks=())[0]


def repair_plain(problem: Problem, at: Standing) -> Choice:
    """Ask nothing; repair by chance over cost without regard to access."""
    cost, first = _plain(problem, at.weights, at.open, at.done)
    return _repair(first, cost)


POLICIES: dict[str, Choose] = {
    "the adviser": adviser,
    "one step ahead, bottom-up order": one_step,
    "one step ahead, plain order": one_step_plain,
    "information per cost, then bottom-up order": informative,
    "repairs only, bottom-up order": repair,
    "repairs only, plain order": repair_plain,
}


def gap_table(models: int, number: int, shape: Shape = SMALL, policies: Mapping[str, Choose] = POLICIES) -> list[Gap]:
    """Return each policy's gap to the optimum over so many random problems; the same number gives the same problems."""
    gaps = np.array([gaps_of(r, shape, policies) for r in np.random.default_rng(number).spawn(models)])
    return [
        Gap(name, float(np.mean(g)), float(np.quantile(g, 0.95)), float(g.max()))
        for name, g in zip(policies, gaps.T, strict=True)
    ]


def gaps_of(random: np.random.Generator, shape: Shape, policies: Mapping[str, Choose] = POLICIES) -> list[float]:
    """Return how much dearer than the optimum, in percent, each policy is on one random problem."""
    problem, at = small(random, shape)
    best = optimum(problem, at)
    return [100 * (policy_cost(problem, at, choose) / best - 1) for choose in policies.values()]


def render(rows: Sequence[Gap]) -> str:
    """Return the table as lines of text."""
    wide = max(len(r.policy) for r in rows)
    lines = [f"{'dearer than the optimum, %':{wide}}  {'mean':>7}{'95th':>8}{'worst':>8}"]
    lines += [f"{r.policy:{wide}}  {r.mean:7.2f}{r.high:8.2f}{r.worst:8.2f}" for r in rows]
    return "\n".join(lines)


def _plain(problem: Problem, weights: Array, open_: Bools, done: Bools) -> tuple[float, int]:
    """Return the cost of repairing by chance over cost, up to the best end, and the first fix (-1: hand over)."""
    need, open_ = problem.need & ~done, open_.copy()
    chance = weights @ need
    stuck = ~need.any(axis=1)
    spent = 0.0
    least, first = float(weights @ (problem.trip + need @ problem.fix_cost)), -1
    order = [j for j in np.argsort(-chance / problem.fix_cost, kind="stable") if chance[j] > 0]
    for j in order:
        path = problem.path(int(problem.fix_access[j]))
        spent += weights.sum() * (problem.fix_cost[j] + problem.opening[path] @ ~open_[path])
        spent += chance[j] * problem.fix_fails[j]
        open_[path] = True
        need = need & (np.arange(need.shape[1]) != j)
        weights = np.where(need.any(axis=1) | stuck, weights, 0.0)
        cost = spent + float(weights @ (problem.trip + need @ problem.fix_cost))
        if cost < least:
            least, first = cost, int(order[0])
    return least, first


def _repair(first: int, total: float) -> Choice:
    return Choice("fix" if first >= 0 else "hand-over", first, 0.0, total)


def _bits(weights: Array) -> float:
    some = weights[weights > 0]
    return float(-(some * np.log2(some)).sum())
