"""Where the motor's help ends, and whether the drive counts the wheel's turns right."""

from typing import NamedTuple

from symptomtree.measuring.tool import BadInput, Chance, Field, Gives, Outcome, Tool, Verdict


class Law(NamedTuple):
    """How fast a bike may be pushed: in km/h, and the words for where."""

    limit: float
    words: str


MPH = 1.609344
LAWS = {
    "eu": Law(25, "European Union and EN 15194: 25 km/h"),
    "uk": Law(15.5 * MPH, "Britain: 15.5 mph"),
    "australia": Law(25, "Australia, pedelec: 25 km/h"),
    "us-20": Law(20 * MPH, "United States, class 1 or 2: 20 mph"),
    "us-28": Law(28 * MPH, "United States, class 3: 28 mph"),
    "canada": Law(32, "Canada: 32 km/h"),
    "speed-pedelec": Law(45, "European Union, a moped with pedals (L1e-B): 45 km/h"),
}
"""Regulation or standard -> where the help has to end."""
OVER = 10.0
"""How much later it may end, in percent (TBIS 15194:2019, 4.2.11, a national edition of EN 15194)."""
EARLY = 10.0
"""How much earlier one feels it end, in percent, as it fades before it is gone (from memory)."""
SETTING = 2.0
"""How far the wheel size may be off, in percent: speed is to be right to so much (TBIS 15194:2019, 4.2.11)."""
MISSED = 5.0
"""How many pulses of a hundred may be off before it is called (from memory)."""


# Formulas


def true_speed(shown: float, circumference: float, set_to: float) -> float:
    """Return the speed on the road, from that on a display that counts the wheel's turns: shown x true / set.

    Args:
        shown: speed on the display, in any unit.
        circumference: how far the wheel rolls in a turn.
        set_to: what the drive takes it for, in the same unit.
    """
    return shown * circumference / set_to


def turns_a_minute(speed: float, circumference: float) -> float:
    """Return the wheel's turns a minute at a speed in km/h, for a circumference in mm."""
    return speed * 1e6 / 60 / circumference


def pulses_a_second(speed: float, circumference: float, magnets: float) -> float:
    """Return the sensor's pulses a second at a speed in km/h: a pulse each time one of the magnets passes."""
    return turns_a_minute(speed, circumference) / 60 * magnets


# Where the help ends


def _assist_limit(
    region: str, own_limit: float | None, speed: float, wheel_circumference: float, circumference_set: float | None
) -> Outcome:
    law = LAWS[region].limit if own_limit is None else own_limit
    set_to = circumference_set or wheel_circumference
    if not 0.6 < set_to / wheel_circumference < 1.6:
        raise BadInput(
            f"circumference-set: {set_to:.0f} mm cannot be meant for a wheel that rolls {wheel_circumference:.0f} mm; "
            "where the menu has inches across, give 3.14 times that",
            "circumference-set",
        )
    true = true_speed(speed, wheel_circumference, set_to)
    values = {
        "true-speed": true,
        "share": true / law * 100,
        "shown-at-limit": true_speed(law, set_to, wheel_circumference),
        "set-off": (set_to / wheel_circumference - 1) * 100,
        "turns": turns_a_minute(law, wheel_circumference),
    }
    says = []
    if own_limit is None and region not in ("eu", "uk", "australia"):
        says.append("This law names no tolerance; that of EN 15194 was taken.")
    says.append("The law of where it is ridden and the plate on the bike come first; this is arithmetic, no ruling.")
    verdicts = [_SET] if circumference_set is not None else []
    verdict = Verdict(
        value="share",
        limits=(100 - EARLY, 100 + OVER),
        says=(
            "The help ends early: look at the wheel size in the menu, the level, the magnet, and how full the battery "
            "is.",
            "Normal: the help fades at the limit and comes back below it. Nothing is broken; above it the legs do it "
            "all.",
            "The help goes on beyond the limit: not on public roads until the drive is set right. If it was altered, "
            "the bike is of another class in law; that goes to the maker's dealer.",
        ),
        closer="Read it again on the flat without wind, from another speedometer if there is one.",
    )
    chances = [
        Chance(name="early", of="share", high=100 - EARLY),
        Chance(name="at-limit", of="share", low=100 - EARLY, high=100 + OVER),
    ]
    if circumference_set is not None:
        chances += [
            Chance(name="set-small", of="set-off", high=-SETTING),
            Chance(name="set-large", of="set-off", low=SETTING),
        ]
    return Outcome(values=values, verdicts=(verdict, *verdicts), chances=chances, says=says)


