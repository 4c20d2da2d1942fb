"""How long spokes must be for a hub and a rim."""

from math import cos, radians, sqrt

from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool
from symptomtree.measuring.wheels.spokes import flange_field, tension_ratio


def spoke_length(
    erd: float, flange_diameter: float, offset: float, hole: float, crossings: float, spokes: float
) -> float:
    """Return the length of a spoke in mm, from the inside of its bend to its end.

    Args:
        erd: effective rim diameter, in mm: across the ends of two opposite spokes.
        flange_diameter: of the circle through the flange's holes, in mm.
        offset: of the flange from the middle of the rim, in mm.
        hole: diameter of a hole in the flange, in mm.
        crossings: how many spokes of its side it crosses.
        spokes: on that side.

    Source: Spoke length calculation (workshop page): the law of cosines in three dimensions, less half the hole.
    """
    rim, hub = erd / 2, flange_diameter / 2
    angle = radians(360 * crossings / spokes)
    return sqrt(offset**2 + hub**2 + rim**2 - 2 * hub * rim * cos(angle)) - hole / 2


def _spoke_length(
    erd: float,
    spokes: float,
    crossings: float,
    crossings_right: float | None,
    flange_diameter: float,
    flange_diameter_right: float | None,
    flange_left: float,
    flange_right: float,
    hole: float,
    rim_offset: float,
) -> Outcome:
    if spokes % 2:
        raise BadInput(f"spokes: {spokes:g} cannot be shared by two sides; give the even number in the wheel", "spokes")
    each = spokes / 2
    crossed = {"left": crossings, "right": crossings if crossings_right is None else crossings_right}
    across = {"left": flange_diameter, "right": flange_diameter_right or flange_diameter}
    offset = {"left": flange_left - rim_offset, "right": flange_right + rim_offset}
    for side, count in crossed.items():
        field = "crossings" if side == "left" or crossings_right is None else "crossings-right"
        if 360 * count / each > 120:
            raise BadInput(
                f"{field}: {count:g} crossings do not go with {each:g} spokes on a side, they would pass behind the "
                f"hub; at most {int(each / 3)}",
                field,
            )
        if across[side] >= erd:
            raise BadInput("erd: the rim cannot be smaller than the hub's flange; are the two swapped?", "erd")
        if offset[side] <= 0:
            raise BadInput(
                f"rim-offset: with {rim_offset:g} mm the {side} flange would stand past the rim's middle; look at "
                "its sign",
                "rim-offset",
            )
    length = {side: spoke_length(erd, across[side], offset[side], hole, crossed[side], each) for side in crossed}
    values = {f"length-{side}": found for side, found in length.items()}
    values["balance-expected"] = (
        tension_ratio(offset["left"], offset["right"], length["left"] + hole / 2, length["right"] + hole / 2) * 100
    )
    says = [
        "The end should reach the slot of the nipple and not come out of its head: take the whole millimetre nearest, "
        f"that is {round(length['left'])} mm left and {round(length['right'])} mm right; where only every second is "
        "sold, the shorter one if the thread allows it (common practice: a millimetre either way is no harm).",
        f"With the rim in the middle the left side will have {values['balance-expected']:.0f} % of the right side's "
        "tension; that lies in the hub and the rim and cannot be built away.",
    ]
    if max(crossed.values()) > each / 4.5:
        says.append(
            "That many crossings press the heads onto their neighbours: a number of spokes divided by nine is the most "
            "(common practice)."
        )
    return Outcome(values=values, says=says)


SPOKE_LENGTH = Tool(
    name="spoke-length",
    title="Length of the spokes for a hub and a rim",
    about="Measure the rim that will be built: screw two old spokes of known length in opposite holes to where they "
    "will end in the nipple, pull, and measure; at four places, the mean counts. Hub: half its width over the ends, "
    "less how far the flange's middle stands from that end. For as many spokes on either side.",
    fields=(
        Field(
            name="erd",
            ask="What is the rim's effective diameter, across the spokes' ends?",
            unit="mm",
            least=100,
            most=760,
            error=0.7,
        ),
        Field(name="spokes", ask="How many spokes has the wheel?", least=8, most=72, whole=True),
        Field(name="crossings", ask="How many others does a spoke cross?", least=0, most=5, whole=True, usual="3"),
        Field(
            name="crossings-right",
            ask="How many on the right, if another number?",
            least=0,
            most=5,
            whole=True,
            needed=False,
        ),
        Field(
            name="flange-diameter",
            ask="How wide is the circle through the middles of the flange's holes?",
            unit="mm",
            least=15,
            most=350,
            error=0.3,
        ),
        Field(
            name="flange-diameter-right",
            ask="How wide on the right, if another?",
            unit="mm",
            least=15,
            most=350,
            error=0.3,
            needed=False,
        ),
        flange_field("left", needed=True),
        flange_field("right", needed=True),
        Field(
            name="hole",
            ask="How wide is a hole in the flange?",
            unit="mm",
            least=1.5,
            most=4,
            usual="2.6",
        ),
        Field(
            name="rim-offset",
            ask="How far to the left of the rim's middle are its holes (to the right: minus)?",
            unit="mm",
            least=-10,
            most=10,
            usual="0",
        ),
    ),
    run=_spoke_length,
    gives=(
        Gives(name="length-left", words="spokes on the left", unit="mm", also="in"),
        Gives(name="length-right", words="spokes on the right", unit="mm", also="in"),
        Gives(name="balance-expected", words="tension, left beside right", unit="%"),
    ),
    sources=(
        "Spoke length calculation, workshop page (law of cosines, less half the hole)",
        "How do you determine the difference in tension between the sides, wheel builders' forum, 2023 (dish)",
        "common practice (nearest millimetre; a ninth of the spokes as the most crossings)",
    ),
    cautions=(
        "A wheel that is built must be tensioned and checked by someone who knows how before it carries a rider.",
    ),
    example={
        "erd": "600 mm",
        "spokes": "32",
        "crossings": "3",
        "flange-diameter": "44 mm",
        "flange-left": "35 mm",
        "flange-right": "20 mm",
    },
)
