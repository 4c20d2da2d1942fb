"""Tightening torques by part, as published; a figure that the knowledge names too is the same (a test sees to it).

The maker's figure comes first: these tell only whether a figure can be right, and what to expect where there is none.
"""

from dataclasses import dataclass

ARTICLE = "Torque specs: proper bolt tightening, an article of a cycling maintenance site"
SHOP = "Torque specifications, a bicycle shop's table"
MAKERS = "Bicycle torque specifications and torque settings, a table by makers"
CARGO = "Fastener torque specifications, appendix of a cargo bicycle owner's manual"
LEVERS = "Brake caliper torque specifications, a sports how-to site"
SEAT = "User guide: inspection of seat and seatpost, 2002"
ELECTRIC = "Owner's manual of an electric bicycle, setting the rear rim brake"
REAR_NUTS = "Owner's manual, seventh edition: installing a bolt-on rear wheel"
FRONT_NUTS = "Owner's manual, chapter 3: to install a wheel with a threaded axle and nut"
HUB_GEAR = "Discussion: stripped axle nut of a hub gear, a riders' forum"
FOLDING = "Rear hub parts and gear adjustment, leaflet for a folding bicycle"
PEDALS = "Cleat and pedal installation and care, a bicycle shop's page"
MEMORY = "from memory"


@dataclass(frozen=True, slots=True)
class Range:
    """A published torque in N m; the same number twice where only one is given."""

    least: float
    most: float
    source: str
    of: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """A bolt of a bicycle.

    Attributes:
        words: what it holds.
        thread: the usual one (from memory).
        ranges: as published, the one to go by first.
        clamps: whether it squeezes a tube that may be of carbon.
        mind: what goes wrong there.
    """

    words: str
    thread: str
    ranges: tuple[Range, ...]
    clamps: bool = False
    mind: str = ""


