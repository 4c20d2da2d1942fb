"""How long pads, blocks and discs of a brake will last, from dated readings of their thickness."""

from collections.abc import Callable, Sequence
from datetime import date
from itertools import pairwise
from math import inf, isfinite, nextafter, sqrt
from typing import NamedTuple

import numpy as np

from symptomtree.measuring.life import Left, used_up
from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number


class _Part(NamedTuple):
    words: str
    gauge: float  # standard uncertainty of a reading of its thickness, in mm (from memory)
    limit: float  # mm
    whence: str
    do: str


PARTS = {
    "pad": _Part(
        "lining of a disc brake's pad, without its plate",
        0.1,
        0.5,
        "a how-to article's 0.5 mm of lining (or a third of the new lining; some makers count lining and plate)",
        "Fit new pads, both of the wheel together, and bed them in.",
    ),
    "disc": _Part(
        "disc, in the middle of its worn track",
        0.03,
        1.5,
        "1.5 mm, which many discs bear (makers print 1.5, 1.52 or 1.55; others 1.4 to 1.8)",
        "Fit a new disc, and pads with it if they are worn to its shape.",
    ),
    "block": _Part(
        "rim brake block, depth of its grooves or to its wear line",
        0.2,
        0.0,
        "common practice: worn when the grooves are gone or the line is reached",
        "Fit new blocks, both of the wheel, and look at the rim for wear.",
    ),
}


class Line(NamedTuple):
    """A straight line through readings, as seen from the last one."""

    last: Number  # where the line is there
    rate: Number  # how fast it falls
    shared: float  # their covariance
    widened: bool  # whether the readings scatter more than the gauge, so that its uncertainty was made larger


# Formulas


def falling_line(at: Sequence[float], readings: Sequence[Number]) -> Line:
    """Fit a line to readings by weighted least squares (JCGM 100:2008, H.3).

    Readings that scatter more than their uncertainties allow widen these by the ratio, as R. T. Birge proposed (The
    calculation of errors by the method of least squares, Physical Review 40, 1932).

    Args:
        at: where each was taken, rising: km or days.
        readings: two or more.
    """
    x, y = np.array(at), np.array([r.value for r in readings])
    weight = 1 / np.array([r.error for r in readings]) ** 2
    middle = float((weight * x).sum() / weight.sum())
    level = float((weight * y).sum() / weight.sum())
    width = float((weight * (x - middle) ** 2).sum())
    slope = float((weight * (x - middle) * y).sum() / width)
    beyond = float(x[-1]) - middle
    over = float((weight * (y - level - slope * (x - middle)) ** 2).sum()) / max(1, len(x) - 2)
    wider = max(1.0, over) if len(x) > 2 else 1.0
    last = Number(level + slope * beyond, sqrt((1 / float(weight.sum()) + beyond**2 / width) * wider))
    return Line(last, Number(-slope, sqrt(wider / width)), -beyond / width * wider, wider > 1)


# The tool


