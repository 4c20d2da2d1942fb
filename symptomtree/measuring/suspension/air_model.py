"""An air spring: a chamber that pushes out, a smaller one that pushes in, and reducers that take room from the first.

The model. Both chambers hold the pressure that was pumped in while the spring is at full length, where they are joined;
from there on each is closed, and follows the polytropic law. Seals and damper are left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from symptomtree.measuring.tool import BadInput

AIR = 0.101325
"""N/mm2 of the air outside, which a gauge leaves out: the standard atmosphere (ISO 2533:1975)."""
BAR = 0.1
"""N/mm2."""
SLOW, QUICK = 1.0, 1.3
"""Polytropic exponents: slow enough to stay as warm as the air around it, and in riding. A gas spring that works
quickly is near 1.4, that of air without any exchange of heat, and in practice below it (common practice: 1.3 to 1.4).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSpring:
    """An air spring's figures at full length.

    Attributes:
        area: of the piston in the positive chamber, in mm2.
        volume: of the positive chamber with its reducers in, in mm3.
        negative_area: of the piston's other side, in mm2.
        negative_volume: of the negative chamber, in mm3.
        stroke: how far it can be pressed in, in mm.
    """

    area: float
    volume: float
    negative_area: float
    negative_volume: float
    stroke: float


def polytropic(pressure: ArrayLike, volume: ArrayLike, changed: ArrayLike, exponent: float) -> np.ndarray:
    """Return the absolute pressure after a volume has changed: p V^n stays the same.

    Args:
        pressure: absolute, before; any unit.
        volume, changed: before and after, in one unit.
        exponent: 1 isothermal, 1.4 adiabatic for air.

    Source: Young and Freedman, University Physics, 13th ed. 2012, 19.8 (adiabatic); Bauer, Hydropneumatic Suspension
    Systems (2011), 2.2 (polytropic).
    """
    return np.asarray(np.asarray(pressure) * (np.asarray(volume) / np.asarray(changed)) ** exponent)


def force(spring: AirSpring, pressure: float, at: ArrayLike, exponent: float) -> np.ndarray:
    """Return the force of an air spring in N.

    Args:
        spring: its figures.
        pressure: on the gauge at full length, in bar.
        at: how far it is pressed in, in mm.
        exponent: polytropic.

    Source: gas law in each chamber (see `polytropic`), pressure on the two sides of the piston.
    """
    x = np.asarray(at, dtype=float)
    filled = pressure * BAR + AIR
    out = polytropic(filled, spring.volume, spring.volume - spring.area * x, exponent) - AIR
    back = polytropic(filled, spring.negative_volume, spring.negative_volume + spring.negative_area * x, exponent) - AIR
    return out * spring.area - back * spring.negative_area


def pressure_for(spring: AirSpring, load: float, at: float, exponent: float) -> float:
    """Return the pressure on the gauge, in bar, with which the spring holds `load` N at `at` mm.

    The force grows evenly with the absolute pressure that was filled in, so this is exact.
    """
    none = float(force(spring, -AIR / BAR, at, exponent))
    for_each_bar = float(force(spring, 1 - AIR / BAR, at, exponent)) - none
    return (load - none) / for_each_bar - AIR / BAR


def sag_under(spring: AirSpring, pressure: float, load: float, exponent: float) -> float:
    """Return where the spring rests under `load` N, in mm: 0 if it does not move, its stroke if it goes through."""
    from scipy.optimize import brentq  # noqa: PLC0415  (its import takes longer than all else here)

    def left(at: float) -> float:
        return float(force(spring, pressure, at, exponent)) - load

    if left(0.0) >= 0:
        return 0.0
    if left(spring.stroke) <= 0:
        return spring.stroke
    return float(brentq(left, 0.0, spring.stroke))


@dataclass(frozen=True, slots=True)
class Assumed:
    """What is taken for a figure that nobody gave, and its standard uncertainty; all from memory."""

    figures: Mapping[str, float]
    doubts: Mapping[str, float]


