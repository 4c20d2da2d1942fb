"""Gears and chain line in numbers."""

from collections.abc import Sequence
from math import atan, degrees, pi

from symptomtree.measuring.tool import BadInput, Chance, Field, Gives, Outcome, Tool, Verdict

OUT = 3.0
"""Millimetres from which the chain line is called clearly out (from memory)."""


# Formulas


def development(front: float, rear: float, circumference: float) -> float:
    """Return how far the bike rolls in one turn of the cranks, in the unit of the wheel's circumference.

    The development of 16 CFR 1512.5, footnote 3.
    """
    return circumference * front / rear


def gear_inches(front: float, rear: float, diameter: float) -> float:
    """Return the diameter of a wheel that would roll as far if the cranks drove it straight, in the unit of `diameter`.

    Inches by custom. Not the distance rolled, which is pi times that.
    """
    return diameter * front / rear


def speed_at(front: float, rear: float, circumference: float, cadence: float) -> float:
    """Return the speed in km/h; circumference in mm, cadence in turns a minute, nothing slipping."""
    return development(front, rear, circumference) * 1e-6 * cadence * 60


def front_line(tube: float, to_rings: Sequence[float]) -> float:
    """Return the chain line in front, in mm from the frame's middle (common practice).

    Args:
        tube: width of the tube beside the rings, in mm.
        to_rings: from its side to the middle of each ring's teeth, in mm.
    """
    return tube / 2 + sum(to_rings) / len(to_rings)


def rear_line(width: float, to_sprockets: Sequence[float]) -> float:
    """Return the chain line at the back, in mm from the frame's middle (common practice).

    Args:
        width: between the frame's ends, in mm.
        to_sprockets: from the right end's inside to the middle of the teeth of the outermost sprockets, in mm.
    """
    return width / 2 - sum(to_sprockets) / len(to_sprockets)


# The tools


def _gear(teeth_front: float, teeth_rear: float, wheel_circumference: float, cadence: float) -> Outcome:
    def speed(turns: float) -> float:
        return speed_at(teeth_front, teeth_rear, wheel_circumference, turns)

    return Outcome(
        values={
            "ratio": teeth_front / teeth_rear,
            "development": development(teeth_front, teeth_rear, wheel_circumference) / 1000,
            "gear-inches": gear_inches(teeth_front, teeth_rear, wheel_circumference / pi / 25.4),
            "speed": speed(cadence),
        },
        says=(f"Climbing at 50 turns a minute it goes {speed(50):.1f} km/h, spinning at 100 {speed(100):.1f} km/h.",),
    )


GEAR = Tool(
    name="gear",
    title="A gear: how far, how fast",
    about="Read the teeth off ring and sprocket. Roll the wheel one turn with the rider on, and measure how far it "
    "went.",
    fields=(
        Field(name="teeth-front", ask="Teeth of the ring in front?", least=10, most=80, whole=True),
        Field(name="teeth-rear", ask="Teeth of the sprocket?", least=7, most=60, whole=True),
        Field(
            name="wheel-circumference",
            ask="How far does the back wheel roll in one turn?",
            unit="mm",
            least=700,
            most=2600,
            error=10,
            lasting=True,
        ),
        Field(
            name="cadence", ask="How many turns of the cranks a minute?", unit="per min", least=5, most=250, usual="80"
        ),
    ),
    run=_gear,
    gives=(
        Gives(name="ratio", words="turns of the wheel for one of the cranks"),
        Gives(name="development", words="rolled in one turn of the cranks", unit="m"),
        Gives(name="gear-inches", words="gear inches", unit="in"),
        Gives(name="speed", words="speed at that cadence", unit="km/h", also="mph"),
    ),
    sources=(
        "16 CFR 1512.5 (gear development)",
        "Gear inch calculations explained, cycling event page (gear inches)",
        "Finding angular speed, mathematics help forum (speed from cadence)",
    ),
    example={"teeth-front": "50", "teeth-rear": "25", "wheel-circumference": "2105 mm", "cadence": "80"},
)


