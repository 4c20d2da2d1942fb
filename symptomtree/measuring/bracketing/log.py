"""The log of a bracketing: dials, runs and what was said of each, as lines that a person types and a file keeps."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import yaml

from symptomtree.measuring.tool import BadInput
from symptomtree.measuring.units import NotANumber, read_number

MOST_CLICKS, MOST_DIALS, MOST_RUNS = 100, 8, 200
BEST_RATING = 10.0
MAX_CHARACTERS, MAX_VALUES, MAX_DEPTH = 100_000, 2 * MOST_RUNS, 2

Said = Literal["better", "worse", "same"]
Settings = Mapping[str, int]
"""dial -> clicks"""

_DIAL = re.compile(r"(.*?\S)\s+(\d{1,3})\s*(?:-|\.\.|to)\s*(\d{1,3})(?:\s*,?\s*start\s+(\d{1,3}))?", re.IGNORECASE)
_SAID = re.compile(r"(.*?)(?:\s*=\s*|\s+)(better|worse|same)(?:\s+(?:than|as)\s+(?:run\s+)?(\d{1,3}))?", re.IGNORECASE)
_NUMBERED = re.compile(r"(\d{1,3})\s*:\s*(.*)")
_NAME = re.compile(r"[^\W\d_](?:[\w '()/-]{0,38}[^\W\d_)\s]\)?)?")
_SETTING = re.compile(r"(.*?\S)\s+(\d{1,3})")


@dataclass(frozen=True, slots=True)
class Dial:
    """A dial with clicks from `low` to `high`, and where it stands at the start."""

    name: str
    low: int
    high: int
    start: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A run on the trail.

    Attributes:
        settings: every dial's clicks.
        rating: 0 to 10; None when the run was only compared, or nothing was said of it.
        error: standard uncertainty of the rating as typed; None when the rider's usual one holds.
        said: how it was beside the run `than` (counted from 0); None when it was rated.
        day: which day of the log; runs of different days are not rated against one another.
    """

    settings: Settings
    rating: float | None = None
    error: float | None = None
    said: Said | None = None
    than: int = 0
    day: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """The runs of one bike on one trail, in the order in which they were ridden."""

    dials: Sequence[Dial]
    runs: Sequence[Run] = ()
    bike: str = ""
    trail: str = ""

    @property
    def start(self) -> Settings:
        """Where all dials stand at the start."""
        return {dial.name: dial.start for dial in self.dials}


def read_dials(lines: Sequence[str]) -> tuple[Dial, ...]:
    """Read lines like `rebound 0-20 start 10`; without a start a dial starts in its middle.

    Raises:
        BadInput: a line is no dial, or a dial cannot be.
    """
    if not 1 <= len(lines) <= MOST_DIALS:
        raise BadInput(f"dials: give 1 to {MOST_DIALS} of them, a line each, like 'rebound 0-20 start 10'", "dials")
    dials: list[Dial] = []
    for line in lines:
        found = _DIAL.fullmatch(" ".join(line.split()))
        if not found:
            raise BadInput(f"dials: '{line[:40]}' is none; write its name and range, 'rebound 0-20 start 10'", "dials")
        name, low, high = " ".join(found[1].split()), int(found[2]), int(found[3])
        start = int(found[4]) if found[4] else (low + high + 1) // 2
        if high <= low:
            raise BadInput(f"dials: {name} goes from {low} to {high}; write the lower number first", "dials")
        if not 2 <= high - low <= MOST_CLICKS:
            raise BadInput(f"dials: {name} has {high - low} clicks from end to end; 2 to {MOST_CLICKS} can be", "dials")
        if not low <= start <= high:
            raise BadInput(f"dials: {name} starts at {start}, outside {low} to {high}; count its clicks again", "dials")
        if not _NAME.fullmatch(name) or name.casefold() in ("start", "new day"):
            raise BadInput(
                f"dials: '{name[:40]}' cannot be a name; use letters and blanks, like 'fork rebound'", "dials"
            )
        if any(name.casefold() == d.name.casefold() for d in dials):
            raise BadInput(f"dials: {name} is there twice; tell them apart, like 'fork rebound'", "dials")
        dials.append(Dial(name, low, high, start))
    return tuple(dials)