def _brake_wear(
    brake_part: str,
    thickness: Sequence[Number],
    odometer: Sequence[float],
    dates: Sequence[str],
    wear_limit: float | None,
) -> Outcome:
    part = PARTS[brake_part]
    limit = part.limit if wear_limit is None else wear_limit
    readings = [r if r.error else Number(r.value, part.gauge) for r in thickness]
    now = readings[-1]
    which = f"its limit of {limit:g} mm" if wear_limit is not None else f"the usual limit of {limit:g} mm"
    values, errors = {"thickness": now.value}, {"thickness": now.error}
    verdict = Verdict(
        value="thickness",
        limits=(nextafter(limit, inf),),  # at the limit it is worn
        says=(
            f"At or under {which}: worn out. {part.do}",
            f"Over {which} by this reading.",
        ),
        closer="Measure again at four places with a better gauge and take the thinnest; when in doubt, change it.",
    )
    says = [f"The limit is {part.whence}." if wear_limit is None else "The limit is the one you gave."]
    if wear_limit is None:
        says.append("The maker's figure comes first: look on the part and in its manual, and fill it in.")
    axes = _axes(len(readings), odometer, dates)
    lines = {unit: falling_line(at, readings) for unit, at in axes.items()}
    for unit, line in lines.items():
        if line.rate.value < -2 * line.rate.error:
            raise BadInput(
                "thickness: it grows from reading to reading; give the oldest first, and only readings since the part "
                "was new",
                "thickness",
            )
        lasts = used_up(Number(line.last.value - limit, line.last.error), line.rate, line.shared)
        _put(unit, line, lasts, values, errors)
        says.append(_lasts(unit, lasts))
    if any(line.widened for line in lines.values()):
        says.append("The readings scatter more than such a gauge does, so the bounds were widened to fit.")
    if lines:
        says.append(
            "Reckoned as if it went on as before: wet grit, long descents or a brake that drags wear many times as "
            "fast."
        )
    else:
        says.append("With two readings or more and odometer or dates, it also tells how long the part will last.")
    return Outcome(
        values=values,
        errors=errors,
        verdicts=(verdict,),
        says=says,
        picture=_picture(axes, lines, readings, limit) if lines else None,
    )


def _put(unit: str, line: Line, lasts: Left, values: dict[str, float], errors: dict[str, float]) -> None:
    per = 1000 if unit == "km" else 100
    values[f"{unit}-rate"], errors[f"{unit}-rate"] = line.rate.value * per, line.rate.error * per
    if line.rate.value > 0 and isfinite(lasts.likeliest):
        ahead = lasts.likeliest
        squares = line.last.error**2 + (ahead * line.rate.error) ** 2 - 2 * ahead * line.shared
        errors[f"{unit}-left"] = sqrt(squares) / line.rate.value
    for name, bound in (("left", lasts.likeliest), ("at-least", lasts.least), ("at-most", lasts.most)):
        if isfinite(bound):
            values[f"{unit}-{name}"] = bound


def _lasts(unit: str, lasts: Left) -> str:
    name = "km" if unit == "km" else "days"
    least, most = (float(f"{bound:.2g}") for bound in (lasts.least, lasts.most))
    if lasts.likeliest == 0:
        return "By the line through the readings nothing is left of it."
    if most == inf:
        return (
            f"The readings hardly differ, so all that can be told is that {least:.0f} {name} or more are left. Measure "
            "again later."
        )
    return (
        f"Left until the limit: {least:.0f} to {most:.0f} {name} (nine times out of ten). Measure again at half the "
        "lower."
    )


def _axes(count: int, odometer: Sequence[float], dates: Sequence[str]) -> dict[str, list[float]]:
    """Return km and days at each reading, where they were given."""
    axes: dict[str, list[float]] = {}
    if odometer:
        axes["km"] = list(odometer)
    if dates:
        first, *rest = (_date(word) for line in dates for word in line.split())
        axes["day"] = [0.0, *((day - first).days for day in rest)]
    for unit, at in axes.items():
        name = "odometer" if unit == "km" else "dates"
        if len(at) != count:
            raise BadInput(f"{name}: {len(at)} for {count} readings of thickness; give one for each", name)
        if any(later <= earlier for earlier, later in pairwise(at)):
            raise BadInput(f"{name}: they must rise from reading to reading; give the oldest first", name)
    return axes if count > 1 else {}


def _date(word: str) -> date:
    try:
        return date.fromisoformat(word.strip(","))
    except ValueError as error:
        raise BadInput(f"dates: '{word[:20]}' is no date; type them like 2026-03-01 2026-05-20", "dates") from error


