"""Whether shifter, mech and sprockets go together, and which click is out."""

from collections.abc import Sequence
from itertools import accumulate
from math import ceil, hypot
from statistics import median

from symptomtree.measuring.picture import table
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number

PITCHES = {
    6: (5.5, 0.02),
    7: (5.0, 0.02),
    8: (4.8, 0.02),
    9: (4.35, 0.02),
    10: (3.95, 0.05),
    11: (3.8, 0.08),
    12: (3.6, 0.05),
}
"""Sprockets -> millimetres from the middle of one to the middle of the next, and how far makers differ (Bicycle
drivetrain components, table of cable pull, ratio and pitch on a cycling page)."""
FITS, JUST = 0.5, 1.0
"""How far the guide wheel may stand off the worst sprocket, in mm: it floats about so much (from memory)."""
CLEARLY = 0.5
"""How much one click must differ from the others to be called the odd one, in mm (from memory)."""


# Formulas


def movement(cable_pull: float, ratio: float) -> float:
    """Return how far the mech moves at a click, in mm: cable pulled times the shift ratio.

    The fundamental shifting equation: the product must equal the pitch of the sprockets (Bicycles/Maintenance and
    Repair/Gear-changing Dimensions, open textbook).

    Args:
        cable_pull: at a click, in mm.
        ratio: mech's movement for each mm of cable (the reciprocal of the actuation ratio).
    """
    return cable_pull * ratio


def off_each(moves: Sequence[float], pitch: float) -> list[float]:
    """Return how far the mech stands off each sprocket in mm, set so that the worst on both sides are alike.

    Args:
        moves: the mech's movement at each click, in mm.
        pitch: from sprocket to sprocket, in mm.
    """
    off = [0.0, *accumulate(move - pitch for move in moves)]
    middle = (max(off) + min(off)) / 2
    return [x - middle for x in off]


def odd_click(moves: Sequence[float]) -> int | None:
    """Return the one click that moves clearly more or less than the others, counted from 0; None when there is none."""
    if len(moves) < 4:
        return None
    usual = median(moves)
    apart = [abs(move - usual) for move in moves]
    worst = max(range(len(moves)), key=apart.__getitem__)
    # 4.5 times the median deviation is three standard deviations of a normal scatter.
    return worst if apart[worst] > max(CLEARLY, 4.5 * median(apart)) else None


# The tool


def _index(
    speeds: float,
    sprocket_pitch: Number | None,
    cable_pull: Number | None,
    ratio: Number | None,
    moves: Sequence[float],
) -> Outcome:
    clicks = round(speeds) - 1
    if moves and len(moves) != clicks:
        raise BadInput(
            f"moves: {speeds:g} sprockets are {clicks} clicks, not {len(moves)}; give one move for each", "moves"
        )
    if not moves and (cable_pull is None or ratio is None):
        name = "cable-pull" if cable_pull is None else "ratio"
        raise BadInput(f"{name} is missing: give cable-pull and ratio, or the measured moves", name)
    if sprocket_pitch is None and speeds not in PITCHES:
        raise BadInput(
            f"sprocket-pitch is missing: no usual one is known for {speeds:g} sprockets; measure it", "sprocket-pitch"
        )
    apart, spread = (sprocket_pitch.value, sprocket_pitch.error) if sprocket_pitch else PITCHES[round(speeds)]
    each, doubt = list(moves), 0.0
    if not moves and cable_pull and ratio:
        each = [movement(cable_pull.value, ratio.value)] * clicks
        doubt = hypot(ratio.value * cable_pull.error, cable_pull.value * ratio.error)
    move = sum(each) / clicks
    off = off_each(each, apart)
    values = {"movement": move, "error": move - apart, "sum": (move - apart) * clicks, "worst": max(map(abs, off))}
    # Reckoned here and not by moving inputs: the worst is an absolute value, which has no slope where it is nothing.
    both = hypot(doubt, spread)
    errors = {"movement": doubt, "error": both, "sum": both * clicks, "worst": both * clicks / 2}
    says = []
    odd = odd_click(moves)
    if odd is not None:
        says.append(
            f"Click {odd + 1} is the odd one: {moves[odd]:.1f} mm where the others move {median(moves):.1f} mm. One "
            "shift that is out comes from the shifter, the cable or one place of the cassette (a spacer, a bent "
            "sprocket), not from parts that do not go together."
        )
    elif abs(move - apart) > both:
        says.append(_adds_up(move, apart, clicks))
    says.append(
        "What the makers name as going together comes first; cable housing and hanger are looked at before parts."
    )
    verdict = Verdict(
        value="worst",
        limits=(FITS, JUST),
        says=(
            "They go together: set the cable on a middle sprocket.",
            "They just about go together: set the cable on a middle sprocket, and expect noise at the ends.",
            "They do not go together over the whole cassette: no setting of the cable serves all sprockets.",
        ),
        closer="Measure the mech's travel over all clicks together, and fill in the moves or the pitch.",
    )
    return Outcome(
        values=values,
        errors=errors,
        verdicts=(verdict,),
        says=says,
        picture=lambda width, height: (mixed(move, speeds, width) if odd is None else clicks_drawn(moves, off, width))[
            :height
        ],
    )


