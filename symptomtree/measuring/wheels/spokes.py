"""Spokes: their tension from the pitch they ring at, and what the dish asks of both sides."""

from collections.abc import Sequence
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import convert

DENSITY = 7900.0
"""kg/m3 of stainless spoke steel (from memory, as EN 10088-1 gives it for the usual kind)."""
YOUNG = 200e9
"""Pa, modulus of elasticity of the same steel (from memory, the same)."""
ENDS = 0.1
"""Standard uncertainty of a tension from pitch, as a share: how firmly bend and nipple hold the ends is not known. Ends
that turn freely, as reckoned here, are right for 0 %; were both clamped, a 2 mm spoke of 280 mm at 1000 N would read
20 % too high (beam under tension; a test works it out). The truth lies between (from memory)."""
TIGHT, SLACK = convert(120, "kgf", "N"), convert(60, "kgf", "N")
"""At most on the tighter side, at least on the slacker (a wheel maker's advice on spoke tension)."""
OVERTONE = 1.8
"""Times the middle note of a side from which a note is an overtone: three times the tension stands in no wheel (from
memory)."""
CAREFUL, USUAL = 10.0, 20.0
"""Percent from the mean of the side: what careful builders keep within, and what factory wheels do."""


# Formulas


def tension_of(pitch: ArrayLike, length: float, diameter: float) -> np.ndarray:
    """Return the tension of a plucked spoke in N.

    Args:
        pitch: its lowest note, in Hz; one, or an array.
        length: of the part that swings, in mm.
        diameter: of the round wire, in mm.

    Source: Rao, Mechanical Vibrations, 5th ed. 2011, 8.5.3 (beam under an axial force, ends that turn freely):
    T = m (2 L f)^2 - pi^2 E I / L^2. The first term is the string; the second is 2 % of 1000 N for 2 mm and 280 mm.
    """
    mass, stiff, span = _wire(diameter, length)
    return mass * (2 * span * np.asarray(pitch, dtype=float)) ** 2 - stiff * (pi / span) ** 2


def pitch_of(tension: float, length: float, diameter: float) -> float:
    """Return the note in Hz of a spoke at a tension in N; the inverse of `tension_of`."""
    mass, stiff, span = _wire(diameter, length)
    return sqrt((tension + stiff * (pi / span) ** 2) / mass) / (2 * span)


def _wire(diameter: float, length: float) -> tuple[float, float, float]:
    """Return mass per length in kg/m, bending stiffness in N m2, and the length in m."""
    wide = diameter / 1000
    return DENSITY * pi / 4 * wide**2, YOUNG * pi / 64 * wide**4, length / 1000


def tension_ratio(offset_left: float, offset_right: float, length_left: float = 1, length_right: float = 1) -> float:
    """Return what share of the right side's tension the left side needs to hold the rim in the middle.

    Args:
        offset_left, offset_right: of each flange from the middle of the rim, in one unit.
        length_left, length_right: of the spokes; equal where they are not known.

    For as many spokes on either side. Each side pulls the rim over with tension x offset / length, and the sum is
    nothing (statics; How do you determine the difference in tension between the sides, wheel builders' forum, 2023).
    """
    return offset_right / length_right * length_left / offset_left


# Spoke tension


