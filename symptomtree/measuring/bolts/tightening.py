"""Bolts in numbers: how tight, with which wrench, and what force that makes."""

from collections.abc import Sequence
from math import sqrt

from symptomtree.measuring.bolts.torque_table import (
    ARTICLE,
    CARGO,
    ELECTRIC,
    FOLDING,
    FRONT_NUTS,
    HUB_GEAR,
    LEVERS,
    MAKERS,
    MEMORY,
    PARTS,
    PEDALS,
    REAR_NUTS,
    SEAT,
    SHOP,
    Part,
)
from symptomtree.measuring.picture import spans
from symptomtree.measuring.tool import BadInput, Chance, Field, Gives, Outcome, Tool, Verdict, said
from symptomtree.measuring.units import Number

LEAST_SHARE = 20.0
"""Percent of a wrench's most from which on it is tested: at 20, 60 and 100 % (ISO 6789:2003 and ISO 6789-1:2017)."""
USELESS = 10.0
"""Percent under which nothing can be set or read (common practice)."""
ALONE = 0.1
"""How far a figure that stands alone may be missed, as a share (from memory): either way, on carbon only downwards."""

_ALUMINIUM = (
    "Aluminium strips: start it by hand, thread clean, a steel bolt at least one and a half times its diameter deep, "
    "and an aluminium bolt at the lower figures only. A thread that gives is work for a qualified workshop."
)
"""Common practice."""
SLACK = 0.5
"""A bolt that turns further at less than this share of its least is slack: a key turns it easily (from memory)."""


def wrench_deviation(torque: float) -> float:
    """Return how far a torque wrench in order may be off, in N m.

    6 % up to 10 N m, 4 % above, for a wrench that clicks with a scale (ISO 6789:2003, type II class A).
    """
    return torque * (0.06 if torque <= 10 else 0.04)


def _wanted(part: Part, named: Sequence[float], carbon: bool) -> tuple[float, float]:
    """Return the range to go by: the maker's where it is known, else the first that was published, or all in one
    where kinds differ: by the first, one kind would be broken."""
    if len(named) > 2:
        raise BadInput("torque-named: type the maker's figure, or its least and its most", "torque-named")
    if not named and _kinds_differ(part):
        return _published(part)
    least, most = (min(named), max(named)) if named else (part.ranges[0].least, part.ranges[0].most)
    if least < most:
        return least, most
    return least * (1 - ALONE), most if carbon else most * (1 + ALONE)


def _published(part: Part) -> tuple[float, float]:
    return min(r.least for r in part.ranges), max(r.most for r in part.ranges)


def _kinds_differ(part: Part) -> bool:
    """Return whether published ranges have nothing in common; a figure that stands alone reaches a little both ways."""
    wide = [
        (r.least, r.most) if r.least < r.most else (r.least * (1 - ALONE), r.most * (1 + ALONE)) for r in part.ranges
    ]
    return max(least for least, _ in wide) > min(most for _, most in wide)


def _torque(
    bolt: str,
    torque_named: tuple[float, ...],
    clamped: str,
    wrench_least: float | None,
    wrench_most: float | None,
    torque: Number | None,
) -> Outcome:
    part = PARTS[bolt]
    if wrench_least is not None and wrench_most is not None and wrench_least >= wrench_most:
        raise BadInput("wrench-least: it is not less than the most; look at both ends of the scale", "wrench-least")
    carbon = clamped == "carbon"
    least, most = _wanted(part, torque_named, carbon)
    squeezed = carbon and part.clamps
    known = bool(torque_named) or not _kinds_differ(part)
    target = least if squeezed else (least + most) / 2
    values = {"torque-least": least, "torque-most": most}
    if known:
        values["torque-to-set"] = target
    to = said(target, 0, "Nm") if known else "the maker's figure"
    errors = {}
    verdicts, chances = [], []
    if torque is not None:
        values["torque-was"] = torque.value
        errors["torque-was"] = torque.error or wrench_deviation(torque.value) / sqrt(3)
        chances.append(Chance(name="slack", of="torque-was", high=SLACK * least))
        verdicts.append(
            Verdict(
                value="torque-was",
                limits=(least, most),
                says=(
                    f"Too loose: under {said(least, 0, 'Nm')}. Undo it and tighten it to {to}.",
                    "Within the range." if known else "Right for some kinds, and wrong for others.",
                    "Too tight, or at its very end. Undo it, look at bolt, thread and part for stretch, cracks and "
                    f"crushing, and tighten it to {to}.",
                ),
                closer=f"Undo it and tighten it again, with the wrench set to {to}.",
            )
        )
    if known and wrench_most is not None:
        values["wrench-share"] = target / wrench_most * 100
        verdicts.append(_suits(target))
    says = _says(part, torque_named, squeezed)
    if clamped == "aluminium":
        says.append(_ALUMINIUM)
    if known and wrench_least is not None and target < wrench_least:
        says.append(f"The wrench begins at {said(wrench_least, 0, 'Nm')}, above what is wanted: take a smaller one.")
    return Outcome(
        values=values,
        errors=errors,
        verdicts=verdicts,
        chances=chances,
        says=says,
        cautions=_cautions(part, torque_named, carbon, least, most),
        picture=lambda width, _: _picture(part, torque_named, wrench_least, wrench_most, torque, width),
    )


def _cautions(part: Part, named: Sequence[float], carbon: bool, least: float, most: float) -> list[str]:
    cautions = []
    low, high = _published(part)
    if named and (most < 0.6 * low or least > 1.6 * high):
        cautions.append(
            f"The figure that was typed is far from what such a bolt takes elsewhere ({low:g} to {high:g} Nm): read it "
            "and its unit again before you tighten."
        )
    if carbon:
        cautions.append(
            "Carbon: look for cracks, crushed spots and whitened lacquer first, and do not ride it if there are any."
        )
    return cautions