def read_runs(log: Log, lines: Sequence[str]) -> Log:
    """Return the log with more runs: `rebound 8 = 7`, `start = 6 +- 0.5`, `rebound 8 better than 2`, `new day`.

    A dial that is not named stands as in the run before. Runs may be numbered (`3: rebound 8 = 7`), then all of them
    and in their order.

    Raises:
        BadInput: a line cannot be read, or names what is not there.
    """
    day = log.runs[-1].day if log.runs else 0
    for line in _in_order(lines, len(log.runs)):
        if line.casefold() == "new day":
            day += 1
            continue
        if len(log.runs) >= MOST_RUNS:
            raise BadInput(f"runs: more than {MOST_RUNS}; begin a new log at the best setting so far", "runs")
        log = replace(log, runs=(*log.runs, _read_run(log, line, day)))
    return log


def _in_order(lines: Sequence[str], before: int) -> Iterator[str]:
    """Yield the lines without their numbers, which are those of the log."""
    plain = [" ".join(line.split()) for line in lines]
    runs = [line for line in plain if line.casefold() != "new day"]
    numbered = any(_NUMBERED.fullmatch(line) for line in runs)
    number = before
    for line in plain:
        if line.casefold() == "new day" or not numbered:
            yield line
            continue
        number += 1
        found = _NUMBERED.fullmatch(line)
        if not found or int(found[1]) != number:
            raise BadInput(f"runs: '{line[:40]}' should be run {number}; number all in their order, or none", "runs")
        yield found[2]


def _read_run(log: Log, line: str, day: int) -> Run:
    number = len(log.runs) + 1
    said = _SAID.fullmatch(line)
    if said:
        if number == 1:
            raise BadInput("runs: run 1 has none before it to be compared with; rate it, like 'start = 6'", "runs")
        than = int(said[3]) if said[3] else number - 1
        if not 1 <= than < number:
            raise BadInput(f"runs: run {number} is compared with run {than}, which is not before it", "runs")
        word: Said = said[2].lower()  # type: ignore[assignment]  # the pattern has no other words
        return Run(settings=_read_settings(log, said[1], number), said=word, than=than - 1, day=day)
    where, equals, rated = line.partition("=")
    settings = _read_settings(log, where, number)
    if not equals:
        return Run(settings=settings, day=day)
    try:
        rating = read_number(rated.strip(), "")
    except NotANumber as error:
        raise BadInput(f"runs: run {number}: {error}, or 'better', 'worse' or 'same'", "runs") from error
    if not 0 <= rating.value <= BEST_RATING:
        raise BadInput(f"runs: run {number}: rate from 0 to {BEST_RATING:g}; {rating.value:g} is outside", "runs")
    return Run(settings=settings, rating=rating.value, error=rating.error or None, day=day)


def _read_settings(log: Log, typed: str, number: int) -> Settings:
    settings = dict(log.runs[-1].settings if log.runs else log.start)
    for part in typed.split(","):
        if not part.strip():
            continue
        if part.strip().casefold() == "start":
            settings = dict(log.start)
            continue
        found = _SETTING.fullmatch(part.strip())
        if not found:
            text = f"runs: run {number}: '{part.strip()[:40]}' is no setting"
            raise BadInput(f"{text}; write it like 'rebound 8'", "runs")
        dial = next((d for d in log.dials if d.name.casefold() == found[1].casefold()), None)
        if not dial:
            text = f"runs: run {number}: there is no dial '{found[1][:40]}'"
            raise BadInput(f"{text}; there are {', '.join(d.name for d in log.dials)}", "runs")
        clicks = int(found[2])
        if not dial.low <= clicks <= dial.high:
            text = f"runs: run {number}: {dial.name} {clicks} is outside its {dial.low} to {dial.high}"
            raise BadInput(f"{text}; count the clicks again", "runs")
        settings[dial.name] = clicks
    return settings


def read_settings(log: Log, typed: str, field: str) -> Settings:
    """Read a set-up like `rebound 8, compression 6`; a dial not named stands at its start.

    Raises:
        BadInput: it names what is not there.
    """
    try:
        return _read_settings(replace(log, runs=()), typed, 1)
    except BadInput as error:
        raise BadInput(str(error).replace("runs: run 1: ", f"{field}: "), field) from error


