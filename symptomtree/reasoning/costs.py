"""What a step costs: minutes of work and of getting there, at a rate, plus parts."""

from dataclasses import dataclass

from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.model import Check, Fix, Skill

PART_WORTH = {"none": 0.0, "low": 8.0, "middle": 25.0, "high": 70.0, "very-high": 200.0}
"""Price band -> worth in money; from memory, brand-neutral, for weighing only."""
SKILLS: tuple[Skill, ...] = ("rider", "mechanic", "specialist")
RETEST_MINUTES = 1.0


@dataclass(frozen=True, slots=True)
class Purse:
    """Whose time and money it is.

    Attributes:
        per_minute: worth of a minute of their time, in money.
        hand_over: what it costs to give the bike to a workshop, in money.
        skill: work beyond it is handed over.
    """

    per_minute: float = 0.5
    hand_over: float = 60.0
    skill: Skill = "mechanic"

    def money(self, minutes: float, parts: float = 0.0) -> float:
        return minutes * self.per_minute + parts

    def can(self, skill: Skill) -> bool:
        return SKILLS.index(skill) <= SKILLS.index(self.skill)


def access_minutes(kb: KnowledgeBase, access: str | None) -> float:
    """Return the minutes to open and close an access state with all states around it."""
    total = 0.0
    while access:
        entry = kb.entries.access[access]
        total += entry.open + entry.close
        access = entry.inside
    return total


def minutes_of(kb: KnowledgeBase, work: Check | Fix) -> float:
    """Return the minutes of a check or fix, getting there and back included."""
    return work.minutes + access_minutes(kb, work.access)


def price_of(kb: KnowledgeBase, fix: Fix, purse: Purse) -> float:
    """Return what a fix costs, retest included; one beyond the person's skill costs a hand-over."""
    if fix.kind == "hand-over" or not purse.can(fix.skill):
        return purse.hand_over + PART_WORTH[fix.price]
    return purse.money(minutes_of(kb, fix) + RETEST_MINUTES, PART_WORTH[fix.price])


def price_of_check(kb: KnowledgeBase, check: Check, purse: Purse) -> float:
    """Return what a check costs; one beyond the person's skill costs a hand-over."""
    return purse.money(minutes_of(kb, check)) if purse.can(check.skill) else purse.hand_over
