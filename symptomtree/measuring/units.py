"""The units that a workshop meets, and numbers as people type them: '2.1 bar', '30 psi', '1 1/16 in', '1,6 +- 0.1'."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, pi

# Exact factors as in BIPM, The International System of Units (SI Brochure), 9th ed. 2019, and NIST Special
# Publication 811 (2008), appendix B; the tests hold each against a library of constants.
_UNITS: dict[str, tuple[str, float, tuple[str, ...]]] = {
    # sign: (what it measures, how many of the SI's unit, other ways to write it)
    "mm": ("length", 1e-3, ("millimetre", "millimeter")),
    "cm": ("length", 1e-2, ("centimetre", "centimeter")),
    "m": ("length", 1.0, ("metre", "meter")),
    "in": ("length", 0.0254, ("inch", "inches", '"')),
    "ft": ("length", 0.3048, ("foot", "feet")),
    "cm3": ("volume", 1e-6, ("ml", "cc", "millilitre", "milliliter", "cubic centimetre", "cubic centimeter")),
    "bar": ("pressure", 1e5, ()),
    "kPa": ("pressure", 1e3, ()),
    "psi": ("pressure", 0.45359237 * 9.80665 / 0.0254**2, ("lb/in2", "pounds per square inch")),
    "kg": ("mass", 1.0, ("kilo", "kilogram", "kilogramme")),
    "g": ("mass", 1e-3, ("gram", "gramme")),
    "lb": ("mass", 0.45359237, ("pound", "lbs")),
    "N": ("force", 1.0, ("newton",)),
    "kN": ("force", 1e3, ("kilonewton",)),
    "kgf": ("force", 9.80665, ("kilogram-force",)),
    "lbf": ("force", 0.45359237 * 9.80665, ("pound-force",)),
    "N/mm": ("spring rate", 1e3, ()),
    "lb/in": ("spring rate", 0.45359237 * 9.80665 / 0.0254, ("lbf/in", "lbs/in")),
    "Nm": ("torque", 1.0, ("N m", "N*m", "newton metre", "newton meter")),
    "in-lb": (
        "torque",
        0.45359237 * 9.80665 * 0.0254,
        ("in lb", "inlb", "in-lbs", "in-lbf", "lb-in", "lbf-in", "lbf in"),
    ),
    "ft-lb": ("torque", 0.45359237 * 9.80665 * 0.3048, ("ft lb", "ftlb", "ft-lbs", "ft-lbf", "lb-ft", "lbf ft")),
    "s": ("time", 1.0, ("second", "sec")),
    "ms": ("time", 1e-3, ("millisecond",)),
    "min": ("time", 60.0, ("minute",)),
    "h": ("time", 3600.0, ("hour", "hr")),
    "day": ("time", 86400.0, ("d",)),
    "Hz": ("rate", 1.0, ("hertz", "1/s")),
    "kHz": ("rate", 1e3, ("kilohertz",)),
    "per min": ("rate", 1 / 60, ("rpm", "bpm", "1/min", "/min", "a minute", "per minute")),
    "m/s": ("speed", 1.0, ()),
    "km/h": ("speed", 1 / 3.6, ("kmh", "kph")),
    "mph": ("speed", 0.44704, ("miles per hour",)),
    "m/s2": ("acceleration", 1.0, ("m/s^2", "m/s²")),
    "ft/s2": ("acceleration", 0.3048, ("ft/s^2", "ft/s²")),
    "km": ("distance", 1e3, ("kilometre", "kilometer")),
    "mile": ("distance", 1609.344, ("mi",)),
    "V": ("voltage", 1.0, ("volt",)),
    "mV": ("voltage", 1e-3, ("millivolt",)),
    "A": ("current", 1.0, ("amp", "ampere")),
    "mohm": ("resistance", 1e-3, ("milliohm",)),
    "ohm": ("resistance", 1.0, ()),
    "W": ("power", 1.0, ("watt",)),
    "Wh": ("energy", 3600.0, ("watt hour", "watt-hour")),
    "deg": ("angle", pi / 180, ("°", "degree")),
    "degC": ("temperature", 1.0, ("°C", "C", "celsius")),
    "degF": ("temperature", 5 / 9, ("°F", "F", "fahrenheit")),
    "%": ("share", 0.01, ("percent", "per cent")),
    "": ("number", 1.0, ()),
}
_ZERO = {"degC": 273.15, "degF": 459.67 * 5 / 9}
"""What a unit's zero is in the SI's unit, where that is not zero."""
_SIGN = {way.casefold().replace(" ", ""): sign for sign, (_, _, more) in _UNITS.items() for way in (sign, *more) if way}
_WHOLE = r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_NUMBER = rf"(?:[+-]?\d+\s+\d+/\d+|[+-]?\d+/\d+|{_WHOLE})"
_TYPED = re.compile(
    rf"\s*({_NUMBER})\s*([^\d\s+±-][^+±]*?)?\s*(?:(?:\+-|\+/-|±)\s*({_NUMBER})\s*([^\d\s][^+±]*?)?)?\s*"
)


class NotANumber(ValueError):
    """What was typed is no number in a unit that fits; the message is one sentence for whoever typed it."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number and its standard uncertainty, both in the unit that was asked for."""

    value: float
    error: float = 0.0


