"""Measuring tools in plain lines, and what a result means to a case."""

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

from symptomtree.cases.files import write_whole
from symptomtree.cases.model import BIKE, Answer, AnyEvent, Measured, Reading
from symptomtree.kb.model import Observable
from symptomtree.measuring.tool import BadInput, Field, Result, Tool, work
from symptomtree.measuring.tools import FAMILIES, NoSuchTool, tool_named
from symptomtree.plain.talk import Ended, Talk
from symptomtree.plain.text import clean

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase
    from symptomtree.plain.card import Card

WIDTH, HEIGHT = 76, 20
"""Cells of a picture in plain lines."""
LEAST_TAPS = 4
LOG = b"symptomtree-"
"""How the file of a log begins."""
MOST_CHOICES = 6
"""More than these are listed a line each."""


# What is there


def listed() -> Iterator[str]:
    """Yield the tools by family, a line each."""
    for title, tools in FAMILIES.values():
        yield title
        yield from (f"  {name}  {tool_named(name).title}" for name in tools)


def described(tool: Tool) -> Iterator[str]:
    """Yield what a tool needs, and how it is called."""
    yield f"{tool.title}"
    yield from tool.cautions
    yield tool.about
    yield "It takes:"
    for f in tool.fields:
        yield f"  {f.name}  {asked(f)}"
        if len(f.choices) > MOST_CHOICES:
            yield from (f"      {name}: {words}" for name, words in f.choices.items())
    yield "Like this:"
    yield f"  symptomtree measure {tool.name} {' '.join(_quoted(n, v) for n, v in tool.example.items())}"
    yield "Sources:"
    yield from (f"  - {source}" for source in tool.sources)


def asked(f: Field) -> str:
    """Return a field's question with what can be filled in."""
    can = f.unit if f.kind in ("number", "numbers", "taps") else ""
    if f.kind == "choice" and len(f.choices) > MOST_CHOICES:
        can = f"one of {len(f.choices)}"
    elif f.kind == "choice":
        can = "; ".join(f"{name}: {words}" for name, words in f.choices.items())
    notes = [can, "several" if f.kind == "numbers" else "", f"usually {f.usual}" if f.usual else ""]
    notes += ["may be left out"] if not f.needed else []
    told = ", ".join(n for n in notes if n)
    return f"{f.ask} ({told})" if told else f.ask


def _quoted(name: str, value: str) -> str:
    return f"{name}={value}" if value and all(c.isalnum() or c in ".,+-/" for c in value) else f'{name}="{value}"'


# What came out


def told(result: Result) -> Iterator[str]:
    """Yield cautions, then what came out, with its uncertainty, and what it means."""
    yield from result.cautions
    yield from figures(result)
    yield from result.says


def figures(result: Result) -> Iterator[str]:
    """Yield each number that came out."""
    yield from (v.shown for v in result.values)


def record(result: Result) -> dict[str, Any]:
    """Return a result as plain data for JSON; `error` is a standard uncertainty."""
    return {
        "tool": result.tool.name,
        "given": dict(result.given),
        "values": {v.name: {"value": v.number, "error": v.error, "unit": v.unit} for v in result.values},
        "says": list(result.says),
        "cautions": list(result.cautions),
        "sources": list(result.tool.sources),
    }


def sentence(error: BadInput) -> str:
    """Return what is wrong as a sentence."""
    said = str(error)
    return f"{said[:1].upper()}{said[1:]}{'' if said.endswith(('?', '.')) else '.'}"


# In a case


def tool_of(card: "Card") -> Tool | None:
    """Return the tool that works out what a card asks."""
    return tool_named(card.measures[0][1].tool) if card.measures else None


def events_of(kb: "KnowledgeBase", card: "Card | None", result: Result) -> tuple[AnyEvent, ...]:
    """Return what a result comes to: that it was measured, and a reading or answers for what the card asks.

    A number without an uncertainty of its own takes that of the knowledge; a share is how likely the worst grade is.
    """
    words = "; ".join([*figures(result), *result.says])[:900]
    events: list[AnyEvent] = [Measured(tool=result.tool.name, given=dict(result.given), says=clean(words) or "nothing")]
    for finding, measure in card.measures if card and tool_of(card) is result.tool else ():
        found = [v for v in map(result.value, measure.values) if v]
        if len(found) < len(measure.values):
            continue
        number = sum(v.number for v in found)
        known = kb.findings[finding]
        if isinstance(known, Observable) and known.reading:
            events.append(Reading(finding=finding, value=number, error=found[0].error or None))
        else:
            normal, worst = next(iter(known.grades)), list(known.grades)[-1]
            share = min(max(number, 0.01), 0.99)
            events.append(Answer(finding=finding, grade=worst if share >= 0.5 else normal, sure=max(share, 1 - share)))
    return tuple(events)


def filled_in(tool: Tool, events: Sequence[AnyEvent], card: "Card | None" = None) -> dict[str, str]:
    """Return what stands in a tool's fields from the start: a bike's figures, and what goes with what is asked."""
    known = lasting_figures(events)
    if card and tool_of(card) is tool:
        known |= card.measures[0][1].given
    return {f.name: known[f.name] for f in tool.fields if f.name in known}


