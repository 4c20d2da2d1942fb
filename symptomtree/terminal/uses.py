"""Which cases have to do with an entry of the knowledge: walkthroughs that ship, and cases of one's own."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from symptomtree.cases.files import BadCase
from symptomtree.cases.model import Case
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.nodes import read_struct

NEWEST = 50
"""So many of the newest cases of one's own are looked at."""


@dataclass(frozen=True)
class Cases:
    """What was read.

    Attributes:
        walkthroughs, kept: name of the file -> the case.
        unreadable: how many files could not be read.
    """

    walkthroughs: dict[str, Case]
    kept: dict[str, Case]
    unreadable: int


def read_cases(walkthroughs: Sequence[Path], kept: Sequence[Path]) -> Cases:
    """Read case files as they are; whether they fit the knowledge is no matter here."""
    found = Cases({}, {}, 0)
    unreadable = 0
    for cases, paths in ((found.walkthroughs, walkthroughs), (found.kept, kept[:NEWEST])):
        for path in paths:
            try:
                case, builder = read_struct(path, Case, BadCase, "a case file")
            except BadCase:
                unreadable += 1
                continue
            if builder.problems:
                unreadable += 1
            else:
                cases[path.stem] = case
    return replace(found, unreadable=unreadable)


def uses(kb: KnowledgeBase, name: str, cases: Cases) -> Iterator[str]:
    """Yield the cases that have to do with an entry.

    A walkthrough says what was wrong. A case of one's own only says what was found and done, so it counts for a cause
    when a fix of that cause was done.
    """
    wanted = {name, *getattr(kb.entries.checks.get(name), "settles", ())}
    told = {n: c for n, c in cases.walkthroughs.items() if wanted & _named(c)}
    if told:
        yield "Walkthroughs:"
        yield from (f"  - {case.title} ({n}){_other(case, name)}" for n, case in told.items())
    wanted |= set(getattr(kb.entries.causes.get(name), "fixes", ()))
    own = {n: c for n, c in cases.kept.items() if wanted & _named(c)}
    if own:
        yield f"Your own cases (of the newest {NEWEST}):"
        yield from (f"  - {case.title} ({n})" for n, case in own.items())
    if cases.unreadable:
        yield f"Case files that cannot be read, and were left out: {cases.unreadable}"


def _other(case: Case, name: str) -> str:
    return ": not the cause, but an expert would accept it" if case.known and name in case.known.also_accept else ""


def _named(case: Case) -> set[str]:
    """Return every id that a case names."""
    found = {getattr(e, field, None) for e in case.events for field in ("finding", "fact", "fix", "about", "access")}
    if case.known:
        found |= {case.known.cause, *case.known.also_accept, case.known.fix}
    return {name for name in found if name}
