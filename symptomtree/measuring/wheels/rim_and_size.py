"""The wear of a braking rim, and the size of a wheel."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, isfinite, pi

from symptomtree.measuring.life import left
from symptomtree.measuring.picture import bars
from symptomtree.measuring.tool import TOO_CLOSE, BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number
from symptomtree.measuring.wheels.rim_tyre import BEADS, NAME, bead_field, sold_as
from symptomtree.measuring.wheels.tyres import TYRE_WIDTH

THIN = 1.0
"""mm of wall at which a braking rim is replaced where its maker says nothing (Rim wear, wheel builder's page)."""
BROKEN = 0.7
"""mm of wall at which rims were found broken (cyclists' forum, How do I check for rim wear)."""
SIZE = 0.005
"""Standard uncertainty of a circumference from the printed size, as a share: a printed table of a cycle computer lies
within 0.4 % of it, and a rider's weight takes up to 1 % (from memory)."""
ROLLS = (700.0, 2950.0)
"""mm that the smallest and the largest wheels roll in one turn: 203 and 787 mm of bead, with their tyres."""
APART = 3.0
"""Percent by which a roll-out and the printed size may differ before one of them is wrong (from memory)."""


# Rim wear


def _rim_wear(
    wall: Sequence[Number],
    wall_before: Number | None,
    distance: float | None,
    days: float | None,
    wall_limit: float | None,
) -> Outcome:
    limit = THIN if wall_limit is None else wall_limit
    now = min(wall, key=lambda w: w.value)
    values, errors = {"wall": now.value}, {"wall": now.error}
    says = []
    if wall_before is None and (distance or days):
        raise BadInput("wall-before is missing: what is left can only be told from an earlier reading", "wall-before")
    if wall_before is not None:
        if not (distance or days):
            raise BadInput(
                "distance is missing: give what was ridden since the earlier reading, or the days", "distance"
            )
        if now.value > wall_before.value + 3 * hypot(now.error, wall_before.error):
            raise BadInput(
                f"wall: {now.value:g} mm is thicker than the earlier {wall_before.value:g} mm; were they swapped, or "
                "read at another place?",
                "wall",
            )
        for run, name in ((distance, "kilometres"), (days, "days")):
            if run:
                says += _left(values, errors, wall_before, now, run, limit, name)

    broken = f"Under {BROKEN:g} mm: rims were found broken at that. Let the air out now, and do not ride it."
    verdict = Verdict(
        value="wall",
        limits=(BROKEN, limit) if limit > BROKEN else (BROKEN,),
        says=(
            broken,
            *([f"Under the limit of {limit:g} mm: a new rim before the next ride."] if limit > BROKEN else []),
            f"Above the limit of {max(limit, BROKEN):g} mm; the maker's own mark or figure comes first.",
        ),
        closer="Measure again where it is thinnest; until you know, treat it as under that, and do not ride it.",
    )
    says.append(
        "A wear mark that is gone, a hollow, a crack or a bulge ends the rim whatever its wall measures; look at "
        "both sides."
    )

    def picture(width: int, height: int) -> list[str]:
        places = {f"place {n}": w.value for n, w in enumerate(wall[: max(1, height - 1)], 1)}
        return bars({**places, "limit": limit}, width, unit=" mm")

    return Outcome(values=values, errors=errors, verdicts=[verdict], says=says, picture=picture)


def _left(
    values: dict[str, float],
    errors: dict[str, float],
    before: Number,
    now: Number,
    run: float,
    limit: float,
    unit: str,
) -> list[str]:
    """Put what is left into the values, and say it; a rim that is worn out needs no saying."""
    found = left(Number(-before.value, before.error), Number(-now.value, now.error), run, -limit)
    for name, number in zip((unit, f"{unit}-least", f"{unit}-most"), found, strict=True):
        if isfinite(number):
            values[name] = number
    if isfinite(found.likeliest) and isfinite(found.most):
        errors[unit] = (found.most - found.least) / (2 * TOO_CLOSE)
    if not isfinite(found.likeliest):
        return [f"No wear between the readings, so nothing tells how many {unit} are left: read again later."]
    if not found.likeliest:
        return []
    most = f"as often less than {found.most:.0f}" if isfinite(found.most) else "how many at most cannot be told yet"
    return [
        f"Ridden as before, about {found.likeliest:.0f} {unit} are left to the limit (19 times out of 20 more than "
        f"{found.least:.0f}, {most}): measure again at half of the least."
    ]


_WALL = Field(
    name="wall",
    ask="How thick is the wall where it is thinnest, at four places or more?",
    kind="numbers",
    unit="mm",
    least=0.1,
    most=5,
    error=0.1,
    with_error=True,
)
RIM_WEAR = Tool(
    name="rim-wear",
    title="Wear of a rim that rim brakes press on, and what is left",
    about="All the air out first, tyre off on one side. A caliper whose jaws reach over the hooked edge, in the "
    "hollow of the braking surface; several places, both sides.",
    fields=(
        _WALL,
        replace(
            _WALL,
            name="wall-before",
            kind="number",
            ask="How thick was its thinnest place the time before?",
            needed=False,
        ),
        Field(
            name="distance",
            ask="How far was it ridden since then?",
            unit="km",
            least=1,
            most=100_000,
            needed=False,
        ),
        Field(name="days", ask="How many days ago was that?", unit="day", least=1, most=10_000, needed=False),
        Field(
            name="wall-limit",
            ask="What least wall does the rim's maker allow?",
            unit="mm",
            least=0.2,
            most=3,
            needed=False,
            lasting=True,
        ),
    ),
    run=_rim_wear,
    gives=(
        Gives(name="wall", words="thinnest place", unit="mm", also="in"),
        Gives(name="kilometres", words="left", unit="km", also="mile"),
        Gives(name="kilometres-least", words="left at least (19 times out of 20)", unit="km", also="mile"),
        Gives(name="kilometres-most", words="left at most (19 times out of 20)", unit="km", also="mile"),
        Gives(name="days", words="left, ridden as before", unit="day"),
        Gives(name="days-least", words="left at least (19 times out of 20)", unit="day"),
        Gives(name="days-most", words="left at most (19 times out of 20)", unit="day"),
    ),
    sources=(
        "Rim wear, wheel builder's page (replace at 1.0 mm)",
        "How do I check for rim wear, cyclists' forum (broken at about 0.7 mm, 100 psi)",
        "E. C. Fieller, Some problems in interval estimation, Journal of the Royal Statistical Society B 16, 1954",
    ),
    cautions=("Let all the air out first: a thin wall under pressure can burst in the hand.",),
    example={"wall": "1.25 1.3 1.2 1.3", "wall-before": "1.5", "distance": "3000 km"},
)


# Wheel size


def nominal_circumference(width: float, bead: float) -> float:
    """Return how far a wheel rolls in one turn by its printed size, in mm.

    Args:
        width: of the tyre, in mm; its height is taken as the same.
        bead: bead seat diameter, in mm.

    Source: Choosing your gears, cycle engineer's page (diameter = bead diameter + twice the width, an estimate).
    """
    return pi * (bead + 2 * width)


def _wheel_size(
    rollout: float | None,
    roll_turns: float,
    tyre_width: float | None,
    tyre_bead: float | None,
    computer_setting: float | None,
) -> Outcome:
    if (tyre_width is None) != (tyre_bead is None):
        missing = "tyre-bead" if tyre_bead is None else "tyre-width"
        raise BadInput(f"{missing} is missing: the printed size has two numbers, as 28-622", missing)
    if tyre_bead == NAME:
        raise BadInput(f"tyre-bead: {NAME} is {sold_as(NAME)}", "tyre-bead")
    printed = None
    if tyre_width is not None and tyre_bead is not None:
        printed = nominal_circumference(tyre_width, tyre_bead)
    errors = {}
    if rollout is not None:
        around = rollout / roll_turns
        if not ROLLS[0] <= around <= ROLLS[1]:
            raise BadInput(
                f"rollout: {around:.0f} mm a turn is no wheel's; look at the number of turns and at the unit", "rollout"
            )
        says = ["Measured under the rider's weight, at the pressure that is ridden, this is better than any table."]
        if printed and abs(around / printed - 1) * 100 > APART:
            raise BadInput(
                f"rollout: {around:.0f} mm a turn does not go with the printed size ({printed:.0f} mm); look at the "
                "number of turns and at the size again",
                "rollout",
            )
    elif printed is not None:
        around, errors["wheel-circumference"] = printed, SIZE * printed
        says = [
            "From the printed size, so to about half a percent: roll it out under the rider for better.",
            "Under a rider a tyre rolls up to one percent less than that.",
        ]
    else:
        raise BadInput(
            "rollout is missing: give how far the wheel rolled, or the printed size (tyre-width and tyre-bead)"
        )
    if tyre_bead is not None and tyre_bead not in BEADS:
        says.append(f"Tyre {tyre_bead:g} mm: {sold_as(tyre_bead)}.")
    values = {"wheel-circumference": around, "wheel-diameter": around / pi, "turns-per-km": 1e6 / around}
    errors.update({"wheel-diameter": errors["wheel-circumference"] / pi} if errors else {})
    if computer_setting is not None:
        values["computer-off"] = (computer_setting / around - 1) * 100
        if errors:
            errors["computer-off"] = SIZE * 100 * computer_setting / around
        says.append(f"Set the computer to {around:.0f} mm.")
    return Outcome(values=values, errors=errors, says=says)


WHEEL_SIZE = Tool(
    name="wheel-size",
    title="How far a wheel rolls in one turn",
    about="Tyre at its usual pressure, rider on. Valve straight down, mark the ground there, roll straight ahead "
    "until it is down again (several turns are better), mark, measure. Or the printed size, as 28-622.",
    fields=(
        Field(
            name="rollout",
            ask="How far did it roll?",
            unit="mm",
            least=700,
            most=50_000,
            error=5,
            needed=False,
        ),
        Field(name="roll-turns", ask="In how many turns?", least=1, most=20, whole=True, usual="1"),
        replace(TYRE_WIDTH, needed=False),
        bead_field("tyre"),
        Field(
            name="computer-setting",
            ask="What circumference is set in the cycle computer?",
            unit="mm",
            least=300,
            most=3000,
            needed=False,
        ),
    ),
    run=_wheel_size,
    gives=(
        Gives(name="wheel-circumference", words="in one turn", unit="mm", also="in"),
        Gives(name="wheel-diameter", words="diameter that rolls so far", unit="mm", also="in"),
        Gives(name="turns-per-km", words="turns in a kilometre"),
        Gives(name="computer-off", words="the computer shows too much by", unit="%"),
    ),
    sources=(
        "Choosing your gears, cycle engineer's page (diameter = bead diameter + twice the width)",
        "Circumference of a tyre, reprint of a cycle computer's table (within 0.4 % of that)",
        "from memory (a rider's weight takes up to 1 %)",
    ),
    cautions=("Roll it where no traffic is, with someone to steady the bike.",),
    example={
        "rollout": "6390 mm",
        "roll-turns": "3",
        "tyre-width": "32",
        "tyre-bead": "622",
        "computer-setting": "2155",
    },
)
