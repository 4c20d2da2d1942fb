"""The cheapest way to a fixed bike: which step next.

The expected cost of repair (ECR; Heckerman, Breese, Rommelse, CACM 38(3), 1995) is taken over whole sets of causes
drawn from the posterior: several faults at once are normal. Fixes are tried in the order of odds over cost (Srinivas,
UAI 1995: optimal when the bike is right only once every fault is gone); a set costs what is spent up to the last fix
that it needs. The plan may end in a hand-over after any number of fixes, and every such end is looked at, since costs can rise
and fall again. A question or check costs what it costs, plus the mean of the ECR after each of its outcomes (one-step
look-ahead), so what cannot change the work is worth nothing.
"""

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
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
FACT_MINUTES = 0.2
FIXES_WEIGHED = 2
"""How many fixes are weighed with what may be asked after them."""


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


@dataclass(frozen=True, slots=True)
class _Drawn:
    """The distinct sets of relevant causes among those drawn. R relevant causes, N sets.

    Attributes:
        rows: (R,) the relevant causes.
        sets: (N, R) which of them are there.
        active: (N, R) which of those made anything of what was found; the others may be there, but are no part of the
            complaint.
        weights: (N,) sum 1.
        others: (F, G) P(finding <= grade) that the leak and all other causes leave; they need no sets, since given the
            evidence each goes by its own odds.
    """

    rows: NDArray[np.int64]
    sets: Bools
    active: Bools
    weights: Array
    others: Array

    @classmethod
    def of(cls, kb: KnowledgeBase, belief: Belief, relevant: Bools, abnormal: Mapping[str, int]) -> "_Drawn":
        rows = np.flatnonzero(relevant)
        sets = belief.sets[:, rows]
        active = _active(kb, rows, sets, abnormal)
        both, which = distinct(np.concatenate([sets, active], axis=1))
        rest = np.flatnonzero(~relevant & (belief.now > 1e-6))
        p = belief.now[rest][:, None, None]
        others = kb.leak * np.prod(1 - p + p * kb.reach[rest], axis=0)
        weights = np.bincount(which, weights=belief.weights, minlength=len(both))
        return cls(rows, both[:, : len(rows)], both[:, len(rows) :], weights, others)


def _active(kb: KnowledgeBase, rows: NDArray[np.int64], sets: Bools, abnormal: Mapping[str, int]) -> Bools:
    """Draw which of the causes present made the abnormal findings, given that each was made by one at least.

    A mechanism that may not exceed the grade seen reaches it with chance u = 1 - c(x-1)/c(x). The first that does is
    drawn, the later ones go by their own chance; this is the joint distribution given 'at least one'.
    """
    random = np.random.default_rng(len(sets))
    active = np.zeros_like(sets)
    for finding, grade in abnormal.items():
        column = kb.column[finding]
        reach = np.concatenate([kb.reach[rows, column], kb.leak[column][None]])
        lit = 1 - reach[:, grade - 1] / np.maximum(reach[:, grade], FLOOR)
        chance = np.concatenate([sets, np.ones((len(sets), 1), dtype=bool)], axis=1) * lit
        none_before = np.concatenate([np.ones((len(sets), 1)), np.cumprod(1 - chance, axis=1)[:, :-1]], axis=1)
        edges = np.cumsum(none_before * chance, axis=1)
        first = (random.random((len(sets), 1)) * edges[:, -1:] >= edges[:, :-1]).sum(axis=1)
        later = np.arange(len(rows) + 1) > first[:, None]
        made = later & (random.random(chance.shape) < chance)
        made[np.arange(len(sets)), first] = True
        active |= made[:, :-1] & sets
    return active


