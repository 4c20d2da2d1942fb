"""How the time to choose the next step grows with the knowledge, side by side in one run.

    python -m tests.bench.growth [BIKES]

The large knowledge is made from the knowledge that ships. All that its areas say (symptoms, questions, checks, causes,
fixes, rules, and their own parts and facts) is there K times, each time under ids of its own: `brake-noise-copy7`. What
areas share (access, tools, hazards, sources, and the parts and facts of `knowledge/common/`) is there once. So that the
copies are no islands, each link from a cause to a finding stands a second time with a chance of `SHARE`: to a finding
of a neighbouring copy that has the same grades and needs the same of the bike. The result passes the whole vetting and
is compiled as any knowledge is; all its causes and findings hang together.

Bikes are drawn from the knowledge that ships and then stand in the large one as its copy 0, whose ids are the shipped
ones: the same bikes at every size. Drawn from the large one, a bike would have K times as many faults, as no bike has,
and K times as many rules would have to say nothing untrue of it. What its causes do to neighbouring copies is drawn
besides; else the findings of other copies are normal, and their facts are those of copy 0. The adviser knows nothing of
all this: to it, what is wrong may be in any copy.

Each bike is worked to the end at every size before the next one is, so that what else the machine does meanwhile falls
on all sizes alike. `To be ready` is the making of the rule engine with one assessment, which also makes what the
knowledge keeps; it counts no further. Parts are timed by wrapping the functions that do them. Their split is the mean
over the middle fifth of all assessments, by time taken, so that the parts add up to the median, nearly. Growth is the
slope of log time over log of the number of causes: 0 is the same at any size, 1 grows with the knowledge, 2 with its
square.
"""

import gc
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from time import perf_counter
from typing import Any
from unittest.mock import patch

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command itself does, before numpy is loaded

import msgspec
import numpy as np

from symptomtree.cases.model import AnyEvent
from symptomtree.kb.compile import Faulty, KnowledgeBase, compile_entries, open_knowledge
from symptomtree.kb.load import Draft, read, read_bytes
from symptomtree.kb.model import Entries
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vet import vet
from symptomtree.kb.vetting.desk import findings_of
from symptomtree.reasoning import assess, decide, planning
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.graph import causal_graph, components
from symptomtree.reasoning.prospects import Drawn
from symptomtree.reasoning.rules import RuleEngine
from symptomtree.trials.bikes import Bench, Bike, draw, told
from symptomtree.trials.session import work

