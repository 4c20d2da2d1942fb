"""A case goes on with other knowledge: nothing that was entered is lost."""

import msgspec

from symptomtree.cases.files import event_problems
from symptomtree.cases.model import AnyEvent, Case, Note
from symptomtree.kb.compile import KnowledgeBase

LONGEST = 1000
"""Longer notes are cut; a case file takes no text that is much longer."""


def refit(case: Case, kb: KnowledgeBase) -> tuple[Case, tuple[str, ...]]:
    """Return a case that fits the knowledge, and what in it did not.

    An event that the knowledge does not know becomes a note of what it said, so that the events keep their numbers.
    """
    events: list[AnyEvent] = []
    strange: list[str] = []
    for n, event in enumerate(case.events, start=1):
        problem = next((text for _, text in event_problems(event, kb, events)), None)
        if problem:
            strange.append(f"event {n}: {problem}")
        events.append(_noted(event) if problem else event)
    known = case.known
    if known:
        causes, fixes = {known.cause, *known.also_accept}, {known.fix} - {None}
        if not (causes <= set(kb.cause_ids) and fixes <= set(kb.entries.fixes)):
            strange.append(f"what is known to be wrong: {known.cause}")
            known = None
    return msgspec.structs.replace(case, events=events, known=known), tuple(strange)


def _noted(event: AnyEvent) -> Note:
    said = ", ".join(f"{key} {value}" for key, value in msgspec.to_builtins(event).items())
    return Note(text=f"The knowledge does not know this any more: {said}"[:LONGEST])
