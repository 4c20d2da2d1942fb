"""How far a brake disc sways, whether it leans or is bent, and how its thickness varies."""

from collections.abc import Sequence
from math import atan2, hypot, pi

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Chance, Field, Gives, Outcome, Tool, Verdict

SWAY = 0.3
"""mm of run-out at which a disc usually rubs (from memory: pads stand about 0.15 to 0.3 mm off on each side)."""
BENT = 1.0
"""mm of run-out over which a disc is better replaced than straightened (from memory)."""
UNEVEN = 0.03
"""mm by which a car's disc may vary in thickness before it pulses (a car's workshop manual, 2005); no figure for
bicycles was found."""


# Formulas


def first_wave(readings: Sequence[float]) -> tuple[float, float, float]:
    """Return the middle of readings, and the size and place of the wave that fits once into a turn.

    Args:
        readings: at equal steps over one turn.

    Returns:
        The middle, from trough to crest, both in the readings' unit, and the crest's angle from the first reading in
        degrees, 0 to 360.

    Source: the first term of a Fourier series, which is also the best fit by least squares.
    """
    y = np.asarray(readings, dtype=float)
    angle = 2 * pi * np.arange(len(y)) / len(y)
    a, b = 2 * float((y * np.cos(angle)).mean()), 2 * float((y * np.sin(angle)).mean())
    return float(y.mean()), 2 * hypot(a, b), atan2(b, a) / pi * 180 % 360


def middle_plane(readings: Sequence[float], thickness: Sequence[float]) -> list[float]:
    """Return readings on one face without what the thickness there adds: half of it, from the middle outwards."""
    mean = sum(thickness) / len(thickness)
    return [r - (t - mean) / 2 for r, t in zip(readings, thickness, strict=True)]


# The tool


def _rotor_runout(disc_sway: Sequence[float], disc_thicknesses: Sequence[float], pad_gap: float | None) -> Outcome:
    count = len(disc_sway)
    if count < 6:
        raise BadInput(
            f"disc-sway: {count} readings are too few; take 6 to 12 at equal steps over one turn", "disc-sway"
        )
    if disc_thicknesses and len(disc_thicknesses) != count:
        raise BadInput(
            f"disc-thicknesses: {len(disc_thicknesses)}, but {count} of the sway; measure both at the same places",
            "disc-thicknesses",
        )
    plane = middle_plane(disc_sway, disc_thicknesses) if disc_thicknesses else list(disc_sway)
    middle, wave, crest = first_wave(plane)
    angle = [360 * n / count for n in range(count)]
    tilt = [middle + wave / 2 * float(np.cos((a - crest) / 180 * pi)) for a in angle]
    rest = [round(p - t, 9) for p, t in zip(plane, tilt, strict=True)]  # without what is left of adding and taking off
    runout, bend = max(disc_sway) - min(disc_sway), max(rest) - min(rest)
    values = {"run-out": runout, "spare": _rubs(pad_gap) - runout, "lean": wave, "bend": bend}
    high = plane.index(max(plane))
    says = [f"Furthest out is place {high + 1} of {count}, {angle[high]:.0f} degrees on from the first reading."]
    if runout > _rubs(pad_gap) / 2:
        says.append(_shape_said(wave, bend, rest, angle, runout < BENT))
    if runout >= BENT:
        says.append(f"Over {BENT:g} mm: rather a new disc than a straightened one, after a look at hub and seat.")
    verdicts = [_sway_verdict(pad_gap)]
    if disc_thicknesses:
        values |= {"variation": max(disc_thicknesses) - min(disc_thicknesses), "thinnest": min(disc_thicknesses)}
        verdicts.append(_UNEVEN)
        says.append(
            f"Compare the thinnest, {min(disc_thicknesses):g} mm, with the least that is printed on the disc or named "
            "in its manual."
        )
        says.append("What the thickness adds to the sway was taken off before lean and bend were told apart.")
    else:
        says.append("Measure the thickness at the same places too: pulsing comes from that rather than from sway.")

    def picture(width: int, height: int) -> list[str]:
        fine = np.linspace(0, 360, 73)
        lean = middle + wave / 2 * np.cos((fine - crest) / 180 * pi)
        return curves(
            {"a disc that only leans": (fine, lean)},
            width,
            height,
            "degrees on from the first reading",
            "to the gauge's side, mm",
            points={"read" if not disc_thicknesses else "read, thickness taken off": (angle, plane)},
        )

    sways = Chance(name="sways", of="spare", high=0.0)
    return Outcome(values=values, verdicts=verdicts, chances=[sways], says=says, picture=picture)