def _suits(target: float) -> Verdict:
    """Return what the share of a wrench's scale means."""
    return Verdict(
        value="wrench-share",
        limits=(USELESS, LEAST_SHARE, 100.5),
        says=(
            "Not with this wrench: in the lowest tenth of its scale it tells nothing. Take a smaller one.",
            "Better not with this wrench: it is tested only from a fifth of its most upwards. Take a smaller one.",
            f"The wrench suits; one in order is within {said(wrench_deviation(target), 0, 'Nm')} there. Set it back "
            "to its least afterwards.",
            "Not with this wrench: that is more than it can do. Take a larger one.",
        ),
        closer="Take a wrench with this torque in the middle of its scale.",
    )


def _says(part: Part, named: Sequence[float], squeezed: bool) -> list[str]:
    says = []
    if named:
        says.append("The maker's figure goes before any table. Where it says 'max', stay under it.")
    else:
        says.append("No maker's figure was given: look on the part and in its manual first. This is a stopgap.")
    for r in part.ranges:
        figure = f"{r.least:g}" if r.least == r.most else f"{r.least:g} to {r.most:g}"
        says.append(f"{figure} Nm{f' ({r.of})' if r.of else ''}: {r.source}.")
    if _kinds_differ(part):
        says.append("These lie apart, so kinds differ: only the maker's figure can decide.")
    if squeezed:
        says.append(
            "On carbon: the least that holds, with assembly paste and no grease, in steps. If it still slips there, "
            "the fit is wrong; do not go above the figure."
        )
    if part.mind:
        says.append(part.mind)
    says.append(f"Usual thread: {part.thread}. Thread and under the head as the maker says: grease makes it tighter.")
    return says


def _picture(
    part: Part,
    named: Sequence[float],
    wrench_least: float | None,
    wrench_most: float | None,
    torque: Number | None,
    width: int,
) -> list[str]:
    shown = {"maker": (min(named), max(named))} if named else {}
    for n, r in enumerate(part.ranges, 1):
        shown[r.of[:22] or f"published {n}"] = (r.least, r.most)
    if wrench_most is not None:
        shown["wrench, tested"] = (max(wrench_least or 0, wrench_most * LEAST_SHARE / 100), wrench_most)
    if torque is not None:
        shown["tightened to"] = (torque.value, torque.value)
    return spans(shown, width, " Nm")


TORQUE = Tool(
    name="torque",
    title="How tight a bolt of a bicycle is, and with which wrench",
    about="Look first for the figure printed on the part or in its maker's manual, and type it. Then the ends of the "
    "wrench's scale, and what the bolt was tightened to.",
    fields=(
        Field(
            name="bolt",
            ask="Which bolt?",
            kind="choice",
            choices={name: part.words for name, part in PARTS.items()},
        ),
        Field(
            name="torque-named",
            ask="What does its maker name (one figure, or least and most)?",
            kind="numbers",
            unit="Nm",
            least=0.2,
            most=120,
            needed=False,
        ),
        Field(
            name="clamped",
            ask="What does it squeeze, or what is it screwed into?",
            kind="choice",
            choices={
                "metal": "steel, or not known",
                "aluminium": "a thread in aluminium, or an aluminium bolt",
                "carbon": "carbon",
            },
            usual="metal",
        ),
        Field(name="wrench-least", ask="Where does the wrench begin?", unit="Nm", least=0, most=200, needed=False),
        Field(name="wrench-most", ask="Where does the wrench end?", unit="Nm", least=1, most=400, needed=False),
        Field(
            name="torque",
            ask="To what torque was it tightened, or at what did it turn further?",
            unit="Nm",
            least=0.1,
            most=200,
            needed=False,
            with_error=True,
        ),
    ),
    run=_torque,
    gives=(
        Gives(name="torque-least", words="at least", unit="Nm", also="in-lb"),
        Gives(name="torque-most", words="at most", unit="Nm", also="in-lb"),
        Gives(name="torque-to-set", words="to set the wrench to", unit="Nm", also="in-lb"),
        Gives(name="torque-was", words="tightened to", unit="Nm", also="in-lb"),
        Gives(name="slack", words="how likely it was slack, at less than half of the least", chance=True),
        Gives(name="wrench-share", words="of the wrench's most", unit="%"),
    ),
    sources=(
        *(ARTICLE, SHOP, MAKERS, CARGO, LEVERS, SEAT, ELECTRIC, REAR_NUTS, FRONT_NUTS, HUB_GEAR, FOLDING, PEDALS),
        "16 CFR 1512.12, Requirements for wheel hubs, US Consumer Product Safety Commission, 2011 (front axle nuts)",
        "ISO 6789-1:2017 and ISO 6789:2003, Assembly tools for screws and nuts - Hand torque tools (what a wrench is "
        "tested at and may be off)",
        f"{MEMORY} (cleats, fixed lockring, hub motor, bottle cage, usual threads, 10 % either way of a single figure, "
        "slack under half of the least)",
        "common practice (the lowest tenth of a wrench tells nothing; carbon takes the least that holds; "
        "how deep a bolt goes into aluminium)",
    ),
    cautions=(
        "The figure in the maker's manual or printed on the part goes before every figure here. Bars, stem, brakes, "
        "cranks and wheels hold the rider: if in doubt, have a qualified workshop tighten them.",
    ),
    example={"bolt": "stem-front", "torque-named": "5", "wrench-least": "2", "wrench-most": "20", "torque": "5"},
)
