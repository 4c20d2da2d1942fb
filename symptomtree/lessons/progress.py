"""What a learner has done, in one small file, and which lesson comes next."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import msgspec
import numpy as np
from msgspec import Meta
from platformdirs import user_data_path

from symptomtree.cases.files import as_yaml, write_whole
from symptomtree.kb.model import Entry, Id, Text
from symptomtree.kb.nodes import MISSING, read_struct
from symptomtree.lessons.debrief import Debrief
from symptomtree.lessons.lesson import DIFFICULTIES, Lesson

SAFE_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
LATELY = 5
"""So many of the last lessons of an area say how well a learner does in it."""
READY = 70.0
"""From this mean score on, a learner is taken to be ready for the next difficulty."""


class BadProgress(Exception):
    """A learner's file that cannot be used, or a name that no file can have; the message says why."""


class Done(Entry, frozen=True, kw_only=True):
    """A lesson that was ended."""

    lesson: Id
    on: Annotated[str, Meta(pattern=r"^\d{4}-\d\d-\d\d$")]
    score: Annotated[float, Meta(ge=0, le=100)]
    area: Id
    difficulty: Literal["first", "steady", "tricky"]
    confused: list[Id] = []  # noqa: RUF012 - msgspec copies an empty default for each struct
    """The answer and the causes that were taken for it, when there were any."""


class Progress(Entry, frozen=True, kw_only=True):
    """What a learner has done, oldest first."""

    symptomtree_learner: Literal[1]
    name: Text
    done: list[Done] = []  # noqa: RUF012 - as above


def learner_path(name: str) -> Path:
    """Return the file of a learner in the user's data folder; nothing is created.

    Raises:
        BadProgress: the name could not be a file's on every system, or would leave the folder.
    """
    plain = re.sub(r"[\s_]+", "-", name.strip().casefold())
    if not SAFE_NAME.fullmatch(plain) or len(plain) > 40:
        raise BadProgress(f"learner {name!r}: a name has letters a to z, digits and single hyphens, at most 40 in all")
    return user_data_path("symptomtree") / "learners" / f"{plain}.yaml"


def read_progress(path: Path, name: str) -> Progress:
    """Read a learner's file; there is none before the first lesson.

    Raises:
        BadProgress: it cannot be read or is damaged; it is left as it is.
    """
    if not path.exists():
        return Progress(symptomtree_learner=1, name=name)
    read, builder = read_struct(path, Progress, BadProgress, "a learner's file")
    if read is MISSING or builder.problems:
        lines = [str(p) for p in sorted(builder.problems)]
        raise BadProgress("\n".join([*lines, f"{path}: mend the file or move it away; it was left as it is"]))
    assert isinstance(read, Progress)
    return read


def write_progress(path: Path, progress: Progress) -> None:
    """Write a learner's file in one move.

    Raises:
        OSError: the folder cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, as_yaml(progress))


def with_lesson(progress: Progress, ended: Debrief, today: date) -> Progress:
    """Return the progress with a lesson that was ended."""
    lesson = ended.way.lesson
    confused = sorted({cause for pair in ended.confused for cause in pair})
    done = Done(
        lesson=lesson.name,
        on=today.isoformat(),
        score=round(ended.score, 1),
        area=lesson.area,
        difficulty=lesson.difficulty,
        confused=confused,
    )
    return msgspec.structs.replace(progress, done=[*progress.done, done])


def weak_areas(progress: Progress) -> Mapping[str, float]:
    """Return area -> mean score of the last lessons in it, weakest first."""
    scores: dict[str, list[float]] = {}
    for done in progress.done:
        scores.setdefault(done.area, []).append(done.score)
    means = {area: float(np.mean(s[-LATELY:])) for area, s in scores.items()}
    return dict(sorted(means.items(), key=lambda x: (x[1], x[0])))


def weights(progress: Progress, lessons: Sequence[Lesson]) -> list[float]:
    """Return how likely each lesson is to come next, not normalised.

    weight = area x lesson x cause x difficulty, where

    - area: 1 + 2 x (1 - mean score of the last five lessons in it / 100); 2 where none was done;
    - lesson: 1 - its last score / 110; 1.5 when it was never done; 0 when it was the very last;
    - cause: 2 when its answer was confused with another in any of the last five lessons, else 1;
    - difficulty: 1 at the learner's level and below, 0.2 one above, 0.02 two above. The level starts at `first` and
      rises past each difficulty whose last five scores average 70 or more.
    """
    means = weak_areas(progress)
    last = {done.lesson: done.score for done in progress.done}
    lately = {cause for done in progress.done[-LATELY:] for cause in done.confused}
    level = _level(progress)
    out = []
    for lesson in lessons:
        weight = 1 + 2 * (1 - means.get(lesson.area, 50.0) / 100)
        weight *= 1 - last[lesson.name] / 110 if lesson.name in last else 1.5
        weight *= 2 if lesson.cause in lately else 1
        weight *= (1.0, 0.2, 0.02)[max(0, DIFFICULTIES.index(lesson.difficulty) - level)]
        out.append(0.0 if progress.done and lesson.name == progress.done[-1].lesson else weight)
    return out


def _level(progress: Progress) -> int:
    """Return the number of the difficulty that a learner is ready for."""
    for n, difficulty in enumerate(DIFFICULTIES):
        scores = [done.score for done in progress.done if done.difficulty == difficulty][-LATELY:]
        if not scores or np.mean(scores) < READY:
            return n
    return len(DIFFICULTIES) - 1


def next_lesson(progress: Progress, lessons: Sequence[Lesson], random: np.random.Generator) -> Lesson | None:
    """Draw a lesson by `weights`, so that weak areas come more often and none twice running; None when there is none.

    The only lesson there is may follow itself.
    """
    if not lessons:
        return None
    chance = np.array(weights(progress, lessons))
    if not chance.sum():
        return lessons[0]
    return lessons[int(random.choice(len(lessons), p=chance / chance.sum()))]