# bore in mm; chamber, without reducers, in volumes that the piston sweeps; the negative chamber and one reducer in
# volumes of that chamber; the piston's other side in areas of its first.
ASSUMED = {
    "front": Assumed(
        {"bore": 32, "chamber": 1.8, "negative": 0.3, "back": 0.9, "reducer": 0.045},
        {"bore": 2, "chamber": 0.2, "negative": 0.1, "back": 0.04, "reducer": 0.015},
    ),
    "rear": Assumed(
        {"bore": 43, "chamber": 1.9, "negative": 0.4, "back": 0.65, "reducer": 0.08},
        {"bore": 3, "chamber": 0.25, "negative": 0.15, "back": 0.15, "reducer": 0.03},
    ),
}


def spring_of(
    stroke: float, reducers: float, bore: float, chamber: float, negative: float, back: float, reducer: float
) -> AirSpring:
    """Return the spring of figures that are relative to one another, as in `ASSUMED`.

    Raises:
        BadInput: with so many reducers no room is left.
    """
    area = pi / 4 * bore**2
    swept = area * stroke
    whole = chamber * swept
    volume = whole * (1 - reducers * reducer)
    if volume < 1.1 * swept:
        raise BadInput(
            f"reducers: {reducers:g} would leave {volume / 1000:.0f} cm3, and the piston sweeps "
            f"{swept / 1000:.0f} cm3; look again at their number and volume, at bore and chamber",
            "reducers",
        )
    return AirSpring(
        area=area, volume=volume, negative_area=back * area, negative_volume=negative * whole, stroke=stroke
    )


@dataclass(frozen=True, slots=True)
class Described:
    """The relative figures of the spring that someone described, and the doubts of those that were assumed."""

    stroke: float
    reducers: float
    figures: dict[str, float]
    doubts: dict[str, float]

    def spring(self, more: float = 0.0, **figures: float) -> AirSpring:
        """Return it with `more` reducers, and with some figures changed.

        Raises:
            BadInput: there is no room for so many.
        """
        return spring_of(self.stroke, self.reducers + more, **{**self.figures, **figures})


def described(
    end: str,
    stroke: float,
    reducers: float,
    bore: float | None,
    chamber_volume: float | None,
    negative_volume: float | None,
    negative_area: float | None,
    reducer_volume: float | None,
) -> Described:
    """Return the spring that someone described, with what they left out assumed.

    Args:
        end: `front` or `rear`.
        stroke: how far it can be pressed in, in mm.
        reducers: how many are in.
        bore: of the piston, in mm.
        chamber_volume: of the positive chamber at full length, without reducers, in cm3.
        negative_volume: of the negative chamber at full length, in cm3.
        negative_area: of the piston's other side, in percent of its first.
        reducer_volume: of one reducer, in cm3.

    Raises:
        BadInput: the chamber is too small for the piston to go in.
    """
    assumed = ASSUMED[end]
    swept = pi / 4 * (bore or assumed.figures["bore"]) ** 2 * stroke / 1000
    chamber = assumed.figures["chamber"] if chamber_volume is None else chamber_volume / swept
    if chamber < 1.1:
        raise BadInput(
            f"chamber-volume: {chamber_volume:g} cm3 is hardly what the piston sweeps ({swept:.0f} cm3), so it could "
            "never go in; look again at it, and at bore and travel",
            "chamber-volume",
        )
    given = {
        "bore": bore,
        "chamber": chamber_volume and chamber,
        "negative": negative_volume and negative_volume / (chamber * swept),
        "back": negative_area and negative_area / 100,
        "reducer": reducer_volume and reducer_volume / (chamber * swept),
    }
    figures = {name: assumed.figures[name] if value is None else value for name, value in given.items()}
    doubts = {name: assumed.doubts[name] for name, value in given.items() if value is None}
    return Described(stroke, reducers, figures, doubts)
