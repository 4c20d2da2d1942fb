"""What lever and brake make of the hand's force, and of its travel."""

from collections.abc import Sequence
from math import pi

from symptomtree.measuring.brakes.lever import STOP
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict, needed

RIM_RATIO = (4.0, 6.0)
"""From the hand to the rim, of rim brakes worked by hand (Brake squeal, newsgroup article by an engineer, 2001)."""
LINEAR_PULL = 12.0
"""The same of linear-pull brakes with their own levers at most (from memory): levers make 1.6 to 2.6 (questions and
answers as below), arms 3 to 4."""
GAPS = {"hydraulic": 0.2, "cable": 1.5}
"""mm that each pad usually stands off (hydraulic from memory; rim brakes 1 to 2, Check the brakes, excerpt of a riders'
handbook)."""


# Formulas


def lever_ratio(finger: float, inner: float) -> float:
    """Return how many times the hand's force a lever makes.

    Args:
        finger: from its pivot to where the fingers pull, in mm.
        inner: from its pivot to the cable's end, or to the line along which it pushes the piston, in mm.

    Source: What is the mechanical advantage of mechanical rim brakes and levers, questions and answers, 2020.
    """
    return finger / inner


def hydraulic_ratio(master: float, pistons: Sequence[float]) -> float:
    """Return the area of pistons over that of the lever's piston: how many times its force they push (Pascal's law).

    Args:
        master: diameter of the lever's piston, in mm.
        pistons: diameters of the caliper's, in mm.
    """
    return area(pistons) / area([master])


def area(diameters: Sequence[float]) -> float:
    """Return the area of circles together, in the square of the unit of their diameters."""
    return pi / 4 * sum(d**2 for d in diameters)


# The tool


def _brake_ratio(
    works_by: str,
    finger: float | None,
    inner: float | None,
    master_piston: float | None,
    caliper_pistons: Sequence[float],
    caliper: str,
    arm_cable: float | None,
    arm_pad: float | None,
    finger_travel: float | None,
    pad_travel: float | None,
    hand_force: float,
    pad_gap: float | None,
) -> Outcome:
    says, verdicts = [], []
    if works_by == "travel":
        fingers = needed(finger_travel, "finger-travel", "how far do the fingers move, lightly touching to bite?")
        pads = needed(pad_travel, "pad-travel", "how far does each pad move in that time?")
        _more(fingers, pads, "pad-travel", "the fingers' travel")
        both, values = fingers / pads, {}
        says.append("From the travels: what is gained in force is lost in travel; bending and friction are left out.")
    else:
        outer = needed(finger, "finger", "how far is it from the lever's pivot to the fingers?")
        short = needed(inner, "inner", "how far is it from the lever's pivot to cable end or push rod?")
        _more(outer, short, "inner", "the length to the fingers")
        lever = lever_ratio(outer, short)
        if works_by == "hydraulic":
            if not caliper_pistons:
                raise BadInput(
                    "caliper-pistons is missing: give the diameter of every piston in the caliper", "caliper-pistons"
                )
            thick = needed(master_piston, "master-piston", "how thick is the lever's piston?")
            _more(max(caliper_pistons), thick, "master-piston", "the caliper's largest piston")
            second = hydraulic_ratio(thick, caliper_pistons)
            # A caliper that slides takes the reaction on its fixed pad, so both pads press with all its pistons.
            both = lever * second * (2 if caliper == "sliding" else 1)
        else:
            second = needed(arm_cable, "arm-cable", "how far is it from the arm's pivot to the cable?") / needed(
                arm_pad, "arm-pad", "how far is it from the arm's pivot to the pad?"
            )
            both = 2 * lever * second
        values = {"lever-ratio": lever, "second-ratio": second}
    values |= {"pad-ratio": both / 2, "both-ratio": both, "pad-force": both / 2 * hand_force}
    says.append(
        f"With {hand_force:g} N at the lever, each pad presses with {both / 2 * hand_force:.0f} N, less what friction "
        "and bending take."
    )
    gap = GAPS.get(works_by) if pad_gap is None else pad_gap
    if gap is not None:
        values["travel-to-touch"] = both * gap
        says.append(f"A gap of {gap:g} mm at each pad takes {both * gap:.0f} mm of the fingers' way.")
    if works_by == "cable":
        verdicts.append(_RIM)
    says.append(
        "More force for the hand always means more way for the lever; swap levers or calipers as the maker pairs them."
    )
    return Outcome(values=values, verdicts=verdicts, says=says)


def _more(long: float, short: float, name: str, what: str) -> None:
    if short > long:
        raise BadInput(f"{name}: {short:g} mm is more than {what}, {long:g} mm; were the two swapped?", name)