def _spoke_tension(
    pitch_left: Sequence[float],
    pitch_right: Sequence[float],
    free_length: float,
    spoke_diameter: float,
    flange_left: float | None,
    flange_right: float | None,
) -> Outcome:
    sides = {name: p for name, p in (("left", pitch_left), ("right", pitch_right)) if p}
    if not sides:
        raise BadInput("pitch-left and pitch-right are missing: give the pitch of the spokes of one side, or both")
    tensions = {name: tension_of(pitches, free_length, spoke_diameter) for name, pitches in sides.items()}
    for name, pitches in sides.items():
        if max(pitches) > OVERTONE * np.median(pitches):
            raise BadInput(
                f"pitch-{name}: {max(pitches):g} Hz is about twice what the others ring at, as an overtone does; pluck "
                "that one again at its middle",
                f"pitch-{name}",
            )
    for name, found in tensions.items():
        if found.min() <= 0:
            raise BadInput(
                f"pitch-{name}: so low a note is that of a slack spoke; leave it out, and tighten that one first",
                f"pitch-{name}",
            )
    means = {name: float(found.mean()) for name, found in tensions.items()}
    apart = {name: (found / means[name] - 1) * 100 for name, found in tensions.items()}
    values = {f"tension-{name}": mean for name, mean in means.items()}
    errors = {f"tension-{name}": ENDS * mean for name, mean in means.items()}
    values["tension-tight"] = max(means.values())
    errors["tension-tight"] = ENDS * values["tension-tight"]
    verdicts, says = [], []
    if any(len(p) > 1 for p in sides.values()):  # one spoke alone has no neighbours to differ from
        values["tension-spread"] = max(float(np.abs(a).max()) for a in apart.values())
        verdicts.append(_SPREAD)
        says = _off(apart)
    verdicts.append(_TIGHT)
    if len(means) == 2:
        values["tension-slack"] = min(means.values())
        errors["tension-slack"] = ENDS * values["tension-slack"]
        verdicts.append(_SLACK)
        values["balance"] = means["left"] / means["right"] * 100
    if flange_left and flange_right:
        values["balance-expected"] = tension_ratio(flange_left, flange_right) * 100
        if len(means) == 2:
            values["balance-off"] = (values["balance"] / values["balance-expected"] - 1) * 100
            verdicts.append(_BALANCE)
    elif flange_left or flange_right:
        raise BadInput("flange-left and flange-right belong together: give both, or neither")

    def picture(width: int, height: int) -> list[str]:
        at = {name: np.arange(1, len(found) + 1) for name, found in tensions.items()}
        lines = {f"{name}, mean": (at[name], np.full(len(at[name]), means[name])) for name in tensions}
        points = {f"{name}, each spoke": (at[name], tensions[name]) for name in tensions}
        return curves(lines, width, height, "spoke of its side, from the valve", "tension in N", points)

    return Outcome(values=values, errors=errors, verdicts=verdicts, says=says, picture=picture)


def _off(apart: dict[str, np.ndarray]) -> list[str]:
    """Say which spokes are off, the worst first."""
    off = sorted(
        ((name, n, float(a)) for name, side in apart.items() for n, a in enumerate(side, 1) if abs(a) >= CAREFUL),
        key=lambda one: -abs(one[2]),
    )
    if not off:
        return [f"No spoke is {CAREFUL:g} % or more from the mean of its side: leave the spokes, and look at the true."]
    shown = ", ".join(f"{name} {n} ({abs(a):.0f} % {'tighter' if a > 0 else 'slacker'})" for name, n, a in off[:6])
    return [
        f"Furthest from the mean of their side: {shown}{' and more' if len(off) > 6 else ''}.",
        "A quarter turn at a time, and read the true after each: a slack one where the rim leans away from its side or "
        "stands high, a tight one where it leans towards it or is low. Off in tension where the rim runs true means a "
        "bent rim: that is for a qualified workshop.",
    ]


_SPREAD = Verdict(
    value="tension-spread",
    limits=(CAREFUL, USUAL),
    says=(
        f"Each side is even within {CAREFUL:g} %, as careful builders keep it.",
        f"Within the {USUAL:g} % that factory wheels keep to, not within the {CAREFUL:g} % of careful builders: even "
        "it out when the wheel is trued next.",
        f"Over {USUAL:g} % from the mean of its side: uneven. Such a wheel loses its true, and its spokes break early.",
    ),
    closer="Pluck those spokes again close to the middle and away from their crossing, or use a tension gauge.",
)
_TIGHT = Verdict(
    value="tension-tight",
    limits=(TIGHT,),
    says=(
        "The tighter side is below 1180 N (120 kgf), the most that a wheel maker advises for it; the rim maker's "
        "figure comes first.",
        "The tighter side is over 1180 N (120 kgf): no spoke tighter, the rim can crack; ask for the rim maker's "
        "figure.",
    ),
    closer="From pitch the tension is known to about 10 %: use a tension gauge before anything is made tighter.",
)
_SLACK = Verdict(
    value="tension-slack",
    limits=(SLACK,),
    says=(
        "The slacker side is below 590 N (60 kgf), the least that a wheel maker advises: its spokes can go slack and "
        "unwind under load.",
        "The slacker side is over 590 N (60 kgf), the least that a wheel maker advises for it.",
    ),
    closer="From pitch the tension is known to about 10 %: use a tension gauge.",
)
_BALANCE = Verdict(
    value="balance-off",
    limits=(-10, 10),
    says=(
        "The left side is slacker beside the right than the flanges ask for: look whether the rim stands in the "
        "middle, whether its holes are off centre, and whether both sides have the same spokes.",
        "Left and right are balanced as the flanges ask for.",
        "The left side is tighter beside the right than the flanges ask for: look whether the rim stands in the "
        "middle, whether its holes are off centre, and whether both sides have the same spokes.",
    ),
    closer="Measure where the flanges stand again.",
)


