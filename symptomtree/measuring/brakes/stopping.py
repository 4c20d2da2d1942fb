"""How far a bike runs until it stands: from speed and deceleration, from a measured stop, and what tips it over."""

from collections.abc import Callable, Mapping, Sequence
from math import atan, cos, hypot, sin

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict, spread_of

GRAVITY = 9.80665
"""m/s2, standard (SI Brochure, 9th ed. 2019)."""
US_SPEED, US_DISTANCE = 15 * 0.44704, 15 * 0.3048
"""m/s and m: a bicycle with hand brakes stops from 15 mph within 15 ft (16 CFR 1512.5, Requirements for bicycles, 2011;
15 mph, of 1512.18, from memory; it is what its gear development of 6.67 m makes at 60 turns a minute)."""
WET_SPEED, WET_DISTANCE = 16 / 3.6, 5.0
"""m/s and m, both brakes, wet (EN 14764, EN 14766 and EN 14781, from memory)."""
NEAR = 1.5 / 3.6
"""m/s by which a run may be off the speed asked for (EN 14766:2005, 4.6.7.5.1.10)."""
WET_SHARE = 50.0
"""Percent of the dry braking force that a brake must keep when wet (TBIS 4210-4:2017, 4.6.5.7)."""
MOST = 12.0
"""m/s2 that no bicycle reaches on a road (from memory: tyres grip to about 1 g, and most tip over before)."""
BRAKES = {"both": "both", "front": "front only", "rear": "rear only"}


# Formulas


def braking_distance(speed: float, deceleration: float) -> float:
    """Return how far it goes from the brakes' bite to standing, in m: v^2 / 2a.

    Args:
        speed: in m/s.
        deceleration: in m/s2, the same all the way.

    Source: Guide for the development of bicycle facilities, highway officials' association, 1999, p. 41, where it
    stands as V^2 / 254 (f + G) for km/h.
    """
    return speed**2 / (2 * deceleration)


def deceleration_of(speed: float, distance: float) -> float:
    """Return the mean deceleration in m/s2 of a stop from `speed` in m/s within `distance` in m."""
    return speed**2 / (2 * distance)


def stopping_distance(speed: float, deceleration: float, reaction: float) -> float:
    """Return how far it goes from seeing why to standing, in m; speed in m/s, reaction in s (source as above)."""
    return speed * reaction + braking_distance(speed, deceleration)


def on_the_level(deceleration: float, slope: float) -> float:
    """Return what the brakes alone do of a deceleration on a slope, in m/s2.

    Args:
        deceleration: measured along the slope, in m/s2.
        slope: height by length, above 0 uphill.
    """
    return deceleration - GRAVITY * sin(atan(slope))


def tipping_deceleration(behind: float, height: float, slope: float = 0.0) -> float:
    """Return the deceleration in m/s2 at which the rear wheel lifts.

    Args:
        behind: how far the centre of mass of bike and rider is behind the front wheel's contact, along the road.
        height: its height over the road, in the same unit.
        slope: height by length, above 0 uphill.

    Source: J. Riel, Maximal braking on a standard bicycle, technical note, 2005, formula 6.
    """
    angle = atan(slope)
    return GRAVITY * (behind / height * cos(angle) + sin(angle))


# The tool


