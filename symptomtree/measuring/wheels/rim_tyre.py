"""Whether a tyre goes with a rim."""

from symptomtree.measuring.tool import Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.wheels.tyres import HOOKLESS, OVERLAP, RIM_HOOKS, TYRE_WIDTH, both

RATIO = (1.45, 2.0)
"""Tyre width by the inner width of the rim, the usual guideline (Tire sizing systems, cycling reference site)."""
FAR = (1.15, 3.3)
"""Past these no table pairs them (from memory of the ETRTO tables up to 2019, 62 mm on 19 mm the widest; and that a
tyre as narrow as the rim can come off)."""
BEADS = {
    203: "12 1/2 in",
    305: "16 in, decimal",
    349: "16 x 1 1/4 in",
    355: "18 in",
    406: "20 in, decimal",
    451: "20 x 1 1/8 and 1 3/8 in",
    457: "22 in, decimal",
    490: "22 in and 550A",
    501: "22 in",
    507: "24 in, decimal",
    540: "24 x 1 3/8 in",
    559: "26 in, decimal",
    571: "650C",
    584: "27.5 in and 650B",
    590: "26 x 1 3/8 in",
    622: "28 in, 29 in and 700C",
    630: "27 in",
    635: "28 x 1 1/2 in",
}
"""Bead seat diameter in mm -> what is sold under it (Understanding tyre sizes, a shop's help page)."""

NAME = 700
"""What stands on many tyres and is no diameter of theirs."""


def _rim_tyre(
    tyre_width: float, rim_width: float, rim_hooks: str, tyre_bead: float | None, rim_bead: float | None
) -> Outcome:
    values = {
        "width-ratio": tyre_width / rim_width,
        "overlap": tyre_width - rim_width,
        "tyre-least": rim_width * RATIO[0],
        "tyre-most": rim_width * RATIO[1],
    }
    if rim_hooks != "hooked":
        values["tyre-least"] = max(values["tyre-least"], rim_width + OVERLAP)
    beads = {"tyre": tyre_bead, "rim": rim_bead}
    names = [f"{whose} {bead:g} mm: {sold_as(bead)}." for whose, bead in beads.items() if bead is not None]
    if tyre_bead is not None and rim_bead is not None and tyre_bead != rim_bead:
        return Outcome(
            values=values,
            says=(
                f"They do not fit: the tyre is made for {tyre_bead:g} mm, the rim has {rim_bead:g} mm. Never force or "
                "try it; widths do not matter then.",
                *(name[0].upper() + name[1:] for name in names),
            ),
        )
    verdicts = [_RATIO, *([_OVERLAP] if rim_hooks != "hooked" else [])]
    says = [
        *(name[0].upper() + name[1:] for name in names),
        "The makers' own lists for tyre and rim come first, and may be narrower than any table; look too that frame, "
        "fork and brakes leave the tyre room.",
    ]
    if tyre_bead is None or rim_bead is None:
        says.append(
            "The second number of the size (as in 28-622) must be the same on tyre and rim: compare it before you buy."
        )
    if rim_hooks == "not-known":
        says.append("Whether the rim has hooks was not known, so the stricter rule was taken: look, or ask its maker.")
    return Outcome(values=values, verdicts=verdicts, says=says)


def sold_as(bead: float) -> str:
    """Return what a bead seat diameter in mm is sold as, or that it is no common one."""
    near = min(BEADS, key=lambda one: abs(one - bead))
    if bead == near:
        return f"sold as {BEADS[near]}"
    if bead == NAME:
        return "no bead diameter but a name: 700C is 622 mm, 700B 635 mm, so read it again"
    return f"no size that is common; the nearest is {near} mm ({BEADS[near]}), so read it again"


_RATIO = Verdict(
    value="width-ratio",
    limits=(FAR[0], *RATIO, FAR[1]),
    says=(
        "It does not go: so narrow a tyre can come off so wide a rim.",
        "Narrower than the usual guideline: only if both makers allow it, and never by guess.",
        "It goes by the usual guideline, 1.45 to 2 times the rim's inner width.",
        "Wider than the usual guideline: many makers allow up to about three times; less firm in bends at low "
        "pressure.",
        "It does not go: so wide a tyre rolls over so narrow a rim.",
    ),
    closer="Measure the rim's inside with a caliper, or read its size in its maker's list.",
)
_OVERLAP = Verdict(
    value="overlap",
    limits=(OVERLAP,),
    says=(
        f"Without hooks the tyre should be at least {OVERLAP:g} mm wider than the rim's inside: it is not, do not "
        "ride it.",
        f"Without hooks at least {OVERLAP:g} mm wider than the rim's inside: it is. The tyre's maker must allow such "
        f"rims, and never more than {both(HOOKLESS)} goes in, nor than either maker allows.",
    ),
    closer="Without hooks do not ride it before the makers say that it may.",
)


def bead_field(whose: str) -> Field:
    """Return the field of a bead seat diameter."""
    return Field(
        name=f"{whose}-bead",
        ask=f"What bead diameter has the {whose} (the second number, as in 28-622)?",
        unit="mm",
        least=100,
        most=800,
        needed=False,
        lasting=True,
    )


RIM_TYRE = Tool(
    name="rim-tyre",
    title="Does this tyre go on this rim?",
    about="Tyres are marked width-diameter, as 28-622, rims inner width x diameter, as 622x19C. Measure the rim "
    "between its edges where nothing is printed.",
    fields=(
        TYRE_WIDTH,
        Field(
            name="rim-width",
            ask="How wide is the rim inside, between its edges?",
            unit="mm",
            least=10,
            most=100,
            error=0.3,
            lasting=True,
        ),
        RIM_HOOKS,
        bead_field("tyre"),
        bead_field("rim"),
    ),
    run=_rim_tyre,
    gives=(
        Gives(name="width-ratio", words="tyre width by the rim's inner width"),
        Gives(name="overlap", words="tyre wider than the rim's inside by", unit="mm", also="in"),
        Gives(name="tyre-least", words="narrowest tyre by the guideline", unit="mm", also="in"),
        Gives(name="tyre-most", words="widest tyre by the guideline", unit="mm", also="in"),
    ),
    sources=(
        "Brown, Tire sizing systems, cycling reference site (1.45 to 2 times the inner width; bead diameters must "
        "match)",
        "Industry divided over new tyre rim-size regulations, cycling magazine, 15 June 2023 (ETRTO: 5 mm wider than "
        "the inside of a rim without hooks; a wheel maker has 4 mm)",
        "Tyre maker's page on tubeless road tyres (ETRTO: 5 bar at most on rims without hooks)",
        "Understanding tyre sizes, a shop's help page (bead seat diameters of ISO 5775)",
        "from memory (limits past the guideline, as in the ETRTO tables up to 2019)",
    ),
    cautions=("A tyre that does not fit its rim comes off or bursts at speed: in doubt, a qualified workshop.",),
    example={
        "tyre-width": "32 mm",
        "rim-width": "19 mm",
        "rim-hooks": "hooked",
        "tyre-bead": "622",
        "rim-bead": "622",
    },
)