def changed(settings: Settings, others: Settings) -> list[str]:
    """Return the dials that stand differently."""
    return [name for name, clicks in settings.items() if others[name] != clicks]


def at_once(log: Log) -> list[int]:
    """Return the runs (counted from 0) before which more than one dial was turned on the same day."""
    pairs = enumerate(zip(log.runs, log.runs[1:], strict=False), 1)
    return [
        n
        for n, (before, run) in pairs
        if run.day == before.day and run.settings != log.start and len(changed(run.settings, before.settings)) > 1
    ]


def shown(settings: Settings) -> str:
    """Return a set-up as it is typed."""
    return ", ".join(f"{name} {clicks}" for name, clicks in settings.items())


def run_line(run: Run) -> str:
    """Return a run as it is typed."""
    where = shown(run.settings)
    if run.said:
        return f"{where} {run.said} {'as' if run.said == 'same' else 'than'} {run.than + 1}"
    if run.rating is None:
        return where
    error = f" +- {_figure(run.error)}" if run.error else ""
    return f"{where} = {_figure(run.rating)}{error}"


def _figure(number: float) -> str:
    return repr(float(number)).removesuffix(".0")


def log_text(log: Log) -> str:
    """Return a log as the YAML text of its file."""
    lines: list[str] = []
    for n, run in enumerate(log.runs):
        lines += ["new day"] * (run.day - (log.runs[n - 1].day if n else 0))
        lines.append(run_line(run))
    kept = {
        "symptomtree-bracketing": 1,
        "bike": log.bike,
        "trail": log.trail,
        "dials": [f"{d.name} {d.low}-{d.high} start {d.start}" for d in log.dials],
        "runs": lines,
    }
    return yaml.dump(kept, Dumper=yaml.CSafeDumper, sort_keys=False, allow_unicode=True, width=110)


def parse_log(text: str) -> Log:
    """Read the text of a log's file; whatever it holds, nothing but lines is made of it.

    Raises:
        BadInput: it is not one, or too large.
    """
    again = "; mend it, or start from its last good copy"
    if len(text) > MAX_CHARACTERS:
        raise BadInput(f"log: longer than {MAX_CHARACTERS} characters{again}", "log")
    try:
        _keep_within_limits(text)
        found = yaml.load(text, Loader=yaml.CBaseLoader)  # makes texts, lists and mappings, nothing else
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        where = f" in line {mark.line + 1}" if mark else ""
        raise BadInput(f"log: not readable as YAML{where}{again}", "log") from error
    known = ("symptomtree-bracketing", "bike", "trail", "dials", "runs")
    if not isinstance(found, dict) or found.get(known[0]) != "1":
        raise BadInput(f"log: its first line should be 'symptomtree-bracketing: 1'{again}", "log")
    if strange := [key for key in found if key not in known]:
        raise BadInput(f"log: it has no '{str(strange[0])[:40]}', only {', '.join(known)}{again}", "log")
    texts = {key: found.get(key, "") for key in ("bike", "trail")}
    lists = {key: found.get(key, []) or [] for key in ("dials", "runs")}
    if not all(isinstance(v, str) for v in texts.values()):
        raise BadInput(f"log: 'bike' and 'trail' are a line of text each{again}", "log")
    if not all(isinstance(v, list) and all(isinstance(line, str) for line in v) for v in lists.values()):
        raise BadInput(f"log: 'dials' and 'runs' are lists of lines{again}", "log")
    return read_runs(Log(dials=read_dials(lists["dials"]), **texts), lists["runs"])


def _keep_within_limits(text: str) -> None:
    """Look at the events before anything is made: aliases can explode, and nesting too deep stops the program."""
    depth = 0
    for values, event in enumerate(yaml.parse(text, Loader=yaml.CSafeLoader)):
        depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
        if isinstance(event, yaml.AliasEvent) or getattr(event, "tag", None):
            raise BadInput("log: it has an alias (*name) or a tag (!name); write the value out", "log")
        if depth > MAX_DEPTH or values > MAX_VALUES:
            raise BadInput("log: it holds more than the dials and runs of one bike on one trail; split it", "log")
