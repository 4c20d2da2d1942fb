"""What the runs say of a dial's best setting, which run to ride next, and when to stop.

The rider's liking is taken to have one peak over the clicks of a dial. Every hypothesis says where it is, how steeply
and roundly it falls to both sides, how ratings drift from run to run, and how much they scatter; Bayes' rule weighs
them all on a grid, so that nothing is made of few runs that only many could bear out.

- A rating is the liking, plus an offset of its own for each day and each setting of the *other* dials, plus drift and
  normal scatter. The offset has a flat prior and is integrated out exactly. So a dial is credited only with what
  changed while the others stood still, and a run before which two were turned tells nothing of either.
- 'Better', 'worse' and 'same' compare two such ratings, not told apart within a band: Thurstone (1927), A law of
  comparative judgment; with ties as in Glenn and David (1960), Ties in paired-comparison experiments.
- The next run is the first on that way along the dial that takes most off the variance of the best setting, for each
  run on it: the reckoning of Gaussian process regression (Rasmussen and Williams 2006, Gaussian Processes for Machine
  Learning, 2.25 and 2.26) with the covariances of the grid.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import erf

import numpy as np

from symptomtree.measuring.bracketing.log import BEST_RATING, Dial, Log, Run, Settings

Array = np.ndarray

# The grid, from memory of what riders rate: wide enough that no ordinary rider falls outside.
DEPTHS = np.array([1.0, 2.0, 3.5, 5.0, 7.0, 10.0, 14.0])
"""Points that the liking loses over half the dial."""
POWERS = np.array([1.0, 1.5, 2.0, 3.0])
"""Of the distance: a pointed peak, a round one, a flat one."""
SKEWS = np.array([-0.4, 0.0, 0.4])
"""Logarithm of how much steeper the upper side falls than the mean of both."""
DRIFTS = np.linspace(-0.14, 0.14, 5)
DRIFT = 0.07
"""Points for each run, and their standard deviation beforehand."""
SCATTERS = np.array([0.6, 1.0, 1.6])
"""Times the scatter that the rider expects."""
TIE = 0.4
"""Half the band of 'same', in standard deviations of a comparison."""
SLIP = 0.02
"""How often a comparison is said at random; so no slip of the tongue rules a setting out."""

NEAR = 1
"""The best setting is wanted to so many clicks."""
SURE = 0.8
"""How sure of that is sure enough; more costs as many runs again."""
PAYS = 0.005
"""A run that is expected to better the ride by fewer points does not pay."""
LEAST_RUNS = 4
REPEAT_AFTER = 8
"""So many runs without a repeat of the first are enough."""


@dataclass(frozen=True, slots=True)
class Fit:
    """What the runs say of one dial.

    Attributes:
        weights: probability of each hypothesis, and of each drift with it.
        best: each hypothesis's best setting, counted from the dial's lowest.
        liking: each hypothesis's liking at each setting, in points below the best.
        level: each hypothesis's rating of the best setting in the next run; without ratings, its lead over the last.
        level_error: standard uncertainty of that.
        drift: points for each run, and the standard uncertainty.
        noise: standard deviation of a rating.
    """

    weights: Array
    best: Array
    liking: Array
    level: Array
    level_error: float
    drift: tuple[float, float]
    noise: float

    @property
    def chances(self) -> Array:
        """How probable it is of each setting that it is the best."""
        chances: Array = np.bincount(self.best, weights=self.weights.sum(axis=1))
        return chances

    @property
    def losses(self) -> Array:
        """How many points each setting is expected to be below the best."""
        losses: Array = -(self.weights.sum(axis=1) @ self.liking)
        return losses

    @property
    def choice(self) -> int:
        """The setting with the least expected loss, counted from the dial's lowest."""
        return int(np.argmin(self.losses))

    def near(self, at: int) -> float:
        """Return how probable it is that the best setting is within `NEAR` clicks of one."""
        return float(self.chances[max(0, at - NEAR) : at + NEAR + 1].sum())

    def interval(self, chance: float = 0.9) -> tuple[int, int]:
        """Return the settings between which the best is with so much probability, half of the rest to either side."""
        below = np.cumsum(self.chances)
        return int(np.searchsorted(below, (1 - chance) / 2)), int(np.searchsorted(below, (1 + chance) / 2))

    def band(self, chance: float = 0.9) -> tuple[Array, Array]:
        """Return between what the liking at each setting is with so much probability, as a rating in the next run."""
        alone = self.weights.sum(axis=1)
        rated = (
            self.liking + (self.weights * self.level).sum(axis=1, keepdims=True) / np.maximum(alone, 1e-300)[:, None]
        )
        order = np.argsort(rated, axis=0)
        below = np.cumsum(alone[order], axis=0)
        ends = [(below < share).sum(axis=0).clip(max=len(alone) - 1) for share in ((1 - chance) / 2, (1 + chance) / 2)]
        at = np.arange(rated.shape[1])
        low, high = (rated[order[end, at], at] for end in ends)
        return low, high

    def ratings(self) -> tuple[Array, Array]:
        """Return what the next run is expected to be rated at each setting, and the covariance of that with itself.

        A row and a column more are those of the best setting.
        """
        alone = self.weights.sum(axis=1)
        lifted = (self.weights * self.level).sum(axis=1)
        told = np.column_stack([self.liking, self.best])
        mean = alone @ told + np.append(np.full(self.liking.shape[1], lifted.sum()), 0.0)
        square = told.T @ (alone[:, None] * told)
        rated = np.append(np.ones(self.liking.shape[1]), 0.0)
        cross = np.outer(lifted @ told, rated)
        level = (self.weights * self.level**2).sum() + self.level_error**2
        return mean, square + cross + cross.T + level * np.outer(rated, rated) - np.outer(mean, mean)


