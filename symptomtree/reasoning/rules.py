"""Categorical conclusions, each with the chain that led to it: what probability must not decide.

Two steps. The rule engine library matches: its working memory holds *items*, what was told or implied regardless of
when, and remembers which items fired which rule. Then `_follow` retells that from the beginning: what rests on what,
and since when. The second step looks at nothing but the items told and the matches among them, so the answer cannot
depend on the order in which the engine came to know them, and the engine may keep its memory from call to call.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from threading import Lock
from typing import Any, Literal, get_args

from symptomtree.kb.model import Condition, Entries, Rule
from symptomtree.kb.vetting.desk import findings_of
from symptomtree.reasoning import _experta

Kind = Literal["stop-riding", "rules-out", "implies", "contradicts", "do-first", "must-follow", "hand-over"]
"""In the order in which conclusions are given."""
Item = tuple[str, str, str | float]
"""(kind, name, value) of something told or implied."""
Test = Callable[[str | float], bool]


@dataclass(frozen=True, slots=True, order=True)
class Told:
    """One thing that an event told."""

    at: int  # number of the event, from 1
    kind: Literal["fact", "finding", "reading", "done"]
    name: str  # a fact, a finding or a fix
    value: str | float = ""  # value or grade; the number of a reading; nothing for a fix done


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What one rule says, and why."""

    rule: str
    kind: Kind
    target: str  # cause, check, fix, finding or fact; for stop-riding the check that clears it; else empty
    value: str  # for implies: the value or grade
    because: str
    told: tuple[Told, ...]  # all that it rests on, through implied items too, sorted
    via: tuple[str, ...]  # the rules that led here, in the order in which they fire; this rule is the last
    at: int  # the latest event that it rests on


@dataclass(frozen=True, slots=True)
class _Grounds:
    """What an item, or a rule that fired, rests on."""

    at: int
    told: frozenset[Told]
    via: tuple[str, ...] = ()


class RuleEngine:
    """The rules of some knowledge, ready to conclude. May be shared between threads."""

    def __init__(self, entries: Entries) -> None:
        self._rules = dict(sorted(entries.rules.items()))
        self._implied: dict[str, list[Item]] = {
            rule_id: [("fact" if n in entries.facts else "finding", n, value) for n, value in rule.implies.items()]
            for rule_id, rule in self._rules.items()
        }
        self._fired: dict[str, set[tuple[Item, ...]]] = {rule_id: set() for rule_id in self._rules}
        self._memory: dict[Item, Any] = {}
        self._lock = Lock()
        self._heeded: dict[tuple[str, str], list[Test]] = {}
        grades = {name: list(finding.grades) for name, finding in findings_of(entries).items()}
        compiled = {}
        for n, (rule_id, rule) in enumerate(self._rules.items()):
            patterns = []
            for i, condition in enumerate(rule.when):
                kind, name, fits = _asks(condition, grades)
                self._heeded.setdefault((kind, name), []).append(fits)
                patterns.append(f"held_{i}" << _experta.Fact(kind=kind, name=name, value=_experta.P(fits)))
            # The prefix keeps a rule named like a method of the library from replacing that method; the salience
            # makes rules fire in the order of their ids.
            compiled[f"rule {rule_id}"] = _experta.Rule(*patterns, salience=-n)(self._recorder(rule_id))
        self._engine = type("CompiledRules", (_experta.KnowledgeEngine,), compiled)()
        self._engine.reset()

    def conclude(self, told: Sequence[Told]) -> tuple[Conclusion, ...]:
        """Return all that follows from `told`: by kind (see `Kind`), then by rule, then as the rule lists it.

        The order of `told` does not matter, nor what was concluded before. Of several ways in which a rule holds, the
        conclusion tells the one whose `at` is the greatest, so that a finding found again fires a rule again; of
        those with the same `at`, the one with the shortest way from what was told.
        """
        with self._lock:
            for item in {(t.kind, t.name, t.value) for t in told}:
                self._remember(item)
            self._engine.run()
            grounds, fired = self._follow(told)
            self._forget(self._memory.keys() - grounds.keys())
        found = [
            Conclusion(rule_id, kind, target, value, because, tuple(sorted(why.told)), why.via, why.at)
            for rule_id, why in sorted(fired.items())
            for kind, target, value, because in _says(self._rules[rule_id])
        ]
        return tuple(sorted(found, key=lambda c: get_args(Kind).index(c.kind)))

    def _recorder(self, rule_id: str) -> Callable[..., None]:
        """Return what happens when the rule fires."""

        def fire(_engine: object, **held: Any) -> None:
            facts = [held[f"held_{i}"] for i in range(len(held))]
            self._fired[rule_id].add(tuple((f["kind"], f["name"], f["value"]) for f in facts))
            for item in self._implied[rule_id]:
                self._remember(item)

        return fire

    def _remember(self, item: Item) -> None:
        """Tell the engine, if any condition could take the item: it asks every rule about each one."""
        kind, name, value = item
        if item not in self._memory and any(fits(value) for fits in self._heeded.get((kind, name), ())):
            self._memory[item] = self._engine.declare(_experta.Fact(kind=kind, name=name, value=value))

    def _forget(self, items: set[Item]) -> None:
        """Retract what no longer follows, and the matches that it took part in."""
        for item in items:
            self._engine.retract(self._memory.pop(item))
        if items:
            for matches in self._fired.values():
                matches -= {match for match in matches if not items.isdisjoint(match)}

    def _follow(self, told: Sequence[Told]) -> tuple[dict[Item, _Grounds], dict[str, _Grounds]]:
        """Return the grounds of every item and every rule that holds.

        It goes in rounds from what was told. In each, every rule looks at the items of the round before; what it finds
        replaces what is known only when its `at` is greater. So a circle of rules ends, and nothing ever rests on
        itself. The last round finds nothing newer, hence every `at` is the greatest there is.
        """
        items: dict[Item, _Grounds] = {(t.kind, t.name, t.value): _Grounds(t.at, frozenset([t])) for t in sorted(told)}
        rules: dict[str, _Grounds] = {}
        while True:
            newer: dict[str, _Grounds] = {}
            for rule_id, matches in self._fired.items():
                held = [(match, [items[i] for i in match]) for match in matches if all(i in items for i in match)]
                if held:
                    _, best = min(held, key=_latest_first)
                    at = max(g.at for g in best)
                    if rule_id not in rules or at > rules[rule_id].at:
                        before = dict.fromkeys(chain.from_iterable(g.via for g in best))
                        newer[rule_id] = _Grounds(at, frozenset().union(*(g.told for g in best)), (*before, rule_id))
            if not newer:
                return items, rules
            rules |= newer
            for rule_id, grounds in newer.items():
                for item in self._implied[rule_id]:
                    if item not in items or grounds.at > items[item].at:
                        items[item] = grounds


