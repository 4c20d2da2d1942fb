"""Bracketing: a dial's best setting from rated runs on one trail, and which run to ride next."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from symptomtree.measuring import picture
from symptomtree.measuring.bracketing.fit import (
    PAYS,
    Fit,
    Proposal,
    difference,
    fit,
    propose,
    rated_with,
    tell_of,
)
from symptomtree.measuring.bracketing.log import (
    BEST_RATING,
    MAX_CHARACTERS,
    Dial,
    Log,
    Settings,
    at_once,
    changed,
    log_text,
    parse_log,
    read_dials,
    read_runs,
    read_settings,
    shown,
)
from symptomtree.measuring.tool import TOO_CLOSE, BadInput, Field, Gives, Outcome, Picture, Tool, said, said_chance

SURE_BETTER = 0.95
"""One set-up is called better than another when it is so probable."""


def log_of(dials: Sequence[str], runs: Sequence[str], log: str | None = None) -> Log:
    """Return the log that was typed, or the one of a file with the runs that were typed after it.

    Args:
        dials, runs: lines as typed.
        log: path of a log's file.

    Raises:
        BadInput: something of it cannot be read.
    """
    if not log:
        if not dials:
            raise BadInput("dials is missing: which dials are there, like 'rebound 0-20 start 10'?", "dials")
        return read_runs(Log(dials=read_dials(dials)), runs)
    kept = _read_file(log, "log")
    if dials and read_dials(dials) != kept.dials:
        raise BadInput("dials: they are not those of the log; leave them out, or begin a new log", "dials")
    return read_runs(kept, runs)


def _read_file(path: str, field: str) -> Log:
    try:
        with Path(path).open(encoding="utf-8") as file:
            text = file.read(MAX_CHARACTERS + 1)
    except (OSError, ValueError) as error:
        raise BadInput(f"{field}: {path[:60]} cannot be read as text; name a log that was kept", field) from error
    try:
        return parse_log(text)
    except BadInput as error:
        raise BadInput(f"{field}: {path[:60]}: {error}", field) from error


def _bracketing(
    dials: Sequence[str],
    runs: Sequence[str],
    scatter: float,
    step: float,
    log: str | None,
    set_up: Sequence[str],
    other_set_up: Sequence[str],
    other_log: str | None,
) -> Outcome:
    known = log_of(dials, runs, log)
    proposal = propose(known, scatter, int(step))
    fits = {dial.name: fit(known, dial, scatter) for dial in known.dials if tell_of(known, dial)}
    values: dict[str, float] = {}
    errors: dict[str, float] = {}
    if found := fits.get(proposal.dial.name):
        off = np.arange(len(found.losses)) - found.choice
        values |= {
            "best": proposal.dial.low + found.choice,
            "sure": found.near(found.choice),
            "left": round(float(found.losses[found.choice]), 2),
            "drift": found.drift[0],
        }
        errors |= {"best": float(found.chances @ off**2) ** 0.5, "drift": found.drift[1]}
    if proposal.ride:
        values["next"] = proposal.settings[proposal.dial.name]
    says = [_next(known, proposal), *_dials(known, fits), *_remarks(known, found)]
    if set_up or other_set_up:
        one = read_settings(known, ", ".join(set_up), "set-up")
        other = read_settings(known, ", ".join(other_set_up), "other-set-up")
        if one == other:
            raise BadInput(f"other-set-up: it is {shown(one)} too; name another one to compare", "other-set-up")
        values["lead"], errors["lead"], chance = difference(known, one, other, scatter)
        says.append(_compared(one, other, said(abs(values["lead"]), errors["lead"], "points"), chance))
    if other_log:
        says += _trails(known, fits, _read_file(other_log, "other-log"), scatter)
    drawn = _picture(known, proposal.dial, found) if found else None
    return Outcome(values=values, errors=errors, says=says, picture=drawn, log=log_text(known))


def _next(log: Log, proposal: Proposal) -> str:
    where, name = shown(proposal.settings), proposal.dial.name
    match proposal.why:
        case "first":
            return f"Next run: {where}, where all starts."
        case "repeat":
            return f"Next run: {where} once more, to see whether trail or rider changed meanwhile."
        case "search":
            rated = any(run.rating is not None for run in log.runs)
            compare = "" if rated else f" Then say whether it is better than run {len(log.runs)}, worse or the same."
            return f"Next run: {where}. Turn {name} only, and leave all else as it is.{compare}"
        case "move":
            return f"Next run: {where}. So {name} comes to its best before the next dial is begun."
        case "found":
            return f"Found: {where}. More runs would tell little; keep it, and note it with the trail."
    better = f"Another run is expected to better the ride by less than {PAYS:g} points"
    return f"Stop here: {where}. {better}; what is left cannot be told apart by riding."


def _dials(log: Log, fits: dict[str, Fit]) -> Iterator[str]:
    for dial in log.dials:
        found = fits.get(dial.name)
        if not found:
            yield f"{dial.name}: no two runs tell of it yet."
            continue
        low, high = (dial.low + at for at in found.interval())
        best = dial.low + found.choice
        told = f"{dial.name}: best at {best}, from {len(tell_of(log, dial))} runs; with 90 % between {low} and {high}."
        if best in (dial.low, dial.high):
            told += " That is the end of the dial: look at sag, spring and oil first."
        yield told


def _remarks(log: Log, found: Fit | None) -> Iterator[str]:
    if turned := at_once(log):
        which = ", ".join(str(n + 1) for n in turned)
        yield f"More than one dial was turned before run {which}: what came of that can be credited to none of them."
    if any(run.rating in (0, BEST_RATING) for run in log.runs):
        yield f"A rating of 0 or {BEST_RATING:g} leaves no room for a worse or a better ride; begin in the middle."
    if found and abs(found.drift[0]) > TOO_CLOSE * found.drift[1]:
        way = "fall" if found.drift[0] < 0 else "rise"
        yield f"Ratings {way} from run to run, whatever is set. That is taken out; but rest, and look at the trail."


def _compared(one: Settings, other: Settings, by: str, chance: float) -> str:
    alone = "" if len(changed(one, other)) < 2 else " Dials are taken to work independently."
    if max(chance, 1 - chance) < SURE_BETTER:
        both = f"{shown(one)} and {shown(other)}"
        return f"{both} are too close to call (by {by}); ride both again, one after the other.{alone}"
    better, worse = (one, other) if chance > 0.5 else (other, one)
    told = f"{shown(better)} is better than {shown(worse)} by {by}"
    return f"{told}, {said_chance(max(chance, 1 - chance))} sure.{alone}"


def _trails(log: Log, fits: dict[str, Fit], other: Log, scatter: float) -> Iterator[str]:
    """Yield how the best set-ups of two logs differ, dial by dial."""
    here, there = log.trail or "this log", other.trail or "the other log"
    for dial in log.dials:
        if dial not in other.dials:
            yield f"{dial.name}: {there} has no such dial of the same range."
        elif dial.name not in fits or not tell_of(other, dial):
            yield f"{dial.name}: not ridden enough on both to be compared."
        else:
            one, two = fits[dial.name], fit(other, dial, scatter)
            apart = _mean(one) - _mean(two)
            error = (_variance(one) + _variance(two)) ** 0.5
            clicks = f"{dial.low + one.choice} on {here}, {dial.low + two.choice} on {there}"
            close = " That may be chance." if abs(apart) < TOO_CLOSE * error else ""
            yield f"{dial.name}: {clicks}; {said(abs(apart), error, 'clicks')} apart.{close}"


def _mean(found: Fit) -> float:
    return float(found.chances @ np.arange(len(found.chances)))


def _variance(found: Fit) -> float:
    return float(found.chances @ (np.arange(len(found.chances)) - _mean(found)) ** 2)


def _picture(log: Log, dial: Dial, found: Fit) -> Picture:
    """Draw the ratings over the clicks with the fit and its interval; chances where nothing was rated."""
    clicks = np.arange(dial.low, dial.high + 1)
    runs = [log.runs[n] for n in rated_with(log, dial)]
    chances = {"chance": (clicks, 100 * found.chances)}
    across = f"{dial.name}, clicks"

    def draw(width: int, height: int) -> Sequence[str]:
        if not runs:
            return picture.curves(chances, width, height, across, "chance to be the best, %")
        mean, _ = found.ratings()
        low, high = found.band()
        fitted = {"fit": mean[:-1], "90 % between": low, "and": high}
        lines = {name: (clicks, np.clip(rated, 0, BEST_RATING)) for name, rated in fitted.items()}
        points = {"run": ([r.settings[dial.name] for r in runs], [r.rating or 0.0 for r in runs])}
        return picture.curves(lines, width, height, across, "rating, points", points)

    return draw


BRACKETING = (
    Tool(
        name="bracketing",
        title="Best dial setting from rated runs",
        about="Set sag and tyre pressure first. Ride the same stretch, at the same pace, for every run. Count clicks "
        "from fully closed, turn one dial at a time, and rate the ride from 0 to 10 at once, best without knowing the "
        "setting. Instead of a rating, 'rebound 8 better than 2' (or worse, or same) compares with run 2. 'new day' "
        "on a line of its own begins another day; start it with a set-up that you rode before.",
        fields=(
            Field(
                name="dials",
                ask="Which dials, each with its clicks and start, like 'rebound 0-20 start 10'?",
                kind="lines",
                needed=False,
                lasting=True,
            ),
            Field(
                name="runs",
                ask="Which runs in their order, like 'rebound 10 = 6.5; rebound 8 = 7 +- 0.5'?",
                kind="lines",
                needed=False,
                lasting=True,
            ),
            Field(
                name="scatter",
                ask="How many points apart would you rate the very same ride on another run?",
                least=0.1,
                most=3,
                usual="0.7",
                lasting=True,
            ),
            Field(
                name="step",
                ask="At most how many clicks at a time?",
                least=1,
                most=100,
                usual="2",
                whole=True,
                lasting=True,
            ),
            Field(name="log", ask="Which file keeps the runs so far?", kind="file", needed=False),
            Field(name="set-up", ask="Which set-up to compare, like 'rebound 8'?", kind="lines", needed=False),
            Field(name="other-set-up", ask="With which (usually the start)?", kind="lines", needed=False),
            Field(name="other-log", ask="Which file keeps another trail's runs to compare?", kind="file", needed=False),
        ),
        run=_bracketing,
        gives=(
            Gives(name="best", words="best setting so far, clicks"),
            Gives(name="sure", words="chance that it is within one click", chance=True),
            Gives(name="left", words="points that the best may still be better"),
            Gives(name="drift", words="ratings drift each run, points"),
            Gives(name="next", words="clicks for the next run"),
            Gives(name="lead", words="first set-up is better by, points"),
        ),
        sources=(
            "common practice (start from the middle, one change at a time, at most two clicks, repeat the start)",
            "Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006 (what a run would tell)",
            "Thurstone, A law of comparative judgment, 1927; Glenn and David, Ties in paired-comparison experiments, "
            "1960 (better, worse, same)",
            "from memory (how riders' ratings fall, scatter and drift; 80 % sure is enough)",
        ),
        cautions=(
            "Wear a helmet, ride within your limits, on a trail that you know: every new setting can surprise.",
            "Never force a dial at its ends. The maker's manual says what it does and how far it turns.",
            "If a setting feels unsafe, stop, go back to the last good one, and rate it 0 or 'worse'.",
        ),
        example={
            "dials": "rebound 0-14 start 7",
            "runs": "start = 6; rebound 5 = 7.5; rebound 3 = 6; start = 5.5; rebound 5 = 7; rebound 9 = 4.5",
        },
    ),
)
