"""How a check or fix is carried out: every caution stands before what it belongs to, and is told once."""

from typing import TYPE_CHECKING, NamedTuple

from symptomtree.kb.model import Check, Fix, instructions

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

Steps = tuple[tuple[tuple[str, ...], str], ...]
"""(the cautions to read right before it, the step), in order."""


class Guide(NamedTuple):
    """A piece of work, in the order in which it is read.

    Attributes:
        ahead: cautions for getting there, then for the whole work.
        steps: what to do, each with the cautions that belong to it.
    """

    ahead: tuple[str, ...]
    steps: Steps

    @property
    def cautions(self) -> tuple[str, ...]:
        """All cautions, in order."""
        return (*self.ahead, *(caution for cautions, _ in self.steps for caution in cautions))


def guide(kb: "KnowledgeBase", work: Check | Fix) -> Guide:
    """Return a piece of work with each caution where it belongs.

    The caution of a hazard comes before the first step that says one of its words; when no step does, ahead of all.
    """
    hazards = kb.entries.hazards
    steps = instructions(work)
    places: list[list[str]] = [[] for _ in range(len(steps) + 1)]  # ahead, then before each step
    for state in (kb.entries.access[name] for name in way_to(kb, work.access)):
        places[0] += [*(hazards[h].caution for h in state.hazards), *state.cautions]
    for hazard in (hazards[h] for h in work.hazards):
        saying = (n for n, (_, step) in enumerate(steps, start=1) if hazard.word_in(step))
        places[next(saying, 0)].append(hazard.caution)
    places[0] += work.cautions
    for n, (mind, _) in enumerate(steps, start=1):
        places[n] += [mind] if mind else []
    once: dict[str, int] = {}
    for n, cautions in enumerate(places):
        for caution in cautions:
            once.setdefault(caution, n)
    ahead, *before = (tuple(c for c, at in once.items() if at == n) for n in range(len(places)))
    return Guide(ahead, tuple((cautions, step) for cautions, (_, step) in zip(before, steps, strict=True)))


def way_to(kb: "KnowledgeBase", access: str | None) -> list[str]:
    """Return the access states to open until one is reached, outermost first."""
    states: list[str] = []
    while access:
        states.insert(0, access)
        access = kb.entries.access[access].inside
    return states