class _Work:
    """The drawn sets of causes as fixes needed, with the arithmetic on them.

    Attributes:
        need: (P, J) distinct patterns of fixes needed.
        pattern: (N, P) one-hot, which pattern each set has.
        cost: (J,) of each fix.
        fails: (J,) what it costs on average that the fix may not work, when it is needed.
        trip: what a hand-over costs before any work is done there.
        stuck: (P,) whether nothing on the list would end it.
    """

    def __init__(self, kb: KnowledgeBase, drawn: _Drawn, purse: Purse, done: frozenset[str]) -> None:
        first: dict[str, list[int]] = {}
        for n in np.flatnonzero(drawn.active.any(axis=0)):
            fixes = [f for f in kb.entries.causes[kb.cause_ids[drawn.rows[n]]].fixes if f not in done]
            if fixes:
                first.setdefault(fixes[0], []).append(int(n))
        self.fixes = sorted(first)
        needed = np.zeros((len(drawn.sets), len(self.fixes)), dtype=bool)
        for j, fix in enumerate(self.fixes):
            needed[:, j] = drawn.active[:, first[fix]].any(axis=1)
        self.need, which = distinct(needed)
        self.pattern = np.eye(len(self.need))[which]
        entries = [kb.entries.fixes[f] for f in self.fixes]
        self.cost = np.array([price_of(kb, e, purse) for e in entries])
        self.stuck = ~self.need.any(axis=1)
        self.trip = purse.hand_over
        self.fails = np.array([(1 - probability(e.works)) * purse.hand_over for e in entries])

    @property
    def end(self) -> Array:
        """(P,) what a hand-over costs: the trip, and there too the work and parts that the bike needs."""
        out: Array = self.trip + self.need @ self.cost
        return out

    def without(self, j: int) -> "_Work":
        """Return the work that is left once fix j is done."""
        left = copy(self)
        left.need = self.need.copy()
        left.need[:, j] = False
        return left

    def ecr(self, weights: Array) -> tuple[Array, NDArray[np.int64]]:
        """Return (O,) expected costs and (O, J) the order of fixes.

        Args:
            weights: (O, P) probability of each pattern, rows sum to 1.
        """
        end, may_fail = self.end, self.need @ self.fails
        best: Array = weights @ end
        if not self.fixes:
            return best, np.zeros((len(weights), 0), dtype=np.int64)
        p = np.clip(weights @ self.need, FLOOR, 1 - FLOOR)
        order = np.argsort(-(p / (1 - p)) / self.cost, axis=1, kind="stable")
        spent = np.cumsum(self.cost[order], axis=1)
        at = np.empty_like(spent)  # money spent when fix j is done
        np.put_along_axis(at, order, spent, axis=1)
        last = np.zeros((len(weights), len(self.need)))  # money spent when the last needed fix is done
        for j in range(len(self.fixes)):
            rows = self.need[:, j]
            last[:, rows] = np.maximum(last[:, rows], at[:, j : j + 1])
        last[:, self.stuck] = np.inf
        # One plan per length of the prefix: fixed within it, or handed over at its end. Sorting each outcome's sets by
        # `last` turns all prefixes into running sums.
        by_last = np.argsort(last, axis=1, kind="stable")
        w = np.take_along_axis(weights, by_last, axis=1)
        sorted_last = np.take_along_axis(last, by_last, axis=1)
        within = np.where(np.isfinite(sorted_last), sorted_last, 0.0)
        fixed = np.cumsum(w * (within + may_fail[by_last]), axis=1)
        after = w * end[by_last]
        handed = after.sum(axis=1, keepdims=True) - np.cumsum(after, axis=1)
        mass = 1 - np.cumsum(w, axis=1)
        for o in range(len(weights)):
            ends = np.searchsorted(sorted_last[o], spent[o] + 1e-9, side="right") - 1
            known = ends >= 0
            f = np.where(known, fixed[o][ends], 0.0)
            h = np.where(known, handed[o][ends], after[o].sum())
            m = np.where(known, mass[o][ends], 1.0)
            best[o] = min(best[o], float((f + h + m * spent[o]).min()))
        return best, order


