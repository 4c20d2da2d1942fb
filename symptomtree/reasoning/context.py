"""What is true of the bike, its history and the conditions, as odds of causes."""

from collections.abc import Mapping, Sequence

from symptomtree.kb.compile import Array, KnowledgeBase


def prior_in_context(kb: KnowledgeBase, facts: Mapping[str, str]) -> Array:
    """Return (C,) the prior of each cause when these facts are known.

    A known fact multiplies the odds by what the knowledge says for its value. A cause that cannot be on such a bike
    has prior 0; while a fact it needs is not known, its prior is weighed by the share of bikes that have it.
    """
    odds, may_be = _odds(kb, facts)
    return _prior(odds, may_be)


def prior_by_value(kb: KnowledgeBase, facts: Mapping[str, str], asked: Sequence[str]) -> dict[str, dict[str, Array]]:
    """Return fact -> value -> (C,) the prior of each cause if that were known too, of facts not known yet."""
    odds, may_be = _odds(kb, facts)
    out: dict[str, dict[str, Array]] = {}
    for fact in asked:
        out[fact] = {}
        for value in kb.entries.facts[fact].values:
            then, can = odds.copy(), may_be.copy()
            _take_in(kb, then, can, fact, value)
            out[fact][value] = _prior(then, can)
    return out


def _odds(kb: KnowledgeBase, facts: Mapping[str, str]) -> tuple[Array, Array]:
    """Return (C,) the odds where a cause can be, and (C,) the share of bikes on which it can."""
    odds, may_be = kb.prior / (1 - kb.prior), kb.may_be.copy()
    for fact, value in facts.items():
        _take_in(kb, odds, may_be, fact, value)
    return odds, may_be


def _take_in(kb: KnowledgeBase, odds: Array, may_be: Array, fact: str, value: str) -> None:
    """Change odds and shares, in place, by what becomes known of a fact."""
    if fact in kb.changed_by:
        rows, factor = kb.changed_by[fact]
        odds[rows] *= factor[value]
    if fact in kb.needed_by:
        rows, allowed = kb.needed_by[fact]
        may_be[rows] *= allowed[value] / allowed[""]


def _prior(odds: Array, may_be: Array) -> Array:
    prior: Array = odds / (1 + odds) * may_be
    return prior


def facts_in_play(kb: KnowledgeBase, causes: list[str]) -> list[str]:
    """Return the facts that bear on any of these causes, sorted."""
    found: set[str] = set()
    for cause_id in causes:
        cause = kb.entries.causes[cause_id]
        found |= cause.raised_by.keys() | cause.lowered_by.keys() | kb.needs[cause_id].keys()
    return sorted(found)


def holds(applies_to: Mapping[str, list[str]], facts: Mapping[str, str]) -> bool | None:
    """Return whether known facts meet the condition; None while a fact it needs is not known."""
    unknown = False
    for fact, values in applies_to.items():
        if fact not in facts:
            unknown = True
        elif facts[fact] not in values:
            return False
    return None if unknown else True


def settled_here(kb: KnowledgeBase, check: str, facts: Mapping[str, str]) -> list[str]:
    """Return the findings of a check that can be on this bike: nobody is asked for the others."""
    if holds(kb.entries.checks[check].applies_to, facts) is False:
        return []
    return [f for f, o in kb.entries.checks[check].settles.items() if holds(o.applies_to, facts) is not False]
