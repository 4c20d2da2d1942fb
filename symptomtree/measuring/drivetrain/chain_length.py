"""How many links the chain needs."""

from collections.abc import Sequence
from math import asin, ceil, cos, pi, sin

from symptomtree.measuring.drivetrain.chain_wear import FINGERS, PITCH
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool


def half_links_round(stay: float, front: float, rear: float) -> float:
    """Return how many half links lie taut round two sprockets, not rounded.

    Straight runs between the pitch circles, and for each sprocket the share of its teeth that the chain holds. The
    handbooks' 2 C + (F + R) / 2 + (F - R)^2 / (4 pi^2 C), all in pitches, is the start of its series.

    Args:
        stay: between the two axles, in mm.
        front, rear: teeth.

    Raises:
        ValueError: the sprockets do not fit between the axles.
    """
    radii = [PITCH / (2 * sin(pi / teeth)) for teeth in (front, rear)]
    tilt = asin((radii[0] - radii[1]) / stay)
    return 2 * stay * cos(tilt) / PITCH + front * (0.5 + tilt / pi) + rear * (0.5 - tilt / pi)


def capacity_needed(rings: Sequence[float], sprockets: Sequence[float]) -> float:
    """Return the teeth that a mech must take up: differences in front and at the back added (common practice)."""
    return max(rings) - min(rings) + max(sprockets) - min(sprockets)


# The tool


def _chain_length(
    gears: str,
    chainstay: float,
    chainstay_growth: float,
    rings: Sequence[float],
    sprockets: Sequence[float],
    big_to_big: float | None,
    mech_capacity: float | None,
    links_now: float | None,
) -> Outcome:
    if gears == "one-gear" and (len(set(rings)) > 1 or len(set(sprockets)) > 1):
        raise BadInput(
            "sprockets: one gear has one ring and one sprocket; with a mech choose gears=derailleur", "sprockets"
        )
    if gears == "derailleur" and len(sprockets) < 2:
        raise BadInput(
            "sprockets: give the smallest and the biggest; with a single one choose gears=one-gear", "sprockets"
        )
    big, small = (max(rings), max(sprockets)), (min(rings), min(sprockets))
    exact = half_links_round(chainstay + chainstay_growth, *big)
    laid = exact
    needed = capacity_needed(rings, sprockets)
    values, says, cautions = {"round-big": exact}, [], []
    if gears == "one-gear":
        count = 2 * ceil((exact - 0.05) / 2)  # a twentieth is 0.3 mm of the axle's way: no reason for a link pair
        values["axle-back"] = (count - exact) / 2 * PITCH
        says.append(
            f"{count} half links: the wheel then sits {values['axle-back']:.1f} mm further back than measured; with "
            f"{count - 2} it would sit {PITCH - values['axle-back']:.1f} mm further forward. See which the frame's "
            "ends have room for; if neither, other teeth, or a half link."
        )
    else:
        at_rest = half_links_round(chainstay, *big)
        if big_to_big is not None:
            laid = big_to_big + exact - at_rest
        count = 2 * ceil((laid - 1e-9) / 2) + 2
        values["capacity-needed"] = needed
        values["slack-small"] = count - half_links_round(chainstay, *small)
        says.append(_mech_said(count, exact, at_rest, big_to_big, chainstay_growth))
        if mech_capacity is not None and mech_capacity < needed:
            says.append(
                f"The mech takes up {mech_capacity:g} teeth, these gears need {needed:g}: small on small the chain "
                "hangs slack. Do not shorten it for that; leave those gears out, or fit a mech that takes up more."
            )
        elif mech_capacity is not None:
            says.append(f"The mech takes up {mech_capacity:g} teeth, these gears need {needed:g}: it can keep it taut.")
    values |= {"half-links": count, "length": count * PITCH}
    if links_now is not None:
        if links_now < 0.6 * count:
            raise BadInput(
                f"links-now: {links_now:g} is about half of what is needed; were link pairs counted? Count half links, "
                "inner and outer",
                "links-now",
            )
        says.append(_now_said(links_now, count))
        if gears == "derailleur" and links_now < laid + 1:
            cautions.append(
                "Do not ride it: a chain this short tears the mech off, or locks the back wheel, when someone shifts "
                "onto biggest ring and biggest sprocket."
            )
    return Outcome(values=values, says=says, cautions=cautions)


