"""What force a tightened bolt makes (T = K F d), as orientation: friction decides, and nobody knows it well."""

from dataclasses import dataclass
from math import pi

from symptomtree.measuring.picture import bars
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict

THREADS = {
    # name: (diameter, pitch) in mm, ISO 261:1998; coarse where no pitch is named
    "m3": (3.0, 0.5),
    "m4": (4.0, 0.7),
    "m5": (5.0, 0.8),
    "m6": (6.0, 1.0),
    "m8": (8.0, 1.25),
    "m8x1": (8.0, 1.0),
    "m9x1": (9.0, 1.0),
    "m10": (10.0, 1.5),
    "m10x1": (10.0, 1.0),
    "m12": (12.0, 1.75),
    "m12x1.5": (12.0, 1.5),
}
PROOF = {
    # property class: N/mm2, ISO 898-1:2013, table 3, for diameters up to 16 mm
    "4.6": 225.0,
    "4.8": 310.0,
    "5.8": 380.0,
    "6.8": 440.0,
    "8.8": 580.0,
    "10.9": 830.0,
    "12.9": 970.0,
    # stainless steel: stress at 0.2 % permanent strain, ISO 3506-1:2009, table 2
    "a2-50": 210.0,
    "a2-70": 450.0,
    "a4-80": 600.0,
}
SHARE = 75.0
"""Percent of the proof load that a bolt to be undone again is tightened to (Budynas and Nisbett, Shigley's Mechanical
Engineering Design, 10th ed. 2015, 8-9)."""


@dataclass(frozen=True, slots=True)
class Friction:
    """How a thread is: words, K, and how far the force may be off either way, as a share."""

    words: str
    k: float
    off: float


FRICTION = {
    # K: Bolt torque and preload, an engineering formula page (0.12, 0.15, 0.20, 0.30). How far off: NASA NSTS 08307,
    # Criteria for preloaded bolts, 1998, table of torque measured: 25 % lubricated, 35 % not lubricated.
    "waxed": Friction("waxed, or with a slippery paste", 0.12, 0.25),
    "greased": Friction("greased or oiled", 0.15, 0.25),
    "as-bought": Friction("as bought, neither cleaned nor greased", 0.20, 0.35),
    "dry": Friction("cleaned dry, or rusty", 0.30, 0.35),
}


def stress_area(diameter: float, pitch: float) -> float:
    """Return the stress area of a metric thread in mm2 (ISO 898-1:2013, 9.1.6: pi/4 (d - 0.9382 P)^2).

    Args:
        diameter, pitch: in mm.
    """
    return pi / 4 * (diameter - 0.9382 * pitch) ** 2


def clamp_force(torque: float, k: float, diameter: float) -> float:
    """Return the force in kN that a torque makes (T = K F d; Shigley, as above, 8-8).

    Args:
        torque: in N m.
        k: nut factor.
        diameter: of the thread, in mm.
    """
    return torque / (k * diameter)


def torque_for(force: float, k: float, diameter: float) -> float:
    """Return the torque in N m for a force in kN: the inverse of `clamp_force`."""
    return force * k * diameter


def _clamp_force(thread: str, strength: str, lubrication: str, torque: float) -> Outcome:
    diameter, pitch = THREADS[thread]
    friction = FRICTION[lubrication]
    proof = PROOF[strength] * stress_area(diameter, pitch) / 1000
    force = clamp_force(torque, friction.k, diameter)
    share = force / proof * 100
    if share > 400:
        raise BadInput(
            f"torque: {torque:g} Nm would tear such a bolt several times over; another unit, or another thread?",
            "torque",
        )
    spread = friction.off / 2  # the published limits hold about 95 of 100 bolts
    return Outcome(
        values={
            "clamp-force": force,
            "proof-load": proof,
            "proof-share": share,
            "torque-for-share": torque_for(proof * SHARE / 100, friction.k, diameter),
        },
        errors={"clamp-force": force * spread, "proof-share": share * spread},
        verdicts=(
            Verdict(
                value="proof-share",
                limits=(SHARE, 100.0),
                says=(
                    "The bolt itself carries that.",
                    "More than a bolt that is to be undone again is usually given.",
                    "Over the proof load: the bolt stretches for good or breaks. Less torque, or replace it if it was "
                    "tightened so far.",
                ),
                closer="Friction decides: go by the maker's torque, with the thread as the maker says.",
            ),
        ),
        says=(
            f"With the thread {friction.words} the force may be {friction.off * 100:.0f} % more or less.",
            "On a bicycle the part mostly gives way before the bolt: threads in aluminium, thin tubes, carbon. So this "
            "is no torque to tighten to, and a stronger bolt allows no more.",
            "At the same torque a greased thread squeezes a third harder than one as bought: do as the maker says.",
        ),
        picture=lambda width, _: bars(
            {
                **{f.words: clamp_force(torque, f.k, diameter) for f in FRICTION.values()},
                f"proof load of {strength}": proof,
            },
            width,
            unit=" kN",
        ),
    )


CLAMP_FORCE = Tool(
    name="clamp-force",
    title="What force a tightened bolt makes",
    about="Measure the bolt's outside diameter and pitch. The property class is printed on its head, like 8.8; A2-70 "
    "is stainless.",
    fields=(
        Field(
            name="thread",
            ask="Which thread?",
            kind="choice",
            choices={
                name: f"{name.upper()}{'' if 'x' in name else ' coarse'}, pitch {p:g} mm"
                for name, (_, p) in THREADS.items()
            },
        ),
        Field(
            name="strength",
            ask="Which property class is on its head?",
            kind="choice",
            choices={name: name.upper() for name in PROOF},
            usual="8.8",
        ),
        Field(
            name="lubrication",
            ask="How is its thread?",
            kind="choice",
            choices={name: f.words for name, f in FRICTION.items()},
            usual="greased",
        ),
        Field(
            name="torque",
            ask="To what torque is it tightened?",
            unit="Nm",
            least=0.1,
            most=200,
            error=0.2,
        ),
    ),
    run=_clamp_force,
    gives=(
        Gives(name="clamp-force", words="it squeezes with", unit="kN", also="lbf"),
        Gives(name="proof-load", words="what the bolt carries without stretching for good", unit="kN", also="lbf"),
        Gives(name="proof-share", words="of that is used", unit="%"),
        Gives(name="torque-for-share", words=f"torque for {SHARE:g} % of it", unit="Nm", also="in-lb"),
    ),
    sources=(
        "Budynas and Nisbett, Shigley's Mechanical Engineering Design, 10th ed. 2015, 8-8 and 8-9 (T = K F d, 75 %)",
        "ISO 898-1:2013, Mechanical properties of fasteners made of carbon steel and alloy steel (stress area, proof)",
        "ISO 3506-1:2009, Mechanical properties of corrosion-resistant stainless steel fasteners (0.2 % stress)",
        "Bolt torque and preload, an engineering formula page (K)",
        "NASA NSTS 08307, Criteria for preloaded bolts, 1998 (how far off; from memory)",
        "common practice (the part gives way before the bolt)",
    ),
    cautions=("Orientation only: never tighten a bicycle to a figure worked out here. The maker's torque goes first.",),
    example={"thread": "m5", "strength": "8.8", "lubrication": "greased", "torque": "5"},
)
