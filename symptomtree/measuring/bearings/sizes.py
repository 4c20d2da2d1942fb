"""Sizes of cartridge bearings that bicycles use, and which of them a measured one can be.

Boundary dimensions are those of ISO 15:2017 (Rolling bearings - Radial bearings - Boundary dimensions, general plan),
of ANSI/ABMA 20 for those in inches, and of the trade for those that only bicycles use.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import hypot

from symptomtree.measuring.units import Number

MEASURES = ("bore", "outside", "width")
FEW_SIGNS = (6.63, 9.21, 11.34)
"""What the squared misfit of one, two, three readings exceeds once in a hundred (chi-squared, in any table of it)."""
MADE_TO = (0.004, 0.005, 0.04)
"""Millimetres of standard uncertainty for what a bearing itself may differ from its size: of the tolerances of the
normal class, ISO 492:2014 (bore 10 to 18 mm 0 to -8 um, outside 18 to 30 mm 0 to -9 um, width 0 to -120 um)."""


@dataclass(frozen=True, slots=True)
class Size:
    """A bearing's name and its measures in mm.

    Attributes:
        code: what is printed on it, without seals; a size without one is told by its measures.
        kind: what else is to know to order it.
        faces: degrees of the sloped faces, inside and outside; () for square edges.
    """

    code: str
    bore: float
    outside: float
    width: float
    kind: str
    faces: tuple[int, ...] = ()

    @property
    def measures(self) -> tuple[float, float, float]:
        """Bore, outside, width."""
        return self.bore, self.outside, self.width

    @property
    def named(self) -> str:
        """Code and measures, the way one asks for it in a shop."""
        figures = " x ".join(f"{m:g}" for m in self.measures) + " mm"
        faces = f", faces {self.faces[0]}/{self.faces[1]}°" if self.faces else ""
        return f"{self.code} ({figures}{faces})" if self.code else figures + faces


def bore_of_code(code: str) -> float:
    """Return the bore in mm of a ball bearing's code of digits: its last two are 00 to 03 for 10, 12, 15 and 17 mm and
    from 04 on a fifth of the bore; a code of three digits ends in the bore itself (ISO 15:2017 with DIN 623-1).

    Raises:
        ValueError: it is no such code.
    """
    if not (code.isascii() and code.isdigit() and 3 <= len(code) <= 5):
        raise ValueError(f"'{code[:20]}' is no code of three to five digits")
    if len(code) == 3:
        return float(code[-1])
    number = int(code[-2:])
    return (10.0, 12.0, 15.0, 17.0)[number] if number < 4 else number * 5.0


_SERIES: dict[str, tuple[str, dict[str, tuple[float, float]]]] = {
    # series: (what it is, {end of the code: (outside, width)})
    "60": (
        "light series, in older hubs and wherever there is room",
        {
            "7": (19, 6),
            "8": (22, 7),
            "9": (24, 7),
            "00": (26, 8),
            "01": (28, 8),
            "02": (32, 9),
            "03": (35, 10),
            "04": (42, 12),
            "05": (47, 12),
            "06": (55, 13),
        },
    ),
    "62": (
        "medium series",
        {
            "5": (16, 5),
            "6": (19, 6),
            "7": (22, 7),
            "8": (24, 8),
            "9": (26, 8),
            "00": (30, 9),
            "01": (32, 10),
            "02": (35, 11),
            "03": (40, 12),
            "04": (47, 14),
            "05": (52, 15),
            "06": (62, 16),
        },
    ),
    "63": (
        "heavy series",
        {
            "5": (19, 6),
            "00": (35, 11),
            "01": (37, 12),
            "02": (42, 13),
            "03": (47, 14),
            "04": (52, 15),
            "05": (62, 17),
        },
    ),
    "160": ("narrow", {"02": (32, 8), "03": (35, 8), "04": (42, 8), "05": (47, 8), "06": (55, 9)}),
    "161": ("narrow", {"00": (28, 8), "01": (30, 8)}),
    "68": (
        "thin section, in linkages, freehub bodies and bottom brackets; with seals the small ones are 5 mm wide",
        {
            "5": (11, 3),
            "6": (13, 3.5),
            "7": (14, 3.5),
            "8": (16, 4),
            "9": (17, 4),
            "00": (19, 5),
            "01": (21, 5),
            "02": (24, 5),
            "03": (26, 5),
            "04": (32, 7),
            "05": (37, 7),
            "06": (42, 7),
            "07": (47, 7),
        },
    ),
    "69": (
        "thin section, in hubs and linkages",
        {
            "5": (13, 4),
            "6": (15, 5),
            "7": (17, 5),
            "8": (19, 6),
            "9": (20, 6),
            "00": (22, 6),
            "01": (24, 6),
            "02": (28, 7),
            "03": (30, 7),
            "04": (37, 9),
            "05": (42, 9),
            "06": (47, 9),
        },
    ),
    "67": ("very thin section", {"00": (15, 3), "01": (18, 4), "02": (21, 4), "03": (23, 4), "04": (27, 4)}),
    "630": ("wide", {"00": (26, 12), "01": (28, 12), "02": (32, 13), "03": (35, 14)}),
    "638": (
        "wide; 3800 to 3805 have the same measures with two rows of balls, so look how many rows there are",
        {"00": (19, 7), "01": (21, 7), "02": (24, 7), "03": (26, 7), "04": (32, 10), "05": (37, 10)},
    ),
    "639": (
        "wide; 3900 to 3903 have the same measures with two rows of balls, so look how many rows there are",
        {"00": (22, 10), "01": (24, 10), "02": (28, 10), "03": (30, 10)},
    ),
}
"""ISO 15:2017, dimension series 10, 02, 03, 00, 18, 19, 17, 30, 38 and 39. The tests hold 60, 62, 63, 68, 69, 160 and
161 beside published tables; 67, 630, 638 and 639 are from memory."""

_SEALED = {"685": 5.0, "686": 5.0, "687": 5.0, "688": 5.0, "689": 5.0, "6700": 4.0}
"""Width in mm with seals, where it is more (common practice)."""

_INCH = (
    # ANSI/ABMA 20, with seals: 1/4 x 5/8 x 0.196, 3/8 x 7/8 x 9/32, 1/2 x 1 1/8 x 5/16, 5/8 x 1 3/8 x 11/32, and
    # 3/4 x 1 5/8 x 7/16 in
    Size("R4", 6.35, 15.875, 4.978, "inch size"),
    Size("R6", 9.525, 22.225, 7.144, "inch size, in older hubs"),
    Size("R8", 12.7, 28.575, 7.938, "inch size, in older hubs"),
    Size("R10", 15.875, 34.925, 8.731, "inch size"),
    Size("R12", 19.05, 41.275, 11.112, "inch size, in cranks of small-wheeled jumping bikes"),
)
_BICYCLE = (
    # From memory: sizes that only bicycles use, coded by their measures.
    Size("15267", 15, 26, 7, "bicycle size, in hubs and freehub bodies"),
    Size("163110", 16, 31, 10, "bicycle size, in hubs"),
    Size("17287", 17, 28, 7, "bicycle size, in hubs and freehub bodies"),
    Size("18307", 18, 30, 7, "bicycle size, in hubs with a thick axle"),
    Size("24377", 24, 37, 7, "bicycle size, in bottom brackets for an axle of 24 mm"),
    Size("25376", 25, 37, 6, "bicycle size, narrow, in bottom brackets"),
    Size("29427", 29, 42, 7, "bicycle size, in bottom brackets for an axle of 29 mm"),
)
_HEADSET = tuple(
    Size("", bore, outside, width, f"headset bearing for {place}", faces)
    for bore, outside, width, faces, place in (
        # Bearing sellers' guides (30.15 x 41 x 6.5, 36/45); the others from memory.
        (27.15, 38, 6.5, (36, 45), "a steerer of 1 in"),
        (30.15, 41, 6.5, (36, 45), "a steerer of 1 1/8 in"),
        (30.15, 41.8, 6.5, (45, 45), "a steerer of 1 1/8 in"),
        (30.15, 41.8, 8, (45, 45), "a steerer of 1 1/8 in"),
        (34.1, 46.9, 7, (45, 45), "a steerer of 1 1/4 in"),
        (37, 49, 7, (45, 45), "a fork crown of 1 3/8 in"),
        (40, 52, 7, (36, 45), "a fork crown of 1 1/2 in"),
        (40, 52, 7, (45, 45), "a fork crown of 1 1/2 in"),
        (40, 51.8, 8, (36, 45), "a fork crown of 1 1/2 in"),
    )
)


def _all() -> tuple[Size, ...]:
    made = []
    for series, (kind, ends) in _SERIES.items():
        for end, (outside, width) in ends.items():
            code = series + end
            made.append(Size(code, bore_of_code(code), outside, width, kind))
            if code in _SEALED:
                made.append(Size(code, bore_of_code(code), outside, _SEALED[code], f"{kind.split(';')[0]}, with seals"))
    return (*made, *_INCH, *_BICYCLE, *_HEADSET)


SIZES = _all()


@dataclass(frozen=True, slots=True)
class Match:
    """A size beside what was measured.

    Attributes:
        size: which.
        off: measured less the size's, in mm; None where nothing was measured.
        misfit: squared differences over squared standard uncertainties, summed.
        fits: whether the differences are within what the readings leave open (a chance of 1 in 100 against it).
    """

    size: Size
    off: tuple[float | None, ...]
    misfit: float
    fits: bool


def matches(measured: Sequence[Number | None], faces: Collection[tuple[int, ...]] | None = None) -> list[Match]:
    """Return every size beside the readings, the nearest first.

    The test is that of a sum of squares against its distribution (chi-squared; Pearson 1900), as readings of one
    bearing differ from its size by their own uncertainty and by what it was made to.

    Args:
        measured: bore, outside, width; None for one that was not measured.
        faces: which they can be: degrees of the sloped faces, () for square edges; None when nobody looked.
    """
    found = []
    for size in SIZES:
        off = tuple(m.value - s if m else None for m, s in zip(measured, size.measures, strict=True))
        misfit = sum(
            (o / hypot(m.error, made)) ** 2
            for o, m, made in zip(off, measured, MADE_TO, strict=True)
            if o is not None and m is not None
        )
        limit = FEW_SIGNS[sum(m is not None for m in measured) - 1]
        right = faces is None or size.faces in faces
        found.append(Match(size, off, misfit, right and misfit <= limit))
    return sorted(found, key=lambda m: (m.misfit, not m.fits))


def apart(one: Size, other: Size) -> str:
    """Return what tells two sizes apart, in words."""
    name, a, b = max(
        zip(MEASURES, one.measures, other.measures, strict=True),
        key=lambda row: abs(row[1] - row[2]),
    )
    if a != b:
        return f"the {name}, {a:g} or {b:g} mm"
    if one.faces != other.faces:
        words = [f"{s.faces[0]}/{s.faces[1]}°" if s.faces else "square" for s in (one, other)]
        return f"the faces, {words[0]} or {words[1]}"
    return "what is printed on them"
