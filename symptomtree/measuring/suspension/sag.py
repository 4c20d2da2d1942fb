"""Sag from repeated readings, and what every suspension tool asks first: which end, how far it can move, its sag."""

from collections.abc import Callable, Mapping, Sequence
from statistics import NormalDist

from symptomtree.measuring.picture import bars
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict, spread_of

GRAVITY = 9.80665
"""m/s2, standard (SI Brochure, 9th ed. 2019)."""
ENDS = {"front": "fork", "rear": "rear shock"}
RANGE = {"front": (17.0, 23.0), "rear": (25.0, 30.0)}
"""Percent. Common practice: about 20 at the fork, 25 to 30 at the rear. The three points either way at the fork are
from memory; Setting up air-sprung suspension (mountain bike magazine, 2022) has 18 to 20 for it. This is what to aim
at; as the cause of a fault the knowledge takes sag only when it is further off."""
ROOM = 2.5
"""Percent either way of a target that someone names (from memory: about what readings can tell apart)."""
REPEATS = 0.015
"""Standard deviation of one reading of sag, as a share of the stroke, where too few were taken to tell (from memory).
"""

END = Field(name="end", ask="Which end?", kind="choice", choices=ENDS, usual="front")
TRAVEL = Field(name="travel", ask="How far can the wheel move?", unit="mm", least=20, most=300, error=1, needed=False)
STROKE = Field(
    name="stroke",
    ask="Rear: how far can the shock itself move?",
    unit="mm",
    least=10,
    most=120,
    error=0.5,
    needed=False,
    lasting=True,
)
LEVERAGE = Field(
    name="leverage",
    ask="Rear: how far does the wheel move for each mm of the shock?",
    least=0.8,
    most=5,
    error=0.05,
    needed=False,
    lasting=True,
)
SAG = Field(
    name="sag",
    ask="How far is the ring from the seal, on the fork's tube or the shock's, in three readings?",
    kind="numbers",
    unit="mm",
    least=0,
    most=200,
    error=1,
)
TARGET = Field(
    name="sag-target",
    ask="What sag is wanted (the bike maker's figure; else about 20 front, 25 to 30 rear)?",
    unit="%",
    least=5,
    most=45,
    needed=False,
)
HOW = (
    "Rider in riding kit with everything carried, dials and lockout open, level ground, someone to steady the bike. "
    "Fork: stand on the pedals as you ride; rear: sit on the saddle. No bouncing, no braking. Slide the ring to the "
    "seal, get off gently, and read. Three times."
)
TIPS = "The bike can roll or tip while sag is measured: level ground, and someone who steadies it."


def leverage_of(travel: float, stroke: float) -> float:
    """Return how far the wheel moves for each mm of the shock, on average over the travel.

    Args:
        travel: of the wheel, in mm.
        stroke: of the shock, in mm.

    Source: Garage files: leverage ratios (mountain bike magazine, 2018).
    """
    return travel / stroke


def moves(end: str, travel: float | None, stroke: float | None, leverage: float | None) -> tuple[float, float | None]:
    """Return how far the spring itself can move, in mm, and the wheel's leverage on it (1 at a fork), where known.

    Raises:
        BadInput: too little is known, or the three do not fit one another.
    """
    if end == "front":
        if travel is None:
            raise BadInput("travel is missing: how far can the fork move, in mm?", "travel")
        return travel, 1.0
    if stroke is None and travel and leverage:
        return travel / leverage, leverage
    if stroke is None:
        raise BadInput("stroke is missing: give the shock's stroke, or the wheel's travel and the leverage", "stroke")
    if travel and leverage and not 0.9 < travel / (stroke * leverage) < 1.1:
        raise BadInput(
            f"travel {travel:g} mm is not stroke {stroke:g} mm times leverage {leverage:g}, which makes "
            f"{stroke * leverage:.0f} mm; look at these three again",
            "travel",
        )
    if travel:
        return stroke, leverage_of(travel, stroke)
    return stroke, leverage


def mean_sag(readings: Sequence[float], stroke: float) -> tuple[float, float]:
    """Return the mean of the readings and what their scatter makes uncertain of it, both in mm.

    Raises:
        BadInput: there is none, or one that cannot be.
    """
    if not readings:
        raise BadInput("sag is missing: give the readings in mm, best three", "sag")
    if max(readings) >= stroke:
        raise BadInput(
            f"sag: {max(readings):g} mm is all of the {stroke:g} mm there is; read from the seal to the ring, "
            "or the spring has lost its air",
            "sag",
        )
    mean = sum(readings) / len(readings)
    if mean <= 0:
        raise BadInput("sag: nothing moved; open lockout and dials, and see whether fork or shock moves at all", "sag")
    doubt = spread_of(readings) if len(readings) > 2 else REPEATS * stroke / len(readings) ** 0.5
    return mean, doubt


def wanted(end: str, target: float | None) -> tuple[float, float]:
    """Return the least and the greatest sag that is right, in percent."""
    return RANGE[end] if target is None else (target - ROOM, target + ROOM)


