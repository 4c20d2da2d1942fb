"""How the hanger is bent, from a gauge at the rim."""

from math import atan, atan2, cos, degrees, hypot, pi, sin
from typing import NamedTuple

from symptomtree.measuring.drivetrain.chain_wear import SPEEDS
from symptomtree.measuring.tool import Field, Gives, Outcome, Tool, Verdict

FAR = 15
"""Millimetres between opposite places from which on a hanger is bent far (from memory)."""


class Bend(NamedTuple):
    """How a hanger is bent.

    Attributes:
        angle: between the hanger's face and the wheel's plane, in degrees.
        lean: of that, how far the lower end leans in, to the wheel, in degrees.
        turn: of that, how far the back edge is turned in, in degrees.
        toward: where on the clock the gauge stands nearest to the wheel, in degrees clockwise from 12.
        difference: the greater of the two differences of opposite readings, in mm.
        closure: the upright readings less the level ones, in mm; 0 for a flat plane.
    """

    angle: float
    lean: float
    turn: float
    toward: float
    difference: float
    closure: float


def bend(twelve: float, three: float, six: float, nine: float, radius: float) -> Bend:
    """Return how a hanger is bent, from the gaps between gauge and rim round the clock, seen from the gears' side.

    The gauge's end runs in a plane, so its distance to the wheel's plane is one constant and one wave round the clock:
    opposite readings differ by twice the slope times the radius. As the same point of the rim is turned along, its own
    wobble is in all four and cancels. That the gauge turns round the hanger and not round the axle makes one radius
    longer by what the opposite one is shorter, which cancels too. (Plane geometry; the way to measure: Derailleur
    alignment, urban cycling magazine, issue 32.)

    Args:
        twelve, three, six, nine: the gaps in mm, from any zero.
        radius: of the rim at the point measured, in mm.
    """
    upright, level = twelve - six, three - nine
    return Bend(
        angle=degrees(atan(hypot(upright, level) / (2 * radius))),
        lean=degrees(atan(upright / (2 * radius))),
        turn=degrees(atan(level / (2 * radius))),
        toward=degrees(atan2(-level, -upright)) % 360,
        difference=max(abs(upright), abs(level)),
        closure=twelve + six - three - nine,
    )


# The tool


def _hanger(
    gap_12: float, gap_3: float, gap_6: float, gap_9: float, rim_radius: float, speeds: float | None
) -> Outcome:
    found = bend(gap_12, gap_3, gap_6, gap_9, rim_radius)
    upright, level = gap_12 - gap_6, gap_3 - gap_9
    out = 2 if speeds and speeds >= 11 else 4
    says = []
    ways = [
        way
        for far, way in (
            (upright, "the lower end leans in to the wheel"),
            (-upright, "the lower end leans out"),
            (level, "the back edge is turned in"),
            (-level, "the front edge is turned in"),
        )
        if far >= out / 2
    ]
    if abs(found.closure) > 3:
        says.append(
            f"12 and 6 together differ from 3 and 9 together by {abs(found.closure):.1f} mm, which no flat turn of the "
            "gauge can do. Before anything is bent: use the same point of the rim each time, seat the wheel, look for "
            "play in hub or gauge, and measure again."
        )
    elif ways:
        says.append(f"As read, {' and '.join(ways)}.")
        if out <= found.difference < FAR:
            says.append(
                f"To straighten, turn the arm to {_hour(found.toward)} and pull it outwards, a little at a time, until "
                f"the gap there is {hypot(upright, level) / 2:.1f} mm wider; then measure all four again."
            )
    verdict = Verdict(
        value="difference",
        limits=(out, FAR),
        says=(
            f"In line, as far as the common {out} mm at the rim goes.",
            f"Bent: more than {out} mm between opposite places. Straighten it, or change it where the maker says so.",
            "Bent far: metal bent so far, or a second time, may break. Change the hanger; one that is part of the "
            "frame goes to a frame builder.",
        ),
        closer="Measure again with the same point of the rim, and with a thin feeler.",
    )
    gaps = {0: gap_12, 90: gap_3, 180: gap_6, 270: gap_9}
    return Outcome(
        values={
            "difference": found.difference,
            "angle": found.angle,
            "lean": found.lean,
            "turn": found.turn,
            "closure": found.closure,
        },
        verdicts=(verdict,),
        says=says,
        picture=lambda width, height: clock(gaps, found.toward if ways else None, width, height),
    )