def distinct(rows: Bools) -> tuple[Bools, NDArray[np.int64]]:
    """Return the distinct rows and, for each row, which of them it is."""
    packed = np.packbits(rows, axis=1) if rows.shape[1] else np.zeros((len(rows), 1), dtype=np.uint8)
    keys = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1]))).reshape(-1)
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    return rows[first], which.reshape(-1)


def make_plan(
    kb: KnowledgeBase,
    state: State,
    belief: Belief,
    facts: dict[str, str],
    relevant: Bools,
    implied: frozenset[str],
    purse: Purse,
    do_first: Sequence[str] = (),
) -> Plan:
    """Rank every step that could come next.

    Args:
        belief: with drawn sets.
        facts: known and implied.
        relevant: (C,) whether a cause can make any abnormal finding of this case.
        implied: findings and facts that need not be asked.
        do_first: checks and fixes that rules put before everything else.
    """
    abnormal = {f: grade for f in state.seen if (grade := kb.grades(f).index(state.grade(f) or "")) > 0}
    drawn = _Drawn.of(kb, belief, relevant, abnormal)
    work = _Work(kb, drawn, purse, frozenset(fix for fix, _ in state.fixes))
    now = (drawn.weights @ work.pattern)[None]
    expected, order = work.ecr(now)
    needed = (now @ work.need)[0] if work.fixes else np.empty(0)
    ranks = tuple(_rank(kb, belief, work, int(j), float(needed[j])) for j in (order[0] if work.fixes else ()))
    candidates = _candidates(kb, state, facts, implied, relevant, belief, do_first)
    asked = _facts(kb, state, facts, implied, relevant, belief)

    def looks(drawn: _Drawn, work: _Work) -> list[Step]:
        chances = _chances(kb, drawn, sorted({f for c in candidates for f in c.findings}))
        prospects = [_look(kb, c, chances, purse) for c in candidates]
        prospects += [_fact(kb, f, drawn, facts, purse) for f in asked]
        return _weigh(kb, prospects, drawn, work)

    steps = looks(drawn, work)
    for rank in ranks[:FIXES_WEIGHED]:
        if rank.needed > 0.01:
            total = rank.cost + _after(kb, rank.fix, drawn, work, looks)
            steps.append(Step("fix", rank.fix, (), rank.minutes, rank.cost, total))
    steps.append(Step("hand-over", "", (), 0.0, purse.hand_over, float((now @ work.end)[0])))
    first = {f for f in asked if _divides(kb, f, relevant, belief)}
    done = {fix for fix, _ in state.fixes}
    for name in do_first:
        if name in kb.entries.fixes and name not in done and all(s.name != name for s in steps):
            fix = kb.entries.fixes[name]
            cost = price_of(kb, fix, purse)
            steps.append(Step("fix", name, (), minutes_of(kb, fix), cost, cost + float(expected[0])))
    turn = {name: n for n, name in enumerate(do_first)}  # safety before cost
    steps.sort(
        key=lambda s: (turn.get(s.name, len(turn)), s.name not in first, round(s.total, 6), s.cost, s.doing, s.name)
    )
    return Plan(tuple(steps), ranks, float(expected[0]))


