"""Which of several rates do beats keep time with? Beats are late or early, some are missed, some do not belong.

`weigh` works out, for every rate on a fine scale, how much better a rhythm of that rate explains the beats than beats
at random would. It is a renewal process: from one beat that belongs to the next, some whole number of periods passes,
more or less; what lies between does not belong. All ways to tell the two kinds apart are summed over, by the forward
algorithm (Rabiner, A tutorial on hidden Markov models, Proceedings of the IEEE 77, 1989). As only the time from beat to
beat counts, a rate that drifts slowly is followed.

`match` turns that into a probability for each source by Bayes' rule; what fits none of them is `none`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import lgamma, log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike

from symptomtree.measuring.noise.turning import Source

_SURELY = 20.0  # how much a counted rate speaks for a rhythm, and against none at all
ROOT_TWO_PI = sqrt(2 * pi)
STEP = 0.02
"""Ratio of neighbouring rates on the scale, less one."""
RATES = np.exp(np.arange(log(0.12), log(15.0), STEP))
"""Rates of single beats that can be told apart, in Hz."""
_LATE = (0.015, 0.05, 0.1)  # spread of the time from beat to beat, as a share of the period
_KINDS = ((0.03, 0.05), (0.15, 0.3), (0.35, 0.1))  # share of beats that are missed, strange beats a second
_DRIFT = 0.012  # what a drift of 5 % over a recording adds to that spread, by and large
_BACK = 10  # how many beats back the last one that belongs may be
_MISSED = 6  # how many periods may pass from one that belongs to the next
NONE = 0.12
"""How often a noise comes from nothing in the list, before anything is measured (from memory)."""
MULTIPLE = 0.02
"""How often something strikes twice in a turn, or in every other turn only (from memory)."""
ASTRAY = 0.005
"""How often beats are nothing like what is reckoned with here, and tell nothing (from memory)."""
SURE = 0.85
"""Probability from which a source is named."""


@dataclass(frozen=True, slots=True)
class Weights:
    """How well rhythms explain beats: natural logarithm of the likelihood, less that of beats at random."""

    rates: np.ndarray
    logs: np.ndarray

    def best(self) -> tuple[float, float]:
        """Return the likeliest rate in Hz, and its standard uncertainty."""
        share = np.exp(self.logs - self.logs.max())
        top = int(share.argmax())
        near = np.abs(np.log(self.rates / self.rates[top])) < 0.12  # not its multiples
        share, rates = share[near] / share[near].sum(), self.rates[near]
        mean = float(share @ rates)
        return mean, float(np.sqrt(share @ (rates - mean) ** 2 + (STEP * mean) ** 2 / 12))


def weigh(times: ArrayLike, until: float, blur: float) -> Weights:
    """Weigh every rate on the scale.

    Args:
        times: when the beats were, in seconds from the start, rising.
        until: when listening ended.
        blur: standard uncertainty of a time, in seconds.
    """
    when = np.asarray(times, dtype=float)
    n = len(when)
    kinds = [(late, missed, strange) for late, (missed, strange) in product(_LATE, _KINDS)]
    late, missed, strange = (np.array(column)[:, None] for column in zip(*kinds, strict=True))
    rate, period = RATES[None, :], 1 / RATES[None, :]
    start = np.log(rate * (1 - missed) / strange)
    reached = np.full((n, len(kinds), len(RATES)), -np.inf)  # [beat, kind, rate]: it belongs, as do some before it
    total = np.full((len(kinds), len(RATES)), 0.0)  # none belongs, all beats of the rhythm were missed
    total += np.floor(until * rate) * np.log(missed)
    for j in range(n):
        reached[j] = start + np.floor(when[j] * rate) * np.log(missed)
        for i in range(max(0, j - _BACK), j):
            apart = max(when[j] - when[i], 1e-6)
            low, high = np.searchsorted(RATES, (0.5 / apart, (_MISSED + 0.5) / apart))  # the rates that may pass so
            some = slice(low, high)
            passed = np.maximum(1.0, np.round(apart * rate[:, some]))
            spread = np.sqrt(2 * blur**2 + (period[:, some] * late) ** 2 + (period[:, some] * passed * _DRIFT) ** 2)
            away = (apart - passed * period[:, some]) / spread
            step = np.log((1 - missed) / strange / (spread * ROOT_TWO_PI)) + (passed - 1) * np.log(missed) - away**2 / 2
            reached[j][:, some] = np.logaddexp(reached[j][:, some], reached[i][:, some] + step)
        total = np.logaddexp(total, reached[j] + np.floor((until - when[j]) * rate) * np.log(missed))
    total += n * np.log(strange) - strange * until
    logs = np.logaddexp.reduce(total) - log(len(kinds))
    return Weights(RATES, logs - _at_random(n, until))


def _at_random(n: int, until: float) -> float:
    """Return the log-likelihood of beats at random whose rate may be anything from 0.05 to 20 a second alike."""
    return lgamma(max(n, 1)) - max(n, 1) * log(until) - log(log(400.0))


def weights_of_rate(rate: float, error: float) -> Weights:
    """Return the weights that a counted rate gives (Hz), its standard uncertainty a share of it or more."""
    rates = np.exp(np.arange(log(0.05), log(400.0), STEP / 2))
    away = np.log(rates / rate) / max(error / rate, STEP / 2)
    return Weights(rates, _SURELY - away**2 / 2)


def match(weights: Weights, sources: Sequence[Source], doubt: float, factors: Sequence[float] = ()) -> dict[str, float]:
    """Return the probability of each source, and of `none`.

    Args:
        weights: of the rates.
        sources: what it may be.
        doubt: standard uncertainty of all their rates together, as a share: that of the cadence.
        factors: what else is known speaks for each, as a likelihood.
    """
    shift = max(0.0, float(weights.logs.max()))
    plain = np.exp(weights.logs - shift)
    odds = {
        s.name: s.usual * factor * _mean(weights.rates, plain, s, doubt)
        for s, factor in zip(sources, factors or [1.0] * len(sources), strict=True)
    }
    # Nothing in the list: a rhythm of any other rate, or none at all.
    odds["none"] = NONE * (float(plain.mean()) + float(np.exp(-shift))) / 2
    before = {**{s.name: s.usual for s in sources}, "none": NONE}
    whole, all_before = sum(odds.values()), sum(before.values())
    return {name: (1 - ASTRAY) * odd / whole + ASTRAY * before[name] / all_before for name, odd in odds.items()}


def _mean(rates: np.ndarray, plain: np.ndarray, source: Source, doubt: float) -> float:
    """Return the mean likelihood over the rates that a source may have."""
    wide = float(np.hypot(np.hypot(doubt, source.doubt), STEP / 2))
    found = 0.0
    for times, share in ((1.0, 1 - 2 * MULTIPLE), (2.0, MULTIPLE), (0.5, MULTIPLE)):
        away = np.log(rates / (source.rate * times)) / wide
        width = float(np.log(rates[1] / rates[0]))
        found += share * float(np.exp(-(away**2) / 2) @ plain) * width / (wide * ROOT_TWO_PI)
    return found


def apart(first: Source, second: Source, doubt: float) -> float:
    """Return how many standard uncertainties lie between the rates of two sources."""
    return float(abs(log(first.rate / second.rate)) / np.hypot(doubt, np.hypot(first.doubt, second.doubt)))
