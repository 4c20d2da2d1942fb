"""The coil that suits rider and frame: its rate, and what the coils that can be bought would do."""

from collections.abc import Sequence
from dataclasses import replace
from math import floor

from symptomtree.measuring.picture import bars
from symptomtree.measuring.suspension.sag import (
    GRAVITY,
    HOW,
    LEVERAGE,
    RANGE,
    SAG,
    STROKE,
    TARGET,
    TIPS,
    TRAVEL,
    doubted,
    mean_sag,
    moves,
    wanted,
)
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import convert

STEP = 25.0
"""lb/in from one coil that is sold to the next (common practice: 25, some 50)."""
MOST_TURNS = 2.5
"""Turns of preload past which a harder coil is wanted: two, and half a turn for the counting (common practice)."""


def coil_force(rate: float, sag: float, preload: float) -> float:
    """Return the force of a coil in N (Hooke's law).

    Args:
        rate: in N/mm.
        sag: how far the shock is pressed in, in mm.
        preload: how far the coil is pressed together before that, in mm.
    """
    return rate * (sag + preload)


def rate_for(force: float, sag: float, preload: float) -> float:
    """Return the rate, in N/mm, of the coil that holds `force` N at `sag` mm with `preload` mm (Hooke's law)."""
    return force / (sag + preload)


def sag_on(rate: float, force: float, preload: float) -> float:
    """Return the sag in mm on a coil of `rate` N/mm under `force` N with `preload` mm; none if the preload holds it."""
    return max(0.0, force / rate - preload)


def shock_load(mass: float, leverage: float) -> float:
    """Return the force on the shock, in N, of `mass` kg on the rear wheel: what the wheel lifts, times the leverage.

    Source: principle of virtual work; the lever arms of Barton and Fieldhouse, Automotive Chassis Engineering (2018),
    3.9.2.
    """
    return mass * GRAVITY * leverage


def wheel_rate(rate: float, leverage: float) -> float:
    """Return the rate at the wheel, in the unit of `rate`.

    Source: Barton and Fieldhouse, Automotive Chassis Engineering (2018), eq. 3.33: spring rate = wheel rate x R^2.
    """
    return rate / leverage**2


def _coil_rate(
    stroke: float | None,
    travel: float | None,
    leverage: float | None,
    rider_mass: float | None,
    bike_mass: float | None,
    load_share: float,
    spring_rate: float | None,
    sag: Sequence[float],
    preload_turns: float,
    preload_pitch: float,
    sag_target: float | None,
) -> Outcome:
    room, lever = moves("rear", travel, stroke, leverage)
    target = sum(RANGE["rear"]) / 2 if sag_target is None else sag_target
    preload = preload_turns * preload_pitch
    if sag and spring_rate is None:
        raise BadInput(
            "spring-rate is missing: sag tells nothing without the rate of the coil that gives it; fill it in, or "
            "leave the sag out",
            "spring-rate",
        )
    if spring_rate is not None and sag:
        mean, doubt = mean_sag(sag, room)
        force, doubt = coil_force(spring_rate, mean, preload), spring_rate * doubt
        whence = "From the coil in it and the sag that it gives: better than any reckoning from masses."
    elif rider_mass is None:
        raise BadInput(
            "rider-mass is missing: give it, or better the rate of the coil in it (spring-rate) and its sag",
            "rider-mass",
        )
    elif lever is None:
        raise BadInput("leverage is missing: give it, or the wheel's travel and the shock's stroke", "leverage")
    else:
        # Of the bike, about half stands on the rear, and some of that (wheel, brake, gears) is not on the spring.
        force, doubt = shock_load(load_share / 100 * rider_mass + 0.35 * (bike_mass or 0.0), lever), 0.0
        whence = (
            "From masses and the mean leverage. A frame whose leverage changes along the stroke may need 10 % more or "
            "less, so measure the sag with the coil in, and give both here."
        )

    def make(force: float) -> dict[str, float]:
        values = {"spring-rate-new": rate_for(force, target / 100 * room, preload), "shock-force": force}
        if lever:
            values["wheel-rate"] = wheel_rate(values["spring-rate-new"], lever)
        if spring_rate is not None:
            values["sag-fitted"] = sag_on(spring_rate, force, preload) / room * 100
            values["preload-needed"] = (force / spring_rate - target / 100 * room) / preload_pitch
        return values

    values, errors = doubted(make, {"force": force}, {"force": doubt})
    soft = max(STEP, floor(convert(values["spring-rate-new"], "N/mm", "lb/in") / STEP) * STEP)
    shelf = {
        rate: sag_on(convert(rate, "lb/in", "N/mm"), force, preload) / room * 100
        for rate in (soft - STEP, soft, soft + STEP, soft + 2 * STEP)
        if rate > 0
    }
    says = [
        whence,
        f"Coils come in steps of {STEP:g} or {2 * STEP:g} lb/in: with the same preload {soft:g} lb/in "
        f"({convert(soft, 'lb/in', 'N/mm'):.1f} N/mm) gives {shelf[soft]:.0f} % sag, {soft + STEP:g} lb/in "
        f"({convert(soft + STEP, 'lb/in', 'N/mm'):.1f} N/mm) {shelf[soft + STEP]:.0f} %.",
        "Preload lifts the bike and changes the sag a little; it does not make the coil harder. One to two turns that "
        "hold the coil are right (common practice), and the coil's own stroke must be more than the shock's stroke and "
        "the preload together.",
    ]
    turns_for_each = room / 100 / preload_pitch
    fitted = _fitted(target, *wanted("rear", sag_target), turns_for_each, bool(sag))
    verdicts = [] if spring_rate is None else [fitted]
    cautions = (
        ["That much preload can press the coil solid before the shock is at its end: not over the maker's limit."]
        if preload_turns > MOST_TURNS
        else []
    )

    def picture(width: int, height: int) -> list[str]:
        return bars({**{f"{rate:g} lb/in": sag for rate, sag in shelf.items()}, "wanted": target}, width, unit=" % sag")

    return Outcome(values=values, errors=errors, verdicts=verdicts, says=says, cautions=cautions, picture=picture)


