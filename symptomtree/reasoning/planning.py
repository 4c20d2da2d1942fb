"""The cheapest way to a fixed bike: which step next.

The expected cost of repair (ECR; Heckerman, Breese, Rommelse, CACM 38(3), 1995) is taken over whole sets of causes
drawn from the posterior: several faults at once are normal. Fixes are tried in the order of odds over cost (Srinivas,
UAI 1995: optimal when the bike is right only once every fault is gone); a set costs what is spent up to the last fix
that it needs. The plan may end in a hand-over after any number of fixes, and every such end is looked at, since costs can rise
and fall again. A question or check costs what it costs, plus the mean of the ECR after each of its outcomes (one-step
look-ahead), so what cannot change the work is worth nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from symptomtree.kb.compile import Array, KnowledgeBase, probability
from symptomtree.kb.model import Check, Observable, Symptom
from symptomtree.reasoning.belief import Belief
from symptomtree.reasoning.context import facts_in_play, holds, prior_in_context
from symptomtree.reasoning.costs import Purse, minutes_of, price_of, price_of_check
from symptomtree.reasoning.state import State

Bools = NDArray[np.bool_]
Doing = Literal["fact", "ask", "question", "check", "fix", "hand-over"]

MOST_OUTCOMES = 32
FLOOR = 1e-12


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do next.

    Attributes:
        doing: which kind of step.
        name: id of the fact, symptom, question, check or fix; empty for a hand-over.
        settles: the findings it would settle.
        minutes: of the step itself, getting there included.
        cost: of the step itself, in money.
        total: expected cost to a fixed bike when it is taken next, in money.
        tells: the causes between which it tells most: (cause, least, greatest probability over its outcomes).
    """

    doing: Doing
    name: str
    settles: tuple[str, ...]
    minutes: float
    cost: float
    total: float
    tells: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class FixRank:
    """A fix, how likely it is needed, and the causes it would remove (likeliest first)."""

    fix: str
    needed: float
    cost: float
    minutes: float
    causes: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Everything the planner says.

    Attributes:
        steps: all candidates, lowest expected total first.
        fixes: in the order in which they would be tried if nothing more were asked.
        expected: expected cost to a fixed bike with fixes alone, in money.
    """

    steps: tuple[Step, ...]
    fixes: tuple[FixRank, ...]
    expected: float


class _Work:
    """The drawn sets of causes as fixes needed, with the arithmetic on them.

    Attributes:
        need: (P, J) distinct patterns of fixes needed.
        pattern: (N,) pattern of each set.
        cost, shortfall: (J,) of each fix; shortfall is what it costs on average that it may not work.
    """

    def __init__(self, kb: KnowledgeBase, sets: Bools, relevant: Bools, purse: Purse, ruled_out: frozenset[str]) -> None:
        first: dict[str, list[int]] = {}
        for row in np.flatnonzero(relevant & sets.any(axis=0)):
            fixes = [f for f in kb.entries.causes[kb.cause_ids[row]].fixes if f not in ruled_out]
            if fixes:
                first.setdefault(fixes[0], []).append(int(row))
        self.fixes = sorted(first)
        needed = np.zeros((len(sets), len(self.fixes)), dtype=bool)
        for j, fix in enumerate(self.fixes):
            needed[:, j] = sets[:, first[fix]].any(axis=1)
        self.need, self.pattern = np.unique(needed, axis=0, return_inverse=True)
        self.pattern = self.pattern.reshape(-1)
        entries = [kb.entries.fixes[f] for f in self.fixes]
        self.cost = np.array([price_of(kb, e, purse) for e in entries])
        self.shortfall = np.array([(1 - probability(e.works)) * purse.hand_over for e in entries])
        self.hand_over = purse.hand_over
        self.stuck = ~self.need.any(axis=1)  # what is wrong is on no list: only a hand-over ends it

    def ecr(self, weights: Array) -> tuple[Array, NDArray[np.int64]]:
        """Return (O,) expected costs and (O, J) the order of fixes.

        Args:
            weights: (O, P) probability of each pattern, rows sum to 1.
        """
        if not self.fixes:
            return np.full(len(weights), self.hand_over), np.zeros((len(weights), 0), dtype=np.int64)
        p = np.clip(weights @ self.need, FLOOR, 1 - FLOOR)
        order = np.argsort(-(p / (1 - p)) / self.cost, axis=1, kind="stable")
        spent = np.cumsum(self.cost[order], axis=1)
        at = np.empty_like(spent)  # money spent when fix j is done
        np.put_along_axis(at, order, spent, axis=1)
        last = (self.need[None] * at[:, None, :]).max(axis=2)  # (O, P) spent when the last needed fix is done
        last[:, self.stuck] = np.inf
        best = np.full(len(weights), self.hand_over)
        extra = weights @ (self.need @ self.shortfall)
        for k in range(spent.shape[1]):
            stop = spent[:, k : k + 1]
            done = last <= stop + 1e-9
            cost = (weights * np.where(done, last, stop + self.hand_over, where=np.ones_like(done))).sum(axis=1)
            best = np.minimum(best, cost + extra)
        return best, order


def make_plan(
    kb: KnowledgeBase,
    state: State,
    belief: Belief,
    facts: dict[str, str],
    relevant: Bools,
    implied: frozenset[str],
    purse: Purse,
) -> Plan:
    """Rank every step that could come next.

    Args:
        belief: with drawn sets.
        facts: known and implied.
        relevant: (C,) whether a cause can make any abnormal finding of this case.
        implied: findings and facts that need not be asked.
    """
    done = frozenset(fix for fix, _ in state.fixes)
    work = _Work(kb, belief.sets, relevant, purse, done)
    now = np.bincount(work.pattern, weights=belief.weights, minlength=len(work.need))[None]
    expected, order = work.ecr(now)
    needed = (now @ work.need)[0] if work.fixes else np.empty(0)
    ranks = tuple(_rank(kb, belief, work, int(j), float(needed[j])) for j in (order[0] if work.fixes else ()))
    candidates = _candidates(kb, state, facts, implied, relevant, belief)
    levels = _levels(kb, belief.sets)
    steps = [_look(kb, c, belief, work, levels, purse, relevant) for c in candidates]
    steps += [
        _fact(kb, f, belief, work, facts, purse, relevant) for f in _facts(kb, state, facts, implied, relevant, belief)
    ]
    if ranks and ranks[0].needed > 0.01:
        steps.append(Step("fix", ranks[0].fix, (), ranks[0].minutes, ranks[0].cost, float(expected[0])))
    steps.append(Step("hand-over", "", (), 0.0, purse.hand_over, purse.hand_over))
    steps.sort(key=lambda s: (round(s.total, 6), s.cost, s.doing, s.name))
    return Plan(tuple(steps), ranks, float(expected[0]))


def _rank(kb: KnowledgeBase, belief: Belief, work: _Work, j: int, needed: float) -> FixRank:
    fix = work.fixes[j]
    causes = sorted(kb.fixed_by[fix], key=lambda c: -belief.now[kb.row[c]])
    likely = tuple(c for c in causes if belief.now[kb.row[c]] > 0.005)
    return FixRank(fix, needed, float(work.cost[j]), minutes_of(kb, kb.entries.fixes[fix]), likely)


@dataclass(frozen=True, slots=True)
class _Candidate:
    doing: Doing
    name: str
    findings: tuple[str, ...]
    minutes: float
    check: Check | None = None
    outcomes: tuple[tuple[tuple[str, str], ...], ...] = ()
    """For a question: each answer as (finding, grade) pairs."""


def _candidates(
    kb: KnowledgeBase,
    state: State,
    facts: dict[str, str],
    implied: frozenset[str],
    relevant: Bools,
    belief: Belief,
) -> list[_Candidate]:
    """List what can be asked or looked at now and could tell anything."""
    weighty = relevant & (belief.now > 0.002)
    shown = (kb.reach[weighty] < 1).any(axis=(0, 2)) if weighty.any() else np.zeros(len(kb.finding_ids), dtype=bool)

    def open_(finding: str, entry: Symptom | Observable) -> bool:
        return (
            shown[kb.column[finding]]
            and finding not in state.seen
            and finding not in state.unsure
            and finding not in implied
            and holds(entry.applies_to, facts) is True
            and asked(entry.asked_when)
        )

    def asked(when: dict[str, list[str]]) -> bool:
        return not when or any(state.grade(f) in grades for f, grades in when.items())

    out = []
    together: set[str] = set()
    for name, question in kb.entries.questions.items():
        sets = tuple(next(iter(question.answers.values())).sets)
        fit = holds(question.applies_to, facts) is True and asked(question.asked_when) and name not in state.unsure
        if fit and any(open_(f, kb.findings[f]) for f in sets) and not any(f in state.seen for f in sets):
            together |= set(sets)
            outcomes = tuple(tuple(answer.sets.items()) for answer in question.answers.values())
            out.append(_Candidate("question", name, sets, question.minutes, None, outcomes))
    for name, symptom in kb.entries.symptoms.items():
        if name not in together and open_(name, symptom):
            out.append(_Candidate("ask", name, (name,), symptom.minutes))
    for name, check in kb.entries.checks.items():
        if name in state.unsure or holds(check.applies_to, facts) is not True or not asked(check.asked_when):
            continue
        findings = tuple(f for f, o in check.settles.items() if open_(f, o))
        if findings:
            out.append(_Candidate("check", name, findings, minutes_of(kb, check), check))
    return out


def _facts(
    kb: KnowledgeBase,
    state: State,
    facts: dict[str, str],
    implied: frozenset[str],
    relevant: Bools,
    belief: Belief,
) -> list[str]:
    likely = [kb.cause_ids[r] for r in np.flatnonzero(relevant & (belief.now > 0.005))]
    return [
        f
        for f in facts_in_play(kb, likely)
        if f not in facts
        and f not in implied
        and f not in state.unsure
        and holds(kb.entries.facts[f].applies_to, facts) is not False
    ]


def _levels(kb: KnowledgeBase, sets: Bools) -> Array:
    """Return (N, F, G) P(finding <= grade | set), for every drawn set."""
    present = np.flatnonzero(sets.any(axis=0))
    logs = np.log(np.maximum(kb.reach[present], FLOOR))
    flat = sets[:, present].astype(float) @ logs.reshape(len(present), -1)
    out: Array = np.exp(flat).reshape(len(sets), *kb.leak.shape) * kb.leak
    return out


def _look(
    kb: KnowledgeBase, c: _Candidate, belief: Belief, work: _Work, levels: Array, purse: Purse, relevant: Bools
) -> Step:
    """Price a question or check by what each of its outcomes would leave to do."""
    chances = {f: np.diff(levels[:, kb.column[f], :], axis=1, prepend=0.0)[:, : len(kb.grades(f))] for f in c.findings}
    if c.outcomes:
        rows = [_together(kb, chances, dict(answer), len(belief.weights)) for answer in c.outcomes]
    else:
        rows = _joint(list(chances.values()))
    likelihood = np.maximum(np.array(rows), 0.0)  # (O, N)
    cost = price_of_check(kb, c.check, purse) if c.check else purse.money(c.minutes)
    return _step(kb, c.doing, c.name, c.findings, c.minutes, cost, likelihood, belief, work, relevant)


def _together(kb: KnowledgeBase, chances: dict[str, Array], answer: dict[str, str], count: int) -> Array:
    out = np.ones(count)
    for finding, table in chances.items():
        out = out * table[:, kb.grades(finding).index(answer[finding])]
    return out


def _joint(tables: list[Array]) -> list[Array]:
    """Return the likelihood of each joint outcome; past a limit the least telling findings are left out."""
    tables = sorted(tables, key=lambda t: -float(t.std(axis=0).sum()))
    while np.prod([t.shape[1] for t in tables]) > MOST_OUTCOMES:
        tables = tables[:-1]
    out = []
    for pick in product(*(range(t.shape[1]) for t in tables)):
        row = np.ones(len(tables[0]))
        for table, g in zip(tables, pick, strict=True):
            row = row * table[:, g]
        out.append(row)
    return out


def _fact(
    kb: KnowledgeBase, fact: str, belief: Belief, work: _Work, facts: dict[str, str], purse: Purse, relevant: Bools
) -> Step:
    """Price the question after a fact: each value would change the priors, and so the weights of the drawn sets."""
    entry = kb.entries.facts[fact]
    base = prior_in_context(kb, facts)
    rows = []
    for value, share in entry.share.items():
        told = prior_in_context(kb, {**facts, fact: value})
        changed = np.flatnonzero(~np.isclose(told, base, rtol=1e-9, atol=0))
        row = np.full(len(belief.weights), share)
        for cause in changed:
            there = belief.sets[:, cause]
            row = row * np.where(there, told[cause] / max(base[cause], FLOOR), (1 - told[cause]) / (1 - base[cause]))
        rows.append(row)
    minutes = 0.2
    return _step(kb, "fact", fact, (), minutes, purse.money(minutes), np.array(rows), belief, work, relevant)


def _step(
    kb: KnowledgeBase,
    doing: Doing,
    name: str,
    settles: Sequence[str],
    minutes: float,
    cost: float,
    likelihood: Array,
    belief: Belief,
    work: _Work,
    relevant: Bools,
) -> Step:
    """Weigh the outcomes.

    Args:
        likelihood: (O, N) of each outcome under each drawn set.
    """
    joint = likelihood * belief.weights
    chance = joint.sum(axis=1)
    keep = chance > 1e-9
    joint, chance = joint[keep], chance[keep] / chance[keep].sum()
    given = joint / joint.sum(axis=1, keepdims=True)
    patterns = np.zeros((len(given), len(work.need)))
    np.add.at(patterns.T, work.pattern, given.T)
    ecr, _ = work.ecr(patterns)
    posterior = given @ belief.sets  # (O, C)
    spread = np.where(relevant, chance @ (posterior - chance @ posterior) ** 2, 0.0)
    top = [int(n) for n in np.argsort(-spread)[:3] if spread[n] > 1e-4]
    tells = tuple((kb.cause_ids[n], float(posterior[:, n].min()), float(posterior[:, n].max())) for n in top)
    return Step(doing, name, tuple(settles), minutes, cost, cost + float(chance @ ecr), tells)
