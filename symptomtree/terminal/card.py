"""What one turn shows and asks, as plain data: the screen draws it and adds the events of the answer chosen."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from symptomtree.cases.model import (
    BESIDES,
    HAND_OVER,
    Answer,
    AnyEvent,
    Context,
    Correction,
    FixDone,
    LeftOut,
    Note,
    Reading,
    Unsure,
    conflict_name,
)
from symptomtree.kb.model import Observable
from symptomtree.kb.model import Reading as Gauge
from symptomtree.plain import show
from symptomtree.plain.guide import Steps, guide
from symptomtree.reasoning.assess import Assessment
from symptomtree.reasoning.planning import Step
from symptomtree.reasoning.state import in_force
from symptomtree.reasoning.turn import Turn, take_up


@dataclass(frozen=True, slots=True)
class Choice:
    """An answer.

    Attributes:
        words: what it says.
        events: what choosing it adds to the case.
        closes: whether the case is at its end then.
    """

    words: str
    events: tuple[AnyEvent, ...]
    closes: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """One thing on the bench.

    Attributes:
        title: a line.
        about: what comes before the question: the cautions for all of it first, then how to get there and do it.
        steps: of a fix, to tick off, each with the cautions to read right before it.
        after: what comes after the steps: figures, parts, what follows.
        question: what is asked.
        choices: the answers.
        unsure, skip: what "not sure" and leaving it out add; None where that makes no sense.
        finding: the finding that a number would be a reading of.
        gauge: how its number is taken; None where there is none.
        why: in one sentence, and the figures behind it.
        rest: findings of the same check that are still to be asked.
    """

    title: str
    about: tuple[str, ...] = ()
    steps: Steps = ()
    after: tuple[str, ...] = ()
    question: str = ""
    choices: tuple[Choice, ...] = ()
    unsure: tuple[AnyEvent, ...] | None = None
    skip: tuple[AnyEvent, ...] | None = None
    finding: str = ""
    gauge: Gauge | None = None
    why: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    rest: tuple[str, ...] = ()


def card_of(a: Assessment, turn: Turn) -> Card:
    """Return what a turn shows; a check begins with its first finding."""
    match turn.kind:
        case "settle":
            return _settle(a, turn)
        case "meanwhile":
            return _fix(a, turn, "While it is open, before it is put together to try")
        case "retest":
            return _findings(a, turn, "Look again")
        case "follow":
            return _findings(a, turn, "Due because of what was done") if turn.findings else _fix(a, turn, "Due now")
        case "clear":
            return _findings(a, turn, "This decides whether the bike may be ridden")
        case "besides":
            return _besides(a)
        case "fix":
            return _fix(a, turn, "Fix")
        case "hand-over":
            return _hand_over(a, turn)
        case "close":
            return _close(a, turn)
        case "step":
            return _step(a, turn)
        case _:
            return Card("What is wrong with the bike?", question="Say what it does, or show where on the bike.")


def next_finding(a: Assessment, card: Card) -> Card | None:
    """Return the card for the next finding of the same check; None when it was the last."""
    left = [f for f in card.rest if f not in a.state.unsure]
    if not left:
        return None
    return _ask_finding(a, replace(card, rest=tuple(left)))


def _step(a: Assessment, turn: Turn) -> Card:
    kb, step = a.knowledge, turn.step
    assert step is not None
    why, numbers = (show.reason(a, step),), tuple(show.numbers(a, step))
    if step.doing == "check":
        return _findings(a, turn, "Check", why, numbers)
    if step.doing == "fact":
        fact = kb.entries.facts[step.name]
        choices = [Choice(words, (Context(fact=step.name, value=v),)) for v, words in fact.values.items()]
        out = (Unsure(about=step.name),)
        return Card(
            "About the bike", tuple(fact.how), (), (), fact.ask, tuple(choices), out, out, "", None, why, numbers
        )
    if step.doing == "question":
        question = kb.entries.questions[step.name]
        choices = [
            Choice(answer.words, tuple(Answer(finding=f, grade=g) for f, g in answer.sets.items()))
            for answer in question.answers.values()
        ]
        none = (Unsure(about=step.name), *(Unsure(about=f) for f in step.settles))
        title, how = "Question", tuple(question.how)
        return Card(title, how, (), (), question.ask, tuple(choices), none, none, "", None, why, numbers)
    card = Card("Question", skip=(Unsure(about=step.name),), why=why, numbers=numbers, rest=(step.name,))
    return _ask_finding(a, card)


def _findings(a: Assessment, turn: Turn, title: str, why: Sequence[str] = (), numbers: Sequence[str] = ()) -> Card:
    """Return the card of a check, or of symptoms tried again, at its first finding."""
    kb = a.knowledge
    if turn.name in kb.entries.checks:
        first, *about = show.check(kb, turn.name, a.state.open)
        title, about = f"{title}: {first.removeprefix('Check: ')}", list(about)
        skip: tuple[AnyEvent, ...] = (Unsure(about=turn.name),)
    else:
        about, skip = [], (Unsure(about=turn.name),)
    reason = tuple(why) or (show.PROOF if turn.kind == "retest" else show.DUE,)
    card = Card(title, tuple(about), skip=skip, why=reason, numbers=tuple(numbers), rest=tuple(turn.findings))
    return _ask_finding(a, card)


def _ask_finding(a: Assessment, card: Card) -> Card:
    """Put the first of a card's findings to the person."""
    finding, *rest = card.rest
    known = a.knowledge.findings[finding]
    check = a.knowledge.settled_by.get(finding)
    about = card.about if check else tuple(show.numbered("How:", getattr(known, "how", ())))
    return replace(
        card,
        about=about,
        question=known.ask,
        choices=tuple(Choice(words, (Answer(finding=finding, grade=g),)) for g, words in known.grades.items()),
        unsure=(Unsure(about=finding),),
        finding=finding,
        gauge=known.reading if isinstance(known, Observable) else None,
        rest=tuple(rest),
    )