def _stopping(
    speed: float,
    stop_distance: Sequence[float],
    wet_distance: Sequence[float],
    deceleration: float | None,
    slope: float,
    reaction: float,
    brakes: str,
    wheelbase: float | None,
    front_load: float | None,
    mass_height: float | None,
) -> Outcome:
    v, tilt = speed / 3.6, slope / 100
    tips = _tips(wheelbase, front_load, mass_height, tilt)
    values: dict[str, float] = {}
    errors: dict[str, float] = {}
    verdicts: list[Verdict] = []
    says: list[str] = []
    if stop_distance and deceleration is not None:
        raise BadInput(
            "deceleration: give it or the measured distance, not both, as each gives the other", "deceleration"
        )
    dry, dry_doubt = _measured(v, stop_distance, tilt, "stop-distance")
    wet, wet_doubt = _measured(v, wet_distance, tilt, "wet-distance")
    if dry is None and deceleration is not None:
        dry = deceleration
    if dry:
        values |= {"deceleration": dry, "us-distance": braking_distance(US_SPEED, dry)}
        values["with-reaction"] = _along(v, dry, tilt, reaction)
        _doubt(errors, values, dry_doubt, "deceleration", "us-distance")
    if wet:
        values |= {"wet-deceleration": wet, "wet-test-distance": braking_distance(WET_SPEED, wet)}
        values["wet-with-reaction"] = _along(v, wet, tilt, reaction)
        _doubt(errors, values, wet_doubt, "wet-deceleration", "wet-test-distance")
    if dry and wet:
        values["wet-share"] = wet / dry * 100
        errors["wet-share"] = hypot(dry_doubt, wet_doubt) * values["wet-share"]
        if wet > dry:
            says.append(
                "Wet it did more than dry, which brakes hardly do: were the two swapped, or was it braked more gently "
                "when dry? Measure again."
            )
    if stop_distance and brakes == "both":
        verdicts.append(_US)
        if abs(v - US_SPEED) > NEAR:
            says.append(
                f"It was reckoned over from {speed:.3g} km/h, in proportion to the square of the speed; the European "
                "test takes a run within 1.5 km/h of its speed only. Brake from 15 mph (24 km/h) to be sure."
            )
    if wet and brakes == "both":
        verdicts.append(_WET)
    if "wet-share" in values and stop_distance:
        verdicts.append(_SHARE)
    if brakes != "both":
        says.append(
            "No published distance is compared for one brake alone. In road tests of mountain bikes the rear brake "
            "alone did about 65 % of what both did together, and about 76 % of the front alone."
        )
    if tips is not None:
        values["tipping"] = tips
        says.append(
            f"The rear wheel lifts at about {tips:.1f} m/s2 ({tips / GRAVITY:.2f} g) as one sits: nobody stops harder "
            "than that, whatever the brakes. Further back and lower allows more."
        )
        if stop_distance and dry and dry > tips:
            says.append(
                "This stop was harder than that: either the rider sat further back, or speed, distance or one of these "
                "three is off."
            )
    if not values:
        raise BadInput(
            "stop-distance is missing: measure a stop, or give a deceleration, or wheelbase with front-load and "
            "mass-height",
            "stop-distance",
        )
    if stop_distance or wet_distance:
        says.append(
            "A stop that is short enough says nothing of cracks, leaks, cables or the next one: look at them all."
        )
    found = {name: a for name, a in (("dry", dry), ("wet", wet), ("tips over", tips)) if a}
    return Outcome(
        values=values,
        errors=errors,
        verdicts=verdicts,
        says=says or ["This is what the formula makes of it; a measured stop tells what the brakes do."],
        picture=_picture(found, tilt, reaction, speed, {"dry": stop_distance, "wet": wet_distance}),
    )


def _measured(v: float, distances: Sequence[float], tilt: float, name: str) -> tuple[float | None, float]:
    """Return what the brakes do by themselves, in m/s2, and the share by which repeated stops leave it in doubt."""
    if not distances:
        return None, 0.0
    mean = sum(distances) / len(distances)
    along = deceleration_of(v, mean)
    level = on_the_level(along, tilt)
    if level > MOST or level <= 0:
        raise BadInput(
            f"{name}: that makes {level:.1f} m/s2, which no bicycle's brakes do; look at distance, speed and their "
            "units",
            name,
        )
    return level, spread_of(distances) / mean * along / level


def _along(v: float, level: float, tilt: float, reaction: float) -> float:
    """Return the whole way on the slope, in m."""
    along = level + GRAVITY * sin(atan(tilt))
    if along <= 0:
        raise BadInput("slope: on so steep a slope these brakes do not stop the bike at all", "slope")
    return stopping_distance(v, along, reaction)


