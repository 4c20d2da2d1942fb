"""An assessment in plain lines, for `replay` and for the standing of a dialogue."""

from collections.abc import Iterator

from symptomtree.reasoning.assess import Assessment, Standing
from symptomtree.reasoning.planning import Step


def report(title: str, a: Assessment, causes: int = 6, steps: int = 5) -> Iterator[str]:
    """Yield the lines of a report: safety first, then what is likely and why, then what to do."""
    kb = a.knowledge
    yield title
    yield from safety(a)
    yield ""
    yield from found(a)
    yield ""
    yield from standing(a, causes)
    for cause in a.causes[:1]:
        yield from evidence(a, cause)
    if len(a.causes) > 1:
        first, second = a.causes[0].cause, a.causes[1].cause
        for finding, grade in a.would_change(first, second)[:2]:
            words = kb.findings[finding].grades[grade]
            yield f"  It would be {kb.name_of(second)} instead if: {kb.findings[finding].ask} {words}"
    yield ""
    if a.due:
        yield "Now look again (a fix was done):"
        yield from (f"  {kb.findings[f].ask}" for f in a.due)
    if a.follow:
        yield "Still to be done because of the work so far:"
        yield from (f"  {kb.name_of(name)}" for name in a.follow)
    yield "Next steps, cheapest way to a fixed bike first (money in the unit of your rate):"
    yield from (f"  {line(a, step)}" for step in a.steps[:steps])


def safety(a: Assessment) -> Iterator[str]:
    """Yield what must be read first."""
    kb = a.knowledge
    for stop in a.standing_stops:
        yield f"STOP RIDING: {stop.because} Until this is in order: {kb.name_of(stop.until)}."
    for warning in a.warnings:
        cause = kb.entries.causes[warning.cause]
        yield f"DO NOT RIDE BEFORE THIS IS SETTLED ({warning.words}): {cause.name}. {cause.danger_because or ''}".rstrip()
    for contradiction in a.contradictions:
        numbers = ", ".join(str(n) for n in contradiction.numbers)
        yield f"THIS DOES NOT FIT TOGETHER: {contradiction.because} (answers {numbers})"
    for c in a.conclusions:
        if c.kind == "hand-over":
            yield f"HAND OVER: {c.because}"


def found(a: Assessment) -> Iterator[str]:
    """Yield what was told and found."""
    kb = a.knowledge
    yield "Told and found:"
    for fact, (value, _) in a.state.facts.items():
        yield f"  {kb.entries.facts[fact].ask} {kb.entries.facts[fact].values[value]}"
    for finding, looks in a.state.seen.items():
        look = looks[-1]
        known = kb.findings[finding]
        measured = f" ({look.value:g} {_unit(a, finding)})" if look.value is not None else ""
        again = f" (before the work: {known.grades[looks[0].grade]})" if len(looks) > 1 else ""
        yield f"  {known.ask} {known.grades[look.grade]}{measured}{again}"
    for fix, _ in a.state.fixes:
        yield f"  Done: {kb.name_of(fix)}"


def _unit(a: Assessment, finding: str) -> str:
    reading = getattr(a.knowledge.findings[finding], "reading", None)
    return reading.unit if reading else ""


def standing(a: Assessment, causes: int = 6) -> Iterator[str]:
    """Yield how the causes stand, and the likeliest sets when more than one fault is likely."""
    kb = a.knowledge
    yield "What it may be (several can be true at once):"
    for cause in a.causes[:causes]:
        if cause.probability >= 0.005:
            yield f"  {cause.probability:4.0%}  {kb.name_of(cause.cause)} ({cause.words})"
    if not a.causes:
        yield "  nothing yet: no finding so far is out of order"
    several = [(s, p) for s, p in a.sets if len(s) > 1]
    for causes_together, p in several[:2]:
        yield f"  {p:4.0%}  together: {'; '.join(kb.name_of(c) for c in causes_together)}"
    if a.error:
        yield f"  (so much is wrong at once that these figures are estimates, off by at most {a.error:.0%})"


def evidence(a: Assessment, cause: Standing) -> Iterator[str]:
    """Yield what speaks for and against a cause."""
    kb = a.knowledge
    weighed = a.evidence_for(cause.cause)
    for sign, word in ((1, "for"), (-1, "against")):
        parts = [f for f, x in weighed if x * sign > 0.1][:4]
        if parts:
            yield f"  What speaks {word} {kb.name_of(cause.cause)}:"
            yield from (f"    {kb.findings[f].ask} {kb.findings[f].grades[a.state.grade(f) or '']}" for f in parts)


def line(a: Assessment, step: Step) -> str:
    """Return one line about a step."""
    kb = a.knowledge
    verbs = {"fact": "Ask", "ask": "Ask", "question": "Ask", "check": "Check", "fix": "Fix", "hand-over": "Hand over"}
    name = kb.asks(step.name) if step.name else "to a workshop"
    return f"{verbs[step.doing]}: {name} ({step.minutes:.0f} min, expected {step.total:.0f} in all)"