def _after(
    kb: KnowledgeBase,
    fix: str,
    drawn: _Drawn,
    work: "_Work",
    looks: Callable[[_Drawn, "_Work"], list[Step]],
) -> float:
    """Return the expected cost that is left after a fix and its retest: what need not be asked before may wait."""
    j = work.fixes.index(fix)
    left = work.without(j)
    unsolved = drawn.weights * (work.pattern @ (left.need.any(axis=1) | work.stuck))
    chance = float(unsolved.sum())
    cost = float(drawn.weights @ (work.pattern @ (work.need[:, j] * work.fails[j])))
    if chance < 1e-6:
        return cost
    gone = np.isin(drawn.rows, [kb.row[c] for c in kb.fixed_by[fix]])
    then = replace(drawn, sets=drawn.sets & ~gone, weights=unsolved / chance)
    ecr, _ = left.ecr((then.weights @ left.pattern)[None])
    return cost + chance * min([float(ecr[0]), *(step.total for step in looks(then, left))])


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
    """What it would settle that bears on the causes in question."""
    settles: tuple[str, ...]
    """Everything it would settle: whoever looks, looks at it all."""
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
    do_first: Sequence[str],
) -> list[_Candidate]:
    """List what can be asked or looked at now and could tell anything."""
    weighty = relevant & (belief.now > 0.002)
    shown = (kb.reach[weighty] < 1).any(axis=(0, 2)) if weighty.any() else np.zeros(len(kb.finding_ids), dtype=bool)

    def unasked(finding: str, entry: Symptom | Observable) -> bool:
        return (
            finding not in state.seen
            and finding not in state.unsure
            and finding not in implied
            and holds(entry.applies_to, facts) is True
            and asked(entry.asked_when)
        )

    def tells(finding: str) -> bool:
        return bool(shown[kb.column[finding]])

    def asked(when: dict[str, list[str]]) -> bool:
        return not when or any(state.grade(f) in grades for f, grades in when.items())

    out = []
    together: set[str] = set()
    for name, question in kb.entries.questions.items():
        sets = tuple(next(iter(question.answers.values())).sets)
        fit = holds(question.applies_to, facts) is True and asked(question.asked_when) and name not in state.unsure
        if fit and any(tells(f) and unasked(f, kb.findings[f]) for f in sets) and not any(f in state.seen for f in sets):
            together |= set(sets)
            outcomes = tuple(tuple(answer.sets.items()) for answer in question.answers.values())
            out.append(_Candidate("question", name, sets, sets, question.minutes, None, outcomes))
    for name, symptom in kb.entries.symptoms.items():
        if name not in together and tells(name) and unasked(name, symptom):
            out.append(_Candidate("ask", name, (name,), (name,), symptom.minutes))
    for name, check in kb.entries.checks.items():
        if name in state.unsure or holds(check.applies_to, facts) is not True or not asked(check.asked_when):
            continue
        settles = tuple(f for f, o in check.settles.items() if unasked(f, o))
        findings = tuple(f for f in settles if tells(f))
        if findings or (name in do_first and not any(f in state.seen for f in check.settles)):
            out.append(_Candidate("check", name, findings or settles, settles, minutes_of(kb, check), check))
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


def _divides(kb: KnowledgeBase, fact: str, relevant: Bools, belief: Belief) -> bool:
    """Return whether likely causes need different values of the fact: without it the right questions cannot be asked."""
    likely = np.flatnonzero(relevant & (belief.now > 0.05))
    wanted = [values for row in likely if (values := kb.needs[kb.cause_ids[row]].get(fact))]
    return any(not (a & b) for a in wanted for b in wanted)


def _chances(kb: KnowledgeBase, drawn: _Drawn, findings: Sequence[str]) -> dict[str, Array]:
    """Return finding -> (N, its grades) P(grade | set), for every drawn set."""
    if not findings:
        return {}
    columns = [kb.column[f] for f in findings]
    logs = np.log(np.maximum(kb.reach[np.ix_(drawn.rows, columns)], FLOOR))
    flat = drawn.sets.astype(float) @ logs.reshape(len(drawn.rows), -1)
    levels = np.exp(flat).reshape(len(drawn.sets), len(columns), kb.leak.shape[1]) * drawn.others[columns]
    levels[:, :, 1:] -= levels[:, :, :-1].copy()
    levels = np.maximum(levels, 0.0)
    return {f: levels[:, n, : len(kb.grades(f))] for n, f in enumerate(findings)}


