"""Whether a bearing stays, is cleaned, or is replaced: from how it turns and how far it moves."""

from math import hypot

from symptomtree.measuring.picture import bars
from symptomtree.measuring.suspension.sag import share_below
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number

NEW_AT_MOST = 0.03
"""Millimetres. Radial play inside a new deep groove ball bearing, rounded up from ISO 5753-1:2009 for bores over 18 to
30 mm: 0.005 to 0.020 as usual (group N), 0.013 to 0.028 with more than usual (group 3); smaller bores have less."""
WORN_OUT = 0.1
"""Millimetres at the bearing (from memory: three times what a new one can have, and a knock that the hand feels)."""
MOST = 5.0
"""Millimetres past which no bearing can move in its place (from memory)."""

RUNS = {
    "smooth": "smooth and light",
    "drag": "smooth, with light even drag",
    "dry": "dry: light and whirring, or a squeak",
    "gritty": "gritty, like sand in it",
    "notchy": "notchy: it clicks from place to place",
    "seized": "very heavy, or it does not turn",
}
_GRADES = {"smooth": 0, "drag": 0, "dry": 1, "gritty": 1, "notchy": 2, "seized": 2}
PLACES = {
    "hub": "in a wheel's hub",
    "freehub": "in the freewheel body",
    "cranks": "at the cranks",
    "headset": "in the steering",
    "linkage": "in the rear suspension's linkage",
    "pedal": "in a pedal",
    "jockey": "in a guide wheel of the rear mech",
}
_FIRST = {
    "hub": "Close the axle as for riding and feel at the hub: play that goes when the axle is closed right was not the "
    "bearing's. Open cup-and-cone bearings are adjusted, not replaced for play.",
    "freehub": "A little play of the freewheel body is normal in some hubs; the hub maker's manual says how much.",
    "cranks": "Set the axle's preload as its maker says first: play at the cranks is oftener that than the bearing.",
    "headset": "Set the headset first: play there is mostly adjustment, and a notch straight ahead is dented bearings.",
    "linkage": "Feel with a finger across the joint, and check the pivot's bolt first: a loose bolt knocks the same.",
    "pedal": "Many pedals can be adjusted; see the maker's manual before the bearing is blamed.",
    "jockey": "The upper guide wheel of many mechs floats sideways by design: that is not play.",
}
_CLEAN = (
    "Clean and grease it where it sits: lift the seal from its inner edge with a fine rounded pick so that it does not "
    "bend, wash it out, let it dry, grease thinly between the balls, never packed full, and press the seal back in."
)
_TO_DO = {
    "smooth": "It runs as it should: leave it alone.",
    "drag": "Most of a small bearing's drag is its own seals: light even drag is no fault. Leave it alone.",
    "dry": f"{_CLEAN} Still dry or rough after that: replace it.",
    "gritty": f"{_CLEAN} Still gritty after that: replace it, the balls have run on grit.",
    "notchy": "Replace it: its rings are dented or rusted where the balls stand, and no cleaning brings that back.",
    "seized": "Replace it, and look at its axle or bolt and its seat: they have turned instead of the bearing.",
}


def play_from_rim(rim_play: float, spacing: float, radius: float) -> float:
    """Return the radial play of each of a hub's two bearings from how far the rim rocks sideways.

    Geometry: with play c in both, the hub tilts by c / spacing to either side, so the rim moves by 2 c radius / spacing
    from end to end.

    Args:
        rim_play: from end to end, in mm.
        spacing: from the middle of one bearing to that of the other, in mm.
        radius: of the spot where the rim was read, in mm.
    """
    return rim_play * spacing / (2 * radius)


