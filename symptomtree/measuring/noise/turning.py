"""What turns on a bike, and how often each thing in it comes round.

Rates are in beats a second, orders in beats for each turn of the cranks. All are arithmetic of teeth and links: in one
turn the cranks move as many links of the chain as the front ring has teeth.
"""

from dataclasses import dataclass
from math import cos, radians


@dataclass(frozen=True, slots=True)
class Source:
    """Something that may make a noise as it comes round.

    Attributes:
        name: kebab-case.
        words: what a sound at this rate comes from.
        rate: how often it comes round, in Hz.
        doubt: standard uncertainty of that for its own sake, as a share (chain length not counted, balls that slip).
        usual: how often a rhythmic noise comes from it, among noises, before anything is measured.
        goes_on: how probable it is that it goes on while the bike coasts.
    """

    name: str
    words: str
    rate: float
    doubt: float
    usual: float
    goes_on: float


@dataclass(frozen=True, slots=True)
class Gear:
    """Teeth in front and at the back, links of the chain (if counted), teeth of a guide wheel (if there is one)."""

    front: float
    rear: float
    links: float | None = None
    jockey: float | None = 11.0


def wheel_rate(speed: float, circumference: float) -> float:
    """Return the turns of a wheel in a second.

    Args:
        speed: in m/s.
        circumference: what it rolls in a turn, in m.
    """
    return speed / circumference


def bearing_orders(
    balls: float, ball: float, pitch: float, angle: float = 0.0, outer_turns: bool = False
) -> dict[str, float]:
    """Return the defect rates of a ball bearing, for each turn of the ring that turns.

    Args:
        balls: how many in one row.
        ball: their diameter, in mm.
        pitch: diameter of the circle of their centres, in mm.
        angle: contact angle, in degrees.
        outer_turns: whether the outer ring turns (a wheel's hub) or the inner one (cranks in the frame).

    Formulas: Harris, Rolling Bearing Analysis, 4th ed. 2001, chapter 8; Randall and Antoni, Rolling element bearing
    diagnostics - a tutorial, Mechanical Systems and Signal Processing 25 (2011), eq. 1 to 4. They hold for rolling
    without slip; the same balls pass a spot of a ring as often whichever ring turns, only the cage runs otherwise.
    """
    k = ball / pitch * cos(radians(angle))
    return {
        "cage": (1 + k) / 2 if outer_turns else (1 - k) / 2,
        "outer": balls / 2 * (1 - k),
        "inner": balls / 2 * (1 + k),
        "ball": pitch / (2 * ball) * (1 - k * k),
    }


USUAL_LINKS = 112.0
"""Links of a derailleur chain that nobody counted; most have 106 to 120 (common practice)."""
LINKS_DOUBT = 0.04
SLIP = 0.02
"""Bearings run 1 to 2 % off their arithmetic, for slip (Randall and Antoni 2011)."""


def sources(cranks: float | None, wheel: float | None, gear: Gear | None, spokes: float | None = None) -> list[Source]:
    """Return what may be heard, with its rate.

    Args:
        cranks: turns of the cranks in a second; None while they stand still.
        wheel: turns of the wheels in a second; None when it is not known.
        gear: what the chain runs on; None while it stands still.
        spokes: in one wheel, if something may touch them.

    How usual each is, and how often it goes on when coasting, is from memory.
    """
    found: list[Source] = []
    if cranks and gear:
        links, doubt = (gear.links, 0.0) if gear.links else (USUAL_LINKS, LINKS_DOUBT)
        teeth = cranks * gear.front
        found += [
            Source("crank", "once in a turn of the cranks", cranks, 0, 0.25, 0.01),
            Source("pedal-stroke", "at each push of a pedal", 2 * cranks, 0, 0.2, 0.01),
            Source("chain-loop", "one place of the chain", teeth / links, doubt, 0.12, 0.01),
            Source("chain-teeth", "each link meeting a tooth", teeth, 0, 0.06, 0.01),
        ]
        if gear.jockey:
            found.append(Source("jockey", "a guide wheel of the rear mech", teeth / gear.jockey, 0, 0.08, 0.01))
    if wheel:
        found.append(Source("wheel", "once in a turn of a wheel", wheel, 0, 0.25, 0.8))
    if wheel and spokes:
        found.append(Source("spokes", "each spoke passing", wheel * spokes, 0, 0.04, 0.99))
    return found


def bearing_sources(turns: float, orders: dict[str, float], goes_on: float) -> list[Source]:
    """Return the parts of a bearing that may be heard, `turns` being those of its turning ring in a second."""
    words = {
        "cage": "the cage of the bearing",
        "outer": "a spot on the outer ring of the bearing",
        "inner": "a spot on the inner ring of the bearing",
        "ball": "a spot on a ball of the bearing",
    }
    return [
        Source(f"bearing-{part}", words[part], turns * order, SLIP, 0.02, goes_on) for part, order in orders.items()
    ]