SIZES = (1, 3, 10, 30)
BIKES = 6
SHARE = 0.05
WHOLE, REST = "the whole", "the rest"


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the work, the functions that do it as (owner, attribute), and why it grows as it does."""

    name: str
    done_by: tuple[tuple[Any, str], ...]
    why: str


PARTS = (
    Part(
        "events and context",
        ((assess, "fold"), (assess, "prior_in_context"), (assess, "evidence"), (assess, "repairs")),
        "The events cost the same anywhere; the context is one vector over all causes, in which each fact touches "
        "those causes only that it bears on: O(facts and causes), cheap each.",
    ),
    Part(
        "rules",
        ((RuleEngine, "conclude"),),
        "What no condition can take is kept from the engine; for each other item that it comes to know it asks every "
        "rule for new matches, and the retelling goes over all rules in each round: O(rules), however few of them "
        "fire.",
    ),
    Part(
        "belief, drawn sets",
        ((assess, "infer"),),
        "The sweep works on those causes only that touch an abnormal finding; all others take one vector over all "
        "causes, and one random number for each in each of the sets drawn: O(causes).",
    ),
    Part(
        "what made the job",
        ((Drawn, "of"),),
        "It is drawn among the relevant causes, in as many sets: the same at any size.",
    ),
    Part(
        "prospects",
        ((planning, "prospects"),),
        "The context is made anew, and each value of each fact to ask takes a vector over all causes; all questions, "
        "symptoms and checks are gone through. What the causes that are not relevant leave is a product over all of "
        "them, for the findings that could be asked. Only the likelihoods stay with the relevant causes.",
    ),
    Part(
        "choices",
        ((decide, "choices"),),
        "It sees the looks and fixes of the relevant causes and nothing else, and prices no more than its effort "
        "allows: the same at any size.",
    ),
    Part(
        REST,
        (),
        "The words of the steps, the order of fixes and the likeliest sets go by the relevant causes; finding these "
        "goes through all causes: O(causes), cheap each.",
    ),
)


# --- knowledge of any size ---------------------------------------------------------------------------------------


def suffix(copy: int) -> str:
    return f"-copy{copy}" if copy else ""


def of_areas(entries: Entries) -> list[str]:
    """Return every id, of findings too, of what areas do not share."""
    common = read(read_bytes(shipped("knowledge") / "common")).entries
    shared = {*common.parts, *common.facts, *entries.access, *entries.tools, *entries.hazards, *entries.sources}
    shared |= {value for fact in common.facts.values() for value in fact.values}  # a part may be called like one: rim
    every = {name for section in Entries.__struct_fields__ for name in getattr(entries, section)}
    return sorted((every | findings_of(entries).keys()) - shared)


def renamed(thing: Any, new: Mapping[str, str]) -> Any:
    """Return entries, as built-in values, with the ids that they have and name put anew."""
    match thing:
        case dict():
            return {new.get(key, key): renamed(value, new) for key, value in thing.items()}
        case list():
            return [renamed(value, new) for value in thing]
        case str():
            return new.get(thing, thing)
        case _:
            return thing


def grown(kb: KnowledgeBase, copies: int) -> KnowledgeBase:
    """Return the knowledge with its areas so many times.

    Raises:
        Faulty: it does not pass the vetting.
    """
    if copies == 1:
        return kb
    random = np.random.default_rng(copies)
    ids = of_areas(kb.entries)
    new = [{name: name + suffix(copy) for name in ids} for copy in range(copies)]
    kind = {name: (*finding.grades, str(finding.applies_to)) for name, finding in kb.findings.items()}
    alike = {k: [name for name in kind if kind[name] == k] for k in kind.values()}
    written = msgspec.to_builtins(kb.entries)
    sections: dict[str, dict[str, Any]] = {section: {} for section in written}
    for copy in range(copies):
        for section, entries in renamed(written, new[copy]).items():
            sections[section] |= entries
        for cause, entry in written["causes"].items():
            shows = sections["causes"][new[copy][cause]]["shows"]
            for finding, graded in entry["shows"].items():
                if random.random() < SHARE:
                    neighbour = (copy + int(random.choice([-1, 1]))) % copies
                    shows[new[neighbour][str(random.choice(alike[kind[finding]]))]] = graded
    draft = Draft(
        msgspec.convert(sections, Entries),
        declared={name: section for section, entries in sections.items() for name in entries},
    )
    if problems := [p for p in vet(draft) if not p.about]:  # a matter of judgement: copies are called the same
        raise Faulty(problems)
    return compile_entries(draft.entries, f"{kb.digest} x {copies}")


def moved(bike: Bike, number: int, small: KnowledgeBase, large: KnowledgeBase, copies: int) -> Bike:
    """Return a bike of the small knowledge as one of the large."""
    random = np.random.default_rng([copies, number])
    columns = [large.column[finding] for finding in small.finding_ids]
    causes = np.array([large.row[small.cause_ids[row]] for row in bike.causes], dtype=np.int64)
    levels = np.zeros((len(causes) + 1, len(large.finding_ids)), dtype=np.int64)
    levels[:-1] = (random.random(levels[:-1].shape)[:, :, None] > large.reach[causes]).sum(axis=2)
    levels[:, columns] = bike.levels
    places = random.random(len(large.finding_ids))
    places[columns] = bike.places
    facts = {fact + suffix(copy): value for copy in range(copies) for fact, value in bike.facts.items()}
    facts = {fact: value for fact, value in facts.items() if fact in large.entries.facts}
    return replace(bike, facts=facts, causes=causes, levels=levels, places=places)


# --- how long it takes -------------------------------------------------------------------------------------------


class Timed(assess.Adviser):
    """An adviser that notes the milliseconds of each assessment and of its parts."""

    def __init__(self, knowledge: KnowledgeBase) -> None:
        super().__init__(knowledge)
        self.taken: list[dict[str, float]] = []
        self._spent = dict.fromkeys((part.name for part in PARTS), 0.0)

    def assess(
        self, events: Sequence[AnyEvent], profile: Profile | None = None, rank: planning.Rank = planning.cheapest_way
    ) -> assess.Assessment:
        self._spent = dict.fromkeys(self._spent, 0.0)
        begun = perf_counter()
        said = super().assess(events, profile, rank)
        whole = (perf_counter() - begun) * 1e3
        self.taken.append(self._spent | {WHOLE: whole, REST: whole - sum(self._spent.values())})
        return said

    @contextmanager
    def timing(self) -> Iterator[None]:
        """Time the functions of all parts while this lasts."""
        with ExitStack() as wrapped:
            for part in PARTS:
                for owner, name in part.done_by:
                    wrapped.enter_context(patch.object(owner, name, self._timed(part.name, getattr(owner, name))))
            yield

    def _timed(self, part: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*args: Any, **named: Any) -> Any:
            begun = perf_counter()
            try:
                return function(*args, **named)
            finally:
                self._spent[part] += (perf_counter() - begun) * 1e3

        return timed


def ready(kb: KnowledgeBase, bike: Bike) -> tuple[Timed, float]:
    """Return an adviser and the milliseconds that its rules and a first assessment took."""
    events = told(kb, Bench(kb, bike))
    begun = perf_counter()
    adviser = Timed(kb)
    adviser.assess(events)
    took = (perf_counter() - begun) * 1e3
    adviser.taken.clear()
    return adviser, took


def split(taken: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Return the mean of each part over the middle fifth of all assessments."""
    low, high = np.quantile([t[WHOLE] for t in taken], [0.4, 0.6])
    middle = [t for t in taken if low <= t[WHOLE] <= high]
    return {part.name: float(np.mean([t[part.name] for t in middle])) for part in PARTS}


