"""What a step costs: minutes of work at a rate, plus parts; and whose time and money it is."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from symptomtree.kb.model import Check, Fix, Skill

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

PART_WORTH = {"none": 0.0, "low": 8.0, "middle": 25.0, "high": 70.0, "very-high": 200.0}
"""Price band -> worth in money; from memory, brand-neutral, for weighing only."""
SKILLS: tuple[Skill, ...] = ("rider", "mechanic", "specialist")
RETEST_MINUTES = 1.0
FACT_MINUTES = 0.2
PATIENCE = 0.02
"""Worth of a minute when the time is free: a long way round is still worse than a short one."""


@dataclass(frozen=True, slots=True)
class Profile:
    """Whose time and money it is.

    Attributes:
        per_minute: worth of a minute of their time, in money.
        hand_over: what it costs to give the bike to a workshop, in money, before any work is done there.
        skill: work beyond it is handed over.
        tools: the tools at hand; None for all. Work that needs another, which nothing serves instead, is handed over.
        hands: how many people are there.
        currency: the label of the money.
    """

    per_minute: float = 0.5
    hand_over: float = 60.0
    skill: Skill = "mechanic"
    tools: frozenset[str] | None = None
    hands: int = 1
    currency: str = ""

    def money(self, minutes: float) -> float:
        """Return what minutes of their time are worth."""
        return minutes * max(self.per_minute, PATIENCE)

    def can(self, kb: "KnowledgeBase", work: Check | Fix) -> bool:
        """Return whether they can do it: skill, tools and hands, those of the way there included."""
        ways = [kb.entries.access[a] for a in access_path(kb, work.access)]
        if any(SKILLS.index(x.skill) > SKILLS.index(self.skill) for x in (work, *ways)):
            return False
        if work.people > self.hands:
            return False
        needed = {tool for x in (work, *ways) for tool in x.tools}
        return self.tools is None or all(t in self.tools or kb.entries.tools[t].instead for t in needed)


def access_path(kb: "KnowledgeBase", access: str | None) -> list[str]:
    """Return an access state and all around it, innermost first."""
    out = []
    while access:
        out.append(access)
        access = kb.entries.access[access].inside
    return out


def access_minutes(kb: "KnowledgeBase", access: str | None, open_: frozenset[str] = frozenset()) -> float:
    """Return the minutes to open and later close what of an access state is not open yet."""
    return sum(
        kb.entries.access[a].open + kb.entries.access[a].close for a in access_path(kb, access) if a not in open_
    )


def minutes_of(kb: "KnowledgeBase", work: Check | Fix, open_: frozenset[str] = frozenset()) -> float:
    """Return the minutes of a check or fix, getting there and back included."""
    return work.minutes + access_minutes(kb, work.access, open_)


def price_of(kb: "KnowledgeBase", work: Check | Fix, profile: Profile) -> float:
    """Return what the work itself costs, access not counted; what they cannot do costs a hand-over."""
    parts = PART_WORTH[work.price] if isinstance(work, Fix) else 0.0
    if (isinstance(work, Fix) and work.kind == "hand-over") or not profile.can(kb, work):
        return profile.hand_over + parts
    retest = RETEST_MINUTES if isinstance(work, Fix) else 0.0
    return profile.money(work.minutes + retest) + parts
