"""Past the exact limit: the sets of causes that matter, found by deciding the causes one after the other.

Every partial set of causes carries its exact weight and, for each finding, the exact distribution over the states of
its axis (the mechanisms' levels are summed out, never drawn). A guide says how likely the causes still to come explain
the rest: it takes them as independent, each as likely as an earlier, smaller run found it. The most promising partial
sets are all kept; of the others some are kept, each with the chance and the weight that leave every sum right in the
mean (Fearnhead and Clifford, "On-line inference for hidden Markov models via particle filters", JRSS B 65, 2003).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.evidence import Array, Axis
from symptomtree.reasoning.lattice import Impossible, Ints, Variable

PILOTS, PILOT_SETS = 2, 1000
RUNS, SETS = 8, 2000
"""Sets of causes kept in each of several runs that know nothing of each other, so that their spread tells the error."""
SAFETY = 2.5
"""The error is taken as this many times the standard error that the worst of the runs shows."""


@dataclass(frozen=True, slots=True)
class Found:
    """What the runs found.

    Attributes:
        log_evidence: natural log of the evidence's probability, estimated.
        shares: for each variable: posterior of absence, then of each option.
        error: what no share is expected to be off by more than.
        chosen: (N, V) whole sets: 0 absent, 1 + n for option n; each as good as the next.
    """

    log_evidence: float
    shares: list[Array]
    error: float
    chosen: Ints


@dataclass(frozen=True, slots=True)
class _Choice:
    """A variable with absence as its first option.

    Attributes:
        touched: (J,) its axes.
        moves: (O, J, K, K) what each option does to each of them, M[to, from].
        log_weights: (O,) of the options.
        share: (O,) how likely each would be if there were no other evidence.
    """

    touched: Ints
    moves: Array
    log_weights: Array
    share: Array


def search(variables: Sequence[Variable], axes: Sequence[Axis], samples: int, seed: int) -> Found:
    """Estimate the posterior of every variable.

    Args:
        samples: how many whole sets to return.
        seed: of what is drawn.
    Raises:
        Impossible: the evidence has probability zero.
    """
    random = np.random.default_rng(seed)
    most = max(axis.states for axis in axes)
    choices = [_choice(v, most) for v in variables]
    shares = [c.share for c in choices]
    for _ in range(PILOTS):
        chosen, scores = _run(choices, axes, shares, PILOT_SETS, random)
        shares = [np.maximum(s, c.share) for s, c in zip(_shares(choices, chosen, scores), choices, strict=True)]
        shares = [s / s.sum() for s in shares]
    runs = [_run(choices, axes, shares, SETS, random) for _ in range(RUNS)]
    chosen = np.concatenate([c for c, _ in runs])
    scores = np.concatenate([s for _, s in runs])
    found = _shares(choices, chosen, scores)
    off = [np.abs(np.concatenate(_shares(choices, c, s)) - np.concatenate(found)).max() for c, s in runs]
    weights = np.exp(scores - scores.max())
    log_evidence = float(scores.max() + np.log(weights.sum() / RUNS))
    edges = (np.arange(samples) + random.random()) / max(samples, 1)
    drawn = np.searchsorted(np.cumsum(weights / weights.sum()), edges).clip(max=len(weights) - 1)
    return Found(log_evidence, found, SAFETY * max(off) / RUNS**0.5, chosen[drawn])


def _choice(variable: Variable, most: int) -> _Choice:
    touched = sorted(variable.axes)
    moves = np.tile(np.eye(most), (1 + len(variable.options), len(touched), 1, 1))
    for n, option in enumerate(variable.options, start=1):
        for a, matrix in option.moves.items():
            moves[n, touched.index(a)] = 0.0
            moves[n, touched.index(a), : len(matrix), : len(matrix)] = matrix
    weights = np.array([variable.absent, *(o.weight for o in variable.options)])
    with np.errstate(divide="ignore"):
        return _Choice(np.array(touched, dtype=np.int64), moves, np.log(weights), weights / weights.sum())


def _run(
    choices: Sequence[_Choice], axes: Sequence[Axis], shares: Sequence[Array], keep: int, random: np.random.Generator
) -> tuple[Ints, Array]:
    """Decide all variables, likeliest first, with the guide that `shares` make; return the sets and log weights."""
    order = sorted(range(len(choices)), key=lambda v: float(shares[v][0]))
    most = max(axis.states for axis in axes)
    guide = np.zeros((len(axes), 1, most))
    state = np.zeros((len(axes), most, 1))  # the sets come last, so that all that is done to them runs along memory
    for a, axis in enumerate(axes):
        guide[a, 0, : axis.states] = axis.final
        state[a, : axis.states, 0] = axis.start
    later: list[Array] = []  # the guide of a variable's axes once it is decided
    for v in reversed(order):
        later.append(guide[choices[v].touched])
        guide[choices[v].touched] = later[-1] @ np.einsum("o,ojts->jts", shares[v], choices[v].moves)
    trail: list[tuple[Ints, Ints]] = []
    with np.errstate(divide="ignore"):
        scores = np.log(guide @ state).sum(axis=0)[0]
        for v in order:
            choice, after = choices[v], later.pop()
            now = state[choice.touched]
            before = np.log(guide[choice.touched] @ now).sum(axis=0)[0]
            moved = choice.moves @ now
            gain = np.log(after @ moved).sum(axis=1)[:, 0]
            guide[choice.touched] = after
            spread = scores - before + gain + choice.log_weights[:, None]
            kept, scores = _thin(spread.T.reshape(-1), keep, random)
            parent, option = np.divmod(kept, len(choice.log_weights))
            state = state.take(parent, axis=2)
            state[choice.touched] = np.moveaxis(moved[option, :, :, parent], 0, -1)
            trail.append((parent, option))
    chosen = np.empty((len(scores), len(choices)), dtype=np.int64)
    back = np.arange(len(scores))
    for v, (parent, option) in zip(reversed(order), reversed(trail), strict=True):
        chosen[:, v] = option[back]
        back = parent[back]
    return chosen, scores


def _thin(scores: Array, keep: int, random: np.random.Generator) -> tuple[Ints, Array]:
    """Return which to keep, at most about `keep`, and their log weights; those below a threshold stand for their like.

    Raises:
        Impossible: none is possible.
    """
    peak = float(scores.max())
    if peak == -np.inf:
        raise Impossible
    weights = np.exp(scores - peak)
    falling = np.sort(weights)[::-1]
    if len(weights) > keep:
        rest = np.cumsum(falling[::-1])[::-1][:keep] / (keep - np.arange(keep))
        bar = float(rest[np.argmax(falling[:keep] <= rest)])
    else:
        bar = float(np.finfo(float).tiny)
    chance = np.minimum(weights / bar, 1.0)
    # Systematic draws in the order of the tree: every branch keeps the number of sets that is due to it, to one.
    edges = np.floor(np.cumsum(chance) + random.random())
    kept: NDArray[np.int64] = np.flatnonzero(np.diff(edges, prepend=0.0) >= 1)
    return kept, scores[kept] - np.log(chance[kept])


def _shares(choices: Sequence[_Choice], chosen: Ints, scores: Array) -> list[Array]:
    weights = np.exp(scores - scores.max())
    return [
        np.bincount(chosen[:, v], weights=weights, minlength=len(c.log_weights)) / weights.sum()
        for v, c in enumerate(choices)
    ]
