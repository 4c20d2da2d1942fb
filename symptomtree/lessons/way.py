"""A way through a lesson, the learner's or the adviser's, and the hints along it. Everything here is pure."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

from symptomtree.cases.model import AnyEvent, conflict_name
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.lessons.choices import part_of
from symptomtree.lessons.lesson import Action, Lesson, Move, act
from symptomtree.reasoning.assess import Adviser, Assessment
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.turn import Turn, next_turn

MOST_MOVES = 80
KEPT = 400
"""Assessments that a tutor keeps: those of a long lesson and of the adviser's way beside it."""
HINTS = 3

Ending = Literal["named", "handed over", "gave up"]


class Tutor:
    """Knows the knowledge and whose time it is; keeps assessments, since lesson, hints and debrief ask for the same."""

    def __init__(self, knowledge: KnowledgeBase, profile: Profile | None = None) -> None:
        self.kb = knowledge
        self.profile = profile or Profile()
        adviser = Adviser(knowledge)
        self._assess: Callable[[tuple[AnyEvent, ...]], Assessment] = lru_cache(KEPT)(
            lambda events: adviser.assess(events, self.profile)
        )

    def assess(self, events: tuple[AnyEvent, ...]) -> Assessment:
        """Return what follows from events."""
        return self._assess(events)


@dataclass(frozen=True)
class Way:
    """Everything that was done in a lesson.

    Attributes:
        lesson: whose bike it is.
        moves: what was done, in order.
        hints: (how many moves had been made, level) of each hint taken.
        named: the cause that it is thought to be.
        ended: how; None while it goes on.
    """

    lesson: Lesson
    moves: tuple[Move, ...] = ()
    hints: tuple[tuple[int, int], ...] = ()
    named: str | None = None
    ended: Ending | None = None

    @cached_property
    def events(self) -> tuple[AnyEvent, ...]:
        """All events, the opening included."""
        return self.before(len(self.moves))

    def before(self, move: int) -> tuple[AnyEvent, ...]:
        """Return the events before a move (from 0)."""
        return (*self.lesson.opening, *(e for m in self.moves[:move] for e in m.events))

    @property
    def minutes(self) -> float:
        return sum(m.minutes for m in self.moves)

    @property
    def spent(self) -> float:
        return sum(m.spent for m in self.moves)


def take(tutor: Tutor, way: Way, action: Action) -> Way:
    """Return the way with one more move; handing the bike over ends it."""
    move = act(tutor.kb, tutor.profile, way.lesson, way.events, action)
    ended: Ending | None = "handed over" if action.doing == "hand-over" else None
    return replace(way, moves=(*way.moves, move), ended=ended)


def name_cause(way: Way, cause: str) -> Way:
    """Return the way, ended by saying what it was."""
    return replace(way, named=cause, ended="named")


def give_up(way: Way) -> Way:
    """Return the way, ended by giving up."""
    return replace(way, ended="gave up")


def in_order(a: Assessment) -> bool:
    """Return whether the job is done and proven, with nothing left that must follow and no stop standing."""
    return a.stage == "done" and not a.due and not a.follow and not a.standing_stops


def advised(a: Assessment) -> Action | None:
    """Return what the adviser would do next; None when it would stop."""
    turn = next_turn(a)
    match turn.kind:
        case "complaint" | "besides" | "close":
            return None
        case "settle":
            assert turn.contradiction is not None
            return Action("leave-out", conflict_name(turn.contradiction.numbers))
        case "hand-over":
            return Action("hand-over")
        case "step" if turn.step is not None and turn.step.doing != "check":
            return Action(turn.step.doing, turn.name)
        case _:
            return Action(_kind(a.knowledge, turn), turn.name)


def _kind(kb: KnowledgeBase, turn: Turn) -> Literal["fix", "check", "ask"]:
    if turn.name in kb.entries.fixes:
        return "fix"
    return "check" if turn.name in kb.entries.checks else "ask"


def advised_way(tutor: Tutor, lesson: Lesson) -> Way:
    """Return the adviser's own way through a lesson, to its end."""
    way = Way(lesson)
    while way.ended is None:
        a = tutor.assess(way.events)
        action = advised(a)
        if action is None or len(way.moves) >= MOST_MOVES:
            return name_cause(way, likeliest(a)) if a.causes else give_up(way)
        way = take(tutor, way, action)
    return way


def likeliest(a: Assessment) -> str:
    """Return the cause that most likely was there, before any fix or still."""
    return max(a.causes, key=lambda c: c.ever).cause


@dataclass(frozen=True, slots=True)
class Hint:
    """Help on demand.

    Attributes:
        level: 1 to 3; what a higher level tells is more.
        part: level 1: id of the part of the bike to think about; empty when it is about the bike as such.
        causes: level 2: the causes that need telling apart, likeliest first; fewer than two when it is settled.
        action: level 3: what the adviser would do; None when it would stop.
        turn: level 3: the same as the adviser's turn, with its step and so its reason.
    """

    level: int
    part: str = ""
    causes: tuple[str, ...] = ()
    action: Action | None = None
    turn: Turn | None = None


def hint(tutor: Tutor, way: Way) -> tuple[Hint, Way]:
    """Return the next hint for where a way stands, and the way with the hint on its account.

    The first at a place names a part, the second two causes, the third the step; more at the same place cost nothing.
    """
    here = [level for at, level in way.hints if at == len(way.moves)]
    level = min(len(here) + 1, HINTS)
    if len(here) < HINTS:
        way = replace(way, hints=(*way.hints, (len(way.moves), level)))
    a = tutor.assess(way.events)
    action, turn = advised(a), next_turn(a)
    if level == 1:
        return Hint(1, part=part_of(a, action) if action else ""), way
    if level == 2:
        told = sorted((most, cause) for cause, _, most in (turn.step.tells if turn.step else ()))
        tell = [cause for _, cause in reversed(told)] if len(told) > 1 else [c.cause for c in a.causes]
        return Hint(2, causes=tuple(tell[:2])), way
    return Hint(3, action=action, turn=turn), way
