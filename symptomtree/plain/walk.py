"""`symptomtree walk`: a lesson in plain lines. The learner types what to do next; a debrief shows how good it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from symptomtree.kb.compile import KnowledgeBase, open_knowledge
from symptomtree.kb.nodes import nearest
from symptomtree.lessons.choices import Choice, choices
from symptomtree.lessons.debrief import debrief
from symptomtree.lessons.generate import generated
from symptomtree.lessons.lesson import Action, Difficulty, Lesson, NoLesson, can_be
from symptomtree.lessons.library import areas, lesson_named, library, some_of
from symptomtree.lessons.progress import (
    Progress,
    learner_path,
    next_lesson,
    read_progress,
    with_lesson,
    write_progress,
)
from symptomtree.lessons.way import Tutor, Way, give_up, hint, name_cause, take
from symptomtree.plain import lessons as lines
from symptomtree.plain import show
from symptomtree.plain.answers import Option, exact, matching
from symptomtree.plain.talk import Ended, Talk
from symptomtree.plain.text import clean
from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.profiles import profile_named

MOST_LISTED = 30
"""A longer list is told by parts first."""
HELP = (
    "Say what you do next, in a few words (spin the wheel; chain wear; new pads), and choose a number from what fits.",
    "  - list  what can be done, by part; list WORDS  only what fits the words",
    "  - a number  does that line of the last list",
    "  - told  what is known so far",
    "  - hint  a part to think about; again: what to tell apart; again: the step. Each takes a little from the score",
    "  - think CAUSE  says what it was, and ends the lesson",
    "  - hand over  gives the bike to a workshop, and ends the lesson; give up  shows the answer",
    "  - stop  leaves; what is not ended is not counted. help  shows this",
    "After a fix look again at what was wrong: only that proves it. Then say what it was.",
)
STOPS = ("stop", "quit", "exit", "q")


@dataclass(frozen=True, slots=True)
class Wish:
    """Which lesson is wanted; None leaves it open.

    Attributes:
        case: the name of a walkthrough, or the path of a case file.
        area: id of a part in which the complaint is felt.
        number: decides all chance.
        drawn: whether it is drawn from the knowledge instead of taken from the walkthroughs.
    """

    case: str | None = None
    area: str | None = None
    difficulty: Difficulty | None = None
    number: int | None = None
    drawn: bool = False


def walk(
    wish: Wish,
    learner: str = "me",
    *,
    list_only: bool = False,
    knowledge: Path | None = None,
    profile: str = "new-mechanic",
) -> int:
    """Give a lesson, or list them. Returns the exit code.

    Raises:
        BadCase, BadProfile, BadProgress, Faulty, NoLesson, Unreadable: an input cannot be used; the message says why.
    """
    kb = open_knowledge(knowledge)
    path = learner_path(learner)
    progress = read_progress(path, learner)
    talk = Talk()
    if list_only:
        talk.say(*lines.listed(kb, some_of(library(kb), _area(kb, wish.area), wish.difficulty), progress))
        return 0
    tutor = Tutor(kb, profile_named(profile, kb))
    return Walk(talk, tutor, pick(tutor, wish, progress), progress, path).run()


def pick(tutor: Tutor, wish: Wish, progress: Progress) -> Lesson:
    """Return the lesson wished for; weak areas come up more often (see `next_lesson`).

    Raises:
        BadCase, NoLesson: there is none such.
    """
    kb, area = tutor.kb, _area(tutor.kb, wish.area)
    if wish.case is not None:
        return lesson_named(kb, wish.case)
    random = np.random.default_rng(wish.number)
    if wish.drawn:
        number = int(random.integers(1_000_000)) if wish.number is None else wish.number
        return generated(tutor, number, area, wish.difficulty)
    lesson = next_lesson(progress, some_of(library(kb), area, wish.difficulty), random)
    if lesson is None:
        words = " and ".join(w for w in (area, wish.difficulty) if w)
        raise NoLesson(f"no walkthrough is of {words}; add --generated to have a bike drawn instead")
    return lesson


def _area(kb: KnowledgeBase, area: str | None) -> str | None:
    known = areas(kb)
    if area is not None and area not in known:
        raise NoLesson(f"no area {area!r}{nearest(area, known)}; the areas are {', '.join(known)}")
    return area


class _Leave(Exception):
    """The learner wants to go."""


class Walk:
    """One lesson, talked through."""

    def __init__(
        self, talk: Talk, tutor: Tutor, lesson: Lesson, progress: Progress, path: Path | None, today: date | None = None
    ) -> None:
        """Take what is needed.

        Args:
            talk: to the learner.
            tutor: knows the knowledge and whose time it is.
            lesson: to be given.
            progress: what the learner has done.
            path: where progress is kept; None when it is not.
            today: the day that is written down.
        """
        self._talk, self._tutor, self._kb = talk, tutor, tutor.kb
        self._progress, self._path, self._today = progress, path, today or date.today()
        self._way = Way(lesson)
        self._options: list[Option] = []  # what a number means now
        self._stopped: set[str] = set()  # stops that were said

    @property
    def way(self) -> Way:
        return self._way

    @property
    def progress(self) -> Progress:
        return self._progress

    def run(self) -> int:
        """Talk until the lesson is ended, the learner leaves or the input ends. Returns the exit code."""
        try:
            self._talk.say("Type help to see what you can type; stop leaves.", "")
            self._talk.say(*lines.opening(self._kb, self._way.lesson))
            while self._way.ended is None:
                self._alarm()
                self._hear(self._read("What do you do next?"))
            self._debrief()
        except (Ended, KeyboardInterrupt, _Leave) as left:
            if isinstance(left, KeyboardInterrupt):
                self._talk.say("")
            self._talk.say("The lesson is not ended, so it is not counted.")
        return 0

    @property
    def _assessment(self) -> Assessment:
        return self._tutor.assess(self._way.events)

    def _read(self, prompt: str) -> str:
        self._talk.say("", prompt)
        return self._talk.read()

    def _alarm(self) -> None:
        """Say each reason not to ride once, at once."""
        found = show.stops(self._kb, self._assessment.standing_stops)
        self._talk.say(*(line for line in found if line not in self._stopped))
        self._stopped = set(found)

    def _hear(self, line: str) -> None:
        plain = " ".join(line.casefold().split()).rstrip(".!")
        word, _, rest = line.strip().partition(" ")
        match plain:
            case "help" | "?":
                self._talk.say(*HELP)
            case "hint":
                self._hint()
            case "told" | "story":
                self._talk.say(*lines.opening(self._kb, self._way.lesson))
                if self._way.moves:
                    self._talk.say(*lines.told(self._kb, self._way.events[len(self._way.lesson.opening) :]))
            case "give up":
                self._way = give_up(self._way)
            case "hand over" | "hand-over":
                self._do(Action("hand-over"))
            case "":
                self._talk.say("Say what you do next, or: list, hint, think CAUSE, help.")
            case _ if plain in STOPS:
                raise _Leave
            case _ if word.casefold() == "list":
                self._list(rest)
            case _ if word.casefold() == "think":
                self._think(rest)
            case _ if plain.isascii() and plain.isdigit():
                self._number(int(plain[:6]))
            case _:
                self._search(line)

    def _choices(self) -> dict[str, Choice]:
        return {c.action.name: c for c in choices(self._assessment, self._way.lesson)}

    def _list(self, words: str) -> None:
        """Offer what can be done, all or what fits some words; a long list is told by parts."""
        known = self._choices()
        fitting = [c for c in known.values() if _fits(c, words)] if words else list(known.values())
        if not fitting:
            self._search(words)
        elif len(fitting) > MOST_LISTED:
            self._options = []
            self._talk.say("There is much that can be done. Type list and a part, or say in a few words what you want:")
            self._talk.say(*(f"  - {part} ({count})" for part, count in lines.parts(fitting)))
        else:
            self._offer(fitting)

    def _offer(self, some: Sequence[Choice]) -> None:
        self._options = [Option(c.action.name, c.words) for c in some]
        part = ""
        for n, c in enumerate(some, start=1):
            if c.part != part:
                part = c.part
                self._talk.say(f"{part[0].upper()}{part[1:]}:")
            self._talk.say(f"  {n}. {lines.choice(c)}")
        self._talk.say("Type the number of what you do.")

    def _search(self, line: str) -> None:
        known = self._choices()
        options = [Option(name, c.words, (c.part, self._kb.name_of(name))) for name, c in known.items()]
        if chosen := _exactly(line, options):
            self._do(known[chosen.value].action)
        elif found := matching(line, options):
            self._offer([known[o.value] for o in found])
        else:
            self._talk.say(
                f"Nothing that can be done here is like '{_short(line)}'. Try other words, or list. Help: help."
            )

    def _number(self, number: int) -> None:
        if not 1 <= number <= len(self._options):
            if self._options:
                self._talk.say(f"There is no such number; they go from 1 to {len(self._options)}.")
            else:
                self._talk.say("There is nothing to choose from yet: type list, or say what you do next.")
            return
        name = self._options[number - 1].value
        if name in self._kb.entries.causes:
            self._name(name)
        else:
            self._do(self._choices()[name].action)

    def _do(self, action: Action) -> None:
        self._options = []
        self._way = take(self._tutor, self._way, action)
        self._talk.say("", lines.action(self._kb, action), *lines.outcome(self._kb, self._way, self._money))

    @property
    def _money(self) -> str:
        return clean(self._tutor.profile.currency)

    def _hint(self) -> None:
        a = self._assessment
        given, self._way = hint(self._tutor, self._way)
        self._talk.say(*lines.hint(a, given))

    def _think(self, words: str) -> None:
        """Hear what the learner takes it for; near names are offered, never taken."""
        kb, facts = self._kb, self._way.lesson.bike.facts
        fit = [c for c in kb.cause_ids if can_be(kb, facts, c)]
        options = [Option(c, kb.name_of(c)) for c in fit]
        if chosen := _exactly(words, options):
            self._name(chosen.value)
        elif found := matching(words, options):
            self._options = found
            self._talk.say("Which of these?", *(f"  {n}. {o.words}" for n, o in enumerate(found, start=1)))
        else:
            self._talk.say("Type think and the name of what is wrong: think worn chain.")

    def _name(self, cause: str) -> None:
        """End the lesson with a cause; what is not finished is asked about first."""
        if open_ := lines.still_open(self._assessment):
            self._talk.say(f"The bike is not proven to be in order yet: {open_}.")
            if self._read("End it all the same? (yes or no)").strip().casefold() not in ("yes", "y"):
                self._talk.say("Then it goes on.")
                return
        self._way = name_cause(self._way, cause)

    def _debrief(self) -> None:
        ended = debrief(self._tutor, self._way)
        self._talk.say("", *lines.debrief(self._kb, ended, self._money), "")
        self._progress = with_lesson(self._progress, ended, self._today)
        self._talk.say(*lines.standing(self._kb, self._progress))
        if self._path is None:
            return
        try:
            write_progress(self._path, self._progress)
        except OSError as error:
            self._talk.say(f"This could not be written down in {self._path}: {error.strerror or error}.")


def _exactly(line: str, options: Sequence[Option]) -> Option | None:
    """Return the option whose id or words a line is; a number is none of them."""
    return exact(line, options) if not line.strip(" .)(").isdigit() else None


def _fits(choice: Choice, words: str) -> bool:
    """Return whether every word stands in a choice's words or part."""
    text = f"{choice.words} {choice.part} {choice.action.name}".casefold()
    return all(word in text for word in words.casefold().split())


def _short(line: str) -> str:
    return line if len(line) <= 40 else f"{line[:40]}..."
