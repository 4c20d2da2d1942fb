"""Simulated bikes, drawn from the knowledge itself: what is wrong with them is known, so advice can be judged by it.

Facts come from their shares, causes from their prior in that context, and each mechanism (a cause with a finding, and
each finding's leak) draws its level once and keeps it. A bike comes to the bench because its rider noticed something
that a cause makes; and since rules are knowledge too, a bike of which a rule would say something untrue is drawn anew.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from symptomtree.cases.model import Answer, AnyEvent, Context, Reading
from symptomtree.kb.compile import Array, KnowledgeBase, probability
from symptomtree.kb.model import Observable
from symptomtree.kb.model import Reading as Gauge
from symptomtree.reasoning.context import facts_in_play, holds, prior_in_context
from symptomtree.trials.naive import Item, closure

WHICH_END = "which-end"
"""The fact that a rider tells unasked, when the complaint can be at either end."""


@dataclass(frozen=True)
class Bike:
    """A bike as it comes in.

    Attributes:
        facts: the value of each fact that applies.
        causes: (K,) rows of the causes that are there.
        levels: (K + 1, F) the level to which each of them, and last the leak, pushes each finding.
        places: (F,) where in its grade's interval the true number of a finding lies, 0 to 1.
        complaint: the symptom that the rider came with.
        luck: what decides how gauges err and whether fixes work, the same whatever is done first.
    """

    facts: dict[str, str]
    causes: NDArray[np.int64]
    levels: NDArray[np.int64]
    places: Array
    complaint: str
    luck: int


def draw(kb: KnowledgeBase, random: np.random.Generator) -> Bike:
    """Draw a bike that has something wrong which its rider can notice."""
    while True:
        if bike := _attempt(kb, random):
            return bike


def drawn_about(
    kb: KnowledgeBase, random: np.random.Generator, symptoms: Collection[str], tries: int
) -> Iterator[Bike]:
    """Yield bikes whose rider comes with one of these symptoms, as many as so many tries give.

    Each has a cause that can make one, drawn by how common these are on a bike with its facts: for some symptoms one
    would wait hundreds of bikes until one has such a cause by itself.
    """
    attempts = (_attempt(kb, random, about=symptoms) for _ in range(tries if symptoms else 0))
    return (bike for bike in attempts if bike)


def draw_having(kb: KnowledgeBase, random: np.random.Generator, cause: str, tries: int) -> Bike | None:
    """Draw a bike that has this cause and whose rider notices something that the cause makes; None when none came."""
    attempts = (_attempt(kb, random, cause) for _ in range(tries))
    return next((bike for bike in attempts if bike), None)


def _attempt(
    kb: KnowledgeBase, random: np.random.Generator, having: str | None = None, about: Collection[str] = ()
) -> Bike | None:
    """Draw once; None for a bike that nobody would bring, that cannot have the cause, or of which a rule is untrue."""
    needs = kb.needs[having] if having else {}
    facts = _facts(kb, random, needs)
    prior = prior_in_context(kb, facts)
    if about:
        can_make = (kb.reach[:, [kb.column[s] for s in about], 0] < 1).any(axis=1)
        common = prior * can_make
        if not common.any():
            return None
        having = kb.cause_ids[int(random.choice(len(common), p=common / common.sum()))]
    if having:
        if not all(facts.get(fact) in values for fact, values in needs.items()):
            return None
        prior[kb.row[having]] = 1.0
    causes = np.flatnonzero(random.random(len(prior)) < prior)
    links = np.concatenate([kb.reach[causes], kb.leak[None]])
    levels = (random.random(links.shape[:2])[:, :, None] > links).sum(axis=2)
    makes = levels[:-1][causes == kb.row[having]] if having else levels[:-1]
    asked = [s for s in complaints(kb, facts) if not about or s in about]
    felt = [s for s in asked if makes[:, kb.column[s]].max(initial=0) > levels[-1, kb.column[s]]]
    if not felt:
        return None
    complaint = felt[int(random.integers(len(felt)))]
    places = random.random(len(kb.finding_ids))
    bike = Bike(facts, causes, levels, places, complaint, int(random.integers(2**62)))
    return bike if _rules_agree(kb, bike) else None


def complaints(kb: KnowledgeBase, facts: dict[str, str]) -> list[str]:
    """Return the symptoms that a rider of such a bike can come with: those that stand for themselves."""
    return [
        name
        for name, symptom in kb.entries.symptoms.items()
        if not symptom.asked_when and holds(symptom.applies_to, facts)
    ]


def _facts(kb: KnowledgeBase, random: np.random.Generator, needs: Mapping[str, frozenset[str]]) -> dict[str, str]:
    """Draw each fact that applies, of the values that are needed, and add those that rules imply."""
    facts: dict[str, str] = {}
    left = dict(kb.entries.facts)
    while ready := [name for name, fact in left.items() if holds(fact.applies_to, facts)]:
        for name in ready:
            share = left.pop(name).share
            share = {value: share[value] for value in share if value in needs.get(name, share)} or share
            up_to = np.cumsum(list(share.values()))
            facts[name] = list(share)[int(np.searchsorted(up_to[:-1], random.random() * up_to[-1], side="right"))]
    items, _ = closure(kb, {("fact", name, value): 0 for name, value in facts.items()})
    return {name: str(value) for kind, name, value in items if kind == "fact" and name not in facts} | facts


def _rules_agree(kb: KnowledgeBase, bike: Bike) -> bool:
    """Return whether everything that rules conclude about the bike is true of it."""
    bench = Bench(kb, bike)
    true: dict[Item, int] = {("fact", name, value): 0 for name, value in bike.facts.items()}
    for name, finding in kb.findings.items():
        if holds(finding.applies_to, bike.facts):
            true["finding", name, bench.grade(name)] = 0
            if isinstance(finding, Observable) and finding.reading:
                true["reading", name, bench.number(name, finding.reading)] = 0
    items, fired = closure(kb, true)
    there = {kb.cause_ids[row] for row in bike.causes}
    told = {(kind, name) for kind, name, _ in true}
    return not any(
        kb.entries.rules[rule].contradicts or there & set(kb.entries.rules[rule].rules_out) for rule in fired
    ) and not any((kind, name) in told for kind, name, _ in items.keys() - true.keys())


class Bench:
    """A bike being worked on: answers truthfully, as far as gauges allow."""

    def __init__(self, kb: KnowledgeBase, bike: Bike) -> None:
        self._kb, self.bike = kb, bike
        self._there = np.ones(len(bike.levels), dtype=bool)
        self._now = bike.levels.max(axis=0)
        self._luck: dict[tuple[int, int], np.random.Generator] = {}

    @property
    def causes(self) -> frozenset[str]:
        """What is wrong with it now."""
        return frozenset(self._kb.cause_ids[row] for row in self.bike.causes[self._there[:-1]])

    def makers(self, finding: str) -> frozenset[str]:
        """Return the causes still there that push a finding out of normal."""
        makes = self.bike.levels[:-1, self._kb.column[finding]] > 0
        return frozenset(self._kb.cause_ids[row] for row in self.bike.causes[self._there[:-1] & makes])

    def grade(self, finding: str) -> str:
        """Return the true grade of a finding now."""
        return self._kb.grades(finding)[int(self._now[self._kb.column[finding]])]

    def number(self, finding: str, gauge: Gauge) -> float:
        """Return the true number of a finding: somewhere in its grade's interval."""
        low, high = interval(gauge, self._kb.grades(finding), self.grade(finding))
        return float(low + (high - low) * self.bike.places[self._kb.column[finding]])

    def fact(self, name: str) -> Context | None:
        """Return the answer to a question about the bike; None when there is no such thing on it."""
        return Context(fact=name, value=self.bike.facts[name]) if name in self.bike.facts else None

    def look(self, findings: Iterable[str]) -> list[AnyEvent]:
        """Return what is seen, felt, heard or measured."""
        return [self._look(f) for f in findings]

    def _look(self, finding: str) -> AnyEvent:
        known = self._kb.findings[finding]
        if not isinstance(known, Observable) or not known.reading:
            return Answer(finding=finding, grade=self.grade(finding))
        gauge = known.reading
        slip = self._lucky(0, self._kb.column[finding]).normal(0, gauge.error)
        least, greatest = gauge.span
        read = min(max(self.number(finding, gauge) + slip, least), greatest)
        return Reading(finding=finding, value=read)

    def fix(self, name: str) -> None:
        """Carry a fix out; each of its causes that is there goes, or fails to, by chance."""
        works = probability(self._kb.entries.fixes[name].works)
        for cause in self._kb.fixed_by[name]:
            row = self._kb.row[cause]
            here = np.flatnonzero(self.bike.causes == row)
            if here.size and self._lucky(1, row).random() < works:
                self._there[here] = False
        self._now = self.bike.levels[self._there].max(axis=0)

    def _lucky(self, kind: int, number: int) -> np.random.Generator:
        """Return a stream of chance of each gauge's and cause's own, so that the order of work does not matter."""
        if (kind, number) not in self._luck:
            self._luck[kind, number] = np.random.default_rng([self.bike.luck, kind, number])
        return self._luck[kind, number]


def interval(gauge: Gauge, grades: list[str], grade: str) -> tuple[float, float]:
    """Return between which numbers a grade lies, within the gauge's span."""
    least, greatest = gauge.span
    normal, worst = (least, greatest) if gauge.worse == "above" else (greatest, least)
    edges = [normal, *(gauge.limits[g] for g in grades[1:]), worst]
    n = grades.index(grade)
    return min(edges[n], edges[n + 1]), max(edges[n], edges[n + 1])


def told(kb: KnowledgeBase, bench: Bench) -> list[AnyEvent]:
    """Return what the rider says on arrival."""
    complaint = bench.bike.complaint
    may_be = np.flatnonzero((kb.reach[:, kb.column[complaint]] < 1).any(axis=1))
    where = bench.fact(WHICH_END) if WHICH_END in facts_in_play(kb, [kb.cause_ids[row] for row in may_be]) else None
    return [*([where] if where else []), Answer(finding=complaint, grade=bench.grade(complaint), complaint=True)]