def _doubt(errors: dict[str, float], values: Mapping[str, float], share: float, *names: str) -> None:
    errors.update({name: share * values[name] for name in names})


def _tips(wheelbase: float | None, front_load: float | None, mass_height: float | None, tilt: float) -> float | None:
    given = {"wheelbase": wheelbase, "front-load": front_load, "mass-height": mass_height}
    missing = [name for name, value in given.items() if value is None]
    if len(missing) == len(given):
        return None
    if wheelbase is None or front_load is None or mass_height is None:
        raise BadInput(f"{missing[0]} is missing: wheelbase, front-load and mass-height go together", missing[0])
    tips = tipping_deceleration(wheelbase * (1 - front_load / 100), mass_height, tilt)
    if tips <= 0:
        raise BadInput(
            "slope: so steep, with so much weight in front, it tips over unbraked; look at them again", "slope"
        )
    return tips


_US = Verdict(
    value="us-distance",
    limits=(US_DISTANCE,),
    says=(
        "Shorter than 15 ft (4.57 m) from 15 mph (24 km/h), which 16 CFR 1512.5 asks of a bicycle with hand brakes, on "
        "the level. That was this stop, on this road.",
        "Longer than 15 ft (4.57 m) from 15 mph (24 km/h), which 16 CFR 1512.5 asks of a bicycle with hand brakes. "
        "Look for the cause (pads, soil on them, adjustment, or braking too gently) before riding where you may have "
        "to stop.",
    ),
    closer="Do three more stops, measure speed and distance as well as you can, and give them all.",
)
_WET = Verdict(
    value="wet-test-distance",
    limits=(WET_DISTANCE,),
    says=(
        "Wet, it stops within 5 m from 16 km/h, as the European standards for bicycles ask.",
        "Wet, it needs more than 5 m from 16 km/h, which the European standards for bicycles ask. Other pads or "
        "blocks, a clean rim or disc; ride slower in the rain until then.",
    ),
    closer="Do three more wet stops and give them all.",
)
_SHARE = Verdict(
    value="wet-share",
    limits=(WET_SHARE,),
    says=(
        "Wet, less than half of the dry force is left, the least that the standards allow: look at pads, soil and rim.",
        "Wet, more than half of the dry force is left, the least that the standards allow.",
    ),
    closer="Do three more stops, dry and wet.",
)


def _picture(
    found: Mapping[str, float], tilt: float, reaction: float, speed: float, measured: Mapping[str, Sequence[float]]
) -> Callable[[int, int], list[str]]:
    def picture(width: int, height: int) -> list[str]:
        kmh = np.linspace(0, max(30.0, 1.2 * speed), 40)
        lines = {}
        for name, level in found.items():
            along = level + (0 if name == "tips over" else GRAVITY * sin(atan(tilt)))
            if along > 0:
                lines[f"{name}, {reaction:g} s to react"] = (
                    kmh,
                    [stopping_distance(s / 3.6, along, reaction) for s in kmh],
                )
        points = {
            f"{name}, brakes alone": ([speed] * len(distances), distances)
            for name, distances in measured.items()
            if distances
        }
        return curves(lines, width, height, "km/h", "metres until it stands", points=points)

    return picture


