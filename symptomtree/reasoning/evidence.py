"""From what was looked at, and when, to the small state machines that belief runs on.

A finding X is the greatest of its leak and of what each present cause pushes it to (leaky noisy-MAX: Henrion 1989;
Diez 1993, with the leak outside the links). Each mechanism draws its level once and keeps it (persistence: Breese and
Heckerman 1996), so asking twice is no new evidence, and what a fix removed no longer pushes in later looks.

For one finding with looks 1..m, a mechanism that was at work during the first a looks with level y lifts those looks to
at least y. The state is the tuple of highest levels so far, one per look; levels that the evidence cannot tell apart
are merged, and states above what was seen are dropped. A finding seen once at grade x > 0 for sure has two states
("not yet explained", "explained"); one seen normal has one; a reading near a limit has one more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
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
    """Fix number `number` (from 1) of the case: it removes each of its causes with probability `works`, each for itself."""

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
        steps: steps[a][y] = for each state the next one, -1 when the evidence forbids it, for a mechanism that worked
            during the first a looks with level y.
    """

    finding: int
    after: tuple[int, ...]
    start: Array
    final: Array
    steps: tuple[tuple[tuple[int, ...], ...], ...]

    @property
    def states(self) -> int:
        return len(self.final)

    @property
    def cap(self) -> int:
        """Highest level that a mechanism at work in all looks may have from the first state without leaving it."""
        return max(level for level, target in enumerate(self.steps[-1]) if target[0] == 0)

    @property
    def is_bit(self) -> bool:
        """Whether it only asks 'has something explained it?'; such an axis has a bound (see `belief`)."""
        return self.states == 2 and self.final[0] == 0

    def matrix(self, looks: int, reach: Array) -> Array:
        """Return M (K, K), M[to, from], for a mechanism at work during the first `looks` looks.

        Args:
            looks: 0..m.
            reach: (G,) P(level <= g).
        """
        out = np.zeros((self.states, self.states))
        last = 0.0
        for level, up_to in enumerate(reach.tolist()):
            if up_to > last:
                for state, target in enumerate(self.steps[looks][level]):
                    if target >= 0:
                        out[target, state] += up_to - last
                last = up_to
        return out

    def looks_before(self, fix: int | None) -> int:
        """Return how many looks came before fix number `fix` (all of them for None)."""
        return len(self.after) if fix is None else sum(after < fix for after in self.after)


def axis_of(observed: Observed, leak: Array) -> Axis:
    """Build the state machine of one finding.

    Args:
        observed: the finding and its looks.
        leak: (G,) P(leak level <= g).
    """
    weights = _drop_repeats([look.weights / look.weights.max() for look in observed.looks])
    final, steps = _machine(tuple(tuple(w.tolist()) for w in weights))
    shell = Axis(observed.finding, tuple(look.after for look in observed.looks), np.empty(0), final, steps)
    return replace(shell, start=shell.matrix(len(weights), leak)[:, 0])


@lru_cache(maxsize=4096)
def _machine(weights: tuple[tuple[float, ...], ...]) -> tuple[Array, tuple[tuple[tuple[int, ...], ...], ...]]:
    """Return `final` and `steps` of the machine for looks with these weights (each look's greatest is 1)."""
    looks, grades = len(weights), len(weights[0])
    bottoms = tuple(_bottom(w) for w in weights)
    tops = tuple(max(g for g, x in enumerate(w) if x > TINY) for w in weights)

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
    number: dict[tuple[int, ...] | None, int] = {None: -1, **{state: n for n, state in enumerate(states)}}
    steps = tuple(
        tuple(tuple(number[lift(state, first, level)] for state in states) for level in range(grades))
        for first in range(looks + 1)
    )
    final = np.array([prod(w[s] for w, s in zip(weights, state, strict=True)) for state in states])
    return final, steps


def _drop_repeats(weights: list[Array]) -> list[Array]:
    """Seen for sure at the same grade twice running: the later look says it all, the earlier only caps the levels."""
    out = list(weights)
    for j, (earlier, later) in enumerate(zip(weights, weights[1:], strict=False)):
        if np.count_nonzero(earlier) == 1 and np.array_equal(earlier, later):
            out[j] = (np.arange(len(earlier)) <= earlier.argmax()).astype(float)
    return out


def _bottom(weights: Sequence[float]) -> int:
    """Return the highest grade up to which the evidence tells no two grades apart."""
    if weights[0] <= TINY:
        return max(min(g for g, x in enumerate(weights) if x > TINY) - 1, 0)
    differs = [g for g, x in enumerate(weights) if abs(x - weights[0]) > 1e-15]
    return min(differs, default=len(weights)) - 1
