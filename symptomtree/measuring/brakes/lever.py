"""Where in the lever's travel the brake bites."""

from collections.abc import Sequence
from math import hypot

from symptomtree.measuring.picture import bars
from symptomtree.measuring.tool import BadInput, Chance, Field, Gives, Outcome, Tool, Verdict, spread_of

BRAKES = {
    "hydraulic-disc": "hydraulic disc brake",
    "cable-disc": "disc brake on a cable",
    "rim": "rim brake on a cable",
    "hydraulic-rim": "hydraulic rim brake",
    "drum": "drum brake",
}
HALFWAY = 50.0
"""Percent of its way to the bar by which a lever should have the brake on (Check the brakes, excerpt of a riders'
handbook)."""
CLEAR = 12.7
"""mm that a lever squeezed as hard as one can should stay off the grip: half an inch, so that no finger is caught
(Front brake check, a motorcycle club's advice)."""
TOUCHES = 3.0
"""mm from the grip at which a lever is taken as touching it (from memory: what grips and hands give)."""
PUMPS = 5.0
"""Percent of its way by which pumping moves the bite before it tells anything (from memory)."""
STOP = "A lever that reaches the bar, a crack, a fluid leak or a frayed cable: do not ride it; have the brake seen to."


# Formulas


def bite_share(rest: float, bite: float) -> float:
    """Return how far a lever has gone when the brake bites, in percent of its way to the bar.

    Args:
        rest: from lever to bar, let go, in mm.
        bite: the same when the brake bites, in mm.
    """
    return (rest - bite) / rest * 100


# The tool


def _lever_travel(
    brake_type: str, rest: float, bite: Sequence[float], held: Sequence[float], pumped: Sequence[float]
) -> Outcome:
    for name, gaps in (("bite", bite), ("held", held), ("pumped", pumped)):
        if gaps and max(gaps) > rest:
            raise BadInput(
                f"{name}: {max(gaps):g} mm is further from the bar than the lever let go ({rest:g} mm); measure all "
                "at the same place of the lever",
                name,
            )
    bites = _mean(bite)
    values = {"bite-share": bite_share(rest, bites), "bite-gap": bites}
    errors = {"bite-share": spread_of(bite) / rest * 100, "bite-gap": spread_of(bite)}
    verdicts, chances, says = [_bite_verdict(brake_type)], [], []
    if held:
        values["held-gap"] = min(held)
        verdicts.insert(0, _HELD)
        chances.append(Chance(name="no-finger", of="held-gap", high=CLEAR))
        if min(held) > bites + 2:
            raise BadInput(
                "held: the lever cannot be further from the bar when squeezed hard than when it bites; were the two "
                "swapped?",
                "held",
            )
    else:
        says.append("Also squeeze it as hard as you can and measure what is left to the bar (held).")
    if pumped:
        values["pump-gain"] = bite_share(rest, bites) - bite_share(rest, _mean(pumped))
        errors["pump-gain"] = hypot(spread_of(bite), spread_of(pumped)) / rest * 100
        verdicts.append(_pump_verdict(brake_type))
        chances.append(Chance(name="pumps-up", of="pump-gain", low=PUMPS))
    if len(bite) > 2 and max(bite) - min(bite) > 0.1 * rest:
        says.append(
            "The bite wanders from pull to pull: a disc that sways and pushes the pads back, air, or a cable that "
            "catches. Spin the wheel between pulls and see whether it bites later then."
        )

    def picture(width: int, height: int) -> list[str]:
        rows = {f"bites {n}": bite_share(rest, gap) for n, gap in enumerate(bite[: max(1, height - 4)], 1)}
        if pumped:
            rows["pumped"] = bite_share(rest, _mean(pumped))
        if held:
            rows["held hard"] = bite_share(rest, min(held))
        return bars({**rows, "halfway": HALFWAY, "at the bar": 100}, width, 100, " %")

    return Outcome(values=values, errors=errors, verdicts=verdicts, chances=chances, says=says, picture=picture)


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers)


_HELD = Verdict(
    value="held-gap",
    limits=(TOUCHES, CLEAR),
    says=(
        "The lever reaches the bar, or as good as: do not ride it. Find the cause first, and have a qualified workshop "
        "look if it is not found.",
        "Less than a finger's breadth (12.7 mm, half an inch) is left when it is held hard: see to it before the next "
        "ride, as wear, heat or a wet day may take the rest.",
        "Held hard, it stays a finger's breadth (12.7 mm, half an inch) or more off the bar.",
    ),
    closer="Measure at the lever's end, squeezing with the whole hand, three times, and take the least.",
)