def measures(unit: str) -> str:
    """Return what a unit measures, like 'pressure'.

    Raises:
        KeyError: there is no such unit.
    """
    return _UNITS[unit][0]


def convert(value: float, unit: str, other: str) -> float:
    """Return a number in another unit of the same kind.

    Raises:
        ValueError: they measure different things.
        KeyError: there is no such unit.
    """
    zero = _ZERO.get(unit, 0.0) - _ZERO.get(other, 0.0)
    return convert_span(value, unit, other) + zero / _UNITS[other][1]


def convert_span(value: float, unit: str, other: str) -> float:
    """Return a difference, such as an uncertainty, in another unit of the same kind: no zero is moved.

    Raises:
        ValueError: they measure different things.
        KeyError: there is no such unit.
    """
    (kind, size, _), (other_kind, other_size, _) = _UNITS[unit], _UNITS[other]
    if kind != other_kind:
        raise ValueError(f"{unit} is a {kind}, {other} a {other_kind}")
    return value if unit == other else value * size / other_size


def unit_of(typed: str) -> str | None:
    """Return the sign of a unit in any of the ways it is written; None when it is none of ours."""
    plain = typed.strip().strip(".").casefold().replace(" ", "")
    return _SIGN.get(plain) or _SIGN.get(plain.removesuffix("s"))


def read_number(typed: str, unit: str, error: float = 0.0) -> Number:
    """Read a number; one without a unit is in `unit`, one without '+-' has the uncertainty `error`.

    Raises:
        NotANumber: it is none, or in a unit that does not fit.
    """
    found = _TYPED.fullmatch(typed[:80].replace("\N{MINUS SIGN}", "-"))
    like = f"like 12.5 {unit}".rstrip()
    if not found:
        raise NotANumber(f"'{typed[:30]}' is no number; type one {like}")
    value = _in(found[1], found[2] or unit, unit, convert)
    if found[3]:
        error = abs(_in(found[3], found[4] or found[2] or unit, unit, convert_span))
    if not (isfinite(value) and isfinite(error)):
        raise NotANumber(f"'{typed[:30]}' is too large a number; type one {like}")
    return Number(value, error)


def _in(number: str, typed_unit: str, unit: str, change: Callable[[float, str, str], float]) -> float:
    sign = unit_of(typed_unit) if typed_unit != unit else unit
    if sign is None:
        raise NotANumber(f"'{typed_unit[:20]}' is no unit known here; give {_ways(unit)}")
    if measures(sign) != measures(unit):
        raise NotANumber(f"'{typed_unit[:20]}' is a {measures(sign)}; give {_ways(unit)}")
    return change(_value(number), sign, unit)


def _value(number: str) -> float:
    whole, _, fraction = number.strip().rpartition(" ")
    if "/" not in fraction:
        return float(number.replace(",", "."))
    above, below = fraction.split("/")
    if not int(below):
        raise NotANumber(f"'{number[:20]}' divides by nothing")
    sign = -1 if number.strip().startswith("-") else 1
    return sign * (abs(int(whole or 0)) + abs(int(above)) / int(below))


def _ways(unit: str) -> str:
    if not unit:
        return "a plain number"
    return f"it in {' or '.join(sign for sign in _UNITS if sign and measures(sign) == measures(unit))}"
