"""How lessons read in plain lines: the story, what came of a step, hints, the debrief. Every front end shows these."""

from collections.abc import Iterable, Iterator, Sequence

from symptomtree.cases.model import Answer, Complaint, Context, FixDone
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.lessons.choices import Choice
from symptomtree.lessons.debrief import HINT_POINTS, Debrief, Judged
from symptomtree.lessons.lesson import Action, Lesson
from symptomtree.lessons.progress import Progress, weak_areas
from symptomtree.lessons.way import Hint, Way
from symptomtree.plain import show
from symptomtree.plain.text import minutes
from symptomtree.reasoning.assess import Assessment

VERBS = {"fact": "Ask", "ask": "Ask", "question": "Ask", "check": "Check", "fix": "Fix", "hand-over": "Hand over"}
KINDS = {"first": "a first lesson", "steady": "a steady lesson", "tricky": "a tricky lesson"}
CAP_WORDS = {
    "not finished": "the bike was not brought in order and named; of 30 that leaves the share that was done",
    "not proven": "the work was not proven by looking again, or what must follow it was left out",
    "not safe": "something was not safe",
}


def opening(kb: KnowledgeBase, lesson: Lesson) -> Iterator[str]:
    """Yield what the learner is told at the start."""
    yield f"{lesson.title} ({KINDS[lesson.difficulty]}, {kb.name_of(lesson.area)})"
    yield from (f'"{e.text}"' if '"' not in e.text else e.text for e in lesson.opening if isinstance(e, Complaint))
    yield from told(kb, lesson.opening)


def told(kb: KnowledgeBase, events: Iterable[object]) -> Iterator[str]:
    """Yield what is known after some events."""
    yield "What is known:"
    for event in events:
        if isinstance(event, (Context, FixDone)) or hasattr(event, "finding"):
            wish = " (to be put right)" if isinstance(event, Answer) and event.complaint else ""
            yield f"  - {show.event(kb, event)}{wish}"  # type: ignore[arg-type]


def action(kb: KnowledgeBase, action: Action) -> str:
    """Return an action in one line."""
    match action.doing:
        case "hand-over":
            return "Hand the bike over to a workshop"
        case "leave-out":
            return "Leave two answers that do not fit together as they are"
        case _:
            return f"{VERBS[action.doing]}: {kb.asks(action.name)}"


def choice(choice: Choice) -> str:
    """Return something that can be chosen, in one line with its time."""
    away = ", by a workshop" if choice.away else ""
    return f"{VERBS[choice.action.doing]}: {choice.words} ({minutes(choice.minutes)}{away})"


def parts(choices: Sequence[Choice]) -> list[tuple[str, int]]:
    """Return (part, how many choices), in the order of the choices."""
    counts: dict[str, int] = {}
    for c in choices:
        counts[c.part] = counts.get(c.part, 0) + 1
    return list(counts.items())


def outcome(kb: KnowledgeBase, way: Way, money: str) -> Iterator[str]:
    """Yield what came of the last move of a way."""
    move = way.moves[-1]
    yield from (f"  - {show.event(kb, e)}" for e in move.events)
    if not move.events:
        yield "  - nothing to be seen here on this bike" if move.action.doing != "hand-over" else "  - handed over"
    if move.action.doing == "fix":
        yield "  Whether it helped shows when you look again."
    yield f"  {_paid(move.minutes, move.spent, money).capitalize()}; so far {_paid(way.minutes, way.spent, money)}."


def _paid(worked: float, spent: float, money: str) -> str:
    parts = f", and {f'{spent:.0f} {money}'.strip()} for parts or a workshop" if spent else ""
    return f"{minutes(worked) if worked else 'no time of its own'}{parts}"


def still_open(a: Assessment) -> str:
    """Return why the bike is not proven to be in order; empty when it is. It does not say what is to be done."""
    if a.stage in ("search", "complaint"):
        return "not all is right of what the rider came with"
    if a.due:
        return "not all that the work should have changed was looked at again"
    if a.follow:
        return "something that must follow the work was not done"
    return "a reason not to ride still stands" if a.standing_stops else ""


def hint(a: Assessment, hint: Hint) -> Iterator[str]:
    """Yield a hint.

    Args:
        a: of the events so far.
        hint: what `lessons.way.hint` returned.
    """
    kb = a.knowledge
    if hint.level == 1:
        yield f"Think about: {kb.name_of(hint.part)}." if hint.part else "Think about the bike as such: ask what it is."
    elif hint.level == 2:
        names = [kb.name_of(c) for c in hint.causes]
        yield f"What needs telling apart: {' or '.join(names)}." if len(names) > 1 else "It is settled; act on it."
    elif hint.action is None:
        yield "The adviser would say what it was."
    else:
        yield f"The adviser would now: {action(kb, hint.action)}"
        if hint.turn and hint.turn.step:
            yield show.reason(a, hint.turn.step)
        else:
            yield "It is due because of what was found or done before."
    yield f"(It takes {HINT_POINTS[hint.level]:g} from the score, once at this place.)"


