"""How likely each cause is, given what was told, found, measured and already repaired.

Exact up to a stated size (`lattice`); past it estimated, with a bound on how far off that is (`sparse`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.evidence import Array, Axis, Observed, Repair, axis_of
from symptomtree.reasoning.lattice import Impossible, Option, Variable, draw, plan, sweep
from symptomtree.reasoning.sparse import search

__all__ = ["EXACT_WIDTH", "Belief", "Impossible", "Model", "infer"]

EXACT_WIDTH = 2**17
"""Greatest number of joint states of findings open at once that is still worked exactly: 17 abnormal findings that all
hang together, or many more that do not."""


@dataclass(frozen=True, slots=True)
class Model:
    """Causes and findings as numbers. C causes, F findings, G the greatest number of grades.

    Attributes:
        prior: (C,) P(cause present), in context; 0 for a cause that cannot be.
        reach: (C, F, G) P(finding <= grade | this cause alone, no leak); 1 where the cause does nothing.
        leak: (F, G) P(finding <= grade | no cause).
    """

    prior: Array
    reach: Array
    leak: Array

    def __post_init__(self) -> None:
        causes, findings, grades = self.reach.shape
        if self.prior.shape != (causes,) or self.leak.shape != (findings, grades):
            raise ValueError(f"shapes disagree: {self.prior.shape}, {self.reach.shape}, {self.leak.shape}")


@dataclass(frozen=True, slots=True)
class Belief:
    """What follows.

    Attributes:
        now: (C,) P(cause is there now | evidence).
        ever: (C,) P(cause was there before the first fix | evidence).
        log_evidence: natural log of the evidence's probability, each look's greatest weight taken as 1.
        error: 0 when exact; else no entry of `now` or `ever` is expected to be off by more than this (see `sparse`).
        bound: (V,) causes that the evidence binds to one another; each of the others goes by its own odds.
        drawn: (N, V) bool, which of those are there now, in sets drawn from the posterior, all equally good.
    """

    now: Array
    ever: Array
    log_evidence: float
    error: float
    bound: NDArray[np.int64]
    drawn: NDArray[np.bool_]

    def sets(self, rows: NDArray[np.int64] | None = None) -> NDArray[np.bool_]:
        """Return (N, R) which of these causes (all when None) are there now in the sets drawn."""
        rows = np.arange(len(self.now)) if rows is None else rows
        place = np.full(len(self.now), -1)
        place[self.bound] = np.arange(len(self.bound))
        sets = np.zeros((len(self.drawn), len(rows)), dtype=bool)
        bound = place[rows] >= 0
        sets[:, bound] = self.drawn[:, place[rows[bound]]]
        if not bound.all():
            chance = np.random.default_rng(len(self.drawn)).random((len(self.drawn), len(self.now)))
            sets[:, ~bound] = (chance < self.now)[:, rows[~bound]]
        return sets


def infer(
    model: Model,
    observed: Sequence[Observed] = (),
    repairs: Sequence[Repair] = (),
    samples: int = 0,
    seed: int = 0,
    width: int = EXACT_WIDTH,
) -> Belief:
    """Compute the posterior of every cause. Pure and deterministic; no argument is written to.

    Args:
        model: the knowledge in context.
        observed: every finding that was looked at, once each.
        repairs: the fixes done, in order of their number.
        samples: how many sets of causes to draw.
        seed: of the draws.
        width: greatest tensor to work exactly.
    Raises:
        Impossible: the evidence has probability zero under this model.
    """
    given = _given(model, observed, repairs)
    order = plan(given.variables, given.axes)
    if order.width > width:
        found = search(given.variables, given.axes, samples, seed)
        log_evidence = given.constant + found.log_evidence
        return _belief(model, given, found.shares, found.chosen, log_evidence, found.error)
    swept = sweep(order, given.variables, given.axes)
    chosen = draw(order, given.variables, given.axes, swept, samples, seed)
    return _belief(model, given, swept.shares, chosen, given.constant + swept.log_evidence, 0.0)


@dataclass(frozen=True, slots=True)
class _Given:
    """The evidence, split by what it needs.

    Attributes:
        axes: the findings with more than one state.
        variables: the causes that touch one of them, or that a fix may have removed.
        apart: (A,) indexes of the other causes; each goes by its own odds.
        odds: (A,) P(present | evidence) of those.
        constant: log probability of all that needs no state.
    """

    axes: list[Axis]
    variables: list[Variable]
    apart: NDArray[np.int64]
    odds: Array
    constant: float


def _given(model: Model, observed: Sequence[Observed], repairs: Sequence[Repair]) -> _Given:
    every = [axis_of(o, model.leak[o.finding]) for o in observed]
    axes = [a for a in every if a.states > 1]
    flat = [a for a in every if a.states == 1]
    columns, caps = [a.finding for a in flat], [a.cap for a in flat]
    seen = model.leak[columns, caps] * [a.final[0] for a in flat]
    if not np.all(seen > 0):
        raise Impossible
    constant = float(np.log(seen).sum())
    as_seen = np.prod(model.reach[:, columns, caps], axis=1)  # of the findings without a state, when it is there
    here = model.prior * as_seen

    removed: dict[int, list[Repair]] = {}
    for repair in repairs:
        for cause in repair.causes:
            removed.setdefault(cause, []).append(repair)
    touches = model.reach[:, [a.finding for a in axes], 0] < 1
    touched = np.any(touches, axis=1)
    touched[list(removed)] = True
    inside = np.flatnonzero(touched & (model.prior > 0))
    matrices = [a.matrix(len(a.after), model.reach[inside, a.finding]) for a in axes]
    able = np.all([m.any(axis=(1, 2)) for m in matrices], axis=0) if axes else np.ones(len(inside), dtype=bool)
    now = np.where(able, as_seen[inside], 0.0).tolist()
    variables = []
    for i, cause in enumerate(inside.tolist()):
        mine = np.flatnonzero(touches[cause]).tolist()
        left = float(model.prior[cause])
        absent = 1 - left
        ways = []
        for repair in removed.get(cause, ()):
            likelihood, moves = _until(model, axes, flat, mine, cause, repair)
            ways.append((left * repair.works * likelihood, moves, False))
            left *= 1 - repair.works
        ways.append((left * now[i], {n: matrices[n][i] for n in mine}, True))
        whole = absent + sum(weight for weight, _, _ in ways)
        if not whole > 0:
            raise Impossible
        constant += log(whole)  # weights that sum to 1 keep long evidence from underflowing
        options = [Option(weight / whole, moves, is_now) for weight, moves, is_now in ways if weight > 0]
        variables.append(Variable(cause, absent / whole, options, tuple(mine)))
    apart = np.delete(np.arange(len(model.prior)), inside)
    total = 1 - model.prior[apart] + here[apart]
    if not (total > 0).all():
        raise Impossible
    return _Given(axes, variables, apart, here[apart] / total, constant + float(np.log(total).sum()))


def _until(
    model: Model, axes: Sequence[Axis], flat: Sequence[Axis], mine: Sequence[int], cause: int, repair: Repair
) -> tuple[float, dict[int, Array]]:
    """Return the likelihood of the findings without a state when the cause was there until a repair, and its moves."""
    reach = model.reach[cause]
    likelihood = 1.0
    for a in flat:
        likelihood *= float(a.matrix(a.looks_before(repair.number), reach[a.finding])[0, 0])
    moves = {
        n: axes[n].matrix(looks, reach[axes[n].finding]) for n in mine if (looks := axes[n].looks_before(repair.number))
    }
    return (likelihood if all(m.any() for m in moves.values()) else 0.0), moves


def _belief(
    model: Model,
    given: _Given,
    shares: Sequence[Array],
    chosen: NDArray[np.int64],
    log_evidence: float,
    error: float,
) -> Belief:
    """Put together what the variables' shares and draws say with the causes that go by their own odds."""
    now, ever = np.zeros(len(model.prior)), np.zeros(len(model.prior))
    now[given.apart] = ever[given.apart] = given.odds
    for v, share in zip(given.variables, shares, strict=True):
        ever[v.cause] = sum(share.tolist()[1:])
        now[v.cause] = share[-1] if v.options and v.options[-1].now else 0.0
    bound = np.array([v.cause for v in given.variables], dtype=np.int64)
    last = [len(v.options) if v.options and v.options[-1].now else -1 for v in given.variables]
    return Belief(now, ever, log_evidence, error, bound, chosen == np.array(last))