_SET = Verdict(
    value="set-off",
    limits=(-SETTING, SETTING),
    says=(
        "The wheel size set in the drive is too small: speed and distance read too low, and the help ends late. Set it "
        "to the tyre.",
        f"The wheel size set in the drive fits the tyre within {SETTING:g} %.",
        "The wheel size set in the drive is too large: speed and distance read too high, and the help ends early. Set "
        "it to the tyre.",
    ),
    closer="Roll the wheel over several turns, the rider on, and divide by their number.",
)

ASSIST_LIMIT = Tool(
    name="assist-limit",
    title="Does the motor's help end where it should?",
    about="On an empty level road, highest level, ride slowly faster, and note the speed on the display at which the "
    "push fades. Roll the wheel one turn with the rider on and measure how far it went; look up in the menu what the "
    "drive takes it for.",
    fields=(
        Field(
            name="region",
            ask="Which law holds?",
            kind="choice",
            choices={name: law.words for name, law in LAWS.items()},
            usual="eu",
            lasting=True,
        ),
        Field(
            name="own-limit",
            ask="Another limit, if none of these?",
            unit="km/h",
            least=5,
            most=60,
            needed=False,
            lasting=True,
        ),
        Field(
            name="speed",
            ask="At what speed on the display does the help end?",
            unit="km/h",
            least=3,
            most=80,
            error=0.5,
        ),
        Field(
            name="wheel-circumference",
            ask="How far does the wheel roll in one turn?",
            unit="mm",
            least=700,
            most=2600,
            error=10,
            lasting=True,
        ),
        Field(
            name="circumference-set",
            ask="What is set in the drive for that (blank: the same)?",
            unit="mm",
            least=500,
            most=3000,
            needed=False,
        ),
    ),
    run=_assist_limit,
    gives=(
        Gives(name="true-speed", words="on the road the help ends at", unit="km/h", also="mph"),
        Gives(name="share", words="of the limit", unit="%"),
        Gives(name="shown-at-limit", words="at the limit the display shows", unit="km/h", also="mph"),
        Gives(name="set-off", words="wheel size set too large (-: too small) by", unit="%"),
        Gives(name="turns", words="turns of the wheel at the limit", unit="per min"),
        Gives(name="early", words="how likely the help ends early", chance=True),
        Gives(name="at-limit", words="how likely it ends at the limit", chance=True),
        Gives(name="set-small", words="how likely the wheel size is set too small", chance=True),
        Gives(name="set-large", words="how likely the wheel size is set too large", chance=True),
    ),
    sources=(
        "EN 15194:2017, scope (25 km/h, fading; 250 W)",
        "TBIS 15194:2019, 4.2.11 (10 % over at most)",
        "Electrically Assisted Pedal Cycles (Amendment) Regulations, SI 2015/24 (15.5 mph)",
        "California Vehicle Code, 312.5, 2015 (classes of 20 and 28 mph; others of the United States alike)",
        "Regulation (EU) No 168/2013 (L1e-B, 45 km/h)",
        "Motor Vehicle Safety Regulations, Canada, 2001 (32 km/h)",
        "from memory (Australia; that one feels it end up to 10 % early)",
    ),
    cautions=(
        "Not in traffic: look at the road, and let somebody else or a recording read the display.",
        "Never set a smaller wheel to be pushed faster: brakes, insurance and law are made for the limit.",
    ),
    example={"region": "eu", "speed": "24.6 km/h", "wheel-circumference": "2150 mm", "circumference-set": "2200 mm"},
)


# The magnet