@dataclass(frozen=True, slots=True)
class _Prospect:
    """A step that could tell something: `likelihood` is (O, N), of each outcome under each drawn set."""

    doing: Doing
    name: str
    settles: tuple[str, ...]
    minutes: float
    cost: float
    likelihood: Array


def _look(kb: KnowledgeBase, c: _Candidate, chances: dict[str, Array], purse: Purse) -> _Prospect:
    """Say what a question or check may turn out."""
    mine = {f: chances[f] for f in c.findings}
    if c.outcomes:
        likelihood = np.array([_together(kb, mine, dict(answer)) for answer in c.outcomes])
    else:
        likelihood = _joint(list(mine.values()))
    cost = price_of_check(kb, c.check, purse) if c.check else purse.money(c.minutes)
    return _Prospect(c.doing, c.name, c.settles, c.minutes, cost, likelihood)


def _together(kb: KnowledgeBase, chances: dict[str, Array], answer: dict[str, str]) -> Array:
    out: Array = np.prod([table[:, kb.grades(f).index(answer[f])] for f, table in chances.items()], axis=0)
    return out


def _joint(tables: list[Array]) -> Array:
    """Return (O, N) the likelihood of each joint outcome; past a limit the least telling findings are left out."""
    tables = sorted(tables, key=lambda t: -float(t.std(axis=0).sum()))
    while np.prod([t.shape[1] for t in tables]) > MOST_OUTCOMES:
        tables = tables[:-1]
    out = tables[0].T
    for table in tables[1:]:
        out = (out[:, None, :] * table.T[None]).reshape(-1, len(table))
    return out


def _fact(kb: KnowledgeBase, fact: str, drawn: _Drawn, facts: dict[str, str], purse: Purse) -> _Prospect:
    """Say what a fact may turn out: each value would change the priors, and so the weights of the drawn sets."""
    base = prior_in_context(kb, facts)[drawn.rows]
    rows = []
    for value, share in kb.entries.facts[fact].share.items():
        told = prior_in_context(kb, {**facts, fact: value})[drawn.rows]
        there = np.log(np.maximum(told, FLOOR)) - np.log(np.maximum(base, FLOOR))
        not_there = np.log1p(-told) - np.log1p(-base)
        rows.append(share * np.exp(not_there.sum() + drawn.sets @ (there - not_there)))
    return _Prospect("fact", fact, (), FACT_MINUTES, purse.money(FACT_MINUTES), np.array(rows))


def _weigh(kb: KnowledgeBase, looks: Sequence[_Prospect], drawn: _Drawn, work: _Work) -> list[Step]:
    """Price every prospect by what each of its outcomes would leave to do; all outcomes in one go."""
    if not looks:
        return []
    joint = np.concatenate([look.likelihood for look in looks]) * drawn.weights
    owner = np.repeat(np.arange(len(looks)), [len(look.likelihood) for look in looks])
    chance = joint.sum(axis=1)
    keep = chance > 1e-6
    joint, owner, chance = joint[keep], owner[keep], chance[keep]
    given = joint / chance[:, None]
    chance = chance / np.bincount(owner, weights=chance, minlength=len(looks))[owner]
    ecr, _ = work.ecr(given @ work.pattern)
    totals = np.bincount(owner, weights=chance * ecr, minlength=len(looks))
    posterior = given @ drawn.sets.astype(float)
    steps = []
    for n, look in enumerate(looks):
        mine = owner == n
        then = posterior[mine]
        spread = chance[mine] @ (then - chance[mine] @ then) ** 2
        top = [int(r) for r in np.argsort(-spread, kind="stable")[:3] if spread[r] > 1e-4]
        tells = tuple((kb.cause_ids[drawn.rows[r]], float(then[:, r].min()), float(then[:, r].max())) for r in top)
        total = look.cost + float(totals[n])
        steps.append(Step(look.doing, look.name, look.settles, look.minutes, look.cost, total, tells))
    return steps
