"""The rules read plainly, without the rule engine: what the engine concludes is held against this."""

from collections.abc import Mapping, Sequence

from symptomtree.cases.model import Answer, AnyEvent, Context, FixDone, Reading
from symptomtree.kb.compile import KnowledgeBase, grade_of
from symptomtree.kb.model import Condition, Observable, Rule

Item = tuple[str, str, str | float]
"""(kind, name, value) of something told: a fact, a finding, a reading, or a fix done."""


def items_of(kb: KnowledgeBase, event: AnyEvent) -> list[Item]:
    """Return what one event tells."""
    match event:
        case Context(fact=fact, value=value):
            return [("fact", fact, value)]
        case Answer(finding=finding, grade=grade):
            return [("finding", finding, grade)]
        case Reading(finding=finding, value=number):
            known = kb.findings[finding]
            assert isinstance(known, Observable)
            assert known.reading
            grade = grade_of(known.reading, list(known.grades), number)
            return [("finding", finding, grade), ("reading", finding, number)]
        case FixDone(fix=fix):
            return [("done", fix, "")]
        case _:
            return []


def closure(kb: KnowledgeBase, told: Mapping[Item, int]) -> tuple[dict[Item, int], dict[str, int]]:
    """Return everything told or implied, and every rule that holds; each with the latest event that it rests on."""
    items, fired = dict(told), dict[str, int]()
    while True:
        before = dict(items)
        about: dict[tuple[str, str], list[tuple[str | float, int]]] = {}
        for (kind, name, value), at in items.items():
            about.setdefault((kind, name), []).append((value, at))
        for rule_id, rule in kb.entries.rules.items():
            latest = _since(kb, rule, about)
            if latest is not None:
                fired[rule_id] = latest
                for target, value in rule.implies.items():
                    item = ("fact" if target in kb.entries.facts else "finding", target, value)
                    items[item] = max(items.get(item, 0), latest)
        if items == before:
            return items, fired


def _since(kb: KnowledgeBase, rule: Rule, about: Mapping[tuple[str, str], list[tuple[str | float, int]]]) -> int | None:
    """Return since which event a rule holds, None when it does not."""
    latest = 0
    for condition in rule.when:  # most rules fail at their first, so the rest is not looked at
        at = _latest(kb, condition, about)
        if at is None:
            return None
        latest = max(latest, at)
    return latest


def _latest(
    kb: KnowledgeBase, condition: Condition, about: Mapping[tuple[str, str], list[tuple[str | float, int]]]
) -> int | None:
    """Return the latest event that meets a condition, None when none does."""
    kind = next(k for k in ("fact", "finding", "reading", "done") if getattr(condition, k))
    name = getattr(condition, kind)
    return max((at for value, at in about.get((kind, name), ()) if _meets(kb, condition, name, value)), default=None)


def _meets(kb: KnowledgeBase, condition: Condition, name: str, value: str | float) -> bool:
    if isinstance(value, float):
        over = condition.above is None or value > condition.above
        return over and (condition.below is None or value < condition.below)
    if condition.at_least:
        grades = kb.grades(name)
        if grades.index(value) < grades.index(condition.at_least):
            return False
    return not condition.any_of or value in condition.any_of


def _can_be(observable: Observable, facts: Mapping[str, str]) -> bool:
    """Return whether a finding can be on a bike of which these facts are known."""
    return all(facts.get(fact, values[0]) in values for fact, values in observable.applies_to.items())


def stops(kb: KnowledgeBase, events: Sequence[AnyEvent]) -> set[str]:
    """Return the rules whose stop must stand after these events: they hold, and their check has not cleared them since.

    Args:
        events: without corrections.
    """
    told: dict[Item, int] = {}
    last: dict[str, tuple[int, str]] = {}
    for at, event in enumerate(events, start=1):
        for item in items_of(kb, event):
            told[item] = at
            if item[0] == "finding":
                last[item[1]] = (at, str(item[2]))
    standing = set()
    items, fired = closure(kb, told)
    facts: dict[str, str] = {}
    for (kind, name, value), _ in sorted(items.items(), key=lambda x: x[1]):
        if kind == "fact":
            facts[name] = str(value)
    for name, since in fired.items():
        if stop := kb.entries.rules[name].stop_riding:
            here = [f for f, o in kb.entries.checks[stop.until].settles.items() if _can_be(o, facts)]
            looks = [(*last.get(f, (0, "")), kb.grades(f)[0]) for f in here]
            if not looks or any(at <= since or grade != normal for at, grade, normal in looks):
                standing.add(name)
    return standing
