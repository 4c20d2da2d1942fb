"""Is every entry of use? One that nothing names, or that tells nothing, is a slip or work that was not finished."""

from collections import defaultdict
from collections.abc import Iterator, Mapping

import msgspec

from symptomtree.kb.model import Entries
from symptomtree.kb.nodes import Problem
from symptomtree.kb.vetting.desk import Desk, at_least

NAMED_BY: Mapping[str, tuple[str, ...]] = {
    "facts": ("applies_to", "raised_by", "lowered_by", "fact"),
    "access": ("access", "inside"),
    "tools": ("tools",),
    "hazards": ("hazards",),
    "parts": ("part", "inside"),
    "sources": ("source",),
}
"""section -> the fields in which other entries name one of it."""
FIELDS = frozenset(field for fields in NAMED_BY.values() for field in fields)

MOVES_FROM = 2.0
"""How many times as often as by itself a finding comes to a grade by the cause that makes it most."""


def nothing_is_left_over(desk: Desk) -> Iterator[Problem]:
    """A fact, access state, tool, hazard, part or source is there because some entry names it."""
    if not desk.whole:
        return
    used: dict[str, set[str]] = defaultdict(set)
    for section in Entries.__struct_fields__:
        for entry in getattr(desk.entries, section).values():
            for field, name in _named(entry):
                used[field].add(name)
    for section, fields in NAMED_BY.items():
        for name in getattr(desk.entries, section):
            if not any(name in used[field] for field in fields):
                yield desk.judge("K322", f"no entry names this one of the {section}", (name,), section, name)


def _named(value: object) -> Iterator[tuple[str, str]]:
    """Yield (field, id) of all ids that stand in fields by which entries name others, however deep."""
    if isinstance(value, msgspec.Struct):
        for field in value.__struct_fields__:
            inner = getattr(value, field)
            if field in FIELDS and inner:
                yield from ((field, name) for name in ([inner] if isinstance(inner, str) else inner))
            yield from _named(inner)
    elif isinstance(value, (dict, list)):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _named(inner)


def findings_speak(desk: Desk) -> Iterator[Problem]:
    """A grade that comes about as often by itself as by any cause tells nothing: its leak swallows the links."""
    if not desk.whole:
        return
    most: dict[str, list[float]] = {}
    for cause in desk.entries.causes.values():
        for finding, graded in cause.shows.items():
            if known := desk.findings.get(finding):
                often = at_least(graded, list(known.grades))
                most[finding] = [max(pair) for pair in zip(often, most.get(finding, often), strict=True)]
    for finding, often in most.items():
        known = desk.findings[finding]
        grades = list(known.grades)
        for grade, by_itself, by_cause in zip(grades[1:], at_least(known.leak, grades), often, strict=True):
            if 1 - (1 - by_itself) * (1 - by_cause) < MOVES_FROM * by_itself:
                text = (
                    f"{finding!r} comes to {grade!r} about as often for no reason ({by_itself:g}) as by any cause "
                    f"({by_cause:g} at most)"
                )
                yield desk.judge("K316", text, (finding,), *desk.path_of(finding), "leak")
