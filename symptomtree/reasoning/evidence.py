"""From what was looked at, and when, to the small state machines that belief runs on.

A finding X is the greatest of its leak and of what each present cause pushes it to (leaky noisy-MAX: Henrion 1989;
Diez 1993, with the leak outside the links). Each mechanism draws its level once and keeps it (persistence: Breese and
Heckerman 1996), so asking twice is no new evidence, and what a fix removed no longer pushes in later looks.

For one finding with looks 1..m, a mechanism that was at work during the first a looks with level y lifts those looks to
at least y. The state is the tuple of highest levels so far, one per look; levels that the evidence cannot tell apart
are merged, and states above what was seen are dropped. A finding seen once at grade x > 0 for sure has two states
("not yet explained", "explained"); one seen normal has one; a reading near a limit has one more.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import prod

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TINY = 1e-9
"""Grades less likely than this, relative to the likeliest, count as not seen."""


@dataclass(frozen=True, slots=True)
class Look:
    """One look at a finding.

    Attributes:
        after: how many fixes had been done before it.
        weights: (G,) likelihood of what was seen in each true grade; 1 for the one grade seen for sure.
    """

    after: int
    weights: Array


@dataclass(frozen=True, slots=True)
class Observed:
    """A finding and its looks, oldest first, at most one between two fixes."""

    finding: int
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Repair:
    """Fix number `number` (from 1) of the case; it removes each of its causes by itself, with probability `works`."""

    number: int
    causes: tuple[int, ...]
    works: float


@dataclass(frozen=True, slots=True)
class Axis:
    """The state machine of one finding.

    Attributes:
        finding: its column.
        after: `Look.after` of its looks.
        start: (K,) the states after the leak alone.
        final: (K,) likelihood of what was seen in each state.
        steps: (m + 1, G, K, K) 1 at [a, y, to, from] where a mechanism leads that worked during the first a looks with
            level y; 0 everywhere when the evidence forbids it.
        cap: highest level that a mechanism at work in all looks may have from the first state without leaving it.
        states: K.
    """

    finding: int
    after: tuple[int, ...]
    start: Array
    final: Array
    steps: Array
    cap: int
    states: int

    def matrix(self, looks: int, reach: Array) -> Array:
        """Return M (..., K, K), M[to, from], for a mechanism at work during the first `looks` looks.

        Args:
            looks: 0..m.
            reach: (..., G) P(level <= g).
        """
        return _led(reach, self.steps[looks])

    def looks_before(self, fix: int | None) -> int:
        """Return how many looks came before fix number `fix` (all of them for None)."""
        return len(self.after) if fix is None else sum(after < fix for after in self.after)


def _led(reach: Array, steps: Array) -> Array:
    levels = reach.copy()
    levels[..., 1:] -= reach[..., :-1]
    out: Array = (levels @ steps.reshape(len(steps), -1)).reshape(*levels.shape[:-1], *steps.shape[1:])
    return out


def axis_of(observed: Observed, leak: Array) -> Axis:
    """Build the state machine of one finding.

    Args:
        observed: the finding and its looks.
        leak: (G,) P(leak level <= g).
    """
    looks = observed.looks
    final, steps, cap = _machine(tuple([tuple(look.weights.tolist()) for look in looks]))
    start = leak[cap : cap + 1] if len(final) == 1 else _led(leak, steps[-1])[:, 0]
    return Axis(observed.finding, tuple([look.after for look in looks]), start, final, steps, cap, len(final))


@lru_cache(maxsize=4096)
def _machine(looked: tuple[tuple[float, ...], ...]) -> tuple[Array, Array, int]:
    """Return `final`, `steps` and `cap` for looks with these weights; the greatest of each look counts as 1."""
    weights = _drop_repeats([np.array(w) / max(w) for w in looked])
    looks, grades = len(weights), len(weights[0])
    bottoms = tuple(_bottom(w) for w in weights)
    tops = tuple(int(np.flatnonzero(w > TINY)[-1]) for w in weights)

    def lift(state: tuple[int, ...], first: int, level: int) -> tuple[int, ...] | None:
        lifted = tuple(max(s, level) if j < first else s for j, s in enumerate(state))
        return None if any(s > top for s, top in zip(lifted, tops, strict=True)) else lifted

    found = {bottoms}
    queue = [bottoms]
    while queue:  # every state that mechanisms can reach
        state = queue.pop()
        for first in range(1, looks + 1):
            for level in range(grades):
                lifted = lift(state, first, level)
                if lifted is not None and lifted not in found:
                    found.add(lifted)
                    queue.append(lifted)
    states = sorted(found, key=lambda s: (sum(s), s))  # a step never leads to an earlier state
    number = {state: n for n, state in enumerate(states)}
    steps = np.zeros((looks + 1, grades, len(states), len(states)))
    for first in range(looks + 1):
        for level in range(grades):
            for state in states:
                lifted = lift(state, first, level)
                if lifted is not None:
                    steps[first, level, number[lifted], number[state]] = 1.0
    final = np.array([prod(w[s] for w, s in zip(weights, state, strict=True)) for state in states])
    for array in (final, steps):  # shared by all that looks alike
        array.flags.writeable = False
    return final, steps, int(steps[-1, :, 0, 0].sum()) - 1


def _drop_repeats(weights: list[Array]) -> list[Array]:
    """Seen for sure at the same grade twice running: the later look says it all, the earlier only caps the levels."""
    out = list(weights)
    for j, (earlier, later) in enumerate(pairwise(weights)):
        if np.count_nonzero(earlier) == 1 and np.array_equal(earlier, later):
            out[j] = (np.arange(len(earlier)) <= earlier.argmax()).astype(float)
    return out


def _bottom(weights: Array) -> int:
    """Return the highest grade up to which the evidence tells no two grades apart."""
    if weights[0] <= TINY:
        return int(np.flatnonzero(weights > TINY)[0]) - 1
    differs = np.flatnonzero(np.abs(weights - weights[0]) > 1e-15)
    return int(differs[0]) - 1 if differs.size else len(weights) - 1
