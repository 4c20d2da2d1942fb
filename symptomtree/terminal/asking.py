"""What can be asked back about a cause, as plain lines."""

from collections.abc import Iterator

from symptomtree.plain import show
from symptomtree.reasoning.assess import Assessment


def about_cause(a: Assessment, cause: str) -> Iterator[str]:
    """Yield the mechanism of a cause, the evidence, what would change the order, and its way through the knowledge."""
    kb = a.knowledge
    entry = kb.entries.causes[cause]
    standing = next(c for c in a.causes if c.cause == cause)
    yield f"{standing.words}, {standing.probability:.0%}"
    yield ""
    yield entry.mechanism
    if entry.danger_because:
        yield f"Caution: {entry.danger_because}"
    yield ""
    yield from show.evidence(a, cause)
    other = next((c.cause for c in a.causes if c.cause != cause), None)
    if other:
        first, second = (cause, other) if a.causes[0].cause == cause else (a.causes[0].cause, cause)
        changes = a.would_change(first, second)
        if changes:
            yield f"{kb.name_of(second)} would come before {kb.name_of(first)} if:"
            yield from (f"  - {kb.findings[f].ask} {kb.findings[f].grades[g]}" for f, g in changes)
    yield ""
    yield "How it hangs together:"
    yield from tree(a, cause)


def tree(a: Assessment, cause: str) -> Iterator[str]:
    """Yield symptom - cause - check - fix as a tree; what was seen is marked."""
    kb, entry = a.knowledge, a.knowledge.entries.causes[cause]
    for finding in entry.shows:
        if finding in kb.entries.symptoms:
            yield f"  {_seen(a, finding)} {kb.asks(finding)}"
    yield f"  └─ {kb.name_of(cause)}"
    for finding in entry.shows:
        check = kb.settled_by.get(finding)
        if check:
            yield f"     ├─ {_seen(a, finding)} {kb.name_of(check)}: {kb.findings[finding].ask}"
    for n, fix in enumerate(entry.fixes):
        yield f"     {'└' if n == len(entry.fixes) - 1 else '├'}─ fix: {kb.name_of(fix)}"


def _seen(a: Assessment, finding: str) -> str:
    grade = a.state.grade(finding)
    if grade is None:
        return "[ ]"
    return "[-]" if grade == a.knowledge.grades(finding)[0] else "[x]"