def lasting_figures(events: Sequence[AnyEvent]) -> dict[str, str]:
    """Return what stays true of the bike, the latest of each; what is measured now is not carried over."""
    known: dict[str, str] = {}
    for event in events:
        if isinstance(event, Measured):
            lasting = set(event.given) if event.tool == BIKE else _lasting(event.tool)
            known |= {name: text for name, text in event.given.items() if name in lasting}
    return known


def bike_figures(figures: Mapping[str, str]) -> Measured:
    """Return the event that tells a case the figures that were kept with its bike."""
    return Measured(tool=BIKE, given=dict(figures), says="the figures kept with the bike")


def _lasting(name: str) -> set[str]:
    try:
        return {f.name for f in tool_named(name).fields if f.lasting}
    except NoSuchTool:  # a case may be older than the tools
        return set()


# Line by line


def run(talk: Talk, tool: Tool, typed: Mapping[str, str]) -> Result | None:
    """Ask for what is missing, a line each, work it out and tell it; None when the person leaves."""
    talk.say(tool.title, *tool.cautions, tool.about, "An empty line takes what stands in brackets; stop leaves.")
    given = dict(typed)
    fields = list(tool.fields)
    while fields:
        f = fields.pop(0)
        line = _fill(talk, f, given.get(f.name, ""))
        if line is None:
            return None
        given[f.name] = line
        if fields:
            continue
        try:
            result = work(tool, given)
        except BadInput as error:
            talk.say(sentence(error))
            fields = [f for f in tool.fields if f.name == error.field] or list(tool.fields)
            given.update({f.name: "" for f in fields})
        else:
            talk.say("", *figures(result), *result.says)
            draw(talk, result)
            return result
    return None


def draw(talk: Talk, result: Result) -> None:
    """Show the picture, if there is one."""
    if result.picture:
        for row in result.picture(WIDTH, HEIGHT):
            talk.draw(row)


def _fill(talk: Talk, f: Field, known: str) -> str | None:
    """Ask for one field; None when the person leaves."""
    stands = known or f.usual
    if len(f.choices) > MOST_CHOICES:
        talk.say(*(f"  {name}: {words}" for name, words in f.choices.items()))
    talk.say(f"{asked(f)}{f' [{stands}]' if stands else ''}")
    if f.kind == "taps":
        return tapped(talk)
    line = talk.read()
    if line.casefold() in ("stop", "quit", "back"):
        return None
    return line or stands


def tapped(talk: Talk) -> str | None:
    """Return the times at which Enter was pressed, in seconds; "" for none, None when the person leaves."""
    talk.say("Press Enter in time with it, then type done; or skip. At least four times, better twelve.")
    begun = monotonic()
    times: list[float] = []
    while True:
        line = talk.read().casefold()
        if line in ("stop", "quit", "back"):
            return None
        if line == "skip" or (line == "done" and not times):
            return ""
        if line and line != "done":
            return line  # typed instead
        if not line:
            times.append(monotonic() - begun)
        elif len(times) >= LEAST_TAPS:
            return " ".join(f"{t:.3f}" for t in times)
        else:
            talk.say(f"Only {len(times)} so far: press Enter a few times more, or type skip.")


def keep_log(result: Result, path: Path) -> None:
    """Write the file that keeps what was filled in, in one move: a cut-off write leaves it as it was.

    Raises:
        BadInput: it cannot be written, or would not be a log.
    """
    if not result.log:
        raise BadInput(f"{result.tool.name} keeps no log; leave --keep out")
    if path.exists() and not _is_log(path):
        raise BadInput(f"{str(path)[:80]} is there already and is no log; name another file")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, result.log)
    except OSError as error:
        raise BadInput(f"{str(path)[:80]} cannot be written: {error.strerror or error}; name another file") from error


def _is_log(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(LOG)) == LOG
    except OSError:
        return False


def measure(name: str | None, given: Sequence[str], ask: bool, as_json: bool, keep: Path | None) -> int:
    """Run one tool from the command line, or tell what there is. Returns the exit code.

    Args:
        name: of the tool; None lists them.
        given: 'field=value' each.
        ask: ask for the fields line by line.
        as_json: print the result as JSON.
        keep: the file to keep the tool's log in.

    Raises:
        NoSuchTool: there is none of that name.
        BadInput: what was given cannot be used.
    """
    talk = Talk()
    if name is None:
        talk.say(*listed(), "", "symptomtree measure NAME says what a tool needs.")
        return 0
    tool = tool_named(name)
    typed = dict(_pair(tool, text) for text in given)
    if ask:
        try:
            return 0 if run(talk, tool, typed) else 2
        except Ended:
            return 2
    if not typed:
        talk.say(*described(tool))
        return 0
    result = work(tool, typed)
    if keep:
        keep_log(result, keep)
    if as_json:
        print(json.dumps(record(result), indent=2))
    else:
        talk.say(*told(result))
        draw(talk, result)
    return 0


def _pair(tool: Tool, text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        raise BadInput(
            f"'{clean(text)[:40]}' is no FIELD=VALUE; the fields are {', '.join(f.name for f in tool.fields)}"
        )
    return name.strip(), value.strip()