def _bite_verdict(brake_type: str) -> Verdict:
    why = {
        "hydraulic-disc": "worn pads, pistons that draw back too far, air, or a bent disc",
        "cable-disc": "a stretched or slack cable, worn pads, or the fixed pad too far from the disc",
        "rim": "a slack cable, worn blocks, arms too far open, or an open quick release",
        "hydraulic-rim": "worn blocks, or air",
        "drum": "a slack cable or worn linings",
    }[brake_type]
    return Verdict(
        value="bite-share",
        limits=(HALFWAY,),
        says=(
            "It bites in the first half of the lever's way, as is usual.",
            f"Long lever: it bites past halfway to the bar. Likely {why}. If the lever's reach was turned in, less of "
            "its way is left: set that first.",
        ),
        closer="Measure three more times, at the lever's end.",
    )


def _pump_verdict(brake_type: str) -> Verdict:
    better = (
        "Pumped, it bites earlier: air in the system, pads that do not come forward after wear, or a disc that pushes "
        "them back. Spin the wheel and pull again: late once more means the disc; then bleed as the maker says."
        if brake_type.startswith("hydraulic")
        else "Pumped, it bites earlier, which a cable alone does not do: look for a housing that settles in its seats, "
        "a clamp that slips, or a wheel loose in its bearings."
    )
    return Verdict(
        value="pump-gain",
        limits=(-PUMPS, PUMPS),
        says=(
            "Pumped, it bites later: fluid is lost past a seal, or something slips. Do not ride it until that is "
            "found.",
            "Pumping changes nothing worth naming: rather wear, a slack cable or the reach than air.",
            better,
        ),
        closer="Let it rest a minute, pump ten times fast, and measure again.",
    )


LEVER_TRAVEL = Tool(
    name="lever-travel",
    title="How far the lever goes before the brake bites",
    about="Bike standing, wheel in. Measure from the lever to the bar at the same place every time, best where the "
    "finger pulls: let go, then when the brake begins to bite (three times, the wheel turned a little between), "
    "then squeezed as hard as you can, then at the bite after ten fast pulls.",
    fields=(
        Field(
            name="brake-type",
            ask="What kind of brake is it?",
            kind="choice",
            choices=BRAKES,
            usual="hydraulic-disc",
        ),
        Field(name="rest", ask="How far is the lever from the bar, let go?", unit="mm", least=15, most=150, error=0.7),
        Field(
            name="bite",
            ask="How far when the brake bites, in three readings?",
            kind="numbers",
            unit="mm",
            least=0,
            most=150,
            error=0.7,
        ),
        Field(
            name="held",
            ask="How far when squeezed as hard as you can?",
            kind="numbers",
            unit="mm",
            least=0,
            most=150,
            error=0.7,
            needed=False,
        ),
        Field(
            name="pumped",
            ask="How far when it bites after ten fast pulls?",
            kind="numbers",
            unit="mm",
            least=0,
            most=150,
            error=0.7,
            needed=False,
        ),
    ),
    run=_lever_travel,
    gives=(
        Gives(name="bite-share", words="bites after, of its way to the bar", unit="%"),
        Gives(name="bite-gap", words="from the bar when it bites", unit="mm", also="in"),
        Gives(name="held-gap", words="from the bar when held hard", unit="mm", also="in"),
        Gives(name="pump-gain", words="bites earlier when pumped, of its way", unit="%"),
        Gives(name="no-finger", words="how likely no finger fits between it and the bar", chance=True),
        Gives(name="pumps-up", words="how likely it pumps up", chance=True),
    ),
    sources=(
        "Check the brakes, excerpt of a riders' handbook on the web (not more than halfway to the bar)",
        "Front brake check, a motorcycle club's advice (half an inch left when squeezed hard)",
        "JCGM 100:2008, 4.2.3 (uncertainty of a mean)",
        "from memory (3 mm counts as touching; 5 % for pumping; a reading of a gap is good to 0.7 mm)",
    ),
    cautions=(STOP,),
    example={"brake-type": "hydraulic-disc", "rest": "62 mm", "bite": "36 35 37", "held": "24", "pumped": "41 42"},
)