def _latest_first(held: tuple[tuple[Item, ...], list[_Grounds]]) -> tuple[list[int], tuple[Item, ...]]:
    match, grounds = held
    return sorted(-g.at for g in grounds), match


def _asks(condition: Condition, grades: dict[str, list[str]]) -> tuple[str, str, Test]:
    """Return the kind and name of the items that a condition asks for, and the test of their value."""
    if condition.done:
        return "done", condition.done, _one_of(frozenset({""}))
    if condition.reading:
        return "reading", condition.reading, _between(condition.above, condition.below)
    if condition.fact:
        return "fact", condition.fact, _one_of(frozenset(condition.any_of))
    assert condition.finding, "the vetting lets no other condition pass"
    ordered = grades[condition.finding]
    worst = ordered[ordered.index(condition.at_least) :] if condition.at_least else ordered
    return "finding", condition.finding, _one_of(frozenset(worst) & frozenset(condition.any_of or ordered))


# The library keeps every predicate it has seen for good, by identity: the cache lets equal ones be the same.
@cache
def _one_of(values: frozenset[str]) -> Test:
    return values.__contains__


@cache
def _between(above: float | None, below: float | None) -> Test:
    """Both limits are strict: a reading on the limit is neither above nor below it."""

    def fits(value: str | float) -> bool:
        # The library may try the value before the kind.
        return not isinstance(value, str) and (above is None or value > above) and (below is None or value < below)

    return fits


def _says(rule: Rule) -> list[tuple[Kind, str, str, str]]:
    """Return (kind, target, value, because) of each conclusion of a rule."""
    why = rule.because or ""
    says: list[tuple[Kind, str, str, str]] = []
    if rule.stop_riding:
        says.append(("stop-riding", rule.stop_riding.until, "", rule.stop_riding.because))
    says += [("rules-out", cause, "", why) for cause in rule.rules_out]
    says += [("implies", name, value, why) for name, value in rule.implies.items()]
    if rule.contradicts:
        says.append(("contradicts", "", "", rule.contradicts))
    says += [("do-first", target, "", why) for target in rule.do_first]
    says += [("must-follow", target, "", why) for target in rule.must_follow]
    if rule.hand_over:
        says.append(("hand-over", "", "", rule.hand_over))
    return says