def _bearing_feel(
    bearing_of: str,
    bearing_runs: str,
    bearing_play: Number | None,
    rim_play: Number | None,
    bearing_spacing: Number | None,
    rim_radius: Number,
) -> Outcome:
    grade = _GRADES[bearing_runs]
    says = [_TO_DO[bearing_runs]]
    if bearing_play is not None:
        play, doubt = bearing_play.value, bearing_play.error
    elif rim_play is not None:
        play, doubt = _from_rim(rim_play, bearing_spacing, rim_radius)
    else:
        return Outcome(values={"bearing-grade": grade}, says=(*says, _FIRST[bearing_of]))
    if grade == 0 and play >= NEW_AT_MOST:
        says = ["It turns as it should, so its play alone is in question."]
    if grade == 1 and play >= WORN_OUT:
        says = ["Cleaning takes no play away: once the play is known to be the bearing's own, replace it."]
    says += [_FIRST[bearing_of], "The worse of the two, turning and play, decides."]
    if rim_play is not None and bearing_spacing is not None:
        new = NEW_AT_MOST * 2 * rim_radius.value / bearing_spacing.value
        says.append(f"At this rim new bearings may rock by up to {new:.1f} mm, where nothing presses them together.")
    return Outcome(
        values={
            "bearing-grade": max(grade, 2 if play >= WORN_OUT else 0),
            "play-in-bearing": play,
            "has-play": round(1 - share_below(NEW_AT_MOST, play, doubt), 3),
        },
        errors={"play-in-bearing": doubt},
        verdicts=(
            Verdict(
                value="play-in-bearing",
                limits=(NEW_AT_MOST, WORN_OUT),
                says=(
                    "No more play than a new bearing has inside.",
                    "More play than a new one has: it wears. Watch it, and replace it when it knocks or creaks.",
                    "Play of a worn-out bearing: once adjustment and seat are ruled out, replace it.",
                ),
                closer="Measure it with a dial gauge at the bearing itself, three times.",
            ),
        ),
        says=says,
        picture=lambda width, _: bars(
            {"play here": play, "new, at most": NEW_AT_MOST, "replace from": WORN_OUT}, width, unit=" mm"
        ),
    )


def _from_rim(rim_play: Number, spacing: Number | None, radius: Number) -> tuple[float, float]:
    """Return the bearings' play and its standard uncertainty: shares of a product add in quadrature."""
    if spacing is None:
        raise BadInput(
            "bearing-spacing is missing: the rim's play tells the bearing's only with the distance between the two",
            "bearing-spacing",
        )
    each = rim_play.error * spacing.value, rim_play.value * spacing.error
    play = play_from_rim(rim_play.value, spacing.value, radius.value)
    if play > MOST:
        raise BadInput(
            f"rim-play: {rim_play.value:g} mm would be {play:.0f} mm in each bearing, which no bearing has; see that "
            "the axle is closed, and look at the three lengths again",
            "rim-play",
        )
    return play, hypot(*each, play * 2 * radius.error) / (2 * radius.value)


BEARING_FEEL = Tool(
    name="bearing-feel",
    title="Whether a bearing stays: how it turns and how far it moves",
    about="With the load off and chain, belt or brake out of the way, turn the inner ring slowly with a finger. Then "
    "push and pull, and measure the play at the bearing, or from end to end at the rim of a wheel.",
    fields=(
        Field(name="bearing-of", ask="Where is the bearing?", kind="choice", choices=PLACES, usual="hub"),
        Field(name="bearing-runs", ask="How does it turn by hand?", kind="choice", choices=RUNS),
        Field(
            name="bearing-play",
            ask="How far does it move from end to end, at the bearing?",
            unit="mm",
            least=0,
            most=MOST,
            error=0.01,
            needed=False,
            with_error=True,
        ),
        Field(
            name="rim-play",
            ask="Wheel: how far does the rim rock from end to end?",
            unit="mm",
            least=0,
            most=50,
            error=0.2,
            needed=False,
            with_error=True,
        ),
        Field(
            name="bearing-spacing",
            ask="Wheel: how far apart are its two bearings, middle to middle?",
            unit="mm",
            least=15,
            most=200,
            error=2,
            needed=False,
            with_error=True,
            lasting=True,
        ),
        Field(
            name="rim-radius",
            ask="Wheel: how far from the axle is the spot that was read?",
            unit="mm",
            least=80,
            most=400,
            error=5,
            usual="300 mm",
            with_error=True,
        ),
    ),
    run=_bearing_feel,
    gives=(
        Gives(name="bearing-grade", words="0 it stays, 1 clean and grease it, 2 replace it"),
        Gives(name="play-in-bearing", words="radial play of the bearing", unit="mm", also="in"),
        Gives(name="has-play", words="how likely it has more play than a new one", chance=True),
    ),
    sources=(
        "ISO 5753-1:2009, Rolling bearings - Internal clearance - Radial bearings (play of a new bearing)",
        "common practice (drag of seals; seal lifted from its inner edge; thin grease; what is used again stays in)",
        "from memory (0.1 mm as the play of a worn-out bearing)",
    ),
    cautions=(
        "A bearing that is to be used again is not pressed out: pressing it through its balls harms it.",
        "Glasses on when it is washed or blown out; never spin a bearing with air. Keep solvent and grease off brakes.",
    ),
    example={"bearing-of": "hub", "bearing-runs": "gritty", "rim-play": "2 mm", "bearing-spacing": "60 mm"},
)
