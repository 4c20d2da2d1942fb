"""What a measuring tool is: fields to fill in, a pure function, what it gives, and the uncertainty carried through.

The uncertainty of each result is worked out by moving every input by its standard uncertainty, one at a time, up and
down, and adding the half differences in quadrature: the first-order law of JCGM 100:2008 (Guide to the expression of
uncertainty in measurement), 5.1.2, with the derivatives taken numerically as its 5.1.3 allows.
"""

import re
from bisect import bisect
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import erf, floor, hypot, inf, isfinite, log10
from typing import Any, Literal

from symptomtree.measuring.units import NotANumber, Number, convert, convert_span, read_number

Picture = Callable[[int, int], Sequence[str]]
"""(width, height) in cells -> at most so many lines of at most so many cells; readable without colour."""


class BadInput(ValueError):
    """An input that cannot be; the message is one sentence: what is wrong, and what to do.

    Attributes:
        field: the name of the field it is about; "" when it is about several together.
    """

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Something to fill in.

    Attributes:
        name: kebab-case; the same thing has the same name in every tool, so that it need be typed only once.
        ask: a short question.
        kind: `number` and `numbers` (several, with blanks or ';' between) arrive as float and tuple of floats in
            `unit`, `choice` as a key of `choices`, `lines` (';' or line ends between) as a tuple of text, `file` as a
            path, `taps` as times in seconds from a key that is tapped, or typed like numbers.
        unit: see `units`.
        least, most: what is possible, in `unit`.
        error: standard uncertainty when none is typed, in `unit`.
        choices: name -> words.
        usual: what is taken when nothing is filled in; "" when there is no such thing.
        needed: whether something must be filled in; what is not arrives as None (several: as ()).
        with_error: whether a number arrives as a `Number`, for a function that reckons with its uncertainty itself.
        lasting: whether it stays true of the bike and its rider, so that it stands there the next time.
        whole: whether only whole numbers can be, as what is counted is.
    """

    name: str
    ask: str
    kind: Literal["number", "numbers", "choice", "lines", "file", "taps"] = "number"
    unit: str = ""
    least: float = -inf
    most: float = inf
    error: float = 0.0
    choices: Mapping[str, str] = field(default_factory=dict)
    usual: str = ""
    needed: bool = True
    with_error: bool = False
    lasting: bool = False
    whole: bool = False

    @property
    def argument(self) -> str:
        """What the tool's function calls it."""
        return self.name.replace("-", "_")


@dataclass(frozen=True, slots=True, kw_only=True)
class Gives:
    """A number that a tool works out.

    Attributes:
        name: kebab-case.
        words: what it is.
        unit: see `units`.
        also: another unit to show beside it.
        chance: whether it is a probability, from 0 to 1, which is shown in percent.
    """

    name: str
    words: str
    unit: str = ""
    also: str = ""
    chance: bool = False