def debrief(kb: KnowledgeBase, d: Debrief, money: str) -> Iterator[str]:
    """Yield a debrief: the answer, the two ways side by side, the score and what to practise."""
    lesson = d.way.lesson
    yield f"It was: {kb.name_of(lesson.cause)}."
    if lesson.story:
        yield lesson.story
    yield _answer(kb, d)
    yield ""
    yield "Your way, step by step:"
    for n, judged in enumerate(d.steps, start=1):
        yield f"  {n}. {action(kb, judged.move.action)} ({_paid(judged.move.minutes, judged.move.spent, money)})"
        yield from (f"     {text}" for text in _judged(kb, judged, money))
    if not d.steps:
        yield "  nothing was done"
    yield ""
    yield "The adviser's way:"
    yield from (f"  {n}. {action(kb, m.action)}" for n, m in enumerate(d.advised.moves, start=1))
    yield ""
    yield from _sums(d, money)
    yield ""
    yield from _score(kb, d, money)
    yield from _practise(kb, d)


def _answer(kb: KnowledgeBase, d: Debrief) -> str:
    if d.way.named is None:
        return "You handed the bike over." if d.way.ended == "handed over" else "You did not say what it was."
    verdict = "right" if d.right else "not right"
    return f"You said: {kb.name_of(d.way.named)}. That is {verdict}."


def _judged(kb: KnowledgeBase, judged: Judged, money: str) -> Iterator[str]:
    names = [kb.name_of(c) for c in judged.tells]
    if judged.due:
        yield "It was due because of what was done before."
    elif judged.move.action.doing == "fix":
        yield f"It could remove: {'; '.join(names[:3])}." if names else "It could remove nothing that was still likely."
    elif len(names) > 1:
        yield f"It could tell: {' from '.join(names[:2])}."
    elif names:
        yield f"It could settle: {names[0]}."
    elif judged.move.action.doing in ("ask", "question", "check", "fact") and not judged.as_advised:
        yield "It could tell nothing that was still open."
    if judged.as_advised:
        yield "The adviser would have done the same."
    elif not judged.due:
        yield f"The adviser's step: {action(kb, judged.advised) if judged.advised else 'to say what it was'}"
        more = f"{judged.loss:.1f} {money}".strip()
        yield f"Yours is expected to cost {more} more in the end." if judged.loss >= 0.05 else "Yours is as good."
    if judged.risk:
        yield f"NOT SAFE: you {judged.risk}."
    if judged.cautions:
        work = kb.entries.fixes.get(judged.move.action.name) or kb.entries.checks[judged.move.action.name]
        yield from (f"At a real bike mind: {caution}" for caution in show.cautions(kb, [work]))


def _sums(d: Debrief, money: str) -> Iterator[str]:
    adviser = _paid(d.advised.minutes, d.advised.spent, money)
    yield f"You: {_paid(d.way.minutes, d.way.spent, money)}. The adviser: {adviser}."
    if d.way.ended == "handed over":
        return
    if d.gone and d.proven:
        yield "What the rider came with is gone, and looking again has proven it."
    elif d.gone:
        yield "What the rider came with is gone, but you could not know: not all was looked at again."
    else:
        yield "What the rider came with is not gone."


def _score(kb: KnowledgeBase, d: Debrief, money: str) -> Iterator[str]:
    yield f"Score: {d.score:.0f} of 100."
    yield (
        f"It goes by what your steps were expected to lose, before their outcome was known: {d.lost:.1f} in all (time "
        f"and parts, in {money or 'money'}), beside {d.scale:.1f} for the adviser's time. Luck does not count."
    )
    if d.way.hints:
        yield f"Hints took {sum(HINT_POINTS[level] for _, level in d.way.hints):g}."
    yield from (f"It cannot be above {most:.0f}, since {CAP_WORDS[cap]}." for cap, most in d.caps.items())
    yield from (f"Not safe: you {risk}." for risk in d.risks)


def _practise(kb: KnowledgeBase, d: Debrief) -> Iterator[str]:
    lines = [f"tell apart: {kb.name_of(answer)} and {kb.name_of(taken)}" for taken, answer in d.confused]
    lines += [f"think of this in time: {action(kb, missed)}" for missed in d.missed]
    if lines or d.caps:
        yield "To practise:"
        yield from (f"  - {line}" for line in lines)
        yield f"  - more lessons on: {kb.name_of(d.way.lesson.area)}"


def standing(kb: KnowledgeBase, progress: Progress) -> Iterator[str]:
    """Yield how a learner stands, weakest area first."""
    yield f"Lessons so far: {len(progress.done)}."
    areas = [(area, mean) for area, mean in weak_areas(progress).items() if area in kb.entries.parts]
    yield from (f"  {kb.name_of(area)}: {mean:.0f} of 100 lately" for area, mean in areas)


def listed(kb: KnowledgeBase, lessons: Sequence[Lesson], progress: Progress) -> Iterator[str]:
    """Yield one line a lesson, with the last score in it."""
    last = {done.lesson: done.score for done in progress.done}
    for lesson in lessons:
        score = f", last score {last[lesson.name]:.0f}" if lesson.name in last else ""
        yield f"{lesson.name}: {lesson.title} ({lesson.difficulty}, {kb.name_of(lesson.area)}{score})"
