"""What a learner can choose from: everything that fits the bike, in an order that gives nothing away."""

from collections.abc import Iterator
from dataclasses import dataclass

from symptomtree.lessons.lesson import Action, Lesson, area_of, asked, can_be, work_of
from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.context import holds
from symptomtree.reasoning.costs import FACT_MINUTES, minutes_of

BIKE, HISTORY = "the bike", "its history and the conditions"


@dataclass(frozen=True, slots=True)
class Choice:
    """Something that can be done.

    Attributes:
        action: what it is.
        words: the question, or the work.
        part: the name of the part it is about, or what else it belongs to.
        area: the id of the largest part around that part; empty for facts.
        minutes: as the bike stands now, access included.
        away: whether these hands and tools cannot do it, so that a workshop has to.
    """

    action: Action
    words: str
    part: str
    area: str
    minutes: float
    away: bool


def choices(a: Assessment, lesson: Lesson) -> tuple[Choice, ...]:
    """Return all questions, checks and fixes that fit the lesson's bike, by part and alphabet.

    Args:
        a: of all events so far.
        lesson: whose bike it is; what does not fit it is left out, since its parts stand in plain sight.
    """
    found = [_choice(a, action, part) for action, part in _actions(a, lesson)]
    return tuple(sorted(found, key=lambda c: (not c.area, c.area, c.part, c.action.doing, c.words)))


def _actions(a: Assessment, lesson: Lesson) -> Iterator[tuple[Action, str]]:
    """Yield (action, id of its part) of everything that fits; the part is empty for facts."""
    kb, facts, state = a.knowledge, lesson.bike.facts, a.state
    e = kb.entries
    together = {f for q in e.questions.values() for f in next(iter(q.answers.values())).sets}
    for name in e.facts:
        if name in facts and name not in state.facts:
            yield Action("fact", name), ""
    for name, symptom in e.symptoms.items():
        open_ = name in state.seen or (name not in together and asked(symptom.asked_when, state))
        if open_ and holds(symptom.applies_to, facts) is not False:
            yield Action("ask", name), symptom.part
    for name, question in e.questions.items():
        if asked(question.asked_when, state) and holds(question.applies_to, facts) is not False:
            sets = next(iter(question.answers.values())).sets
            yield Action("question", name), part_of(a, Action("ask", next(iter(sets))))
    for name, check in e.checks.items():
        open_ = asked(check.asked_when, state) or any(f in state.seen for f in check.settles)
        if open_ and holds(check.applies_to, facts) is not False:
            yield Action("check", name), check.part
    for name, fix in e.fixes.items():
        causes = kb.fixed_by[name]
        fits = not causes or any(can_be(kb, facts, c) for c in causes)
        if fits and holds(fix.applies_to, facts) is not False:
            yield Action("fix", name), part_of(a, Action("fix", name))


def part_of(a: Assessment, action: Action) -> str:
    """Return the id of the part that an action is about; empty for a fact and a hand-over."""
    kb, name = a.knowledge, action.name
    match action.doing:
        case "ask":
            return kb.entries.symptoms[name].part
        case "question":
            return part_of(a, Action("ask", next(iter(next(iter(kb.entries.questions[name].answers.values())).sets))))
        case "check":
            return kb.entries.checks[name].part
        case "fix" if kb.fixed_by[name]:
            return kb.entries.causes[kb.fixed_by[name][0]].part
        case _:
            return ""


def _choice(a: Assessment, action: Action, part: str) -> Choice:
    kb, name = a.knowledge, action.name
    work = work_of(kb, action)
    if work:
        minutes = minutes_of(kb, work, a.state.open)
    elif action.doing == "fact":
        minutes = FACT_MINUTES
    else:
        again = bool(a.state.fixes) and name in a.state.seen
        entry = kb.entries.symptoms.get(name) or kb.entries.questions[name]
        minutes = 0.0 if again else entry.minutes
    about = HISTORY if action.doing == "fact" and kb.entries.facts[name].about != "bike" else BIKE
    return Choice(
        action,
        kb.asks(name),
        kb.entries.parts[part].name if part else about,
        area_of(kb, part) if part else "",
        minutes,
        work is not None and not a.profile.can(kb, work),
    )
