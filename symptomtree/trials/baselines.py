"""Rules of thumb to hold the adviser against. Each sees what the planner sees, and keeps to the same safety.

Only the choice differs, so a difference in cost is the choice's doing. All hand the bike over by the same good sense:
when going on by repairs, in their own order, costs more than a workshop (every possible end of the order is looked at).
"""

from collections.abc import Callable, Sequence

import numpy as np

from symptomtree.kb.compile import KnowledgeBase
from symptomtree.reasoning import decide
from symptomtree.reasoning.decide import Choice, Problem, Standing
from symptomtree.reasoning.planning import Rank
from symptomtree.trials.gaps import informative, repair_plain

SURE = 0.9
"""From this probability on, whoever checks first goes over to the fix."""


def baselines(kb: KnowledgeBase, chance: int) -> dict[str, Rank]:
    """Return every rule of thumb by its name.

    Args:
        chance: decides what the random one does.
    """
    random = np.random.default_rng(chance)
    return {
        "most common cause first": _before_all(lambda p, at, fixes, _: _in_order(p, at, _common(kb, fixes))),
        "cheapest check first": _before_all(lambda p, at, _, steps: _cheapest_check(p, at, steps)),
        "information per minute": _before_all(lambda p, at, *_: informative(p, at)),
        "plain p/c": _before_all(lambda p, at, *_: repair_plain(p, at)),
        "random": _before_all(lambda p, at, _, steps: _any(p, at, steps, random)),
    }


def _before_all(choose: Callable[[Problem, Standing, Sequence[str], Sequence[Choice]], Choice]) -> Rank:
    """Put what is chosen before all other steps, which keep their order: safety may still come before it."""

    def rank(problem: Problem, at: Standing, fixes: Sequence[str]) -> list[Choice]:
        steps = decide.choices(problem, at, depth=1)
        first = choose(problem, at, fixes, steps)
        same = next((c for c in steps if (c.kind, c.index) == (first.kind, first.index)), None)
        return [same or first, *(c for c in steps if c != same)]

    return rank


def _common(kb: KnowledgeBase, fixes: Sequence[str]) -> list[int]:
    """Return the fixes by how common their commonest cause is on any bike."""
    common = [max(kb.prior[kb.row[c]] for c in kb.fixed_by[fix]) for fix in fixes]
    return sorted(range(len(fixes)), key=lambda j: -common[j])


def _in_order(problem: Problem, at: Standing, order: Sequence[int]) -> Choice:
    """Try fixes in a fixed order, or hand over when that is cheaper than to begin."""
    left = [j for j in order if not at.done[j]]
    weights, open_, need = at.weights, at.open.copy(), problem.need & ~at.done
    stuck = ~need.any(axis=1)
    spent = 0.0
    costs = [float(weights @ (problem.trip + need @ problem.fix_cost))]
    for j in left:
        path = problem.path(int(problem.fix_access[j]))
        spent += weights.sum() * (problem.fix_cost[j] + problem.opening[path] @ ~open_[path])
        spent += weights @ need[:, j] * problem.fix_fails[j]
        open_[path] = True
        need[:, j] = False
        weights = np.where(need.any(axis=1) | stuck, weights, 0.0)
        costs.append(spent + float(weights @ (problem.trip + need @ problem.fix_cost)))
    best = int(np.argmin(costs))
    return Choice("fix", left[0], 0.0, costs[best]) if best else Choice("hand-over", -1, problem.trip, costs[0])


def _cheapest_check(problem: Problem, at: Standing, steps: Sequence[Choice]) -> Choice:
    """Look at the cheapest thing first, until one fix is all but sure to be needed."""
    needed = np.where(at.done, 0.0, at.weights @ problem.need)
    if needed.size and needed.max() >= SURE:
        return Choice("fix", int(needed.argmax()), 0.0, 0.0)
    looks = [c for c in steps if c.kind == "look"]
    return min(looks, key=lambda c: (c.cost, c.index)) if looks else repair_plain(problem, at)


def _any(problem: Problem, at: Standing, steps: Sequence[Choice], random: np.random.Generator) -> Choice:
    """Do anything that can be done, but hand over when repairs alone would not pay."""
    some = [c for c in steps if c.kind != "hand-over"]
    last = repair_plain(problem, at)
    return last if last.kind == "hand-over" or not some else some[int(random.integers(len(some)))]
