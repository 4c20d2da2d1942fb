"""`assess`: from the knowledge and the events of a case to everything there is to say. Pure; nothing else decides."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from symptomtree.cases.model import AnyEvent
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.model import Danger
from symptomtree.kb.scale import in_words
from symptomtree.reasoning.belief import Belief, Impossible, Model, infer
from symptomtree.reasoning.context import prior_in_context, settled_here
from symptomtree.reasoning.costs import Profile, access_path
from symptomtree.reasoning.decide import distinct
from symptomtree.reasoning.evidence import Array, Look, Observed, Repair
from symptomtree.reasoning.planning import FixRank, Plan, Rank, Step, cheapest_way, make_plan, meanwhile
from symptomtree.reasoning.prospects import Scene
from symptomtree.reasoning.rules import Conclusion, RuleEngine
from symptomtree.reasoning.state import State, evidence, fold, repairs

SAMPLES = 256
STREAM = 20
"""Which stream of chance the sets are drawn from: the same events give the same bytes."""
WARN_FROM = 0.2
"""A cause that is dangerous to ride with is warned of from this probability on, before any rule has fired."""
TOLD_FROM = 0.01
"""Contradictions aside, causes less likely than this are not listed."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a cause stands."""

    cause: str
    probability: float
    words: str
    ever: float
    danger: Danger