TOO_CLOSE = 1.645
"""A verdict is open while the limit is nearer than so many standard uncertainties: then the chance that the value is on
the other side is more than 5 % (JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in
conformity assessment, 7.2, for a normal distribution)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a value means by its limits; told with its uncertainty, so only once that is worked out.

    Attributes:
        value: a name in `Tool.gives`.
        limits: rising, in the value's unit; a value at a limit is over it.
        says: one more than there are limits: what holds below the first, ..., what at or over the last.
        closer: what to do when a limit is too near to call; a sentence.
    """

    value: str
    limits: Sequence[float]
    says: Sequence[str]
    closer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """How likely a value truly lies between two limits, by its uncertainty; what a finding without a reading takes.

    Attributes:
        name: of the chance, in `Tool.gives`, without a unit.
        of: the value, in `Tool.gives`.
        low, high: the limits, in the value's unit.
    """

    name: str
    of: str
    low: float = -inf
    high: float = inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a tool's function returns.

    Attributes:
        values: name in `Tool.gives` -> number; one that does not come out of these inputs is left out.
        errors: standard uncertainty that is not carried over from the inputs, like the spread of a fit.
        verdicts: what values mean by their limits; told first.
        chances: how likely values lie within limits; they come after the values.
        says: what it means and what to do, a sentence each.
        cautions: those that hold because of these inputs.
        picture: a drawing, where it says more.
        log: the text of a file that keeps what was filled in, where one adds to it from day to day.
    """

    values: Mapping[str, float] = field(default_factory=dict)
    errors: Mapping[str, float] = field(default_factory=dict)
    verdicts: Sequence[Verdict] = ()
    chances: Sequence[Chance] = ()
    says: Sequence[str] = ()
    cautions: Sequence[str] = ()
    picture: Picture | None = None
    log: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """Works something out from readings.

    Attributes:
        name: kebab-case.
        title: what it is called in a list.
        about: how to take the readings, a sentence or a few.
        fields: what is asked for, in the order of the work.
        run: takes each field by its `argument`; raises `BadInput`.
        gives: the numbers that come out.
        sources: of formulas and limits: published title and year, `common practice` or `from memory`, with what for.
        cautions: shown before anything else.
        example: inputs to try it with.
    """

    name: str
    title: str
    about: str
    fields: Sequence[Field]
    run: Callable[..., Outcome]
    gives: Sequence[Gives]
    sources: Sequence[str]
    cautions: Sequence[str] = ()
    example: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Value:
    """A number that came out, with its standard uncertainty; both again in a second unit, if there is one."""

    name: str
    words: str
    number: float
    error: float
    unit: str
    also: tuple[float, float, str] | None = None
    chance: bool = False

    @property
    def shown(self) -> str:
        """What it is, in words and figures."""
        if self.chance:
            return f"{self.words}: {said_chance(self.number)}"
        also = f" ({said(*self.also)})" if self.also else ""
        return f"{self.words}: {said(self.number, self.error, self.unit)}{also}"


@dataclass(frozen=True, slots=True)
class Result:
    """What a tool made of what was filled in; `given` holds that as it was typed."""

    tool: Tool
    given: Mapping[str, str]
    values: tuple[Value, ...]
    says: tuple[str, ...]
    cautions: tuple[str, ...]
    picture: Picture | None
    log: str

    def value(self, name: str) -> Value | None:
        """Return a value by its name; None when it did not come out."""
        return next((v for v in self.values if v.name == name), None)


def work(tool: Tool, typed: Mapping[str, str]) -> Result:
    """Work out what was filled in.

    Args:
        tool: which.
        typed: field name -> text; blank is not filled in.

    Raises:
        BadInput: something is missing, is no number, or cannot be.
    """
    if strange := [name for name in typed if all(f.name != name for f in tool.fields)]:
        raise BadInput(f"{tool.name} has no field '{strange[0][:40]}'; it has {', '.join(f.name for f in tool.fields)}")
    given = {f.name: typed.get(f.name, "").strip() or f.usual for f in tool.fields}
    read = {f.argument: _read(f, given[f.name]) for f in tool.fields}
    plain = {f.argument: read[f.argument] if f.with_error else _plain(read[f.argument]) for f in tool.fields}
    made = tool.run(**plain)
    squares = {name: float(error) ** 2 for name, error in made.errors.items()}
    for changed in _moved(read, plain):
        high, low = (_values(tool, inputs, made) for inputs in changed)
        for name in made.values:
            squares[name] = squares.get(name, 0.0) + ((high[name] - low[name]) / 2) ** 2
    values = [
        _value(g, made.values[g.name], squares.get(g.name, 0.0) ** 0.5) for g in tool.gives if g.name in made.values
    ]
    gives = {g.name: g for g in tool.gives}
    values += [_value(gives[c.name], _chance(c, values), 0.0) for c in made.chances]
    shown = {name: text for name, text in given.items() if text}
    says = (*(told for verdict in made.verdicts for told in _told(verdict, values)), *made.says)
    return Result(tool, shown, tuple(values), says, (*tool.cautions, *made.cautions), made.picture, made.log)


def _read(f: Field, text: str) -> Any:
    if not text:
        if f.needed:
            raise BadInput(f"{f.name} is missing: {f.ask}", f.name)
        return () if f.kind in ("numbers", "lines", "taps") else None
    match f.kind:
        case "number":
            return _read_number(f, text)
        case "numbers" | "taps":
            return tuple(_read_number(f, part) for part in _parts(text))
        case "lines":
            return tuple(line.strip() for line in text.replace(";", "\n").splitlines() if line.strip())
        case "choice":
            return _read_choice(f, text)
        case "file":
            return text


def _parts(text: str) -> list[str]:
    """Part several numbers: by ';' or line ends where there are any ('1 1/16 in; 30 mm'), else before each number.

    So '31 mm 33 mm' and '31 +- 1 33' are two each.
    """
    if ";" in text or "\n" in text:
        return [part for part in text.replace("\n", ";").split(";") if part.strip()]
    return re.split(r"(?<![-±]) (?=[+-]?[.,]?\d)", " ".join(text.split()))


def _read_number(f: Field, text: str) -> Number:
    try:
        number = read_number(text, f.unit, f.error)
    except NotANumber as error:
        raise BadInput(f"{f.name}: {error}", f.name) from error
    if not f.least <= number.value <= f.most:
        unit = f" {f.unit}" if f.unit else ""
        if f.least == -inf or f.most == inf:
            can = f"less than {f.least:g}{unit}" if f.most == inf else f"more than {f.most:g}{unit}"
            raise BadInput(f"{f.name}: {number.value:g}{unit} cannot be; it is not {can}", f.name)
        raise BadInput(
            f"{f.name}: {number.value:g}{unit} is outside {f.least:g} to {f.most:g}{unit}; a slip, or another unit?",
            f.name,
        )
    if f.whole and number.value != round(number.value):
        raise BadInput(f"{f.name}: {number.value:g} is no whole number; count again", f.name)
    return number


def _read_choice(f: Field, text: str) -> str:
    wanted = text.casefold()
    for name, words in f.choices.items():
        if wanted in (name.casefold(), words.casefold()):
            return name
    raise BadInput(f"{f.name}: '{text[:40]}' is none of {', '.join(f.choices)}", f.name)


def _plain(value: Any) -> Any:
    """Return what the tool's function takes: numbers without their uncertainty."""
    if isinstance(value, Number):
        return value.value
    if isinstance(value, tuple):
        return tuple(_plain(v) for v in value)
    return value


