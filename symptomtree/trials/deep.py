"""The vetting that takes its time: what only inference, the adviser or simulated bikes can tell of the knowledge."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from symptomtree.cases.files import BadCase, read_case
from symptomtree.cases.model import Answer, AnyEvent, Context, FixDone, Reading
from symptomtree.kb.compile import KnowledgeBase, compile_entries
from symptomtree.kb.load import Draft
from symptomtree.kb.nodes import Problem
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vetting.desk import Desk
from symptomtree.kb.vetting.exceptions import DEEP, excused
from symptomtree.reasoning.assess import Adviser, Assessment
from symptomtree.reasoning.confirming import confirmations
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.graph import causal_graph, unreached
from symptomtree.reasoning.planning import Rank, cheapest_way
from symptomtree.trials.bikes import Bench, Bike, complaints, draw_having, told
from symptomtree.trials.session import work

CONFIRMS_FROM = 0.7
"""A cause is as good as known from this probability on: its fix is then the next step."""
SESSIONS = 2
"""Bikes that are worked to the end for each cause of a check or fix that the adviser did not list on arrival."""
TRIES = 60
"""Bikes drawn for each cause until one fits; the rarest that ships needs five."""


@dataclass(frozen=True)
class Ground:
    """What the deep rules stand on."""

    desk: Desk
    kb: KnowledgeBase

    @cached_property
    def bikes(self) -> dict[str, Bike | None]:
        """cause -> a bike that has it, if one can be drawn; the same every time."""
        random = np.random.default_rng(0)
        return {cause: draw_having(self.kb, random, cause, TRIES) for cause in self.kb.cause_ids}

    def path_of(self, name: str) -> tuple[str, ...]:
        section = self.desk.draft.declared.get(name)
        return (section, name) if section else tuple(str(key) for key in self.desk.path_of(name))


def vet_deeply(draft: Draft) -> list[Problem]:
    """Return what is wrong with knowledge that `vet` found clean, exceptions aside."""
    ground = Ground(Desk(draft), compile_entries(draft.entries, draft.digest))
    found = {problem for rule in RULES for problem in rule(ground)}
    return sorted(excused(ground.desk, found, DEEP))


def all_is_within_reach(ground: Ground) -> Iterator[Problem]:
    """Work that starts at some symptom comes to every cause, check, fix and finding."""
    for name in unreached(causal_graph(ground.kb)):
        text = f"no way from any symptom comes to {name!r}"
        yield ground.desk.judge("K401", text, (name,), *ground.path_of(name))


def checks_confirm(ground: Ground) -> Iterator[Problem]:
    """After its own check and one symptom a cause is as good as known."""
    for c in confirmations(ground.kb):
        if c.probability < CONFIRMS_FROM:
            text = (
                f"after its own check and one symptom it stands at {c.probability:.2f}, beside {c.rival!r}; a smaller "
                "leak of what the check sees, or a stronger link, tells them apart"
            )
            yield ground.desk.judge("K402", text, (c.cause,), "causes", c.cause, "confirm")


def causes_are_met(ground: Ground) -> Iterator[Problem]:
    """For every cause there is a bike whose rider comes with something that it makes."""
    for cause, bike in ground.bikes.items():
        if bike is None:
            text = f"none of {TRIES} bikes with it has a rider who notices it and rules that agree"
            yield ground.desk.judge("K403", text, (cause,), "causes", cause)


def work_is_proposed(ground: Ground) -> Iterator[Problem]:
    """On some bike the adviser lists it, on arrival or later, or somebody in a walkthrough does it."""
    kb, adviser = ground.kb, _Heard(ground.kb)
    for path in shipped("walkthroughs").glob("*.yaml"):
        adviser.met.update(_done(kb, path))
    for bike in ground.bikes.values():
        if bike:
            adviser.assess(_on_arrival(kb, bike))
    random = np.random.default_rng(1)
    for section in ("checks", "fixes"):
        for name in getattr(kb.entries, section):
            for cause in _for(kb, name) * SESSIONS:
                if name not in adviser.met and (bike := draw_having(kb, random, cause, TRIES)):
                    work(adviser, Bench(kb, bike), Profile())
            if name not in adviser.met:
                text = f"the adviser never lists it, not on {SESSIONS} bikes of each of its causes, worked to the end"
                yield ground.desk.judge("K404", text, (name,), section, name)


class _Heard(Adviser):
    """An adviser of whom it is noted which checks and fixes it ever spoke of."""

    def __init__(self, kb: KnowledgeBase) -> None:
        super().__init__(kb)
        self.met: set[str] = set()

    def assess(
        self, events: Sequence[AnyEvent], profile: Profile | None = None, rank: Rank = cheapest_way
    ) -> Assessment:
        assessment = super().assess(events, profile, rank)
        self.met.update(_listed(assessment))
        return assessment


def _for(kb: KnowledgeBase, work: str) -> list[str]:
    """Return the causes that a check looks for or a fix removes."""
    if work in kb.entries.fixes:
        return list(kb.fixed_by[work])
    return [
        name for name, cause in kb.entries.causes.items() if cause.shows.keys() & kb.entries.checks[work].settles.keys()
    ]


def _done(kb: KnowledgeBase, path: Path) -> Iterator[str]:
    """Yield the checks and fixes of a walkthrough; none of one that belongs to other knowledge."""
    try:
        events = read_case(path, kb).events
    except BadCase:
        return
    for event in events:
        match event:
            case FixDone(fix=fix):
                yield fix
            case Answer(finding=finding) | Reading(finding=finding) if finding in kb.settled_by:
                yield kb.settled_by[finding]


def _on_arrival(kb: KnowledgeBase, bike: Bike) -> list[AnyEvent]:
    """Return all that a rider who knows the bike well tells: the complaint, the facts and all else that is felt."""
    bench = Bench(kb, bike)
    felt = [s for s in complaints(kb, bike.facts) if s != bike.complaint and bench.grade(s) != kb.grades(s)[0]]
    facts = [Context(fact=name, value=value) for name, value in bike.facts.items()]
    return [*told(kb, bench), *facts, *(Answer(finding=s, grade=bench.grade(s)) for s in felt)]


def _listed(a: Assessment) -> Iterator[str]:
    """Yield every check and fix that an assessment speaks of."""
    yield from (step.name for step in a.steps)
    yield from (rank.fix for rank in a.fixes)
    yield from (a.knowledge.entries.causes[s.cause].confirm for s in a.warnings)
    yield from (stop.until for stop in a.stops)
    yield from (c.target for c in a.conclusions)
    for rank in a.fixes:  # what is tried when it fails, and what follows it
        for cause in rank.causes:
            yield from a.knowledge.entries.causes[cause].fixes
        yield from a.knowledge.entries.fixes[rank.fix].then


RULES: tuple[Callable[[Ground], Iterator[Problem]], ...] = (
    all_is_within_reach,
    checks_confirm,
    causes_are_met,
    work_is_proposed,
)
