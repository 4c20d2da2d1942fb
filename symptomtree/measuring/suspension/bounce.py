"""How a suspension swings: its frequency from the sag, its damping from how fast the bounces die away."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, pi, sqrt

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.suspension.sag import GRAVITY, LEVERAGE, SAG, TIPS, doubted, share_below
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number

SWINGS = {"full": "every height on the same side", "half": "below and above in turn"}
UNSEEN = 0.2
"""mm; a bounce as small as that is not seen (from memory)."""
DAMPED = (0.2, 0.6)
"""From memory. At 0.2 a quarter of the first height is left after one full swing, at 0.6 nothing that can be seen, and
Setting up air-sprung suspension (mountain bike magazine, 2022) wants one swing only."""


def natural_frequency(deflection: float) -> float:
    """Return how often a mass on a spring swings in a second, from how far its weight presses the spring in.

    Args:
        deflection: in mm; of a spring whose force grows evenly from nothing.

    Source: Rao, Mechanical Vibrations, 5th ed. 2011, 2.2: f = sqrt(g / deflection) / 2 pi.
    """
    return sqrt(GRAVITY / (deflection / 1000)) / (2 * pi)


def decrement(heights: Sequence[float], half: bool = False) -> float:
    """Return the logarithmic decrement: by how much the logarithm of the height falls in a full swing.

    Args:
        heights: of successive bounces from where it rests, two or more, any unit.
        half: whether they are half a swing apart, below and above in turn.

    Source: Rao, Mechanical Vibrations, 5th ed. 2011, 2.6.3. Of more than two, the best straight line through the
    logarithms, each weighing as its height does (equal reading errors are relatively larger in small heights).
    """
    slope = np.polyfit(np.arange(len(heights)), np.log(heights), 1, w=np.asarray(heights, dtype=float))[0]
    return float(-slope) * (2 if half else 1)


def damping_ratio(fall: float) -> float:
    """Return the damping as a share of what just stops all swinging, from the logarithmic decrement.

    Source: Rao, Mechanical Vibrations, 5th ed. 2011, 2.6.3: d / sqrt((2 pi)^2 + d^2).
    """
    return fall / sqrt(4 * pi**2 + fall**2)


def decrement_of(ratio: float) -> float:
    """Return the logarithmic decrement of a damping ratio under 1 (Rao, Mechanical Vibrations, 5th ed. 2011, 2.6.3)."""
    return 2 * pi * ratio / sqrt(1 - ratio**2)


def _bounce(sag: Sequence[float], leverage: float | None, heights: Sequence[Number], swing: str) -> Outcome:
    if len(heights) < 2:
        raise BadInput(
            "heights: two or more are needed; where no second bounce can be seen, there is nothing to reckon and the "
            "damping is above 0.5",
            "heights",
        )

    def make(**moved: float) -> dict[str, float]:
        # A small height that is moved by its uncertainty may be none at all: then it is less than anyone can read.
        fall = decrement([max(height, UNSEEN) for height in moved.values()], swing == "half")
        return {"decrement": fall, "damping-ratio": damping_ratio(fall), "overshoot": exp(-fall / 2) * 100}

    values, errors = doubted(
        make,
        {f"height {n}": height.value for n, height in enumerate(heights)},
        {f"height {n}": height.error for n, height in enumerate(heights)},
    )
    fall, ratio = values["decrement"], values["damping-ratio"]
    if fall <= 0:
        raise BadInput(
            "heights: they do not get smaller; give them in the order of the bounces, each from where it rests",
            "heights",
        )
    values["swings-on"] = round(share_below(DAMPED[0], ratio, errors["damping-ratio"]), 3)
    values["creeps-back"] = round(1 - share_below(DAMPED[1], ratio, errors["damping-ratio"]), 3)
    says = ["Orientation only: friction, tyres and a spring that hardens all bend this; the ride decides."]
    if sag:
        mean = sum(sag) / len(sag) * (leverage or 1.0)
        if mean <= 0:
            raise BadInput("sag: nothing moved; without sag there is no frequency to reckon, so leave it out", "sag")
        values["natural-frequency"] = natural_frequency(mean)
        values["damped-frequency"] = values["natural-frequency"] * sqrt(1 - ratio**2)
        says.append(
            "The frequency is that of an even spring without preload. Preload makes it lower; the force of an air "
            "spring does not grow evenly, so its frequency is another."
        )
    verdict = Verdict(
        value="damping-ratio",
        limits=DAMPED,
        says=(
            "It swings on: rebound one or two clicks slower, nothing else, and measure again.",
            "It settles within a swing or so: leave the dials, and let the ride decide.",
            "It creeps back: rebound one or two clicks faster, nothing else, so that it does not pack down.",
        ),
        closer="Bounce it three times more and give the mean heights.",
    )

    def picture(width: int, height: int) -> list[str]:
        every = 0.5 if swing == "half" else 1.0
        at = np.arange(len(heights)) * every
        along = np.linspace(0, max(2.0, float(at[-1])), 200)
        wave = heights[0].value * np.exp(-fall * along) * np.cos(2 * pi * along)
        side = np.where(np.arange(len(heights)) % 2, -1, 1) if swing == "half" else 1
        return curves(
            {"as reckoned": (along, wave)},
            width,
            height,
            "swings",
            "height, mm",
            {"as read": (at, np.array([height.value for height in heights]) * side)},
        )

    return Outcome(values=values, errors=errors, verdicts=(verdict,), says=says, picture=picture)


BOUNCE = Tool(
    name="bounce",
    title="Frequency and damping from bounces",
    about="Beside the bike, or rider on it as for sag: press once, let go, and film it against a rule. Read how far it "
    "goes past its rest, bounce after bounce, until nothing can be seen. Compression open; note the rebound click.",
    fields=(
        Field(
            name="heights",
            ask="How far from rest were the bounces, one after the other?",
            kind="numbers",
            unit="mm",
            least=0.5,
            most=300,
            error=2,
            with_error=True,
        ),
        Field(name="swing", ask="Which bounces did you read?", kind="choice", choices=SWINGS, usual="full"),
        replace(SAG, needed=False),
        replace(LEVERAGE, ask="Rear: how far does the wheel move for each mm of the shock (fork: 1)?"),
    ),
    run=_bounce,
    gives=(
        Gives(name="damping-ratio", words="damping, as a share of critical"),
        Gives(name="decrement", words="logarithmic decrement for a full swing"),
        Gives(name="overshoot", words="of a height is left half a swing on", unit="%"),
        Gives(name="natural-frequency", words="frequency from the sag, without damping", unit="Hz", also="per min"),
        Gives(name="damped-frequency", words="frequency with this damping", unit="Hz", also="per min"),
        Gives(name="swings-on", words="how likely it swings on", chance=True),
        Gives(name="creeps-back", words="how likely it creeps back", chance=True),
    ),
    sources=(
        "Rao, Mechanical Vibrations, 5th ed. 2011, 2.2 and 2.6 (frequency from deflection, logarithmic decrement)",
        "Setting up air-sprung suspension, mountain bike magazine, 2022 (one swing only after a kerb)",
        "JCGM 106:2012, 7.2 (how likely a value is past a limit)",
        "from memory (damping of 0.2 to 0.6 as orientation)",
    ),
    cautions=(TIPS,),
    example={"heights": "40 6 1", "swing": "full", "sag": "30", "leverage": "1"},
)
