"""The lessons that ship: every walkthrough with a known answer."""

from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path

from symptomtree.cases.files import read_case
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.shipped import shipped
from symptomtree.lessons.lesson import DIFFICULTIES, Lesson, NoLesson, area_of, from_case
from symptomtree.reasoning.words import Matcher


def library(kb: KnowledgeBase) -> tuple[Lesson, ...]:
    """Return the lessons of the walkthroughs that ship, the easy ones first.

    Raises:
        BadCase: a walkthrough does not fit the knowledge; the message says where.
        NoLesson: there is nothing to learn from one.
    """
    matcher = Matcher(kb)
    lessons = [from_case(kb, matcher, path.stem, read_case(path, kb)) for path in _files().values()]
    return tuple(sorted(lessons, key=lambda x: (DIFFICULTIES.index(x.difficulty), x.name)))


def lesson_named(kb: KnowledgeBase, name: str) -> Lesson:
    """Return the lesson of a walkthrough that ships, by its name, or of a case file, by its path.

    Raises:
        BadCase, NoLesson: see `library`; also when nothing is called so.
    """
    shipping = _files()
    path = shipping.get(name) or Path(name)
    if not path.is_file():
        raise NoLesson(f"no lesson {name!r}{_near(name, list(shipping))}; `symptomtree walk --list` names them all")
    return from_case(kb, Matcher(kb), path.stem, read_case(path, kb))


def areas(kb: KnowledgeBase) -> tuple[str, ...]:
    """Return the parts in which a complaint can be felt, in alphabetical order."""
    return tuple(sorted({area_of(kb, symptom.part) for symptom in kb.entries.symptoms.values()}))


def some_of(lessons: Sequence[Lesson], area: str | None, difficulty: str | None) -> list[Lesson]:
    """Return the lessons of an area and a difficulty; None is any."""
    return [x for x in lessons if area in (None, x.area) and difficulty in (None, x.difficulty)]


def _files() -> dict[str, Path]:
    return {path.stem: path for path in sorted(shipped("walkthroughs").glob("*.yaml"))}


def _near(name: str, known: Sequence[str]) -> str:
    """Return '; near it: ...' for names that are like it, or hold its words."""
    words = [w for w in name.casefold().replace("_", "-").split("-") if len(w) > 3]
    near = dict.fromkeys(get_close_matches(name, known, n=3, cutoff=0.5))
    near |= dict.fromkeys(k for k in known if any(w in k for w in words))
    return f"; near it: {', '.join(list(near)[:4])}" if near else ""