def _moved(read: Mapping[str, Any], plain: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Yield the inputs with one of them moved up and down by its uncertainty, for each that has any."""
    for name, value in read.items():
        if value is plain[name]:  # text, nothing, or a number that arrives with its uncertainty
            continue
        if isinstance(value, Number) and value.error:
            yield {**plain, name: value.value + value.error}, {**plain, name: value.value - value.error}
        elif isinstance(value, tuple):
            for n, one in enumerate(value):
                if isinstance(one, Number) and one.error:
                    before, after = plain[name][:n], plain[name][n + 1 :]
                    yield (
                        {**plain, name: (*before, one.value + one.error, *after)},
                        {**plain, name: (*before, one.value - one.error, *after)},
                    )


def _values(tool: Tool, inputs: Mapping[str, Any], made: Outcome) -> dict[str, float]:
    """Return the values for inputs that were moved; where those cannot be, the values are those of the middle."""
    try:
        found = tool.run(**inputs).values
    except (ValueError, ArithmeticError):  # BadInput, or a formula beyond what a field lets through
        found = {}
    return {name: float(found.get(name, middle)) for name, middle in made.values.items()}


def _value(g: Gives, number: float, error: float) -> Value:
    also = (convert(number, g.unit, g.also), convert_span(error, g.unit, g.also), g.also) if g.also else None
    return Value(g.name, g.words, float(number), float(error), g.unit, also, g.chance)


def _chance(chance: Chance, values: Sequence[Value]) -> float:
    """Return the probability of a normal distribution between two limits (JCGM 106:2012, 7.2)."""
    value = next(v for v in values if v.name == chance.of)
    if not value.error:
        return float(chance.low <= value.number < chance.high)
    low, high = ((limit - value.number) / value.error / 2**0.5 for limit in (chance.low, chance.high))
    return (erf(high) - erf(low)) / 2


def _told(verdict: Verdict, values: Sequence[Value]) -> list[str]:
    """Return the verdict on a value; one whose limit lies within its uncertainty is told as open."""
    value = next(v for v in values if v.name == verdict.value)
    holds = verdict.says[bisect(verdict.limits, value.number)]
    limit = min(verdict.limits, key=lambda at: abs(at - value.number))
    if abs(limit - value.number) >= TOO_CLOSE * value.error:
        return [holds]
    reading = said(value.number, value.error, value.unit)
    limit = round(limit, 9)  # one that may be just reached is set a hair higher
    return [
        f"Too close to call: {reading} may be on either side of {said(limit, 0, value.unit)}. {verdict.closer}",
        f"If it is as read: {holds}",
    ]


def said(number: float, error: float, unit: str) -> str:
    """Return a number with its uncertainty: as many digits as the uncertainty leaves, which has two."""
    tail = unit if unit == "%" else f" {unit}" if unit else ""
    if not (error > 0 and isfinite(error)):
        return f"{number:.4g}{tail}"
    places = 1 - floor(log10(error))
    if places <= 0:
        return f"{round(number, places):.0f} ± {round(error, places):.0f}{tail}"
    return f"{number:.{places}f} ± {error:.{places}f}{tail}"


def said_chance(chance: float) -> str:
    """Return a probability in whole percent, which is more than anyone knows of one."""
    if 0 < chance < 0.01:
        return "under 1%"
    return "over 99%" if 0.99 < chance < 1 else f"{chance:.0%}"


def needed(value: float | None, name: str, ask: str) -> float:
    """Return a value that is needed only with some of the other inputs.

    Raises:
        BadInput: it was not filled in.
    """
    if value is None:
        raise BadInput(f"{name} is missing: {ask}", name)
    return value


def spread_of(numbers: Sequence[float]) -> float:
    """Return the standard uncertainty of the mean of repeated readings; 0 for one (JCGM 100:2008, 4.2.3)."""
    n = len(numbers)
    if n < 2:
        return 0.0
    mean = sum(numbers) / n
    return float(hypot(*(x - mean for x in numbers)) / ((n - 1) * n) ** 0.5)
