"""How many runs the bracketing needs on simulated riders, beside one-click search and golden section.

    python -m tests.bench.bracketing [RIDERS]

A simulated rider has a best setting somewhere in the middle 80 % of the dial, likes it less to both sides in one of
four shapes (the fit knows three, and none of how unlike the sides are), drifts by `drift` points each run, and rates in
half points from 0 to 10 with normal scatter. All methods start in the middle of the dial (golden section where it
must), see the same riders, and name the setting that they would keep after each run.

- `bracketing`: as shipped, told the usual scatter of 0.7 points whatever the rider's is; at most two clicks at a time.
  `five clicks`: with a step of 5.
- `one click, N`: goes on by one click while that is better, turns round when it is not, and ends when neither neighbour
  is better. Two settings are ridden in turn until their means are a standard error apart, N times each at most. It is
  told the rider's true scatter. `goes on`: when it would end, it takes twice as many rides for each setting, so it
  never keeps a wrong setting for having looked too little.
- `golden, N`: golden section over the whole dial (Kiefer 1953), N rides for each setting; it leaps, whatever the rule
  of two clicks says.

`reach` is the mean number of runs until the named setting is within one click of the true best and stays so; who never
gets there counts as `HORIZON`. `again` is milder to those who give up soon: all runs over the number of riders who got
there, as if the others began anew with fresh luck (expected running time: Hansen et al. 2010, Real-parameter black-box
optimization benchmarking, experimental setup). `runs` is how many were ridden in all, `within` the share that ends
within one click, `clicks` the mean error of the end, `points` how much worse than the rider's best ride it is. `share`
is the reach of the bracketing over that of the best of the one-click searches, chosen after the event.
"""

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from time import perf_counter

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command itself does, before numpy is loaded

import numpy as np

from symptomtree.measuring.bracketing.fit import TIE, propose
from symptomtree.measuring.bracketing.log import Dial, Log, Run, Said

HORIZON = 40
DIALS = (12, 20, 30)
SCATTERS = (0.3, 0.7, 1.1)
DRIFTS = (0.0, -0.05)
USUAL = 0.7
FRESH = 4711
"""Makes these riders others than those on whom the limits of the bracketing were chosen."""
SHAPES: dict[str, Callable[[float], float]] = {
    "tent": lambda u: u,
    "parabola": lambda u: u**2,
    "hill": lambda u: 1.6 * (1 - np.exp(-(u**2))),
    "plateau": lambda u: u**3,
}


class Rider:
    """Likes one setting best, and rates what is ridden."""

    def __init__(self, luck: np.random.Generator, clicks: int, scatter: float, drift: float) -> None:
        self.luck, self.clicks, self.scatter, self.drift = luck, clicks, scatter, drift
        self.best = int(luck.integers(round(0.1 * clicks), round(0.9 * clicks) + 1))
        self.depth, self.top, self.skew = luck.uniform(2.5, 8), luck.uniform(6.5, 9.5), luck.uniform(-0.5, 0.5)
        self.shape = SHAPES[str(luck.choice(list(SHAPES)))]
        self.ridden = 0

    def liking(self, at: int) -> float:
        away = (at - self.best) / (self.clicks / 2)
        return float(self.top - self.depth * self.shape(abs(away)) * np.exp(np.sign(away) * self.skew))

    def felt(self, at: int) -> float:
        self.ridden += 1
        return self.liking(at) + self.drift * (self.ridden - 1) + self.luck.normal(0, self.scatter)

    def rate(self, at: int) -> float:
        return float(np.clip(round(2 * self.felt(at)) / 2, 0, 10))