@dataclass(frozen=True, slots=True)
class StopRiding:
    """A reason not to ride, from a rule; it stays until its check clears it."""

    because: str
    until: str
    cleared: bool
    conclusion: Conclusion


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two things that cannot both be so; `numbers` are the events to look at again."""

    because: str
    numbers: tuple[int, ...]


Stage = Literal["complaint", "search", "retest", "done"]


@dataclass(frozen=True)
class Assessment:
    """Everything that follows from the events of a case.

    Attributes:
        knowledge: what it was reasoned with.
        events: what it was reasoned from.
        state: the events, added up.
        facts: known and implied facts.
        stops: reasons not to ride, standing ones first.
        warnings: causes dangerous to ride with and likely enough, though no rule has settled it.
        contradictions: asked again, never averaged.
        conclusions: what other rules say (rules-out, do-first, must-follow, hand-over), with their chains.
        causes: that can make anything that was found out of order at any time, likeliest first.
        sets: likeliest sets of such causes: (causes, probability).
        job: findings that are to be put right: what the rider wants put right, and what a standing stop rests on.
        besides: findings out of order that are no part of the job: told, not chased.
        plan: the next steps and fixes.
        stage: complaint (nothing wrong found yet), search, retest (a fix is done, its proof is due), done (what the
            job is about was looked at again and is normal).
        due: findings to look at again after the last fix, what is reached as the bike stands first.
        meanwhile: fixes that pay before the bike is put together for that, best first.
        follow: checks and fixes that are due because of what was done, in order.
        error: 0 when probabilities are exact, else how far they may be off (see `belief`).
        profile: whose time and money it was reckoned in.
    """

    knowledge: KnowledgeBase
    events: tuple[AnyEvent, ...]
    state: State
    facts: Mapping[str, str]
    stops: tuple[StopRiding, ...]
    warnings: tuple[Standing, ...]
    contradictions: tuple[Contradiction, ...]
    conclusions: tuple[Conclusion, ...]
    causes: tuple[Standing, ...]
    sets: tuple[tuple[tuple[str, ...], float], ...]
    job: tuple[str, ...]
    besides: tuple[str, ...]
    plan: Plan
    stage: Stage
    due: tuple[str, ...]
    meanwhile: tuple[FixRank, ...]
    follow: tuple[str, ...]
    error: float
    model: Model
    observed: tuple[Observed, ...]
    repairs: tuple[Repair, ...]
    profile: Profile

    @property
    def steps(self) -> tuple[Step, ...]:
        return self.plan.steps

    @property
    def fixes(self) -> tuple[FixRank, ...]:
        return self.plan.fixes

    @property
    def standing_stops(self) -> tuple[StopRiding, ...]:
        return tuple(s for s in self.stops if not s.cleared)

    @cached_property
    def contributions(self) -> Mapping[str, Array]:
        """finding -> (C,) log odds that it adds to each cause: with all evidence, less with all but this finding."""
        whole = _log_odds(infer(self.model, self.observed, self.repairs).now)
        out = {}
        for n, o in enumerate(self.observed):
            rest = (*self.observed[:n], *self.observed[n + 1 :])
            out[self.knowledge.finding_ids[o.finding]] = whole - _log_odds(infer(self.model, rest, self.repairs).now)
        return out

    def evidence_for(self, cause: str) -> tuple[tuple[str, float], ...]:
        """Return (finding, log odds it adds) for a cause, strongest first; below zero it speaks against."""
        row = self.knowledge.row[cause]
        found = [(f, float(c[row])) for f, c in self.contributions.items() if abs(c[row]) > 0.01]
        return tuple(sorted(found, key=lambda x: (-abs(x[1]), x[0])))

    def would_change(self, first: str, second: str) -> tuple[tuple[str, str], ...]:
        """Return (finding, grade) not yet looked at that would put `second` above `first`, most telling first."""
        kb = self.knowledge
        a, b = kb.row[first], kb.row[second]
        found = []
        for f in range(len(kb.finding_ids)):
            if (kb.reach[[a, b], f] >= 1).all() or kb.finding_ids[f] in self.state.seen:
                continue
            for g, grade in enumerate(kb.grades(kb.finding_ids[f])):
                look = _certain(f, g, kb.leak.shape[1], len(self.repairs))
                try:
                    then = infer(self.model, (*self.observed, look), self.repairs).now
                except Impossible:
                    continue
                if then[b] > then[a]:
                    found.append((float(then[b] - then[a]), kb.finding_ids[f], grade))
        return tuple((f, g) for _, f, g in sorted(found, key=lambda x: (-x[0], x[1], x[2]))[:5])


def _log_odds(p: Array) -> Array:
    p = np.clip(p, 1e-12, 1 - 1e-12)
    out: Array = np.log(p) - np.log1p(-p)
    return out


def _certain(finding: int, grade: int, most: int, after: int) -> Observed:
    weights = np.zeros(most)
    weights[grade] = 1.0
    return Observed(finding, (Look(after, weights),))


class Adviser:
    """Knowledge with its rule engine, ready to assess cases."""

    def __init__(self, knowledge: KnowledgeBase) -> None:
        self.knowledge = knowledge
        self.rules = RuleEngine(knowledge.entries)

    def assess(
        self, events: Sequence[AnyEvent], profile: Profile | None = None, rank: Rank = cheapest_way
    ) -> Assessment:
        """Say what follows from the events.

        Args:
            events: checked against the knowledge (`cases.files.event_problems`).
            profile: whose time and money it is.
            rank: which step is best; trials put other ways beside the planner's own.
        """
        kb, profile = self.knowledge, profile or Profile()
        state = fold(kb, events)
        concluded = self.rules.conclude(state.told)
        standing = tuple(c for c in concluded if set(c.told) <= state.current)
        implied = {c.target: c.value for c in standing if c.kind == "implies"}
        facts = {fact: value for fact, value in implied.items() if fact in kb.entries.facts}
        facts |= {fact: value for fact, (value, _) in state.facts.items()}
        prior = prior_in_context(kb, facts)
        for c in standing:
            if c.kind == "rules-out":
                prior[kb.row[c.target]] = 0.0
        model = Model(prior, kb.reach, kb.leak)
        contradictions = [
            Contradiction(c.because, tuple(t.at for t in c.told)) for c in standing if c.kind == "contradicts"
        ]
        contradictions += [
            Contradiction(
                f"{kb.name_of(w.finding)}: worse after the work than before it. Either something new is wrong, or "
                "one of the two answers is.",
                (w.before.at, w.after.at),
            )
            for w in state.worsened
        ]
        done = tuple(repairs(kb, state))
        observed, belief, unexplained = _believe(model, tuple(evidence(kb, state)), done)
        contradictions += [
            Contradiction(
                f"{kb.name_of(kb.finding_ids[f])}: it is gone, though nothing that was done explains that. It may come "
                "back.",
                tuple(s.at for s in state.seen[kb.finding_ids[f]]),
            )
            for f in unexplained
        ]
        abnormal = _abnormal(kb, state)
        stops = _stops(kb, state, facts, concluded)
        job = _job(state, abnormal, stops)
        relevant, wanted = _relevant(kb, prior, abnormal), _relevant(kb, prior, job)
        do_first = list(dict.fromkeys(c.target for c in standing if c.kind == "do-first"))  # two rules may name one
        scene = Scene(kb, state, belief, facts, job, relevant, wanted, frozenset(implied), do_first, profile)
        plan = make_plan(scene, rank)
        ever_abnormal = [f for f, looks in state.seen.items() if any(s.grade != kb.grades(f)[0] for s in looks)]
        causes = _standings(kb, belief, _relevant(kb, prior, ever_abnormal))
        due = _due(kb, state, job)
        stage: Stage = "search" if job else "done" if state.fixes or abnormal else "complaint"
        return Assessment(
            knowledge=kb,
            events=tuple(events),
            state=state,
            facts=facts,
            stops=stops,
            warnings=tuple(s for s in causes if s.danger == "stop" and s.probability >= WARN_FROM),
            contradictions=tuple(contradictions),
            conclusions=tuple(c for c in standing if c.kind in ("rules-out", "do-first", "must-follow", "hand-over")),
            causes=causes,
            sets=_sets(kb, belief, relevant),
            job=tuple(job),
            besides=tuple(f for f in abnormal if f not in job),
            plan=plan,
            stage="retest" if due else stage,
            due=due,
            meanwhile=meanwhile(scene, plan) if due else (),
            follow=_follow(kb, state, facts, standing),
            error=belief.error,
            model=model,
            observed=observed,
            repairs=done,
            profile=profile,
        )


def _believe(
    model: Model, observed: tuple[Observed, ...], done: tuple[Repair, ...]
) -> tuple[tuple[Observed, ...], Belief, list[int]]:
    """Infer; when something went away that no fix explains, keep only its last look and say so."""
    try:
        return observed, infer(model, observed, done, SAMPLES, STREAM), []
    except Impossible:
        several = [o for o in observed if len(o.looks) > 1]
        rest = tuple(Observed(o.finding, o.looks[-1:]) if len(o.looks) > 1 else o for o in observed)
        return rest, infer(model, rest, done, SAMPLES, STREAM), [o.finding for o in several]


def _abnormal(kb: KnowledgeBase, state: State) -> dict[str, int]:
    """Return the findings that are still wrong, with the number of their grade.

    What a check found before a fix of its causes counts no more: the rider's symptoms say whether the fix worked, and
    looking at everything again would be work for nothing. What the fix names as its proof is due all the same.
    """

    def mended(finding: str) -> bool:
        after = state.seen[finding][-1].after
        later = [kb.row[c] for fix, _ in state.fixes[after:] for c in kb.fixed_by[fix]]
        return bool(later) and finding in kb.settled_by and bool((kb.reach[later, kb.column[finding]] < 1).any())

    grades = {f: kb.grades(f).index(looks[-1].grade) for f, looks in state.seen.items()}
    return {f: grade for f, grade in grades.items() if grade > 0 and not mended(f)}


def _job(state: State, abnormal: Mapping[str, int], stops: Sequence[StopRiding]) -> Mapping[str, int]:
    """Return what is to be put right: what the rider wants put right, and what a standing stop rests on.

    Everything that was found, where the case does not say what the rider wants.
    """
    if not state.complaint:
        return abnormal
    grave = {told.name for s in stops if not s.cleared for told in s.conclusion.told}
    return {f: grade for f, grade in abnormal.items() if f in state.complaint or f in grave}


def _relevant(kb: KnowledgeBase, prior: Array, abnormal: Collection[str]) -> NDArray[np.bool_]:
    """Return (C,) whether a cause can make any of the abnormal findings."""
    columns = [kb.column[f] for f in abnormal]
    touches: NDArray[np.bool_] = (kb.reach[:, columns, 0] < 1).any(axis=1) & (prior > 0)
    return touches


def _standings(kb: KnowledgeBase, belief: Belief, relevant: NDArray[np.bool_]) -> tuple[Standing, ...]:
    rows = sorted(np.flatnonzero(relevant).tolist(), key=lambda r: (-belief.now[r], kb.cause_ids[r]))
    return tuple(
        Standing(
            kb.cause_ids[r],
            float(belief.now[r]),
            in_words(float(belief.now[r])),
            float(belief.ever[r]),
            kb.entries.causes[kb.cause_ids[r]].danger,
        )
        for r in rows
    )


def _sets(kb: KnowledgeBase, belief: Belief, relevant: NDArray[np.bool_]) -> tuple[tuple[tuple[str, ...], float], ...]:
    """Return the likeliest sets of relevant causes among those drawn."""
    rows = np.flatnonzero(relevant)
    kinds, which = distinct(belief.sets(rows))
    share = np.bincount(which, minlength=len(kinds)) / max(len(which), 1)
    out = []
    for n in np.argsort(-share, kind="stable")[:5]:
        if share[n] >= TOLD_FROM:
            out.append((tuple(kb.cause_ids[r] for r in rows[kinds[n]]), float(share[n])))
    return tuple(out)


def _stops(
    kb: KnowledgeBase, state: State, facts: Mapping[str, str], concluded: Sequence[Conclusion]
) -> tuple[StopRiding, ...]:
    """A stop is cleared when every finding of its check that can be on this bike was seen normal after what fired it.

    A check of which nothing can be on this bike clears nothing.
    """

    def seen_normal(finding: str, since: int) -> bool:
        looks = state.seen.get(finding)
        return looks is not None and looks[-1].at > since and looks[-1].grade == kb.grades(finding)[0]

    out = []
    for c in concluded:
        if c.kind == "stop-riding":
            findings = settled_here(kb, c.target, facts)
            cleared = bool(findings) and all(seen_normal(f, c.at) for f in findings)
            out.append(StopRiding(c.because, c.target, cleared, c))
    return tuple(sorted(out, key=lambda s: s.cleared))


def _due(kb: KnowledgeBase, state: State, job: Collection[str]) -> tuple[str, ...]:
    """Return the findings to look at again since the last fix: those it names and the rider's own complaints.

    Only what that fix could have changed is due; a second fault's finding waits for its own fix. Fixes done one after
    the other, with no look between them, are proven together.
    """
    count = len(state.fixes)
    looked = max((s.after for looks in state.seen.values() for s in looks if s.after < count), default=0)
    last = [fix for fix, _ in state.fixes[looked:]]
    named = [
        f
        for target in dict.fromkeys(target for fix in last for target in kb.entries.fixes[fix].retest)
        for f in (kb.entries.checks[target].settles if target in kb.entries.checks else (target,))
    ]
    rows = [kb.row[c] for fix in last for c in kb.fixed_by[fix]]
    made = [f for f in job if rows and (kb.reach[rows, kb.column[f]] < 1).any()]
    wanted = dict.fromkeys([f for f in made if f in kb.entries.symptoms])
    wanted |= dict.fromkeys(f for f in named if f in state.seen)
    due = [f for f in wanted if state.seen[f][-1].after < count and f not in state.unsure]
    return tuple(sorted(due, key=lambda f: not _within_reach(kb, state, f)))


def _within_reach(kb: KnowledgeBase, state: State, finding: str) -> bool:
    """Return whether a finding is looked at behind what is open now."""
    check = kb.settled_by.get(finding)
    path = access_path(kb, kb.entries.checks[check].access) if check else []
    return bool(path) and set(path) <= state.open


def _follow(
    kb: KnowledgeBase, state: State, facts: Mapping[str, str], standing: Sequence[Conclusion]
) -> tuple[str, ...]:
    """Return checks and fixes that are due because of what was done and have not been done since.

    What a check itself found does not make the same check due once more: that would never end.
    """
    done_at = dict(state.fixes)
    due: dict[str, int] = {}
    for fix, at in state.fixes:
        due |= {name: at for name in kb.entries.fixes[fix].then}
    due |= {
        c.target: c.at
        for c in standing
        if c.kind == "must-follow" and all(kb.settled_by.get(t.name) != c.target for t in c.told)
    }

    def is_done(name: str, since: int) -> bool:
        if name in kb.entries.fixes:
            return done_at.get(name, 0) > since
        looks = [state.seen.get(f) for f in settled_here(kb, name, facts)]
        return all(look and look[-1].at > since for look in looks)

    return tuple(name for name, at in due.items() if not is_done(name, at))