def _shape_said(
    wave: float, bend: float, rest: Sequence[float], angle: Sequence[float], may_be_straightened: bool
) -> str:
    if wave > 3 * bend:
        return (
            "It leans as a whole, once in a turn: dirt under the disc, bolts or lock ring not evenly tight, a bent hub "
            "flange, or play in the hub. Clean the seat and tighten as the maker says before bending anything."
        )
    worst = max(rest, key=abs)
    at = angle[rest.index(worst)]
    if bend > wave:
        bent = f"It is bent, most at {at:.0f} degrees, {abs(worst):.2f} mm {'out' if worst > 0 else 'in'}"
        if not may_be_straightened:
            return f"{bent}."
        return f"{bent}: straighten there with a clean tool, a little at a time, and measure again."
    return f"It both leans and is bent, most at {at:.0f} degrees: seat and bolts first, then measure again."


def _rubs(pad_gap: float | None) -> float:
    """Return the run-out in mm at which a disc in the middle between its pads touches them."""
    return SWAY if pad_gap is None else 2 * pad_gap


def _sway_verdict(pad_gap: float | None) -> Verdict:
    rubs = _rubs(pad_gap)
    whence = (
        f"about {SWAY:g} mm, what pads usually leave"
        if pad_gap is None
        else f"{rubs:g} mm, the gaps on both sides together"
    )
    return Verdict(
        value="spare",
        limits=(0.0,),
        says=(
            f"The run-out is over {whence}: it rubs somewhere, and can push the pads back so that the lever goes "
            "further.",
            f"The run-out is under {whence}: set in the middle, the disc can run free.",
        ),
        closer="Turn the wheel once more and read again, and the gaps with a feeler; see that the gauge's holder and "
        "the hub have no play.",
    )


_UNEVEN = Verdict(
    value="variation",
    limits=(UNEVEN,),
    says=(
        "Its thickness varies by less than cars' discs may (0.03 mm).",
        "Its thickness varies by more than cars' discs may (0.03 mm): the brake can pulse. That cannot be "
        "straightened; a new disc.",
    ),
    closer="Measure again with a clean micrometer at the same distance from the edge.",
)


ROTOR_RUNOUT = Tool(
    name="rotor-runout",
    title="How far a brake disc sways",
    about="Wheel in its place or in a stand, no play in the hub. Dial gauge square to the face, in the middle of the "
    "track; mark the first place, and read at 6 to 12 equal steps over one turn. Then measure the thickness at the "
    "same places with a micrometer.",
    fields=(
        Field(
            name="disc-sway",
            ask="What does the gauge show at each step?",
            kind="numbers",
            unit="mm",
            least=-10,
            most=10,
            error=0.015,
        ),
        Field(
            name="disc-thicknesses",
            ask="How thick is the disc at each of them?",
            kind="numbers",
            unit="mm",
            least=0.5,
            most=5,
            error=0.005,
            needed=False,
        ),
        Field(
            name="pad-gap",
            ask="How far is each pad from the disc?",
            unit="mm",
            least=0.02,
            most=3,
            error=0.05,
            needed=False,
        ),
    ),
    run=_rotor_runout,
    gives=(
        Gives(name="run-out", words="run-out, full reading", unit="mm", also="in"),
        Gives(name="lean", words="of it, leaning as a whole", unit="mm", also="in"),
        Gives(name="bend", words="of it, bent", unit="mm", also="in"),
        Gives(name="spare", words="left of the gaps on both sides (-: it rubs)", unit="mm", also="in"),
        Gives(name="variation", words="its thickness varies by", unit="mm", also="in"),
        Gives(name="thinnest", words="thickness at the thinnest", unit="mm", also="in"),
        Gives(name="sways", words="how likely it sways by more than the pads leave", chance=True),
    ),
    sources=(
        "Brake rotors: run-out, car repair page, 2016 (highest less lowest of eight readings or more)",
        "A car's workshop manual, 2005 (0.03 mm of thickness; no published figure for bicycles was found)",
        "from memory (0.3 mm rubs, 1 mm is a new disc; gauges: dial 0.015 mm, micrometer 0.005 mm)",
    ),
    cautions=(
        "Cold disc, clean gloves; fingers out of a disc that turns: it cuts.",
        "Cracks, a loose rivet or bolt, or a disc under its least thickness: do not ride it.",
    ),
    example={
        "disc-sway": "0.00 0.09 0.16 0.19 0.31 0.08 0.01 -0.05",
        "disc-thicknesses": "1.78 1.78 1.77 1.77 1.78 1.79 1.79 1.78",
    },
)
