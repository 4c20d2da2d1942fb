"""Lessons drawn from the knowledge, and how difficult they are."""

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from symptomtree.cases.model import Answer, AnyEvent, Complaint, Context
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.lessons.lesson import Difficulty, Lesson, NoLesson, area_of
from symptomtree.lessons.way import Tutor, advised_way, in_order
from symptomtree.reasoning.context import facts_in_play
from symptomtree.trials.bikes import WHICH_END, Bench, Bike, draw, drawn_about

TRIES = 600
"""So often a bike is drawn for one lesson at most."""
EASY_RANK, EASY_LOOKS = 3, 6
HARD_RANK, HARD_LOOKS = 6, 12
"""With these about a third of the bikes drawn is of each difficulty."""


def generated(tutor: Tutor, number: int, area: str | None = None, difficulty: Difficulty | None = None) -> Lesson:
    """Return the lesson of a number: the same knowledge, profile and wishes give the same lesson.

    Bikes are drawn as for trials, with a complaint of that area, until one fits: one cause makes its complaint, and the
    adviser proves it fixed.

    Raises:
        NoLesson: no bike that was drawn fits the wishes.
    """
    kb, random = tutor.kb, np.random.default_rng(number)
    about = [name for name, symptom in kb.entries.symptoms.items() if area_of(kb, symptom.part) == area]
    any_bike = (draw(kb, random) for _ in range(TRIES))
    for bike in any_bike if area is None else drawn_about(kb, random, about, TRIES):
        lesson = _from_bike(kb, f"drawn-{number}", bike)
        found = difficulty_of(tutor, lesson) if lesson else None
        if lesson and found is not None and difficulty in (None, found):
            return replace(lesson, difficulty=found)
    wish = " and ".join(w for w in (area, difficulty) if w)
    raise NoLesson(f"no bike could be drawn for {wish or 'a lesson'}; ask for another area, difficulty or number")


def difficulty_of(tutor: Tutor, lesson: Lesson) -> Difficulty | None:
    """Return how difficult a lesson is; None when the adviser itself does not get it fixed.

    It goes by how many causes are likelier than the right one when only the complaint is known, and by how often the
    adviser has to ask or look before its work is proven: first is within `EASY_RANK` and `EASY_LOOKS`, tricky is
    past `HARD_RANK` or `HARD_LOOKS`.
    """
    ranked = [c.cause for c in tutor.assess(lesson.opening).causes]
    if lesson.cause not in ranked:
        return None
    rank = ranked.index(lesson.cause) + 1
    way = advised_way(tutor, lesson)
    if way.named != lesson.cause or not in_order(tutor.assess(way.events)):
        return None
    looks = sum(m.action.doing != "fix" for m in way.moves)
    if rank <= EASY_RANK and looks <= EASY_LOOKS:
        return "first"
    return "tricky" if rank > HARD_RANK or looks > HARD_LOOKS else "steady"


def _from_bike(kb: KnowledgeBase, name: str, bike: Bike) -> Lesson | None:
    """Make a lesson of a bike; None when more than one cause makes its complaint."""
    bench = Bench(kb, bike)
    makers = sorted(bench.makers(bike.complaint))
    if len(makers) != 1:
        return None
    cause = kb.entries.causes[makers[0]]
    symptom = kb.entries.symptoms[bike.complaint]
    seen = list(_seen(kb, bike))
    besides = [kb.name_of(c) for c in sorted(bench.causes - set(makers))]
    story = cause.mechanism
    if besides:
        story += f" Besides, and no part of the job: {'; '.join(besides)}."
    opening: tuple[AnyEvent, ...] = (
        Complaint(text=_rider(kb, bench, seen)),
        *seen,
        Answer(finding=bike.complaint, grade=bench.grade(bike.complaint), complaint=True),
    )
    return Lesson(
        name,
        f"A bike from the yard: {symptom.name}",
        opening,
        bike,
        {},
        makers[0],
        frozenset(makers),
        story,
        "steady",
        area_of(kb, symptom.part),
    )


def _rider(kb: KnowledgeBase, bench: Bench, seen: list[Context]) -> str:
    """Return the complaint in the rider's words."""
    symptom, grade = kb.entries.symptoms[bench.bike.complaint], bench.grade(bench.bike.complaint)
    said = symptom.says.get(grade) or [f"{symptom.name}: {symptom.grades[grade]}"]
    end = next((f" It is at {kb.entries.facts[WHICH_END].values[e.value]}." for e in seen if e.fact == WHICH_END), "")
    return f'"{_as_spoken(said[0])}", says the rider.{end} The rest is for you to ask.'


def _as_spoken(words: str) -> str:
    """Return words as a sentence begins; the knowledge has them in small letters, for matching."""
    return re.sub(r"\bi\b", "I", words[:1].upper() + words[1:])


def _seen(kb: KnowledgeBase, bike: Bike) -> Iterator[Context]:
    """Yield at which end it is, and the facts of the bike that bear on its complaint: one sees them."""
    may_be = np.flatnonzero((kb.reach[:, kb.column[bike.complaint]] < 1).any(axis=1))
    for fact in facts_in_play(kb, [kb.cause_ids[row] for row in may_be]):
        if fact in bike.facts and (fact == WHICH_END or kb.entries.facts[fact].about == "bike"):
            yield Context(fact=fact, value=bike.facts[fact])
