"""Which cartridge bearing it is, from what was measured or what is printed on it."""

import re
from collections.abc import Collection, Sequence

from symptomtree.measuring.bearings.sizes import MEASURES, SIZES, Match, Size, apart, bore_of_code, matches
from symptomtree.measuring.picture import table
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, said
from symptomtree.measuring.units import Number

FACES: dict[str, Collection[tuple[int, ...]] | None] = {
    "unknown": None,
    "square": [()],
    "36-45": [(36, 45)],
    "45-45": [(45, 45)],
    "sloped": {size.faces for size in SIZES if size.faces},
}
SUFFIXES = {
    "2RS": "rubber seals on both sides",
    "RS": "a rubber seal on one side",
    "2Z": "metal shields on both sides, which keep little water out",
    "ZZ": "metal shields on both sides, which keep little water out",
    "Z": "a metal shield on one side",
    "C3": "more play inside than usual from new",
    "V": "full of balls without a cage: for joints that swing, not for wheels",
}
"""DIN 623-1 (Z, 2Z, RS, 2RS, C3, V); common practice (ZZ)."""
_OTHER_NAMES = {"617": "67", "618": "68", "619": "69"}
"""The same series as other lists write them (DIN 623-1)."""


def read_code(printed: str) -> tuple[str, list[str]]:
    """Return the code in what is printed on a bearing, and what the letters after it mean.

    Raises:
        BadInput: there is no code in it.
    """
    found = re.search(r"(?<![0-9A-Z])(?:MR)?(R\d{1,2}|\d{3,6})(?![0-9])(.*)", printed.upper())
    if not found:
        raise BadInput(f"printed: '{printed[:30]}' has no bearing code in it; type one like 6902-2RS", "printed")
    code = found[1]
    if len(code) == 5 and code[:3] in _OTHER_NAMES:
        code = _OTHER_NAMES[code[:3]] + code[3:]
    letters = re.findall(r"[0-9]?[A-Z]+[0-9]*", found[2])
    # Makers put a number of their own behind the letters, as in 2RS1.
    known = [one if one in SUFFIXES else one.rstrip("0123456789") for one in letters]
    return code, [f"{one} means {SUFFIXES[one]}." for one in known if one in SUFFIXES]


def _bearing(
    bearing_bore: Number | None,
    bearing_outside: Number | None,
    bearing_width: Number | None,
    bearing_faces: str,
    printed: Sequence[str],
) -> Outcome:
    measured = (bearing_bore, bearing_outside, bearing_width)
    if bearing_bore and bearing_outside and bearing_bore.value >= bearing_outside.value:
        raise BadInput("bearing-bore: the hole is wider than the bearing; bore and outside are swapped", "bearing-bore")
    code, letters = read_code(" ".join(printed)) if printed else ("", [])
    if sum(m is not None for m in measured) < 2:
        if not code:
            raise BadInput(
                "two of bore, outside and width are needed, or what is printed on the bearing", "bearing-bore"
            )
        return _by_code(code, letters)
    every = matches(measured, FACES[bearing_faces])
    fitting = [m for m in every if m.fits]
    says = _named(fitting, every, measured)
    if code:
        says.append(_beside_code(code, fitting))
    says += letters
    return Outcome(
        values={"sizes-that-fit": len(fitting), **(_values(fitting[0].size) if fitting else _nearest(every[0]))},
        says=says,
        picture=lambda width, height: _picture(every, measured, width, height),
    )


def _by_code(code: str, letters: list[str]) -> Outcome:
    """Return what a code says by itself."""
    known = [size for size in SIZES if size.code == code]
    if known:
        says = [f"{size.named}: {size.kind}." for size in known]
        says.append("Measure two of the three before you order; a code is easily misread.")
        return Outcome(values={"sizes-that-fit": len(known), **_values(known[0])}, says=(*says, *letters))
    if not code.isdigit() or len(code) > 5:
        raise BadInput(f"printed: {code} is not among the sizes here; measure bore, outside and width", "printed")
    bore = bore_of_code(code)
    says = [f"{code} is not among the sizes here. By the rule of its digits the bore is {bore:g} mm; measure the rest."]
    return Outcome(values={"sizes-that-fit": 0, "bore-named": bore}, says=(*says, *letters))