def _speed_magnet(
    magnets: float,
    wheel_turns: float | None,
    pulses: float | None,
    shown_speed: float | None,
    speed: float | None,
    wheel_circumference: float | None,
) -> Outcome:
    if wheel_turns is not None and shown_speed is not None:
        raise BadInput("shown-speed: give wheel-turns and pulses, or shown-speed and speed, not both", "shown-speed")
    if wheel_turns is not None and pulses is not None:
        share = pulses / (wheel_turns * magnets) * 100
    elif shown_speed is not None and speed is not None:
        share = shown_speed / speed * 100
    else:
        missing = "pulses" if wheel_turns is not None else "speed" if shown_speed is not None else "wheel-turns"
        raise BadInput(f"{missing} is missing: give wheel-turns and pulses, or shown-speed and speed", missing)
    values = {"share": share}
    if wheel_circumference is not None:
        values["rate"] = pulses_a_second(25, wheel_circumference, magnets)
    says = []
    for whole, words in (
        (50, "About half: every second one is lost, or one of two magnets is gone."),
        (200, "About double: each is counted twice, or there is a second magnet."),
    ):
        if abs(share / whole - 1) < 0.1:
            says.append(words)
    if shown_speed is not None and wheel_turns is None:
        says.append("A wheel size that is set wrong shifts the speed alike, and steadily; a magnet makes it jump.")
    verdict = Verdict(
        value="share",
        limits=(100 - MISSED, 100 + MISSED),
        says=(
            "Pulses are missing: magnet turned away, slid, weak or too far off (about 2 mm is usual; the manual's gap "
            "comes first), sensor loose or dirty, or its plug.",
            "The pulses are right: magnet and sensor do their work.",
            "There are too many pulses: a second magnet, one that is counted twice as it passes slowly or shakes, a "
            "damaged cable, or more magnets than the drive is set to.",
        ),
        closer="Count over more turns." if wheel_turns else "Compare again, at a steady and higher speed.",
    )
    return Outcome(values=values, verdicts=(verdict,), says=says)


SPEED_MAGNET = Tool(
    name="speed-magnet",
    title="Does the speed sensor count every turn?",
    about="Level off, nobody on the bike: walk it along, twenty turns of the wheel or more, and count how often the "
    "sensor's lamp or the display answers. Or ride, and compare the display with another speedometer.",
    fields=(
        Field(
            name="magnets",
            ask="How many magnets pass the sensor in one turn?",
            least=1,
            most=60,
            whole=True,
            usual="1",
            lasting=True,
        ),
        Field(name="wheel-turns", ask="How many turns of the wheel?", least=1, most=1000, needed=False),
        Field(name="pulses", ask="How many answers were counted?", least=0, most=60000, error=0.5, needed=False),
        Field(
            name="shown-speed",
            ask="Or: what does the display show?",
            unit="km/h",
            least=0,
            most=100,
            error=0.3,
            needed=False,
        ),
        Field(name="speed", ask="And how fast is it really?", unit="km/h", least=2, most=100, error=0.3, needed=False),
        Field(
            name="wheel-circumference",
            ask="How far does the wheel roll in one turn?",
            unit="mm",
            least=700,
            most=2600,
            error=10,
            needed=False,
            lasting=True,
        ),
    ),
    run=_speed_magnet,
    gives=(
        Gives(name="share", words="pulses, of those that should come", unit="%"),
        Gives(name="rate", words="pulses a second at 25 km/h should be", unit="Hz"),
    ),
    sources=(
        "Building a speedometer, school electronics project page (pulses a second against speed)",
        "Setup and troubleshooting of a mid-drive speed sensor, electric bicycle forum (a gap of 2 mm)",
        "from memory (5 % off is called)",
    ),
    cautions=(
        "The motor may start: level off, thumb off the walking button, nobody touches the pedals. Battery out before "
        "fingers go to wheel, magnet or sensor. No reading of displays in traffic.",
    ),
    example={"magnets": "1", "wheel-turns": "20", "pulses": "13", "wheel-circumference": "2150 mm"},
)