def flange_field(side: str, needed: bool) -> Field:
    return Field(
        name=f"flange-{side}",
        ask=f"How far is the {side} flange from the middle between the hub's ends?",
        unit="mm",
        least=3,
        most=80,
        error=0.5,
        needed=needed,
    )


def _pitch(side: str) -> Field:
    return Field(
        name=f"pitch-{side}",
        ask=f"What note do the {side} spokes give, in order from the valve?",
        kind="numbers",
        unit="Hz",
        least=60,
        most=2500,
        error=4,
        needed=False,
    )


SPOKE_TENSION = Tool(
    name="spoke-tension",
    title="Spoke tension from the pitch of plucked spokes",
    about="Wheel out and standing free, tyre still on. Pluck each spoke near its middle with a fingernail, a finger "
    "held on its neighbours, and read the lowest steady note from a tuner. Crossed spokes ring together: pull them "
    "apart at the crossing. A flat spoke: the round wire of the same weight. Sides with different spokes: one at "
    "a time.",
    fields=(
        _pitch("left"),
        _pitch("right"),
        Field(
            name="free-length",
            ask="How long is the spoke between hub and nipple?",
            unit="mm",
            least=60,
            most=350,
            error=2,
        ),
        Field(
            name="spoke-diameter",
            ask="How thick is it in its middle?",
            unit="mm",
            least=1.2,
            most=3.2,
            error=0.02,
        ),
        flange_field("left", needed=False),
        flange_field("right", needed=False),
    ),
    run=_spoke_tension,
    gives=(
        Gives(name="tension-spread", words="furthest spoke from the mean of its side", unit="%"),
        Gives(name="tension-left", words="mean tension, left", unit="N", also="kgf"),
        Gives(name="tension-right", words="mean tension, right", unit="N", also="kgf"),
        Gives(name="tension-tight", words="mean tension, tighter side", unit="N", also="kgf"),
        Gives(name="tension-slack", words="mean tension, slacker side", unit="N", also="kgf"),
        Gives(name="balance", words="left beside right", unit="%"),
        Gives(name="balance-expected", words="left beside right, as the flanges ask for", unit="%"),
        Gives(name="balance-off", words="of that, too tight on the left", unit="%"),
    ),
    sources=(
        "Rao, Mechanical Vibrations, 5th ed. 2011, 8.5.3 (pitch of a beam under tension)",
        "Allen, Why correct musical pitch depends on spoke length and not on thickness, 1997 (string formula)",
        "How do you determine the difference in tension between the sides, wheel builders' forum, 2023 (dish)",
        "Wheel maker's answers on spoke tension (tighter side at most 120 kgf, slacker at least 60 kgf)",
        "Mailing list post on wheel building, 2008 (20 % about the mean of a side; 10 % in careful work)",
        "from memory (density and stiffness of spoke steel; 10 % for what the ends do)",
    ),
    cautions=("Glasses on: a spoke that snaps flies out of its nipple.",),
    example={
        "pitch-left": "305 310 300 308 306 260 304 309",
        "pitch-right": "402 398 405 400 396 401 404 399",
        "free-length": "280 mm",
        "spoke-diameter": "1.8 mm",
        "flange-left": "35 mm",
        "flange-right": "20 mm",
    },
)
