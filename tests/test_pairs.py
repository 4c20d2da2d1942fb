"""For each cause with a walkthrough: a case that it must win, and a neighbour's case that it must lose.

Neighbours are what the knowledge says a cause is confused with, said at either of the two, and causes that make at
least half of what it makes. A neighbour's case is a walkthrough, a published case or one of `pairs/` in which a symptom
that both make was found, and whose facts leave the cause possible: it has to lose by what was found, not because such a
bike could never have it. Cases in `pairs/` are ours: what a bike with that fault would show, never what the program
said of it.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from symptomtree.cases.files import BadCase, case_problems, read_case
from symptomtree.cases.model import Case
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.nodes import read_struct
from symptomtree.kb.shipped import shipped
from symptomtree.reasoning.assess import Adviser, Assessment
from symptomtree.reasoning.context import prior_in_context

HERE = Path(__file__).parent
TOLD = sorted(shipped("walkthroughs").glob("*.yaml"))
REAL = sorted((HERE / "real_cases").glob("*.yaml"))
PAIRS = sorted((HERE / "pairs").glob("*.yaml"))
each_told = pytest.mark.parametrize("name", [path.stem for path in TOLD])

Worked = dict[str, tuple[Case, Assessment]]


def neighbours_cases(path: Path, kb: KnowledgeBase) -> dict[str, Case]:
    """Read a file of `pairs/`: a name for each case."""
    cases, builder = read_struct(path, dict[str, Case], BadCase, "a file of neighbours' cases")
    problems = [*builder.problems, *(p for case in cases.values() for p in case_problems(case, kb, builder))]
    assert not problems, "\n".join(str(p) for p in problems)
    return cases


@pytest.fixture(scope="module")
def worked(adviser: Adviser) -> Worked:
    """Return every case with its assessment after all events."""
    kb = adviser.knowledge
    cases = {path.stem: read_case(path, kb) for path in TOLD + REAL}
    for path in PAIRS:
        written = neighbours_cases(path, kb)
        assert not cases.keys() & written.keys(), f"{path}: a name that another case has"
        cases |= written
    return {name: (case, adviser.assess(case.events)) for name, case in cases.items()}


def chances(a: Assessment) -> dict[str, float]:
    """Return each cause's chance to have been there at any time, the likeliest first: a fix may have ended it."""
    return {s.cause: s.ever for s in sorted(a.causes, key=lambda s: -s.ever)}


def makes(kb: KnowledgeBase, cause: str) -> frozenset[str]:
    return frozenset(kb.finding_ids[f] for f in np.flatnonzero(kb.reach[kb.row[cause], :, 0] < 1))


def confused(kb: KnowledgeBase, cause: str) -> set[str]:
    causes = kb.entries.causes
    return {*causes[cause].confused_with, *(c for c in causes if cause in causes[c].confused_with)}


def alike(kb: KnowledgeBase, cause: str) -> set[str]:
    own = makes(kb, cause)
    return {c for c in kb.cause_ids if c != cause and 2 * len(own & makes(kb, c)) >= len(own)}


def to_lose(worked: Worked, kb: KnowledgeBase, cause: str) -> Iterator[tuple[str, str]]:
    """Yield (case, neighbour) that the cause must lose."""
    near = confused(kb, cause) | alike(kb, cause)
    for name, (case, a) in worked.items():
        assert case.known is not None
        other = case.known.cause
        if other not in near or cause in case.known.also_accept:
            continue
        seen = {f for f, looks in a.state.seen.items() if any(s.grade != kb.grades(f)[0] for s in looks)}
        both = seen & makes(kb, cause) & makes(kb, other) & kb.entries.symptoms.keys()
        if both and prior_in_context(kb, a.facts)[kb.row[cause]] > 0:
            yield name, other


@each_told
def test_a_cause_wins_its_own_case(worked: Worked, name: str) -> None:
    """The cause itself, not one that is accepted for it, is as high as the walkthrough says."""
    case, a = worked[name]
    assert case.known is not None
    assert case.known.cause in list(chances(a))[: case.known.within]


@each_told
def test_a_cause_loses_its_neighbours_cases(worked: Worked, adviser: Adviser, name: str) -> None:
    """It is not first there, and stands below the neighbour whose case it is."""
    known = worked[name][0].known
    assert known is not None
    for other_name, neighbour in to_lose(worked, adviser.knowledge, known.cause):
        found = chances(worked[other_name][1])
        assert next(iter(found)) != known.cause, other_name
        assert found.get(known.cause, 0.0) < found[neighbour], other_name


def test_no_cause_with_a_walkthrough_is_without_a_pair(worked: Worked, adviser: Adviser) -> None:
    """One of the cases that it must lose is that of a cause with which the knowledge says it is confused."""
    kb, bare = adviser.knowledge, {}
    for path in TOLD:
        known = worked[path.stem][0].known
        assert known is not None
        near = confused(kb, known.cause)
        if not any(neighbour in near for _, neighbour in to_lose(worked, kb, known.cause)):
            bare[known.cause] = sorted(near)
    assert not bare, f"write a case under tests/pairs/ in which one of its neighbours is what is wrong: {bare}"


@pytest.mark.parametrize("path", PAIRS, ids=lambda p: p.stem)
def test_a_neighbour_wins_its_own_case(worked: Worked, adviser: Adviser, path: Path) -> None:
    """It is first, and where its case says so the rider is told not to ride or warned."""
    for name in neighbours_cases(path, adviser.knowledge):
        case, a = worked[name]
        assert case.known is not None
        assert next(iter(chances(a))) == case.known.cause, name
        assert a.stops or a.warnings or not case.known.stop_riding, name
