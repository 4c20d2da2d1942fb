"""An assessment in plain lines, for `replay` and for the standing of a dialogue."""

from collections.abc import Iterator

from symptomtree.plain import show
from symptomtree.plain.text import clean
from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.planning import Step


def report(title: str, a: Assessment, causes: int = 6, steps: int = 5) -> Iterator[str]:
    """Yield the lines of a report: safety first, then what is likely and why, then what to do."""
    kb = a.knowledge
    yield clean(title)  # a case file is not always ours: no line of it may look like one of the program's
    yield from safety(a)
    yield ""
    yield from found(a)
    yield ""
    yield from show.standing(a, causes)
    for cause in a.causes[:1]:
        yield from show.evidence(a, cause.cause)
    if len(a.causes) > 1:
        first, second = a.causes[0].cause, a.causes[1].cause
        for finding, grade in a.would_change(first, second)[:2]:
            words = kb.findings[finding].grades[grade]
            yield f"  It would be {kb.name_of(second)} instead if: {kb.findings[finding].ask} {words}"
    yield ""
    if a.due:
        yield "Now look again (a fix was done):"
        yield from (f"  {kb.findings[f].ask}" for f in a.due)
    for rank in a.meanwhile:
        yield f"Before that, while it is open: {kb.name_of(rank.fix)} (chance that it is needed: {rank.needed:.0%})"
    if a.besides:
        yield "Came up besides, and is no part of the job:"
        yield from (f"  {show.told(a, f)}" for f in a.besides)
    if a.follow:
        yield "Still to be done because of the work so far:"
        yield from (f"  {kb.name_of(name)}" for name in a.follow)
    yield f"Next steps, cheapest way to a fixed bike first (costs in {show.money(a)}):"
    yield from (f"  {line(a, step)}" for step in a.steps[:steps])


def safety(a: Assessment) -> Iterator[str]:
    """Yield what must be read first."""
    kb = a.knowledge
    yield from show.stops(kb, a.standing_stops)
    yield from (show.warning(kb, warning.cause, warning.words) for warning in a.warnings)
    for contradiction in a.contradictions:
        numbers = ", ".join(str(n) for n in contradiction.numbers)
        yield f"This does not fit together: {contradiction.because} (events {numbers})"
    yield from (f"For a qualified workshop: {c.because}" for c in a.conclusions if c.kind == "hand-over")


def found(a: Assessment) -> Iterator[str]:
    """Yield what was told and found."""
    kb = a.knowledge
    yield "Told and found:"
    for fact, (value, _) in a.state.facts.items():
        yield f"  {kb.entries.facts[fact].ask} {kb.entries.facts[fact].values[value]}"
    for finding, looks in a.state.seen.items():
        again = f" (before the work: {kb.findings[finding].grades[looks[0].grade]})" if len(looks) > 1 else ""
        yield f"  {show.told(a, finding)}{again}"
    yield from (f"  Done: {kb.name_of(fix)}" for fix, _ in a.state.fixes)


def line(a: Assessment, step: Step) -> str:
    """Return one line about a step."""
    kb = a.knowledge
    verbs = {"fact": "Ask", "ask": "Ask", "question": "Ask", "check": "Check", "fix": "Fix", "hand-over": "Hand over"}
    name = kb.asks(step.name) if step.name else "to a workshop"
    return f"{verbs[step.doing]}: {name} ({step.minutes:.0f} min, expected {step.total:.0f} in all)"