def _picture(
    axes: dict[str, list[float]], lines: dict[str, Line], readings: Sequence[Number], limit: float
) -> Callable[[int, int], list[str]]:
    unit, at = next(iter(axes.items()))
    line = lines[unit]

    def picture(width: int, height: int) -> list[str]:
        span = at[-1] - at[0]
        ahead = (line.last.value - limit) / line.rate.value if line.rate.value > 0 else span
        start, end = at[0], at[-1] + min(3 * span, max(0.2 * span, 1.1 * ahead))
        ends = [line.last.value + line.rate.value * (at[-1] - x) for x in (start, end)]
        return curves(
            {"as it went": ([start, end], ends), f"limit {limit:g} mm": ([start, end], [limit, limit])},
            width,
            height,
            "km" if unit == "km" else "days",
            "thickness, mm",
            points={"read": (at, [r.value for r in readings])},
        )

    return picture


BRAKE_WEAR = Tool(
    name="brake-wear",
    title="How long pads, blocks and disc will last",
    about="Measure at four places and take the thinnest. Pad: the lining alone, with a caliper and the pads out (read "
    "off a rule it is good to 0.3 mm: type 2.5 +- 0.3). Disc: a micrometer in the middle of the worn track, not over "
    "the rim that is left at its edge. Block: the depth that is left of its grooves. Type the readings oldest first, "
    "with odometer or date of each.",
    fields=(
        Field(
            name="brake-part",
            ask="What was measured?",
            kind="choice",
            choices={name: part.words for name, part in PARTS.items()},
            usual="pad",
        ),
        Field(
            name="thickness",
            ask="How thick was it at its thinnest, oldest reading first?",
            kind="numbers",
            unit="mm",
            least=0,
            most=20,
            with_error=True,
        ),
        Field(
            name="odometer",
            ask="What did the odometer say at each?",
            kind="numbers",
            unit="km",
            least=0,
            most=500000,
            needed=False,
        ),
        Field(name="dates", ask="When was each (like 2026-03-01)?", kind="lines", needed=False),
        Field(
            name="wear-limit",
            ask="What is the maker's least thickness, if known?",
            unit="mm",
            least=0,
            most=10,
            needed=False,
        ),
    ),
    run=_brake_wear,
    gives=(
        Gives(name="thickness", words="thickness, last reading", unit="mm", also="in"),
        Gives(name="km-rate", words="worn in 1000 km", unit="mm"),
        Gives(name="km-left", words="left until the limit", unit="km", also="mile"),
        Gives(name="km-at-least", words="at least (19 times out of 20)", unit="km", also="mile"),
        Gives(name="km-at-most", words="at most (19 times out of 20)", unit="km", also="mile"),
        Gives(name="day-rate", words="worn in 100 days", unit="mm"),
        Gives(name="day-left", words="left until the limit", unit="day"),
        Gives(name="day-at-least", words="at least (19 times out of 20)", unit="day"),
        Gives(name="day-at-most", words="at most (19 times out of 20)", unit="day"),
    ),
    sources=(
        "Disc brakes: changing brake pads, how-to article (0.5 mm of lining, or a third of the new)",
        "Workshop note on the wear of discs (makers' limits 1.5, 1.52, 1.55 mm); cycling magazine, 2011 (1.4 to 1.8)",
        "Math for automotive technicians, textbook, 2019 (remaining life from wear so far)",
        "E. C. Fieller, Some problems in interval estimation, Journal of the Royal Statistical Society B 16, 1954",
        "R. T. Birge, The calculation of errors by the method of least squares, Physical Review 40, 1932",
        "common practice (blocks are worn when the grooves are gone)",
        "from memory (gauges: lining 0.1 mm, disc 0.03 mm, block 0.2 mm)",
    ),
    cautions=(
        "Let the brake cool first: discs and rims burn fingers. Keep fingers out of a disc that turns.",
        "A cracked disc, a lining that comes off its plate, or metal on metal: do not ride it.",
    ),
    example={
        "brake-part": "pad",
        "thickness": "2.9 2.3 1.6",
        "odometer": "1200 1900 2800",
        "dates": "2026-03-01; 2026-04-20; 2026-06-14",
    },
)
