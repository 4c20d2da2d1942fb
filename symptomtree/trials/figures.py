"""Figures with their 95 % confidence intervals, and how well stated probabilities fit what was so.

- Shares: Wilson, JASA 22, 1927. Means and paired differences: normal. What is neither (ratios, calibration): bootstrap
  over bikes (Efron, Annals of Statistics 7, 1979), by percentiles, from a fixed start.
- Brier score (Brier, Monthly Weather Review 78, 1950) and log score, the mean of -ln p of what happened (Good, JRSS B,
  1952): both are least for honest probabilities.
- Expected calibration error (ECE), forecast against outcome: over `BINS` bins of equal width, the mean gap between the
  mean forecast and the share that was so, by how many forecasts fall in the bin.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from symptomtree.kb.compile import Array

Z = 1.959963984540054  # normal quantile of 0.975
RESAMPLES = 1000
BINS = 10
SUREST = 1e-6
"""A probability counts as no nearer than this to 0 and 1 in the log score, or one slip would outweigh all else."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number and the ends of its interval."""

    value: float
    low: float
    high: float


def share(hits: int, of: int) -> Figure:
    """Return a share with its Wilson interval."""
    p, z2 = hits / of, Z * Z / of
    middle = (p + z2 / 2) / (1 + z2)
    half = Z * sqrt(p * (1 - p) / of + z2 / of / 4) / (1 + z2)
    return Figure(p, max(middle - half, 0.0), min(middle + half, 1.0))


def mean(values: Sequence[float]) -> Figure:
    """Return a mean with its normal interval."""
    middle = float(np.mean(values))
    half = Z * float(np.std(values, ddof=1)) / sqrt(len(values)) if len(values) > 1 else float("nan")
    return Figure(middle, middle - half, middle + half)


def ratio(top: Sequence[float], bottom: Sequence[float]) -> Figure:
    """Return the ratio of two means of the same bikes."""
    both = np.stack([top, bottom], axis=1)
    return _bootstrap(both, lambda sums: sums[..., 0] / sums[..., 1])


@dataclass(frozen=True, slots=True)
class Bin:
    """The forecasts between two probabilities: how many, their mean, and how often it was so."""

    low: float
    high: float
    count: int
    said: float
    so: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """How well probabilities fit what was so."""

    brier: Figure
    log_score: Figure
    ece: Figure
    bins: tuple[Bin, ...]


def calibration(bikes: Sequence[tuple[Sequence[float], Sequence[bool]]], bins: int = BINS) -> Calibration:
    """Hold probabilities against what was so.

    Args:
        bikes: (probabilities, whether each was so) of each bike.
        bins: how many, of equal width; the upper end belongs to a bin's successor, 1 to the last.
    """
    rows = np.array([_sums(np.asarray(said, dtype=float), np.asarray(so, dtype=float), bins) for said, so in bikes])
    total = rows.sum(axis=0)
    count, said, so = total[3 : 3 + bins], total[3 + bins : 3 + 2 * bins], total[3 + 2 * bins :]
    return Calibration(
        _bootstrap(rows, lambda sums: sums[..., 1] / sums[..., 0]),
        _bootstrap(rows, lambda sums: sums[..., 2] / sums[..., 0]),
        _bootstrap(rows, lambda sums: _ece(sums, bins)),
        tuple(
            Bin(n / bins, (n + 1) / bins, int(count[n]), float(said[n] / count[n]), float(so[n] / count[n]))
            for n in np.flatnonzero(count).tolist()
        ),
    )


def _sums(said: Array, so: Array, bins: int) -> Array:
    """Return one bike's sums: how many, Brier, log score, then per bin how many, of forecasts and of what was so."""
    where = np.minimum((said * bins).astype(np.int64), bins - 1)
    sure = np.clip(np.where(so > 0, said, 1 - said), SUREST, 1.0)
    sums = [np.bincount(where, weights=w, minlength=bins) for w in (np.ones_like(said), said, so)]
    return np.concatenate([[len(said), ((said - so) ** 2).sum(), -np.log(sure).sum()], *sums])


def _ece(sums: Array, bins: int) -> Array:
    gaps: Array = np.abs(sums[..., 3 + bins : 3 + 2 * bins] - sums[..., 3 + 2 * bins :]).sum(axis=-1)
    return gaps / sums[..., 0]


def _bootstrap(rows: Array, figure: Callable[[Array], Array]) -> Figure:
    """Return a figure of the rows' sums; whole bikes are drawn again."""
    random = np.random.default_rng(len(rows))
    draws = random.multinomial(len(rows), np.full(len(rows), 1 / len(rows)), size=RESAMPLES)
    low, high = np.quantile(figure(draws @ rows), [0.025, 0.975])
    return Figure(float(figure(rows.sum(axis=0))), float(low), float(high))