def _hour(toward: float) -> str:
    half_hours = round(toward / 15) % 24
    hour = half_hours // 2 or 12
    return f"half past {hour}" if half_hours % 2 else f"{hour} o'clock"


def clock(gaps: dict[int, float], near: float | None, width: int, height: int) -> list[str]:
    """Draw the gaps round the rim, seen from the gears' side; a '#' where the gauge stands nearest to the wheel.

    Args:
        gaps: degrees clockwise from 12 (0, 90, 180, 270) -> mm.
        near: degrees clockwise from 12; None for nowhere.
        width, height: cells to use.
    """
    rows = (max(7, min(height - 3, 17)) - 1) // 2 * 2 + 1
    down = rows // 2
    across = min(2 * down, (width - 24) // 2)
    wide = 2 * across + 1
    grid = [[" "] * wide for _ in range(rows)]

    def mark(at: float, sign: str) -> None:
        grid[round(down - down * cos(at * pi / 180))][round(across + across * sin(at * pi / 180))] = sign

    for at in range(0, 360, 6):
        mark(at, ".")
    for at in gaps:
        mark(at, "o")
    if near is not None:
        mark(near, "#")
    grid[down][across - 3 : across + 4] = "hanger " if across > 3 else "+"
    side = 11
    body = [
        f"{f'9: {gaps[270]:.1f} mm' if n == down else '':>{side}} {line} {f'3: {gaps[90]:.1f} mm' if n == down else ''}"
        for n, line in enumerate(map("".join, grid))
    ]
    around = 2 * (side + 1) + wide
    legend = "front of the bike to the right" + ("; # is nearest to the wheel" if near is not None else "")
    lines = [
        f"{f'12: {gaps[0]:.1f} mm':^{around}}".rstrip(),
        *(line.rstrip() for line in body),
        f"{f'6: {gaps[180]:.1f} mm':^{around}}".rstrip(),
        f"{legend:^{around}}".rstrip(),
    ]
    return [line[:width] for line in lines]


def _gap(hour: int) -> Field:
    return Field(name=f"gap-{hour}", ask=f"Gap at {hour} o'clock?", unit="mm", least=-80, most=150, error=0.5)


HANGER = Tool(
    name="hanger",
    title="How the hanger is bent",
    about="Mech off, gauge screwed into the hanger, wheel seated. Seen from the gears' side, 12 is up and 3 is to the "
    "front. Set the gauge to a point of the rim, the valve say; turn wheel and gauge together, so that it is the same "
    "point, and read the gap from gauge to rim at 12, 3, 6 and 9. Any zero will do; where the gauge has to be drawn "
    "back, type a minus.",
    fields=(
        *(_gap(hour) for hour in (12, 3, 6, 9)),
        Field(
            name="rim-radius",
            ask="From hub to that point of the rim?",
            unit="mm",
            least=120,
            most=360,
            error=5,
            usual="310 mm",
            lasting=True,
        ),
        SPEEDS,
    ),
    run=_hanger,
    gives=(
        Gives(name="difference", words="largest difference of opposite places", unit="mm", also="in"),
        Gives(name="angle", words="bent by", unit="deg"),
        Gives(name="lean", words="of that the lower end in, to the wheel (-: out), by", unit="deg"),
        Gives(name="turn", words="of that the back edge in (-: the front edge), by", unit="deg"),
        Gives(name="closure", words="12 and 6 less 3 and 9 (should be nothing)", unit="mm"),
    ),
    sources=(
        "Derailleur alignment, urban cycling magazine, issue 32 (same point of the rim at 12, 6, 3 and 9)",
        "common practice (4 mm at the rim; half of that with eleven sprockets or more)",
        f"from memory (from {FAR} mm on it is bent far; a gap is read to 0.5 mm)",
    ),
    cautions=(
        "A hanger may break as it is bent back, and a cracked one later: look at it with a light before and after. "
        "One of carbon or titanium, or one that is part of a carbon frame, is not bent back; the maker's manual says "
        "what may be.",
    ),
    example={"gap-12": "6", "gap-3": "3.5", "gap-6": "0", "gap-9": "2", "speeds": "10"},
)