def _fitted(target: float, low: float, high: float, turns_for_each: float, tried: bool) -> Verdict:
    """Return the verdict on the coil that is in, by the preload that it needs for the sag in the middle.

    Args:
        target, low, high: sag in the middle, and the least and the greatest that is right, in percent.
        turns_for_each: how many turns make one percent of sag.
        tried: whether the sag on it was measured.
    """
    return Verdict(
        value="preload-needed",
        limits=((low - target) * turns_for_each, MOST_TURNS + (high - target) * turns_for_each),
        says=(
            f"The coil in it is too hard: even without preload it sags less than {low:g} %. A softer one.",
            f"The coil in it will do: {low:g} to {high:g} % sag with the preload that holds it, or up to two turns.",
            f"The coil in it is too soft: with two turns of preload it still sags more than {high:g} %. A harder one.",
        ),
        closer="Set one to two turns, measure the sag three times more, and keep the coil if the sag is right."
        if tried
        else "Measure the sag that it gives three times, and give the readings.",
    )


COIL_RATE = Tool(
    name="coil-rate",
    title="Rate of the coil for a rear shock",
    about="Best: the coil in it with its printed rate, the turns of the ring that hold it, and three readings of sag. "
    f"{HOW} Without them: the masses and the leverage.",
    fields=(
        STROKE,
        TRAVEL,
        LEVERAGE,
        Field(
            name="rider-mass",
            ask="How heavy is the rider in kit, with everything carried?",
            unit="kg",
            least=15,
            most=250,
            error=1,
            needed=False,
            lasting=True,
        ),
        Field(
            name="bike-mass",
            ask="How heavy is the bike?",
            unit="kg",
            least=5,
            most=60,
            error=0.5,
            needed=False,
            lasting=True,
        ),
        Field(
            name="load-share",
            ask="How much of the rider is on the rear wheel (scales under it, front wheel as high)?",
            unit="%",
            least=20,
            most=100,
            error=4,
            usual="65",
            lasting=True,
        ),
        Field(
            name="spring-rate",
            ask="What rate is printed on the coil in it?",
            unit="N/mm",
            least=2,
            most=250,
            error=1.5,
            needed=False,
        ),
        replace(SAG, ask="What sag does that coil give, on the shock, in three readings?", needed=False),
        Field(
            name="preload-turns",
            ask="How many turns of the ring hold the coil?",
            least=0,
            most=12,
            error=0.2,
            usual="1",
        ),
        Field(
            name="preload-pitch",
            ask="How far does the ring move in one turn?",
            unit="mm",
            least=0.3,
            most=4,
            error=0.2,
            usual="1",
        ),
        TARGET,
    ),
    run=_coil_rate,
    gives=(
        Gives(name="spring-rate-new", words="rate for that sag", unit="N/mm", also="lb/in"),
        Gives(name="wheel-rate", words="rate at the wheel then, with the mean leverage", unit="N/mm", also="lb/in"),
        Gives(name="shock-force", words="force on the shock at rest", unit="N", also="lbf"),
        Gives(name="sag-fitted", words="sag on the coil in it", unit="%"),
        Gives(name="preload-needed", words="turns of preload that the coil in it needs"),
    ),
    sources=(
        "Barton and Fieldhouse, Automotive Chassis Engineering, 2018, 3.9.2 (leverage, rate at the wheel)",
        "common practice (25 to 30 % sag at the rear, one to two turns of preload of about 1 mm, coils in steps of 25 "
        "or 50 lb/in)",
        "from memory (65 % of a seated rider on the rear wheel, 35 % of the bike on the rear spring)",
    ),
    cautions=(
        "The ring is never undone against a coil that is pressed together: shock at full length first. Maker's manual "
        "first; who is not sure leaves it to a qualified workshop.",
        TIPS,
    ),
    example={"stroke": "60 mm", "travel": "150 mm", "rider-mass": "80 kg", "bike-mass": "15 kg"},
)