def _mech_said(count: float, exact: float, at_rest: float, big_to_big: float | None, growth: float) -> str:
    if big_to_big is None:
        how = f"Biggest ring on biggest sprocket takes {exact:.1f}"
        how += " at full travel" if growth else ""
    else:
        how = f"Big on big was counted as {big_to_big:g}"
        how += f", and full travel takes {exact - at_rest:.1f} more" if growth else ""
    how += ": made even, and one link pair (two half links) more."
    if big_to_big is None and count - 2 - exact < 0.5:
        how += f" That is close to the step to {count + 2:.0f}: count it by hand and fill in big-to-big."
    if big_to_big is not None and abs(big_to_big - at_rest) > 2:
        how += f" The formula gives {at_rest:.1f}: count again, or measure the chainstay again."
    return f"{count:.0f} half links. {how} The mech's manual comes first; before you cut, lay it round by hand."


def _now_said(now: float, count: float) -> str:
    if now == count:
        return "The chain has that many."
    return f"The chain has {abs(now - count):g} half links too {'few' if now < count else 'many'}."


LENGTH_TOOLS = (
    Tool(
        name="chain-length",
        title="How many links the chain needs",
        about="Measure from the middle of the cranks' axle to the middle of the back axle, and read the teeth off "
        "rings and sprockets. With rear suspension also measure how much further apart the two are at full travel. A "
        "half link is one pitch: one pair of plates, inner or outer.",
        fields=(
            Field(
                name="gears",
                ask="What takes up the slack?",
                kind="choice",
                choices={"derailleur": "a rear mech", "one-gear": "nothing: one gear, or a hub gear"},
                usual="derailleur",
                lasting=True,
            ),
            Field(
                name="chainstay",
                ask="From crank axle to back axle?",
                unit="mm",
                least=300,
                most=800,
                error=2,
                lasting=True,
            ),
            Field(
                name="chainstay-growth",
                ask="How much longer is that at full travel?",
                unit="mm",
                least=0,
                most=80,
                usual="0",
                lasting=True,
            ),
            Field(
                name="rings",
                ask="Teeth of the rings in front?",
                kind="numbers",
                least=16,
                most=80,
                lasting=True,
                whole=True,
            ),
            Field(
                name="sprockets",
                ask="Teeth of the smallest and the biggest sprocket?",
                kind="numbers",
                least=7,
                most=60,
                lasting=True,
                whole=True,
            ),
            Field(
                name="big-to-big",
                ask="Half links from end to end, laid round biggest ring and sprocket, not through the mech, the "
                "suspension at rest?",
                least=60,
                most=200,
                needed=False,
                whole=True,
            ),
            Field(
                name="mech-capacity",
                ask="How many teeth does the mech take up (its total capacity)?",
                least=5,
                most=70,
                needed=False,
                lasting=True,
            ),
            Field(
                name="links-now",
                ask="How many half links has the chain now?",
                least=40,
                most=250,
                needed=False,
                whole=True,
            ),
        ),
        run=_chain_length,
        gives=(
            Gives(name="half-links", words="half links the chain needs"),
            Gives(name="length", words="length of that chain", unit="mm", also="in"),
            Gives(name="round-big", words="half links taut round the biggest ring and sprocket"),
            Gives(name="capacity-needed", words="teeth that the mech must take up"),
            Gives(name="slack-small", words="half links to take up, small on small"),
            Gives(name="axle-back", words="the axle then sits further back by", unit="mm"),
        ),
        sources=(
            "Roller chain: pitch circle and number of links, engineering handbook formula page",
            "common practice (big on big without the mech, made even, and one link pair; capacity is the sum of the "
            "differences)",
            "Calculating chain length on dual suspension bikes, mountain bike magazine (where the stay is longest)",
        ),
        cautions=(FINGERS,),
        example={"chainstay": "430 mm", "rings": "50 34", "sprockets": "11 34", "mech-capacity": "39"},
    ),
)