def doubted(
    make: Callable[..., Mapping[str, float]], figures: Mapping[str, float], doubts: Mapping[str, float]
) -> tuple[dict[str, float], dict[str, float]]:
    """Return what `make` makes of figures, and what their doubts leave uncertain of it, as `work` does for inputs.

    Args:
        make: takes each of the figures by name.
        figures: name -> number.
        doubts: name -> standard uncertainty of a figure that nobody typed, like one that was assumed.
    """
    values = dict(make(**figures))
    squares = dict.fromkeys(values, 0.0)
    for name, doubt in doubts.items():
        ends = []
        for change in (doubt, -doubt):
            try:
                ends.append(make(**{**figures, name: figures[name] + change}))
            except BadInput:
                ends.append(values)
        for key, value in values.items():
            squares[key] += ((ends[0].get(key, value) - ends[1].get(key, value)) / 2) ** 2
    return values, {key: square**0.5 for key, square in squares.items()}


def share_below(limit: float, number: float, error: float) -> float:
    """Return how likely something that was read as `number`, with that standard uncertainty, is below a limit.

    Source: JCGM 106:2012, 7.2, for a normal distribution.
    """
    return NormalDist(number, error).cdf(limit) if error else float(number < limit)


def _sag(
    end: str,
    travel: float | None,
    stroke: float | None,
    leverage: float | None,
    sag: Sequence[float],
    sag_target: float | None,
) -> Outcome:
    room, lever = moves(end, travel, stroke, leverage)
    mean, doubt = mean_sag(sag, room)
    low, high = wanted(end, sag_target)
    values = {"sag-percent": mean / room * 100, "sag-mean": mean}
    errors = {"sag-percent": doubt / room * 100, "sag-mean": doubt}
    if end == "rear" and lever:
        values |= {"wheel-sag": mean * lever, "leverage": lever}
        errors |= {"wheel-sag": doubt * lever}
    says = [_whence(end, sag_target)]
    if len(sag) < 3:
        says.append(
            f"{'One reading does' if len(sag) == 1 else 'Two readings do'} not show how well they repeat: take three."
        )
    else:
        values["spread"] = spread_of(sag) * len(sag) ** 0.5
        if max(sag) - min(sag) > 0.06 * room:
            says.append(
                "The readings lie far apart: sit down the same way each time. If they still do, press it down a little "
                "and let it rise, then lift it a little and let it sink. Half the difference is friction; see to that "
                "first."
            )
    if not TARGET.least < values["sag-percent"] < TARGET.most:
        says.append(
            "No spring is set so far off. See first whether it holds its air and moves freely, and whether stroke, "
            "travel and reading are of the same thing: at the rear, all on the shock and not at the wheel."
        )
    verdict = Verdict(
        value="sag-percent",
        limits=(low, high),
        says=(
            "Too little sag: a little less air, or a softer coil; nothing else until it is right.",
            "The sag is right: write down pressure and sag, and leave it.",
            "Too much sag: a little more air, or a harder coil; nothing else until it is right.",
        ),
        closer="Take three more readings, the same way, and give them all.",
    )

    def picture(width: int, height: int) -> list[str]:
        shown = {f"reading {n}": reading / room * 100 for n, reading in enumerate(sag[: max(1, height - 2)], 1)}
        return bars({**shown, "wanted from": low, "wanted to": high}, width, unit=" %")

    return Outcome(values=values, errors=errors, verdicts=(verdict,), says=says, picture=picture)


def _whence(end: str, target: float | None) -> str:
    low, high = wanted(end, target)
    if target is not None:
        return f"Wanted is {target:g} %, as you gave it, with {ROOM:g} either way."
    about = "about 20 % of the travel at the fork" if end == "front" else "25 to 30 % of the stroke at the rear"
    return f"Common practice is {about}; {low:g} to {high:g} % counts as right here. The maker's figure comes first."


SAG_TOOL = Tool(
    name="sag",
    title="Sag from several readings",
    about=HOW,
    fields=(END, TRAVEL, STROKE, LEVERAGE, SAG, TARGET),
    run=_sag,
    gives=(
        Gives(name="sag-percent", words="sag, of the travel or stroke", unit="%"),
        Gives(name="sag-mean", words="sag, mean of the readings", unit="mm", also="in"),
        Gives(name="spread", words="standard deviation of one reading", unit="mm"),
        Gives(name="wheel-sag", words="sag at the wheel", unit="mm", also="in"),
        Gives(name="leverage", words="leverage, mean over the travel"),
    ),
    sources=(
        "common practice (about 20 % at the fork, 25 to 30 % at the rear)",
        "Setting up air-sprung suspension, mountain bike magazine, 2022 (18 to 20 % at the fork, seated)",
        "Garage files: leverage ratios, mountain bike magazine, 2018 (leverage is travel by stroke)",
        "JCGM 100:2008, 4.2.3 (uncertainty of a mean)",
        "from memory (how well one reading repeats: 1.5 % of the stroke)",
    ),
    cautions=(TIPS,),
    example={"end": "front", "travel": "150 mm", "sag": "31 33 30"},
)
