"""From entries to what reasoning works on: one immutable knowledge base, its numbers in frozen arrays."""

import gc
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from math import erf, sqrt
from pathlib import Path as FilePath

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_path

from symptomtree.kb import scale
from symptomtree.kb.kept import keep, kept_name, read_kept
from symptomtree.kb.load import digest_of, read, read_bytes
from symptomtree.kb.model import Cause, Entries, Factor, Graded, Number, Observable, Reading, Strength, Symptom, Times
from symptomtree.kb.nodes import Problem
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vetting.desk import findings_of, needs_of

Array = NDArray[np.float64]
ByValue = tuple[NDArray[np.int64], Mapping[str, Array]]
"""The rows of R causes, and for each value of a fact (R,) what it says of them."""


class Faulty(Exception):
    """The knowledge has problems; it is not used until they are put right."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(p) for p in problems))


@dataclass(frozen=True)
class KnowledgeBase:
    """Everything known, ready to reason with. C causes, F findings, G the greatest number of grades.

    Attributes:
        entries: as written.
        digest: sha256 of the sources; bug reports and case files quote it.
        cause_ids, finding_ids: sorted, so that equal sources compile to equal arrays.
        prior: (C,) how common each cause is when nothing is known of the bike.
        reach: (C, F, G) P(finding <= grade | this cause alone); 1 where it does nothing, and past the last grade.
        leak: (F, G) the same for no listed reason.
    """

    entries: Entries = field(repr=False)
    digest: str
    cause_ids: tuple[str, ...] = field(repr=False)
    finding_ids: tuple[str, ...] = field(repr=False)
    prior: Array = field(repr=False)
    reach: Array = field(repr=False)
    leak: Array = field(repr=False)

    @cached_property
    def findings(self) -> Mapping[str, Symptom | Observable]:
        """finding id -> what it is."""
        return findings_of(self.entries)

    @cached_property
    def row(self) -> Mapping[str, int]:
        """cause id -> its row."""
        return {name: n for n, name in enumerate(self.cause_ids)}

    @cached_property
    def column(self) -> Mapping[str, int]:
        """finding id -> its column."""
        return {name: n for n, name in enumerate(self.finding_ids)}

    @cached_property
    def settled_by(self) -> Mapping[str, str]:
        """finding id -> the check that settles it; symptoms are not in it."""
        return {finding: check for check, entry in self.entries.checks.items() for finding in entry.settles}

    @cached_property
    def set_by(self) -> Mapping[str, str]:
        """symptom id -> the question that tells of it together with others."""
        questions = self.entries.questions.items()
        return {f: q for q, entry in questions for answer in entry.answers.values() for f in answer.sets}

    @cached_property
    def needs(self) -> Mapping[str, Mapping[str, frozenset[str]]]:
        """cause id -> fact -> values it can exist with, its own and those of all parts around it."""
        return {name: needs_of(self.entries, c.applies_to, c.part) for name, c in self.entries.causes.items()}

    @cached_property
    def changed_by(self) -> Mapping[str, ByValue]:
        """fact -> the causes whose odds it changes, and the factor on these."""
        causes = [self.entries.causes[name] for name in self.cause_ids]
        rows = _rows_by_fact(cause.raised_by.keys() | cause.lowered_by.keys() for cause in causes)
        return {
            fact: (
                np.array(rows[fact]),
                {value: np.array([_factor(causes[r], fact, value) for r in rows[fact]]) for value in entry.values},
            )
            for fact, entry in self.entries.facts.items()
            if fact in rows
        }

    @cached_property
    def needed_by(self) -> Mapping[str, ByValue]:
        """fact -> the causes that not every value of it allows, and 1 where they can be, 0 where not.

        The value "" stands for not known: the share of bikes on which they can be.
        """
        needs = [self.needs[name] for name in self.cause_ids]
        rows = _rows_by_fact(needs)
        out = {}
        for fact, entry in self.entries.facts.items():
            if fact in rows:
                can = {v: np.array([float(v in needs[r][fact]) for r in rows[fact]]) for v in entry.values}
                can[""] = np.sum([entry.share[value] * may_be for value, may_be in can.items()], axis=0)
                out[fact] = np.array(rows[fact]), can
        return out

    @cached_property
    def may_be(self) -> Array:
        """(C,) the share of bikes on which each cause can be."""
        share = np.ones(len(self.cause_ids))
        for rows, allowed in self.needed_by.values():
            share[rows] *= allowed[""]
        return share

    @cached_property
    def links(self) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
        """(L,) rows and (L,) columns of the mechanisms, by column, and (L, G) what `reach` lacks to 1 there."""
        columns, rows = np.nonzero(self.reach[:, :, 0].T < 1)
        return rows, columns, 1 - self.reach[rows, columns]

    @cached_property
    def fixed_by(self) -> Mapping[str, tuple[str, ...]]:
        """fix id -> the causes that it removes, sorted."""
        found: dict[str, list[str]] = {name: [] for name in self.entries.fixes}
        for cause in self.cause_ids:
            for fix in self.entries.causes[cause].fixes:
                found[fix].append(cause)
        return {fix: tuple(causes) for fix, causes in found.items()}

    def name_of(self, name: str) -> str:
        """Return the plain name of any entry or finding; the id itself when it has none."""
        for section in Entries.__struct_fields__:
            if entry := getattr(self.entries, section).get(name):
                return str(getattr(entry, "name", None) or getattr(entry, "ask", None) or getattr(entry, "title", name))
        finding = self.findings.get(name)
        return finding.ask if finding else name

    def asks(self, name: str) -> str:
        """Return the question of a fact, symptom or question; the plain name of anything else."""
        for section in (self.entries.facts, self.entries.symptoms, self.entries.questions):
            if name in section:
                return section[name].ask
        return self.name_of(name)

    def grades(self, finding: str) -> list[str]:
        """Return the grades of a finding, normal first."""
        return list(self.findings[finding].grades)


def compile_entries(entries: Entries, digest: str) -> KnowledgeBase:
    """Turn vetted entries into a knowledge base.

    Raises:
        KeyError: the entries were not vetted.
    """
    causes = tuple(sorted(entries.causes))
    findings = findings_of(entries)
    finding_ids = tuple(sorted(findings))
    most = max((len(f.grades) for f in findings.values()), default=2)
    column = {name: n for n, name in enumerate(finding_ids)}
    prior = np.array([probability(entries.causes[c].common) for c in causes])
    reach = np.ones((len(causes), len(finding_ids), most))
    for row, cause in enumerate(causes):
        for finding, graded in entries.causes[cause].shows.items():
            reach[row, column[finding]] = cumulative(graded, list(findings[finding].grades), most)
    leak = np.ones((len(finding_ids), most))
    for n, finding in enumerate(finding_ids):
        leak[n] = cumulative(findings[finding].leak, list(findings[finding].grades), most)
    for array in (prior, reach, leak):
        array.flags.writeable = False
    return KnowledgeBase(entries, digest, causes, finding_ids, prior, reach, leak)


def probability(strength: Strength) -> float:
    """Return the number of a word or of a number with its source."""
    return strength.p if isinstance(strength, Number) else scale.PROBABILITY[strength]


def odds_factor(factor: Factor) -> float:
    """Return the factor on odds of a word or of a number with its source."""
    return factor.times if isinstance(factor, Times) else scale.ODDS_FACTOR[factor]


def _rows_by_fact(facts: Iterable[Iterable[str]]) -> dict[str, list[int]]:
    """Return fact -> the rows of the causes that name it, from the facts that each cause names."""
    rows: dict[str, list[int]] = {}
    for row, named in enumerate(facts):
        for fact in named:
            rows.setdefault(fact, []).append(row)
    return rows


def _factor(cause: Cause, fact: str, value: str) -> float:
    """Return what a value of a fact does to the odds of a cause."""
    raised, lowered = cause.raised_by.get(fact, {}).get(value), cause.lowered_by.get(fact, {}).get(value)
    return (odds_factor(raised) if raised else 1.0) / (odds_factor(lowered) if lowered else 1.0)


def cumulative(graded: Graded, grades: list[str], most: int) -> Array:
    """Return (most,) P(level <= g) from chances of 'at least this grade'."""
    named = graded if isinstance(graded, dict) else {grades[1]: graded}
    at_least = np.zeros(most + 1)
    at_least[0] = 1.0
    known = 0.0
    for g in range(len(grades) - 1, 0, -1):  # a grade left out takes the chance of the next named one above it
        if grades[g] in named:
            known = probability(named[grades[g]])
        at_least[g] = known
    out: Array = 1.0 - at_least[1:]
    return out


def reading_weights(reading: Reading, grades: list[str], value: float, error: float | None, most: int) -> Array:
    """Return (most,) how likely the gauge's number is in each grade: the share of its error band there.

    The true value is taken as normal around the reading with the gauge's standard uncertainty (JCGM 100:2008, "Guide
    to the expression of uncertainty in measurement", with a flat prior over the band).
    """
    limits = [reading.limits[g] for g in grades[1:]]
    spread = error or reading.error
    below = [0.5 * (1 + erf((limit - value) / (spread * sqrt(2)))) for limit in limits]
    if reading.worse == "below":
        below = [1 - b for b in below]
    edges = [1.0, *(1 - b for b in below), 0.0]  # P(at least grade g)
    out = np.zeros(most)
    out[: len(grades)] = [edges[g] - edges[g + 1] for g in range(len(grades))]
    return np.maximum(out, 0.0)


def grade_of(reading: Reading, grades: list[str], value: float) -> str:
    """Return the grade that the number itself falls in."""
    found = grades[0]
    for grade in grades[1:]:
        limit = reading.limits[grade]
        if (value >= limit) if reading.worse == "above" else (value <= limit):
            found = grade
    return found


def open_knowledge(folder: FilePath | None = None) -> KnowledgeBase:
    """Read, vet and compile a folder (default: the knowledge that ships).

    Vetted entries are kept in the user's cache folder, and a wheel brings those of what ships; so a start reads one
    file (see `kept`).

    Raises:
        Unreadable: the folder cannot be read.
        Faulty: the knowledge has problems.
    """
    with _kept_for_good():
        folder = folder or shipped("knowledge")
        files = read_bytes(folder)
        digest = digest_of(files)
        name = kept_name(digest)
        cache = user_cache_path("symptomtree") / name
        entries = read_kept(shipped("vetted") / name) or read_kept(cache)
        if entries is None:
            from symptomtree.kb.vet import vet  # noqa: PLC0415 - only what is new is vetted

            draft = read(files, folder)
            if problems := vet(draft):
                raise Faulty(problems)
            entries = draft.entries
            keep(cache, entries)
        return compile_entries(entries, digest)


@contextmanager
def _kept_for_good() -> Iterator[None]:
    """Keep the collector of garbage away from what is made here, while it is made and ever after.

    Knowledge is many small objects that live as long as the program. To look through them all for garbage takes up to
    0.3 seconds, and comes in the middle of an answer.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if collecting:
            gc.enable()