PARTS: dict[str, Part] = {
    "stem-front": Part(
        "stem: front plate on the handlebar",
        "M5, older M6 to M8",
        (Range(4, 6, ARTICLE),),
        True,
        "Tighten crosswise in small steps, with the gaps above and below as the maker shows. Older stems with one or "
        "two thick bolts need far more.",
    ),
    "stem-steerer": Part(
        "stem: side bolts on the steerer",
        "M5 or M6",
        (Range(5, 7, ARTICLE),),
        True,
        "The top cap first, then these in turns. Older stems with thick bolts need far more.",
    ),
    "top-cap": Part(
        "top cap of the headset",
        "M6",
        (Range(1, 2, ARTICLE),),
        mind="It sets the bearing and holds nothing: only until the play is gone, with the stem's side bolts loose.",
    ),
    "brake-lever": Part("brake lever clamp", "M5 or M6", (Range(4, 5, ARTICLE),), True),
    "brake-lever-drop": Part(
        "brake lever under the hood of a drop bar", "M5 or M6", (Range(5.9, 7.8, LEVERS),), True, "Less on carbon bars."
    ),
    "shifter": Part("shifter clamp", "M5", (Range(3, 4, ARTICLE),), True),
    "seatpost-one": Part("seatpost clamp with one bolt", "M5 or M6", (Range(5, 7, ARTICLE),), True),
    "seatpost-two": Part("seatpost clamp with two bolts", "M5", (Range(4, 5, ARTICLE),), True),
    "dropper-collar": Part(
        "collar of a dropper post",
        "M5 or M6",
        (Range(4, 6, ARTICLE),),
        True,
        "Too tight, and the post sticks: only as tight as stops it from slipping.",
    ),
    "saddle-clamp": Part(
        "saddle rail clamp",
        "M6 to M8",
        (Range(8, 14, ARTICLE, "one large bolt"), Range(5.1, 6.8, SEAT, "two small bolts")),
        True,
        "Carbon rails take less and need a clamp made for them.",
    ),
    "crank-bolt": Part(
        "single bolt of a crank",
        "M8 to M15",
        (
            Range(40, 55, ARTICLE),
            Range(39.5, 49.2, SHOP),
            Range(34.5, 44.2, CARGO),
            Range(32, 44, MAKERS, "square axle end"),
        ),
        mind="Makers' figures run from 27 to 59 by kind of axle. A crank that was ridden loose is spoilt.",
    ),
    "crank-pinch": Part(
        "two pinch bolts of a crank",
        "M6",
        (Range(12, 15, SHOP), Range(9.8, 11.2, MAKERS)),
        mind="Preload cap first, then both in turns and small steps.",
    ),
    "crank-cap": Part(
        "preload cap of a crank",
        "plastic",
        (Range(0.4, 0.7, MAKERS),),
        mind="Finger-tight; it sets the play and holds nothing.",
    ),
    "bottom-bracket": Part(
        "screwed-in cups of the bottom bracket",
        "1.37 in x 24, right side left-hand; or others",
        (
            Range(32.9, 40.7, SHOP),
            Range(34.5, 49.1, MAKERS, "cups outside the frame"),
            Range(70, 70, MAKERS, "closed cartridge unit, one maker"),
        ),
        mind="Types differ widely. On most the right-hand cup has a left-hand thread.",
    ),
    "eccentric": Part("clamp bolts of an eccentric bottom bracket", "M6", (Range(8.5, 11.3, SHOP),)),
    "chainring": Part(
        "chainring bolts",
        "M8",
        (
            Range(8, 12, ARTICLE),
            Range(8, 9, SHOP, "aluminium"),
            Range(12, 14, SHOP, "steel"),
            Range(5, 9.9, CARGO, "aluminium"),
            Range(7.9, 10.7, CARGO, "steel"),
        ),
        mind="Aluminium bolts strip easily: the lower figures.",
    ),
    "pedal": Part(
        "pedal in the crank",
        "9/16 in x 20, the left one left-hand",
        (Range(35, 40, ARTICLE), Range(34.7, 39.5, CARGO), Range(34, 34, PEDALS)),
        mind="The left pedal has a left-hand thread. Grease, and start it by hand.",
    ),
    "cleat": Part(
        "cleat bolts",
        "M5",
        (Range(5, 6, MEMORY),),
        mind="In turns. A cleat that turns does not let go.",
    ),
    "cassette": Part("lockring of the cassette", "M30 or so", (Range(40, 40, ARTICLE), Range(30, 50, SHOP))),
    "fixed-lockring": Part(
        "lockring of a fixed sprocket", "left-hand", (Range(30, 40, MEMORY),), mind="It has a left-hand thread."
    ),
    "rear-mech": Part(
        "rear mech in its hanger, or a chain tensioner there",
        "M10",
        (Range(8, 10, ARTICLE), Range(7.9, 9.6, SHOP)),
        mind="The hanger is soft: start the thread by hand.",
    ),
    "mech-cable": Part("cable clamp of a mech", "M5", (Range(4, 5, ARTICLE),)),
    "front-mech-band": Part("band of the front mech", "M5", (Range(2.8, 4, SHOP),), True),
    "front-mech-fitting": Part("front mech on the frame's own fitting", "M5", (Range(4.9, 6.8, SHOP),)),
    "disc-caliper": Part(
        "disc brake caliper and adapter",
        "M6, thin ones M5",
        (Range(6, 8, ARTICLE), Range(11.3, 12.4, SHOP, "M6"), Range(6.8, 7.3, SHOP, "M5 of an adapter")),
        mind="The makers of the brake and of the fork or frame decide.",
    ),
    "rotor-bolts": Part(
        "disc with six bolts",
        "M5",
        (Range(4, 6, ARTICLE), Range(5, 6.2, SHOP)),
        mind="Crosswise, with thread locker that stands heat where the maker asks for it.",
    ),
    "rotor-lockring": Part("lockring of a disc", "as a cassette's", (Range(40, 40, ARTICLE),)),
    "brake-cable": Part("cable clamp of a brake", "M5 or M6", (Range(6, 8, ARTICLE),)),
    "block-linear": Part(
        "block of a cantilever or linear-pull brake", "M6", (Range(6, 8, ELECTRIC), Range(7.9, 9, SHOP))
    ),
    "block-side-pull": Part("block of a side-pull brake", "M5", (Range(4.5, 6.8, SHOP),)),
    "side-pull": Part(
        "side-pull brake on fork or frame",
        "M6",
        (Range(6, 7, SHOP, "at the fork"), Range(7.9, 9.6, SHOP, "at the stays")),
        mind="Thin carbon takes less.",
    ),
    "hub-brake-strap": Part("strap of a hub brake's arm", "M5 or M6", (Range(2, 3, SHOP),)),
    "axle-front": Part("screwed-in front axle", "M12 or M15", (Range(12, 15, ARTICLE),)),
    "axle-rear": Part("screwed-in rear axle", "M12", (Range(12, 18, ARTICLE),)),
    "axle-nuts-front": Part(
        "front axle nuts",
        "M9 or 5/16 in",
        (Range(20, 27, FRONT_NUTS),),
        mind="Both sides in turns. A US rule (16 CFR 1512.12) wants at least 17 Nm to undo them.",
    ),
    "axle-nuts-rear": Part("back axle nuts", "M10 or 3/8 in", (Range(27, 34, REAR_NUTS),), mind="Both sides in turns."),
    "hub-gear-nuts": Part(
        "axle nuts of a hub gear",
        "M10 or 3/8 in",
        (Range(30, 45, HUB_GEAR, "one hub with eight gears"), Range(22, 22, FOLDING, "a folding bicycle's hub")),
        mind="The washers that keep the axle from turning go on first, the right way round.",
    ),
    "hub-motor-nuts": Part(
        "axle nuts of a hub motor",
        "M12",
        (Range(30, 40, MEMORY),),
        mind="Some makers name more. The washer that keeps the axle from turning goes on first.",
    ),
    "bottle-cage": Part("bottle cage", "M5", (Range(2, 3, MEMORY),), mind="The frame's thread insert turns if forced."),
}