def _chain_line(
    tube_width: float,
    tube_to_rings: Sequence[float],
    dropout_width: float,
    dropout_to_sprockets: Sequence[float],
    chainstay: float | None,
) -> Outcome:
    front, rear = front_line(tube_width, tube_to_rings), rear_line(dropout_width, dropout_to_sprockets)
    if rear <= 0:
        raise BadInput(
            "dropout-to-sprockets: that puts the sprockets left of the middle; measure from the inside of the right "
            "end",
            "dropout-to-sprockets",
        )
    values = {"front": front, "rear": rear, "off": front - rear}
    one = len(tube_to_rings) == len(dropout_to_sprockets) == 1
    says = []
    if chainstay is not None:
        rings = [tube_width / 2 + to for to in tube_to_rings]
        sprockets = [dropout_width / 2 - to for to in dropout_to_sprockets]
        values["slant"] = max(degrees(atan(abs(a - b) / chainstay)) for a in rings for b in sprockets)
        if len(rings) * len(sprockets) > 1:
            says.append("The slant is that of the crossed gear that is worst.")
    straight = "In line, as far as the chain minds."
    some = "Out of line, which some put up with: it wears faster and may be loud."
    much = (
        "Out of line: see whether rings, their bolts and spacers, bottom bracket and sprockets are the right ones, "
        "and the right way round. With a mech the maker's chain line comes first; it may differ on purpose."
    )
    verdict = Verdict(
        value="off",
        limits=(-5, -2, 2, 5) if one else (-OUT, OUT),
        says=(much, some, straight, some, much) if one else (much, straight, much),
        closer="Measure each again with a caliper, at two places a half turn apart.",
    )
    chances = [Chance(name="ring-in", of="off", high=-OUT), Chance(name="ring-out", of="off", low=OUT)]
    return Outcome(values=values, verdicts=(verdict,), chances=chances, says=says)


CHAIN_LINE = Tool(
    name="chain-line",
    title="Chain line: do rings and sprockets stand in line?",
    about="In front: the width of the tube beside the rings, and from its side to the middle of the teeth of each "
    "ring. At the back: the width between the frame's ends, and from the inside of the right end to the middle of the "
    "teeth of the smallest sprocket and, with a cassette, of the biggest.",
    fields=(
        Field(
            name="tube-width", ask="How wide is the tube there?", unit="mm", least=15, most=120, error=0.3, lasting=True
        ),
        Field(
            name="tube-to-rings",
            ask="From its side to the middle of the teeth, for each ring?",
            kind="numbers",
            unit="mm",
            least=3,
            most=80,
            error=0.5,
        ),
        Field(
            name="dropout-width",
            ask="How wide between the frame's ends?",
            unit="mm",
            least=90,
            most=210,
            error=0.5,
            lasting=True,
        ),
        Field(
            name="dropout-to-sprockets",
            ask="From the inside of the right end to the middle of the teeth, smallest and biggest sprocket?",
            kind="numbers",
            unit="mm",
            least=1,
            most=90,
            error=0.5,
        ),
        Field(
            name="chainstay",
            ask="From crank axle to back axle (for the slant)?",
            unit="mm",
            least=300,
            most=800,
            error=2,
            needed=False,
            lasting=True,
        ),
    ),
    run=_chain_line,
    gives=(
        Gives(name="front", words="chain line in front", unit="mm", also="in"),
        Gives(name="rear", words="chain line at the back", unit="mm", also="in"),
        Gives(name="off", words="front further out (-: in) than back by", unit="mm", also="in"),
        Gives(name="slant", words="the chain slants by up to", unit="deg"),
        Gives(name="ring-in", words=f"how likely the front runs {OUT:g} mm or more further in", chance=True),
        Gives(name="ring-out", words=f"how likely the front runs {OUT:g} mm or more further out", chance=True),
    ),
    sources=(
        "common practice (half the tube and to the teeth in front; half the width less to the teeth at the back)",
        "On the chain line of a single speed, cycling forum, 2012 (under 2 mm is better, some accept 5 mm)",
        f"from memory (clearly out from {OUT:g} mm, with several rings or sprockets)",
    ),
    example={"tube-width": "30", "tube-to-rings": "27.5", "dropout-width": "120", "dropout-to-sprockets": "17.5"},
)