def reading_event(card: Card, value: float, error: float | None) -> Reading:
    """Return the event of a number read off."""
    return Reading(finding=card.finding, value=value, error=error)


def _fix(a: Assessment, turn: Turn, title: str) -> Card:
    kb = a.knowledge
    entry = kb.entries.fixes[turn.name]
    rank = next((r for r in a.fixes if r.fix == turn.name), None)
    first, *about = show.before_fix(kb, turn.name, rank, a.state.open)
    after = list(show.figures(kb, turn.name))
    if turn.name in a.state.times:
        about.insert(0, show.ONCE_MORE)
    if turn.kind == "meanwhile":
        about.insert(0, show.BOTH_AT_ONCE)
    about.append("Steps, to tick off with Shift+Tab and Space, or a click:")
    follow = [kb.name_of(name) for name in entry.then]
    after += [f"After it comes: {', '.join(follow)}."] if follow else []
    after += [f"The proof: {', '.join(kb.asks(t) for t in entry.retest)}"] if entry.retest else []
    step = turn.step or next((s for s in a.steps if s.name == turn.name), None)
    left = (LeftOut(about=turn.name),)
    return Card(
        title=f"{title}: {first.removeprefix('Fix: ')}",
        about=tuple(about),
        steps=guide(kb, entry).steps,
        after=tuple(after),
        question="When it is done:",
        choices=(Choice("done", (FixDone(fix=turn.name),)), Choice("cannot, or not now", left)),
        skip=left,
        why=(show.reason(a, step) if step else show.DUE,),
        numbers=tuple(show.numbers(a, step)) if step else (),
    )


def fix_card(a: Assessment, fix: str) -> Card:
    """Return the card of any fix that the person wants to do now."""
    return _fix(a, Turn("fix", fix), "Fix")


def _settle(a: Assessment, turn: Turn) -> Card:
    c = turn.contradiction
    assert c is not None
    standing = dict(in_force(a.events))
    choices = [
        Choice(f"wrong: {show.event(a.knowledge, standing[n])}", (Correction(number=n),))
        for n in c.numbers
        if n in standing
    ]
    choices.append(Choice("leave it as it is", (LeftOut(about=conflict_name(c.numbers)),)))
    why = (show.CONFLICT,)
    question = "Which of these is wrong? It is taken back, and asked again where it matters."
    return Card("This does not fit together", (c.because,), question=question, choices=tuple(choices), why=why)


def _besides(a: Assessment) -> Card:
    found = tuple(show.besides(a))
    too = Choice("go on, and put this right too", tuple(take_up(a)))
    close = Choice("close with a summary", (LeftOut(about=BESIDES),))
    why = ("It was not what you came with.",)
    return Card(show.CAME_UP, found, question="What now?", choices=(close, too), why=why)


def _hand_over(a: Assessment, turn: Turn) -> Card:
    because = tuple(show.hand_over_because(a, turn.last))
    handed = Choice("hand the bike over, and close", (Note(text="Handed over to a workshop."),), closes=True)
    go_on = Choice("go on here", (LeftOut(about=HAND_OVER),))
    numbers = tuple(show.numbers(a, turn.step)) if turn.step else ()
    title = "The best way from here is a qualified workshop"
    return Card(title, because, question="What now?", choices=(handed, go_on), why=because, numbers=numbers)


def _close(a: Assessment, turn: Turn) -> Card:
    first = (show.NOTHING_LEFT,) if turn.last else ()
    title = "The search is at its end" if turn.last else "What you came with is in order"
    return Card(title, (*first, *show.summary(a)), why=("Everything that was due has been done.",))


def what_if(then: Assessment) -> list[tuple[str, float]]:
    """Return the three causes likeliest after an answer, and how likely."""
    return [(then.knowledge.name_of(c.cause), c.probability) for c in then.causes[:3]]


def step_line(a: Assessment, step: Step) -> str:
    """Return a step of the plan in one line: what it costs, and what it settles."""
    kb = a.knowledge
    name = kb.asks(step.name) if step.name else "hand over to a workshop"
    tells = [kb.name_of(cause) for cause, _, _ in step.tells[:2]]
    settles = f"; settles: {' or '.join(tells)}" if tells else ""
    minutes = f"{step.minutes:.0f}" if step.minutes >= 1 else "under 1"
    return f"{name} ({minutes} min, {step.total:.0f} in all{settles})"