def growth(causes: Sequence[int], times: Sequence[float]) -> float:
    return float(np.polyfit(np.log(causes), np.log(times), 1)[0])


def main(count: int) -> None:
    small = open_knowledge()
    bikes = [draw(small, np.random.default_rng([1, n])) for n in range(count)]
    large = [grown(small, copies) for copies in SIZES]
    stands = [[moved(bike, n, small, *size) for n, bike in enumerate(bikes)] for size in zip(large, SIZES, strict=True)]
    advisers, first = zip(*(ready(kb, stand[0]) for kb, stand in zip(large, stands, strict=True)), strict=True)
    gc.collect()
    gc.freeze()  # at no size does the collector walk what is kept for all the others
    for bike in zip(*stands, strict=True):
        for adviser, here in zip(advisers, bike, strict=True):
            with adviser.timing():
                work(adviser, Bench(adviser.knowledge, here), Profile())

    sizes = ["as shipped", *(f"{copies} times" for copies in SIZES[1:])]
    print(f"Bikes: {count}, each worked to the end at every size. Milliseconds for each assessment.\n")
    print(f"{'':22}" + "".join(f"{size:>11}" for size in sizes) + f"{'growth':>11}{'of the last':>13}")
    causes = [len(kb.cause_ids) for kb in large]
    for name, counts in (
        ("causes", causes),
        ("findings", [len(kb.finding_ids) for kb in large]),
        ("rules", [len(kb.entries.rules) for kb in large]),
        ("facts", [len(kb.entries.facts) for kb in large]),
        ("separate groups", [len(components(causal_graph(kb))) for kb in large]),
        ("assessments", [len(adviser.taken) for adviser in advisers]),
    ):
        print(f"{name:22}" + "".join(f"{n:11d}" for n in counts))
    whole = [[t[WHOLE] for t in adviser.taken] for adviser in advisers]
    parts = [split(adviser.taken) for adviser in advisers]
    for name, times in (
        ("to be ready", first),
        ("median", [float(np.median(w)) for w in whole]),
        ("95th percentile", [float(np.quantile(w, 0.95)) for w in whole]),
        *((f"  {part.name}", [p[part.name] for p in parts]) for part in PARTS),
    ):
        slopes = f"{growth(causes, times):11.2f}{growth(causes[-2:], times[-2:]):13.2f}"
        print(f"{name:22}" + "".join(f"{time:11.2f}" for time in times) + slopes)
    print(f"\nGrowth over all sizes, and of the last: from {SIZES[-2]} to {SIZES[-1]} times. Why:")
    for part in PARTS:
        print(f"- {part.name}: {growth(causes, [p[part.name] for p in parts]):.2f}. {part.why}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else BIKES)
