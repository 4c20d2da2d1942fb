"""Does a check that should confirm a cause confirm it? Worked out on the bike that has this cause and nothing else."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from symptomtree.kb.compile import KnowledgeBase
from symptomtree.reasoning.belief import Model, infer
from symptomtree.reasoning.context import holds, prior_in_context
from symptomtree.reasoning.evidence import Look, Observed

HALF = 0.5
"""A cause is taken to bring a finding as far as it does at least so often."""


@dataclass(frozen=True, slots=True)
class Confirmed:
    """How a cause stands after its own check and one symptom.

    Attributes:
        probability: of the cause.
        rival: the likeliest other cause then.
    """

    cause: str
    probability: float
    rival: str


def confirmations(kb: KnowledgeBase) -> Iterator[Confirmed]:
    """Yield for each cause how it stands once its check was done and its likeliest symptom told."""
    for cause in kb.cause_ids:
        found = _seen(kb, cause)
        facts = _bike(kb, cause)
        model = Model(prior_in_context(kb, facts), kb.reach, kb.leak)
        now = infer(model, tuple(_look(kb, *item) for item in sorted(found.items()))).now
        others = now.copy()
        others[kb.row[cause]] = -1
        yield Confirmed(cause, float(now[kb.row[cause]]), kb.cause_ids[int(others.argmax())])


def _bike(kb: KnowledgeBase, cause: str) -> dict[str, str]:
    """Return the commonest bike that can have the cause, in all that it and the findings of its check need."""
    needs: dict[str, frozenset[str]] = dict(kb.needs[cause])
    for finding in kb.entries.checks[kb.entries.causes[cause].confirm].settles.values():
        for fact in finding.applies_to:
            needs.setdefault(fact, frozenset(kb.entries.facts[fact].values))
    return {
        fact: max(sorted(values), key=lambda value: kb.entries.facts[fact].share[value])
        for fact, values in needs.items()
    }


def _seen(kb: KnowledgeBase, cause: str) -> Mapping[str, int]:
    """Return finding -> grade: all that the check settles, and the symptom that the cause makes most often."""
    entry = kb.entries.causes[cause]
    facts = _bike(kb, cause)
    check = kb.entries.checks[entry.confirm]
    found = {
        finding: _pushed(kb, cause, finding)
        for finding, known in check.settles.items()
        if holds(known.applies_to, facts) and (finding in entry.shows or not known.asked_when)
    }
    felt = [finding for finding in entry.shows if finding in kb.entries.symptoms]
    if felt:
        most = min(felt, key=lambda finding: kb.reach[kb.row[cause], kb.column[finding], 0])
        found[most] = max(1, _pushed(kb, cause, most))
    return found


def _pushed(kb: KnowledgeBase, cause: str, finding: str) -> int:
    """Return the worst grade to which the cause brings a finding at least half the time, 0 for none."""
    return int((1 - kb.reach[kb.row[cause], kb.column[finding], :-1] >= HALF).sum())


def _look(kb: KnowledgeBase, finding: str, grade: int) -> Observed:
    weights = np.zeros(kb.leak.shape[1])
    weights[grade] = 1.0
    return Observed(kb.column[finding], (Look(0, weights),))