_RIM = Verdict(
    value="pad-ratio",
    limits=(*RIM_RATIO, LINEAR_PULL),
    says=(
        "Under 4, which is weak: a hard, short lever that takes a strong hand. A lever that pulls much cable on arms "
        "made for one that pulls little does that.",
        "Between 4 and 6, as is usual from hand to rim.",
        "Between 6 and 12: usual with linear-pull arms and a lever made for them, the blocks close to a rim that runs "
        "true. With other arms the lever has far to go.",
        "Over 12: strong and soft at the lever, which has far to go. A lever that pulls little cable on arms made for "
        "one that pulls much does that, and may reach the bar in the wet: pair them as the maker says.",
    ),
    closer="Measure the distances again, at right angles to cable and pad.",
)


def _mm(name: str, ask: str, most: float, error: float = 0.5) -> Field:
    return Field(name=name, ask=ask, unit="mm", least=error, most=most, error=error, needed=False)


BRAKE_RATIO = Tool(
    name="brake-ratio",
    title="What lever and brake make of the hand's force",
    about="Measure from pivot to where each force acts, at right angles to it: along the lever to the middle finger, "
    "and to the cable's end or the push rod; hydraulic: the pistons' diameters (from the maker); cable: along the "
    "arm to cable and pad. Or measure how far fingers and pad move.",
    fields=(
        Field(
            name="works-by",
            ask="What is known of the brake?",
            kind="choice",
            choices={
                "hydraulic": "hydraulic, its pistons",
                "cable": "cable and two arms, their lengths",
                "travel": "how far fingers and pads move",
            },
            usual="hydraulic",
        ),
        _mm("finger", "Lever: how far from its pivot to where the fingers pull?", 200, 1),
        _mm("inner", "Lever: how far from its pivot to the cable's end or push rod?", 80),
        _mm("master-piston", "Hydraulic: what is the diameter of the lever's piston?", 30, 0.05),
        Field(
            name="caliper-pistons",
            ask="Hydraulic: what is the diameter of each of the caliper's pistons, all of them?",
            kind="numbers",
            unit="mm",
            least=5,
            most=60,
            error=0.05,
            needed=False,
        ),
        Field(
            name="caliper",
            ask="Hydraulic: on which side are the pistons?",
            kind="choice",
            choices={"fixed": "on both sides of the disc", "sliding": "on one side, the caliper slides"},
            usual="fixed",
        ),
        _mm("arm-cable", "Cable: how far from the arm's pivot to the cable?", 200),
        _mm("arm-pad", "Cable: how far from the arm's pivot to the pad's middle?", 120),
        _mm("finger-travel", "Travel: how far do the fingers move, from the pads' first movement to the bite?", 120),
        _mm("pad-travel", "Travel: how far does each pad move in that time?", 30, 0.1),
        Field(
            name="hand-force",
            ask="How hard does the hand pull?",
            unit="N",
            least=5,
            most=600,
            error=5,
            usual="100 N",
        ),
        Field(
            name="pad-gap",
            ask="How far is each pad from disc or rim?",
            unit="mm",
            least=0,
            most=6,
            error=0.05,
            needed=False,
        ),
    ),
    run=_brake_ratio,
    gives=(
        Gives(name="lever-ratio", words="the lever makes, times the hand's force"),
        Gives(name="second-ratio", words="pistons or arms make, times that"),
        Gives(name="pad-ratio", words="each pad presses, times the hand's force"),
        Gives(name="both-ratio", words="both pads together"),
        Gives(name="pad-force", words="each pad presses with", unit="N", also="lbf"),
        Gives(name="travel-to-touch", words="the fingers move until the pads touch", unit="mm", also="in"),
    ),
    sources=(
        "What is the mechanical advantage of mechanical rim brakes and levers, questions and answers, 2020",
        "Choosing a master cylinder, motorcycle forum (areas of the pistons, both sides summed)",
        "Brake squeal, newsgroup article by an engineer, 2001 (4 to 6 from hand to rim)",
        "Check the brakes, excerpt of a riders' handbook on the web (rim brakes: 1 to 2 mm off)",
        "from memory (linear-pull brakes make 6 to 12; a disc brake's pads stand 0.2 mm off; what a hand pulls)",
    ),
    cautions=("Never pair lever and caliper by this figure alone: the makers' pairing comes first.", STOP),
    example={
        "works-by": "hydraulic",
        "finger": "75 mm",
        "inner": "14 mm",
        "master-piston": "10 mm",
        "caliper-pistons": "22 22",
    },
)