@lru_cache(maxsize=8)
def hypotheses(settings: int) -> tuple[Array, Array]:
    """Return each hypothesis's best setting, and its liking at every setting, for a dial of so many settings."""
    at = np.arange(settings)
    best, depth, power, skew = (a.ravel() for a in np.meshgrid(at, DEPTHS, POWERS, SKEWS, indexing="ij"))
    away = at[None, :] - best[:, None]
    fall = depth[:, None] * np.abs(2 * away / (settings - 1)) ** power[:, None]
    liking = -fall * np.exp(np.sign(away) * skew[:, None])
    best.flags.writeable = liking.flags.writeable = False
    return best, liking


def fit(log: Log, dial: Dial, noise: float) -> Fit:
    """Weigh every hypothesis about one of the log's dials by the runs.

    Args:
        log: the runs.
        dial: which.
        noise: standard deviation of the rider's ratings of one and the same ride, in points.
    """
    best, liking = hypotheses(dial.high - dial.low + 1)
    at = np.array([run.settings[dial.name] - dial.low for run in log.runs], dtype=int)
    errors = np.array([run.error or noise for run in log.runs])
    groups = [_group(run, dial) for run in log.runs]
    evidence = np.zeros((len(best), len(DRIFTS), len(SCATTERS))) - (0.5 * (DRIFTS / DRIFT) ** 2)[:, None]
    level, level_error = np.zeros((len(best), len(DRIFTS))), noise
    for group in dict.fromkeys(groups):
        rated = [n for n, run in enumerate(log.runs) if groups[n] == group and run.rating is not None]
        if rated:
            share = errors[rated] ** -2.0
            left = np.array([log.runs[n].rating for n in rated]) - liking[:, at[rated]]
            time = np.array(rated) - (share @ rated) / share.sum()
            offset = left @ share / share.sum()
            left = left - offset[:, None]
            squares = (left**2 @ share)[:, None] - 2 * np.outer(left @ (share * time), DRIFTS)
            squares += DRIFTS**2 * (time**2 @ share)
            evidence -= squares[:, :, None] / (2 * SCATTERS**2) + (len(rated) - 1) * np.log(SCATTERS)
        if group == groups[-1] and rated:
            level, level_error = offset[:, None] + DRIFTS * (len(log.runs) - rated[-1] + time[-1]), share.sum() ** -0.5
        elif group == groups[-1]:
            level = DRIFTS - liking[:, at[-1:]]
    for n, run in enumerate(log.runs):
        if run.said and groups[n] == groups[run.than]:
            apart = (liking[:, at[n]] - liking[:, at[run.than]])[:, None] + DRIFTS * (n - run.than)
            scatter = np.hypot(errors[n], errors[run.than]) * SCATTERS
            evidence += np.log(chance_said(run.said, apart[:, :, None] / scatter))
    every = np.exp(evidence - evidence.max())
    every /= every.sum()
    drifts = every.sum(axis=(0, 2))
    drift = float(drifts @ DRIFTS)
    scatter = float(np.sqrt(every.sum(axis=(0, 1)) @ SCATTERS**2))
    return Fit(
        weights=every.sum(axis=2),
        best=best,
        liking=liking,
        level=level,
        level_error=float(level_error * scatter),
        drift=(drift, float(np.sqrt(drifts @ (DRIFTS - drift) ** 2))),
        noise=noise * scatter,
    )


