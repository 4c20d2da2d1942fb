"""Small helpers for plain lines: text from anywhere made harmless, lines wrapped, numbers read."""

import re
import shutil
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite

from symptomtree.kb.nodes import UNSAFE_VALUE

WIDEST = 100
_ESCAPE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)?|.)")
_NUMBER = r"([+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+))"
_READING = re.compile(rf"^{_NUMBER}\s*([^\d+±]*?)\s*(?:(?:±|\+/?-)\s*{_NUMBER}\s*(\D*))?$")
_UNIT_WORDS = {
    "millimetre": "mm",
    "millimeter": "mm",
    "percent": "%",
    "per cent": "%",
    "pct": "%",
    "degree": "°",
    "deg": "°",
    "newton metre": "Nm",
    "volt": "V",
}


def clean(text: str) -> str:
    """Return text as one line without anything that a terminal obeys: no escapes, controls, or turned writing."""
    text = text.encode("utf-8", "replace").decode("utf-8")
    text = UNSAFE_VALUE.sub(" ", _ESCAPE.sub("", text))
    return " ".join(text.split())


def wrapped(text: str) -> Iterator[str]:
    """Yield the lines of a text at the terminal's width; what is indented or numbered hangs under its own start."""
    lead = re.match(r" *(?:\d+\. |[a-z]\. |- )?", text)
    hang = " " * (lead.end() if lead else 0)
    width = max(20, min(shutil.get_terminal_size().columns, WIDEST) - 1)
    yield from textwrap.wrap(text, width, subsequent_indent=hang, break_on_hyphens=False) or [""]


@dataclass(frozen=True, slots=True)
class Measured:
    """A number that someone typed.

    Attributes:
        unit: as it was typed; empty when none was.
        error: what was typed after '+-', None when nothing was.
    """

    value: float
    unit: str
    error: float | None


def measured(text: str) -> Measured | None:
    """Read '1.6', '1,6 mm' or '0.72% +-0.05'; None when it is no number."""
    found = _READING.match(text.strip()[:60])
    if not found:
        return None
    value = float(found[1].replace(",", "."))
    error = abs(float(found[3].replace(",", "."))) if found[3] else None
    if not isfinite(value):
        return None
    return Measured(value, found[2] or found[4] or "", error or None)


def same_unit(typed: str, unit: str) -> bool:
    """Return whether a typed unit is the one wanted; none at all is."""

    def plain(text: str) -> str:
        text = " ".join(text.casefold().split()).strip(". ")
        for word, sign in _UNIT_WORDS.items():
            if text in (word, word + "s"):
                return sign.casefold()
        return text.replace(" ", "").removesuffix("s") if len(text) > 2 else text

    return not typed or plain(typed) == plain(unit)


def minutes(number: float) -> str:
    """Return a time as people say it."""
    if number < 0.75:
        return "half a minute" if number >= 0.4 else "a few seconds"
    whole = round(number)
    return f"about {whole} minute{'s' if whole != 1 else ''}"