STOPPING = Tool(
    name="stopping",
    title="How far the bike runs until it stands",
    about="On an empty, even, dry road: ride at a steady speed, brake with both hands at a mark as hard as you can "
    "without a wheel skidding or lifting, and measure from the mark to where the same wheel stands. Three times; then "
    "wet, if wanted. The load on the front wheel is read from scales with the rider on, the rear wheel as high.",
    fields=(
        Field(name="speed", ask="How fast was the bike when the brakes bit?", unit="km/h", least=3, most=120, error=1),
        Field(
            name="stop-distance",
            ask="Dry: how far to standing, in each stop?",
            kind="numbers",
            unit="m",
            least=0.1,
            most=300,
            error=0.15,
            needed=False,
        ),
        Field(
            name="wet-distance",
            ask="Wet: how far, from the same speed?",
            kind="numbers",
            unit="m",
            least=0.1,
            most=300,
            error=0.15,
            needed=False,
        ),
        Field(
            name="deceleration",
            ask="Or, without a measured stop: what deceleration of the brakes is reckoned with?",
            unit="m/s2",
            least=0.2,
            most=MOST,
            needed=False,
        ),
        Field(
            name="slope",
            ask="How steep was it, in percent, downhill below 0?",
            unit="%",
            least=-30,
            most=30,
            error=0.5,
            usual="0",
        ),
        Field(
            name="reaction",
            ask="How long from seeing why to braking (about 1 s when ready, 2.5 s when not)?",
            unit="s",
            least=0,
            most=5,
            usual="1 s",
        ),
        Field(name="brakes", ask="Which brakes were used?", kind="choice", choices=BRAKES, usual="both"),
        Field(
            name="wheelbase",
            ask="How far is it from axle to axle?",
            unit="mm",
            least=500,
            most=3000,
            error=5,
            needed=False,
            lasting=True,
        ),
        Field(
            name="front-load",
            ask="How much of bike and rider is on the front wheel?",
            unit="%",
            least=5,
            most=95,
            error=1.5,
            needed=False,
        ),
        Field(
            name="mass-height",
            ask="How high over the road is their centre of mass (often about the saddle's height)?",
            unit="mm",
            least=300,
            most=1800,
            error=60,
            needed=False,
        ),
    ),
    run=_stopping,
    gives=(
        Gives(name="deceleration", words="the brakes do, dry, on the level", unit="m/s2", also="ft/s2"),
        Gives(name="us-distance", words="so from 15 mph (24 km/h), brakes alone", unit="m", also="ft"),
        Gives(name="with-reaction", words="from this speed with reaction, dry", unit="m", also="ft"),
        Gives(name="wet-deceleration", words="the brakes do, wet, on the level", unit="m/s2", also="ft/s2"),
        Gives(name="wet-test-distance", words="so from 16 km/h (10 mph), wet", unit="m", also="ft"),
        Gives(name="wet-with-reaction", words="from this speed with reaction, wet", unit="m", also="ft"),
        Gives(name="wet-share", words="wet, of the dry braking force", unit="%"),
        Gives(name="tipping", words="the rear wheel lifts at", unit="m/s2", also="ft/s2"),
    ),
    sources=(
        "16 CFR 1512.5, Requirements for bicycles, 2011 (within 15 ft, with a rider of 150 lb or more)",
        "from memory (15 mph in 16 CFR 1512.18; 5 m from 16 km/h, wet, in EN 14764, EN 14766 and EN 14781)",
        "EN 14766:2005, 4.6.7.5.1.9 and 10 (distance corrected to another speed, which is to be near)",
        "TBIS 4210-4:2017, 4.6.5.7 (at least half of the dry force when wet)",
        "Guide for the development of bicycle facilities, highway officials' association, 1999 (formula, 2.5 s)",
        "Stopping distances, a road safety association's web page (1 s to react)",
        "J. Riel, Maximal braking on a standard bicycle, technical note, 2005 (when the rear wheel lifts)",
        "R. Beck, Mountain bicycle acceleration and braking factors, Accident Reconstruction Journal 19, 2009",
    ),
    cautions=(
        "First the standing test: a lever that reaches the bar, a crack or a leak means no test ride at all.",
        "Brake tests throw riders: empty road, helmet and gloves, begin slowly, and never lock the front wheel.",
    ),
    example={
        "speed": "24 km/h",
        "stop-distance": "4.9 5.2 5.0",
        "wet-distance": "7.9 8.4",
        "wheelbase": "1050 mm",
        "front-load": "42 %",
        "mass-height": "1100 mm",
    },
)