def bracketing(rider: Rider, step: int = 2, compare: bool = False) -> list[int]:
    """Return the setting that would be kept after each run; `compare`: the rider only says better, worse or same."""
    log = Log(dials=(Dial("dial", 0, rider.clicks, (rider.clicks + 1) // 2),))
    named: list[int] = []
    before = 0.0
    for n in range(HORIZON + 1):
        proposal = propose(log, USUAL, step)
        if proposal.found:
            named.append(proposal.found.choice)
        if not proposal.ride or n == HORIZON:
            break
        at = proposal.settings["dial"]
        if compare:
            felt = rider.felt(at)
            said = _said(felt - before, rider.scatter) if n else None
            run = Run(settings={"dial": at}, said=said, than=max(0, n - 1))
            before = felt
        else:
            run = Run(settings={"dial": at}, rating=rider.rate(at))
        log = replace(log, runs=(*log.runs, run))
    return named


def _said(apart: float, scatter: float) -> Said:
    band = TIE * scatter * 2**0.5
    return "better" if apart > band else "worse" if apart < -band else "same"


def one_click(rider: Rider, times: int, goes_on: bool = False) -> list[int]:
    """Return the setting that would be kept after each run."""
    here, way, failed = (rider.clicks + 1) // 2, 1, 0
    rated: dict[int, list[float]] = {here: [rider.rate(here)]}
    named = [here]
    while len(named) < HORIZON:
        there = here + way
        if 0 <= there <= rider.clicks and _better(rider, rated, here, there, times, named):
            here, failed = there, 1  # the way back was just left behind: it needs no look
            named[-1] = here
            continue
        way, failed = -way, failed + 1
        if failed >= 2:
            if not goes_on:
                break
            times, failed = 2 * times, 0
    return named


def _better(rider: Rider, rated: dict[int, list[float]], here: int, there: int, times: int, named: list[int]) -> bool:
    """Ride both settings in turn until they can be told apart; return whether the other one is better."""
    ridden = rated.setdefault(there, [])
    while len(named) < HORIZON:
        at = there if len(ridden) <= len(rated[here]) and len(ridden) < times else here
        if len(rated[at]) >= times:
            break
        rated[at].append(rider.rate(at))
        named.append(here)
        error = rider.scatter * (1 / len(rated[here]) + 1 / max(1, len(ridden))) ** 0.5
        if ridden and abs(np.mean(ridden) - np.mean(rated[here])) > error:
            break
    return bool(ridden) and bool(np.mean(ridden) > np.mean(rated[here]))


def golden(rider: Rider, times: int) -> list[int]:
    """Return the middle of the interval that is left, after each run."""
    low, high, share = 0.0, float(rider.clicks), (5**0.5 - 1) / 2
    named: list[int] = []

    def mean(at: float) -> float:
        ratings = [rider.rate(round(at)) for _ in range(times)]
        named.extend([round((low + high) / 2)] * times)
        return float(np.mean(ratings))

    one, two = high - share * (high - low), low + share * (high - low)
    at_one, at_two = mean(one), mean(two)
    while True:
        lower = at_one >= at_two
        low, high = (low, two) if lower else (one, high)
        named[-1] = round((low + high) / 2)
        if high - low <= 2 or len(named) + times > HORIZON:
            return named
        if lower:
            two, at_two = one, at_one
            one = high - share * (high - low)
            at_one = mean(one)
        else:
            one, at_one = two, at_two
            two = low + share * (high - low)
            at_two = mean(two)


def reach(named: Sequence[int], best: int) -> int:
    """Return after how many runs the named setting is within one click of the best, for good."""
    wrong = [n for n, at in enumerate(named, 1) if abs(at - best) > 1]
    last = wrong[-1] if wrong else 0
    return last + 1 if last < len(named) else HORIZON


@dataclass(frozen=True, slots=True)
class Score:
    """One rider's way, by one method."""

    reach: int
    runs: int
    clicks: int
    points: float


Method = Callable[[Rider], list[int]]
OURS = "bracketing"
METHODS: dict[str, Method] = {
    OURS: bracketing,
    "five clicks": lambda rider: bracketing(rider, 5),
    "one click, 1": lambda rider: one_click(rider, 1),
    "one click, 3": lambda rider: one_click(rider, 3),
    "one click, 6": lambda rider: one_click(rider, 6),
    "one click, 1, goes on": lambda rider: one_click(rider, 1, goes_on=True),
    "one click, 3, goes on": lambda rider: one_click(rider, 3, goes_on=True),
    "golden, 1": lambda rider: golden(rider, 1),
    "golden, 3": lambda rider: golden(rider, 3),
}
COMPARED = "better, worse or same"


def ways(method: Method, riders: int, clicks: int, scatter: float, drift: float) -> list[Score]:
    """Return how a method fares on so many riders, the same for every method."""
    scores = []
    for n in range(riders):
        luck = np.random.default_rng([n, clicks, round(10 * scatter), round(-100 * drift), FRESH])
        rider = Rider(luck, clicks, scatter, drift)
        named = method(rider)
        points = rider.top - rider.liking(named[-1])
        scores.append(Score(reach(named, rider.best), len(named), abs(named[-1] - rider.best), points))
    return scores


def share_of_one_click(found: dict[str, list[Score]]) -> float:
    """Return the bracketing's reach over that of the best one-click search."""
    means = {name: float(np.mean([s.reach for s in scores])) for name, scores in found.items()}
    return means[OURS] / min(mean for name, mean in means.items() if name.startswith("one click"))


def _print(label: str, found: dict[str, list[Score]]) -> None:
    print(f"\n{label}" + (f"   share {share_of_one_click(found):.2f}" if OURS in found else ""))
    for name, scores in found.items():
        reached, runs, clicks, points = (
            float(np.mean([getattr(s, key) for s in scores])) for key in ("reach", "runs", "clicks", "points")
        )
        within = np.mean([s.clicks <= 1 for s in scores])
        served = [s.reach < HORIZON for s in scores]
        again = sum(min(s.reach, s.runs) for s in scores) / max(1, sum(served))
        print(f"  {name:<22} {reached:6.1f} {again:6.1f} {runs:6.1f} {100 * within:6.0f}% {clicks:7.2f} {points:7.2f}")


def main() -> None:
    riders = int(sys.argv[1]) if len(sys.argv) > 1 else 16
    begun = perf_counter()
    cells = {
        (clicks, scatter, drift): {name: ways(m, riders, clicks, scatter, drift) for name, m in METHODS.items()}
        for clicks in DIALS
        for scatter in SCATTERS
        for drift in DRIFTS
    }
    print(f"{riders} riders in each of {len(cells)} cells; mean   reach  again   runs  within  clicks  points")
    for n, kind, values in ((0, "clicks", DIALS), (1, "points of scatter", SCATTERS), (2, "points of drift", DRIFTS)):
        for value in values:
            _print(f"{value:g} {kind}", _joined([c for key, c in cells.items() if key[n] == value]))
    _print("all", _joined(list(cells.values())))
    compared = [ways(lambda r: bracketing(r, compare=True), max(1, riders // 4), 20, s, 0.0) for s in SCATTERS]
    _print("20 clicks, no drift, the rider only compares", {COMPARED: [s for scores in compared for s in scores]})
    print(f"\n{perf_counter() - begun:.0f} s")


def _joined(cells: Sequence[dict[str, list[Score]]]) -> dict[str, list[Score]]:
    return {name: [score for cell in cells for score in cell[name]] for name in cells[0]}


if __name__ == "__main__":
    main()