def _adds_up(move: float, apart: float, clicks: int) -> str:
    each = abs(move - apart)
    half_way = ceil(apart / 2 / each)
    so = (
        f"set right on one sprocket, the guide wheel stands half way to the wrong one after {half_way} "
        f"click{'s' if half_way > 1 else ''}"
        if half_way <= clicks
        else f"from the first sprocket to the last it is {each * clicks:.1f} mm"
    )
    return f"Each click moves the mech {each:.2f} mm too {'far' if move > apart else 'little'}. It adds up: {so}."


def mixed(move: float, speeds: float, width: int) -> list[str]:
    """Show what a movement for each click, in mm, would do on cassettes of other numbers of sprockets."""
    rows = []
    for count, (pitch, _) in PITCHES.items():
        off = off_each([move] * (count - 1), pitch)
        worst = max(map(abs, off))
        word = "fits" if worst < FITS else "just about" if worst < JUST else "no"
        here = ">" if count == speeds else ""
        rows.append((here, f"{count}", f"{pitch:.2f}", f"{move - pitch:+.2f}", f"{worst:.1f}", word))
    head = ("", "sprockets", "pitch, mm", "each click, mm", "worst, mm", "")
    return [f"The mech moves {move:.2f} mm at each click; worst: set in the middle"[:width], *table(head, rows, width)]


def clicks_drawn(moves: Sequence[float], off: Sequence[float], width: int) -> list[str]:
    """Show each click's movement, and how far the mech then stands off its sprocket, in mm."""
    rows = [
        (f"{n}", f"{move:.1f}", f"{after:+.1f}") for n, (move, after) in enumerate(zip(moves, off[1:], strict=True), 1)
    ]
    return table(("click", "moves, mm", "then off by, mm"), rows, width)


INDEX = Tool(
    name="index",
    title="Shifter, mech and sprockets: do they go together?",
    about="Cable pull: mark the cable, shift over all clicks, and divide its travel by their number. Ratio: how far "
    "the mech moves sideways for that, divided by the cable's travel. Or measure how far the guide wheel moves at "
    "each click, and give those from the first click on.",
    fields=(
        Field(name="speeds", ask="How many sprockets has the cassette?", least=2, most=14, lasting=True, whole=True),
        Field(
            name="sprocket-pitch",
            ask="From the middle of one sprocket to the next (blank: the usual)?",
            unit="mm",
            least=2,
            most=8,
            error=0.03,
            needed=False,
            with_error=True,
            lasting=True,
        ),
        Field(
            name="cable-pull",
            ask="Cable pulled at each click?",
            unit="mm",
            least=0.5,
            most=8,
            error=0.03,
            needed=False,
            with_error=True,
        ),
        Field(
            name="ratio",
            ask="Mech's movement for each mm of cable?",
            least=0.5,
            most=4,
            error=0.01,
            needed=False,
            with_error=True,
        ),
        Field(
            name="moves",
            ask="Measured movement of the mech at each click?",
            kind="numbers",
            unit="mm",
            least=0,
            most=12,
            error=0.2,
            needed=False,
        ),
    ),
    run=_index,
    gives=(
        Gives(name="movement", words="the mech moves, at each click", unit="mm"),
        Gives(name="error", words="more (less: -) than from sprocket to sprocket, by", unit="mm"),
        Gives(name="sum", words="added up over the cassette", unit="mm"),
        Gives(name="worst", words="off the worst sprocket, set as well as can be", unit="mm"),
    ),
    sources=(
        "Bicycles/Maintenance and Repair/Gear-changing Dimensions, open textbook (the shifting equation)",
        "Bicycle drivetrain components, table of cable pull, ratio and pitch on a cycling page (pitches)",
        "from memory (how far off still shifts: 0.5 mm well, 1 mm just about)",
    ),
    example={"speeds": "9", "cable-pull": "2.3 mm", "ratio": "1.72"},
)
