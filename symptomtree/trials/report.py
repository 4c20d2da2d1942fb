"""What a trial comes to, as data and as lines of text."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from symptomtree.trials.figures import BINS, Calibration, Figure, calibration, mean, ratio, share
from symptomtree.trials.session import Session
from symptomtree.trials.trial import ADVISER, Trial, Worked


@dataclass(frozen=True, slots=True)
class Line:
    """One policy's figures.

    Attributes:
        cost: of the whole session, minutes and money in one.
        search: cost above what it would have cost someone who knows what is wrong.
        minutes, spent, questions, checks, fixes, hand_overs: means per bike.
        first, first_three: share of bikes fixed at the bench by the first fix, and by at most three.
        gone: share of bikes that left the bench without their complaint.
        handed_over, not_ended: share of bikes that ended so.
        missed: assessments that lacked a stop which should stand.
        saves, saves_search: by what share the adviser's mean cost, and that of its search, are below this policy's on
            the same bikes; None for the adviser.
        dearer: mean of this policy's costs less the adviser's, bike by bike.
        fit: of the stated probabilities.
        median_ms, high_ms: time per assessment, median and 95th percentile.
    """

    policy: str
    cost: Figure
    search: Figure
    minutes: Figure
    spent: Figure
    questions: Figure
    checks: Figure
    fixes: Figure
    hand_overs: Figure
    first: Figure
    first_three: Figure
    gone: Figure
    handed_over: Figure
    not_ended: Figure
    missed: int
    saves: Figure | None
    saves_search: Figure | None
    dearer: Figure | None
    fit: Calibration
    median_ms: float
    high_ms: float


def lines(worked: Sequence[Worked]) -> list[Line]:
    """Return each policy's figures, the adviser's first; the order of the bikes does not matter."""
    bikes = sorted(worked, key=lambda w: w.number)
    adviser, floor = [w.sessions[ADVISER] for w in bikes], [w.floor for w in bikes]
    return [_line(name, [w.sessions[name] for w in bikes], adviser, floor) for name in bikes[0].sessions]


def _line(policy: str, sessions: list[Session], adviser: list[Session], floor: list[float]) -> Line:
    costs, best = [s.cost for s in sessions], [s.cost for s in adviser]
    search = [c - f for c, f in zip(costs, floor, strict=True)]

    def average(name: str) -> Figure:
        return mean([getattr(s, name) for s in sessions])

    def often(hits: list[bool]) -> Figure:
        return share(sum(hits), len(hits))

    def saving(mine: list[float], theirs: list[float]) -> Figure | None:
        kept = ratio(mine, theirs)
        return Figure(1 - kept.value, 1 - kept.high, 1 - kept.low) if policy != ADVISER else None

    seconds = np.concatenate([s.seconds for s in sessions])
    return Line(
        policy=policy,
        cost=average("cost"),
        search=mean(search),
        minutes=average("minutes"),
        spent=average("spent"),
        questions=average("questions"),
        checks=average("checks"),
        fixes=average("fixes"),
        hand_overs=average("hand_overs"),
        first=often([s.ended == "fixed" and s.fixes <= 1 for s in sessions]),
        first_three=often([s.ended == "fixed" and s.fixes <= 3 for s in sessions]),
        gone=often([s.gone for s in sessions]),
        handed_over=often([s.ended == "handed over" for s in sessions]),
        not_ended=often([s.ended == "not ended" for s in sessions]),
        missed=sum(s.missed for s in sessions),
        saves=saving(best, costs),
        saves_search=saving([c - f for c, f in zip(best, floor, strict=True)], search),
        dearer=mean([c - b for c, b in zip(costs, best, strict=True)]) if policy != ADVISER else None,
        fit=calibration([(s.said, s.so) for s in sessions]),
        median_ms=1000 * float(np.median(seconds)),
        high_ms=1000 * float(np.quantile(seconds, 0.95)),
    )


def data(trial: Trial, worked: Sequence[Worked]) -> dict[str, Any]:
    """Return the trial as plain data."""
    return {
        "bikes": trial.bikes,
        "number": trial.number,
        "knowledge": trial.digest,
        "interval": 0.95,
        "knowing_what_is_wrong": asdict(mean([w.floor for w in worked])),
        "policies": [asdict(line) for line in lines(worked)],
    }


def render(trial: Trial, worked: Sequence[Worked]) -> Iterator[str]:
    """Yield the trial as lines of text."""
    found = lines(worked)
    wide = max(len(line.policy) for line in found)
    yield f"{trial.bikes} simulated bikes from knowledge {trial.digest[:12]}, number {trial.number}. Intervals: 95 %."
    floor = mean([w.floor for w in sorted(worked, key=lambda w: w.number)])
    yield f"Someone who knows from the start what is wrong would pay {_plain(floor)} a bike; above that it is search."
    yield ""
    heads = ["in all", "adviser saves", "the search", "adviser saves", "minutes", "money"]
    yield f"{'cost per bike':{wide}}  " + "  ".join(f"{head:>19}" for head in heads)
    for line in found:
        costs = [_plain(line.cost), _saved(line.saves), _plain(line.search), _saved(line.saves_search)]
        costs += [_plain(line.minutes), _plain(line.spent)]
        yield f"{line.policy:{wide}}  " + "  ".join(f"{cost:>19}" for cost in costs)
    yield ""
    heads = ["fixed by 1st", "by 1st three", "no complaint", "handed over", "not ended"]
    yield f"{'share of bikes':{wide}}  " + "  ".join(f"{head:>15}" for head in heads)
    for line in found:
        shares = (line.first, line.first_three, line.gone, line.handed_over, line.not_ended)
        yield f"{line.policy:{wide}}  " + "  ".join(f"{_percent(f):>15}" for f in shares)
    yield ""
    heads = ["questions", "checks", "fixes", "stops missed", "ms a step", "95th"]
    yield f"{'per bike':{wide}}  " + "  ".join(f"{head:>12}" for head in heads)
    for line in found:
        means = "  ".join(f"{f.value:12.2f}" for f in (line.questions, line.checks, line.fixes))
        yield f"{line.policy:{wide}}  {means}  {line.missed:12d}  {line.median_ms:12.1f}  {line.high_ms:12.1f}"
    fit = found[0].fit
    yield ""
    yield (
        f"The adviser's probabilities before its first fix: Brier {_fine(fit.brier)}, log score {_fine(fit.log_score)},"
        f" ECE {_fine(fit.ece)} (forecast against outcome, {BINS} bins of equal width)."
    )
    for b in fit.bins:
        yield f"  {b.low:.1f} to {b.high:.1f}: said {b.said:.3f}, was so {b.so:.3f}, {b.count} times"


def dearest(worked: Sequence[Worked], count: int) -> Iterator[str]:
    """Yield what was wrong and what was done on the bikes that cost the adviser most."""
    for w in sorted(worked, key=lambda w: (-w.sessions[ADVISER].cost, w.number))[:count]:
        s = w.sessions[ADVISER]
        yield ""
        yield f"Bike {w.number}: {', '.join(s.causes)}. {s.ended}, cost {s.cost:.1f}, known {w.floor:.1f}."
        yield from (f"  {step}" for step in s.steps)


def _plain(f: Figure) -> str:
    return f"{f.value:.1f} ({f.low:.1f}-{f.high:.1f})"


def _saved(f: Figure | None) -> str:
    return _percent(f) if f else ""


def _percent(f: Figure) -> str:
    return f"{100 * f.value:.0f} ({100 * f.low:.0f} to {100 * f.high:.0f}) %"


def _fine(f: Figure) -> str:
    return f"{f.value:.4f} ({f.low:.4f}-{f.high:.4f})"