def _named(fitting: Sequence[Match], every: Sequence[Match], measured: Sequence[Number | None]) -> list[str]:
    if not fitting:
        nearest = every[0]
        off = " and ".join(
            f"the {name} {said(abs(o), m.error, 'mm')} {'more' if o > 0 else 'less'}"
            for name, o, m in zip(MEASURES, nearest.off, measured, strict=True)
            if o is not None and m and abs(o) > 2 * m.error
        )
        return [
            f"None of the {len(SIZES)} sizes here fits. Nearest is {nearest.size.named}; {off or 'the faces differ'}.",
            "Clean it and measure again at several places; inside jaws read small. If it stays so, order by the three "
            "measures from a bearing dealer, or by part and year from the maker of hub, frame or headset.",
        ]
    best = fitting[0].size
    says = []
    if len(fitting) == 1:
        says.append(f"It is {best.named}: {best.kind}.")
        other = next(m.size for m in every if not m.fits)
        says.append(f"Nearest other: {other.named}. What tells them apart is {apart(best, other)}.")
    else:
        says.append(f"{len(fitting)} sizes fit: {'; '.join(m.size.named for m in fitting[:4])}.")
        says += [f"{best.named} or {m.size.named}: look at {apart(best, m.size)}." for m in fitting[1:4]]
    if any(m.size.faces for m in fitting):
        says.append(
            "Headset bearings come in over 40 sizes and only the commonest are here. The angles of both faces must be "
            "right too: they are printed on most, and a wrong one stands on an edge and wears the seat."
        )
    else:
        says.append("Order it with rubber seals on both sides (2RS): a bike is ridden in the wet.")
    if None in measured:
        says.append(f"Measure the {MEASURES[list(measured).index(None)]} too before you order.")
    return says


def _beside_code(code: str, fitting: Sequence[Match]) -> str:
    if any(m.size.code == code for m in fitting):
        return f"The code {code} printed on it agrees."
    known = [size.named for size in SIZES if size.code == code]
    if known:
        return f"The code says {known[0]}, which the readings do not: read the code again and measure again."
    return f"The code {code} is not among the sizes here; go by the measures."


def _values(size: Size) -> dict[str, float]:
    return {f"{name}-named": value for name, value in zip(MEASURES, size.measures, strict=True)}


def _nearest(match: Match) -> dict[str, float]:
    return {"off-most": max(abs(o) for o in match.off if o is not None)}


def _picture(every: Sequence[Match], measured: Sequence[Number | None], width: int, height: int) -> list[str]:
    """Return the readings above the nearest sizes, each with what it is off by."""
    rows = [(*(f"{m.value:.2f}" if m else "-" for m in measured), "", "measured")]
    for match in every[: min(8, height - 2)]:
        rows.append(
            (
                *(f"{m:g}" for m in match.size.measures),
                f"{max(abs(o) for o in match.off if o is not None):.2f}",
                f"{match.size.code or 'headset'}{': fits' if match.fits else ''}",
            )
        )
    return table((*MEASURES, "off by", "in mm"), rows, width)


BEARING = Tool(
    name="bearing",
    title="Which cartridge bearing it is",
    about="Wipe the bearing clean. Measure the hole, the outside and the width with a caliper, each at two or three "
    "places; when it is still in its seat, two of them will do, or what is printed on its seal.",
    fields=(
        Field(
            name="bearing-bore",
            ask="How wide is the hole?",
            unit="mm",
            least=2,
            most=80,
            error=0.06,
            needed=False,
            with_error=True,
        ),
        Field(
            name="bearing-outside",
            ask="How wide is it outside?",
            unit="mm",
            least=5,
            most=120,
            error=0.04,
            needed=False,
            with_error=True,
        ),
        Field(
            name="bearing-width",
            ask="How wide is it from face to face?",
            unit="mm",
            least=1.5,
            most=40,
            error=0.06,
            needed=False,
            with_error=True,
        ),
        Field(
            name="bearing-faces",
            ask="How are the edges of its rings?",
            kind="choice",
            choices={
                "unknown": "not looked at",
                "square": "square, as in hubs and linkages",
                "36-45": "sloped, 36° inside and 45° outside",
                "45-45": "sloped, 45° inside and outside",
                "sloped": "sloped, angles not known",
            },
            usual="unknown",
        ),
        Field(name="printed", ask="What is printed on it, like 6902-2RS?", kind="lines", needed=False),
    ),
    run=_bearing,
    gives=(
        Gives(name="sizes-that-fit", words="sizes that fit"),
        Gives(name="bore-named", words="bore of that size", unit="mm", also="in"),
        Gives(name="outside-named", words="outside of that size", unit="mm", also="in"),
        Gives(name="width-named", words="width of that size", unit="mm", also="in"),
        Gives(name="off-most", words="nearest size is off by", unit="mm", also="in"),
    ),
    sources=(
        "ISO 15:2017, Rolling bearings - Radial bearings - Boundary dimensions, general plan (sizes)",
        "DIN 625-1, Rolling bearings - Deep groove ball bearings (sizes)",
        "DIN 623-1, Rolling bearings - Designations (bore from the last two digits, letters after the code)",
        "ISO 492:2014 (how far a bearing may differ from its size)",
        "ANSI/ABMA 20 (inch sizes)",
        "How to measure headset bearings, a bearing seller's guide (30.15 x 41 x 6.5, 36/45)",
        "from memory (very thin and wide series, sizes that only bicycles use, the other headset sizes)",
        "common practice (width with seals, rubber seals for bicycles)",
    ),
    cautions=("A bearing that is to be used again is not pressed out: that harms it. Measure it where it sits.",),
    example={"bearing-bore": "15.0", "bearing-outside": "28.0", "bearing-width": "7.0", "printed": "6902-2RS"},
)