def _group(run: Run, dial: Dial) -> tuple[object, ...]:
    """Return what stands still among the runs that tell of a dial: the day, and the other dials."""
    return (run.day, *(clicks for name, clicks in run.settings.items() if name != dial.name))


def chance_said(said: str, apart: Array) -> Array:
    """Return how probable 'better', 'worse' or 'same' is of two rides whose likings are so many deviations apart."""
    from scipy.special import ndtr  # noqa: PLC0415  # slow to load, and wanted for comparisons only

    better, worse = ndtr(apart - TIE), ndtr(-apart - TIE)
    chance: Array = {"better": better, "worse": worse, "same": 1 - better - worse}[said]
    return SLIP / 3 + (1 - SLIP) * chance


def next_setting(found: Fit, at: int, step: int) -> tuple[int, float]:
    """Return the setting to ride next, and the share of the best setting's variance that this run takes off.

    Args:
        found: what is known of the dial.
        at: the setting from which it is moved, counted as in `found`.
        step: at most so many clicks.
    """
    _, spread = found.ratings()
    settings = len(spread) - 1
    chosen, most = at, -1.0
    for target in range(settings):
        if target == at:
            continue  # the same again tells of drift and scatter only, and those have their own runs
        way = [*range(at, target, step if target > at else -step), target][1:]
        told = spread[np.ix_(way, way)] + found.noise**2 * np.eye(len(way))
        worth = float(spread[-1, way] @ np.linalg.solve(told, spread[way, -1])) / len(way)
        if worth > most:
            chosen, most = way[0], worth
    return chosen, most / max(float(spread[-1, -1]), 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """The run to ride next.

    Attributes:
        settings: how the dials are set; when nothing is to be ridden, the best set-up so far.
        why: `first`; `search` for the best of `dial`; `repeat` of the first set-up; `move` of `dial` to its best
            before the next dial is begun; `found`, or `no-gain` when more runs would not pay: no more runs.
        dial: the one that is turned or that was last in work.
        found: what is known of that dial; None before the first run.
    """

    settings: Settings
    why: str
    dial: Dial
    found: Fit | None = None

    @property
    def ride(self) -> bool:
        """Whether there is a run to ride."""
        return self.why not in ("found", "no-gain")


def propose(log: Log, noise: float, step: int) -> Proposal:
    """Return the run to ride next: one dial after the other, in their order, one change at a time.

    A dial is moved at most `step` clicks from where it stood, but for the repeats of the first set-up, which was ridden
    already, and the way back from them.
    """
    if not log.runs:
        return Proposal(settings=log.start, why="first", dial=log.dials[0])
    best = dict(log.runs[-1].settings)
    why = "found"
    for dial in log.dials:
        found = fit(log, dial, noise)
        first = next(run for run in log.runs if _group(run, dial) == _group(log.runs[-1], dial))
        here = _place(log, dial, first, step)
        target, gain = next_setting(found, here[dial.name] - dial.low, step)
        ended = _ended(log, dial, found, gain)
        again = {**log.runs[-1].settings, dial.name: first.settings[dial.name]}
        if _repeat_due(log, again, bool(ended)):
            return Proposal(settings=again, why="repeat", dial=dial, found=found)
        if not ended:
            return Proposal(settings={**here, dial.name: dial.low + target}, why="search", dial=dial, found=found)
        best[dial.name] = dial.low + found.choice
        why = "no-gain" if ended == "no-gain" else why
        off = best[dial.name] - here[dial.name]
        if dial is not log.dials[-1] and abs(off) > NEAR:
            moved = here[dial.name] + max(-step, min(step, off))
            return Proposal(settings={**here, dial.name: moved}, why="move", dial=dial, found=found)
    return Proposal(settings=best, why=why, dial=log.dials[-1], found=found)


def _place(log: Log, dial: Dial, first: Run, step: int) -> Settings:
    """Return from where a dial is moved: the last run, or the one before it when the last was a far repeat."""
    last = log.runs[-1]
    before = log.runs[-2] if len(log.runs) > 1 else last
    far = abs(before.settings[dial.name] - last.settings[dial.name]) > step
    back = far and last.settings == first.settings and _group(before, dial) == _group(last, dial)
    return before.settings if back else last.settings


def _repeat_due(log: Log, again: Settings, ended: bool) -> bool:
    """Return whether the first set-up is to be ridden again: now and then, and once before a dial is done with."""
    today = [run.settings for run in log.runs if run.day == log.runs[-1].day]
    if today[-1] == again:
        return False
    if ended:
        return all(today.count(settings) < 2 for settings in today)
    return (today[::-1].index(again) if again in today else len(today)) >= REPEAT_AFTER


def _ended(log: Log, dial: Dial, found: Fit, gain: float) -> str:
    """Return why a dial needs no more runs; "" when it does."""
    if len(tell_of(log, dial)) < LEAST_RUNS:
        return ""
    if found.near(found.choice) >= SURE:
        return "found"
    return "no-gain" if gain * found.losses[found.choice] < PAYS else ""


def tell_of(log: Log, dial: Dial) -> list[int]:
    """Return the runs that tell of a dial: at several of its settings on one day, while the others stood still."""
    at: dict[tuple[object, ...], set[int]] = {}
    for run in log.runs:
        at.setdefault(_group(run, dial), set()).add(run.settings[dial.name])
    return [n for n, run in enumerate(log.runs) if len(at[_group(run, dial)]) > 1]


def rated_with(log: Log, dial: Dial) -> list[int]:
    """Return the rated runs that stand beside the last one: same day, same setting of the other dials."""
    group = _group(log.runs[-1], dial)
    return [n for n, run in enumerate(log.runs) if run.rating is not None and _group(run, dial) == group]


def difference(log: Log, one: Settings, other: Settings, noise: float) -> tuple[float, float, float]:
    """Return how many points better one set-up is than another, its standard uncertainty, and the chance that it is.

    Dials are taken to work independently of one another; the chance for several is that of a normal distribution.
    """
    mean = variance = 0.0
    chance = 0.5
    turned = [dial for dial in log.dials if one[dial.name] != other[dial.name]]
    for dial in turned:
        found = fit(log, dial, noise)
        apart = found.liking[:, one[dial.name] - dial.low] - found.liking[:, other[dial.name] - dial.low]
        apart = np.clip(apart, -BEST_RATING, BEST_RATING)  # ratings can be no further apart
        alone = found.weights.sum(axis=1)
        mean += float(alone @ apart)
        variance += float(alone @ (apart - alone @ apart) ** 2)
        chance = float(alone @ (apart > 0) + alone @ (apart == 0) / 2)
    if len(turned) > 1:
        chance = (1 + erf(mean / (2 * variance) ** 0.5)) / 2
    return mean, variance**0.5, chance
