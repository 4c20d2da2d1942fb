"""How likely each cause is, given what was told, found, measured and already repaired. Exact up to a stated size.

Past that size whole sets of causes are drawn with a guide: the findings are split into groups, each group's backward
values are exact, and their product steers the drawing towards sets that explain everything (a twisted proposal; Whiteley
and Lee, Annals of Statistics 42, 2014). Weights make up for the difference, so estimates converge to the exact
posterior, and the spread of the weights bounds how far off they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from symptomtree.reasoning.evidence import Array, Axis, Observed, Repair, axis_of
from symptomtree.reasoning.lattice import Impossible, Option, Plan, Variable, draw, look_ahead, plan, sweep

__all__ = ["EXACT_WIDTH", "Belief", "Impossible", "Model", "infer"]

EXACT_WIDTH = 2**17
"""Greatest number of joint states of findings open at once that is still worked exactly: 17 abnormal findings that all
hang together, or many more that do not."""
GUIDE_WIDTH = 2**13
"""Greatest number of joint states of one group of findings past the exact limit."""
GUIDED_DRAWS = 4000
CONFIDENCE = 0.99


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
        log_evidence: natural log of the evidence's probability, each look's greatest weight taken as 1 (past the exact
            limit: up to a constant).
        error: 0 when exact; else no entry of `now` or `ever` is further off than this, with confidence 0.99 for all
            of them together (central limit).
        sets: (N, C) bool, causes there now, drawn from the posterior; empty (0, C) when none were asked for.
        weights: (N,) of the sets; all equal when exact; sum 1.
    """

    now: Array
    ever: Array
    log_evidence: float
    error: float
    sets: NDArray[np.bool_]
    weights: Array


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
        return _guided(model, given, order, samples, seed)
    swept = sweep(order, given.variables, given.axes)
    chosen, log_weights = draw(order, given.variables, given.axes, [swept.ahead], samples, seed)
    log_evidence = given.constant + swept.log_evidence
    return _belief(model, given, swept.shares, chosen, np.exp(log_weights), log_evidence, 0.0)


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
    constant = 0.0
    for a in flat:
        if not a.start[0] * a.final[0] > 0:
            raise Impossible
        constant += float(np.log(a.start[0] * a.final[0]))
    here = model.prior.copy()  # present, and all findings without a state as seen
    for a in flat:
        here *= model.reach[:, a.finding, a.cap]

    removed: dict[int, list[tuple[int | None, float]]] = {}
    for repair in repairs:
        for cause in repair.causes:
            removed.setdefault(cause, []).append((repair.number, repair.works))
    touches = np.zeros((len(axes), len(model.prior)), dtype=bool)
    for n, a in enumerate(axes):
        touches[n] = (model.reach[:, a.finding, :] < 1).any(axis=1)
    inside = touches.any(axis=0)
    inside[list(removed)] = True
    inside &= model.prior > 0

    variables = []
    for cause in np.flatnonzero(inside).tolist():
        mine = [n for n in range(len(axes)) if touches[n, cause]]
        options = []
        left = float(model.prior[cause])
        for fix, works in [*removed.get(cause, ()), (None, 1.0)]:
            if fix is None:
                weight = left * float(here[cause] / model.prior[cause])
            else:
                weight = left * works
                for a in flat:
                    weight *= float(a.matrix(a.looks_before(fix), model.reach[cause, a.finding])[0, 0])
            moves = {
                n: axes[n].matrix(looks, model.reach[cause, axes[n].finding])
                for n in mine
                if (looks := axes[n].looks_before(fix))
            }
            if weight > 0 and all(m.any() for m in moves.values()):
                options.append(Option(weight, moves, now=fix is None))
            left *= 1 - works
        variables.append(Variable(cause, float(1 - model.prior[cause]), options))
    apart = np.flatnonzero(~inside)
    total = 1 - model.prior[apart] + here[apart]
    if not (total > 0).all():
        raise Impossible
    return _Given(axes, variables, apart, here[apart] / total, constant + float(np.log(total).sum()))


def _belief(
    model: Model,
    given: _Given,
    shares: Sequence[Array],
    chosen: NDArray[np.int64],
    weights: Array,
    log_evidence: float,
    error: float,
) -> Belief:
    """Put together what the variables' shares and draws say with the causes that go by their own odds."""
    now, ever = np.zeros(len(model.prior)), np.zeros(len(model.prior))
    now[given.apart] = ever[given.apart] = given.odds
    sets = np.zeros((len(chosen), len(model.prior)), dtype=bool)
    random = np.random.default_rng(len(chosen))
    sets[:, given.apart] = random.random((len(chosen), len(given.apart))) < given.odds
    for n, v in enumerate(given.variables):
        is_now = np.array([False, *(o.now for o in v.options)])
        now[v.cause] = shares[n][is_now].sum()
        ever[v.cause] = shares[n][1:].sum()
        sets[:, v.cause] = is_now[chosen[:, n]]
    return Belief(now, ever, log_evidence, error, sets, weights / weights.sum() if len(weights) else weights)


def _guided(model: Model, given: _Given, order: Plan, samples: int, seed: int) -> Belief:
    """Estimate past the exact limit; see the module's text."""
    groups: list[list[int]] = [[]]
    size = 1
    for kind, n in order.steps:
        if kind == "open":  # axes that open together hang together
            size *= given.axes[n].states
            if size > GUIDE_WIDTH and groups[-1]:
                groups.append([])
                size = given.axes[n].states
            groups[-1].append(n)
    ahead = [look_ahead(order, given.variables, given.axes, frozenset(group)) for group in groups]
    count = max(samples, GUIDED_DRAWS)
    chosen, log_weights = draw(order, given.variables, given.axes, ahead, count, seed)
    peak = log_weights.max()
    if not np.isfinite(peak):
        raise Impossible
    weights = np.exp(log_weights - peak)
    share = weights / weights.sum()
    shares = [
        np.bincount(chosen[:, n], weights=share, minlength=1 + len(v.options)) for n, v in enumerate(given.variables)
    ]
    error = _error(chosen > 0, share)
    log_evidence = given.constant + float(peak + np.log(weights.mean()))
    return _belief(model, given, shares, chosen[:samples], weights[:samples], log_evidence, error)


def _error(present: NDArray[np.bool_], share: Array) -> float:
    """Return the half-width of a simultaneous confidence interval of self-normalised weights (delta method)."""
    mean = share @ present
    spread = np.sqrt((share**2) @ (present - mean) ** 2)
    z = NormalDist().inv_cdf(1 - (1 - CONFIDENCE) / (2 * max(present.shape[1], 1)))
    return float(z * spread.max(initial=0.0))
