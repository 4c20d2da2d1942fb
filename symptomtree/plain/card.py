"""What one turn shows and asks, as plain data: a front end shows it and adds the events of the answer chosen."""

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
from symptomtree.kb.compile import KnowledgeBase
from symptomtree.kb.model import Check, Fix, Measure, Observable, Symptom
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
        name: its id: a grade, a value, or what it does.
        words: what it says.
        events: what choosing it adds to the case.
        says: other ways to say it.
        closes: whether the case is at its end then.
    """

    name: str
    words: str
    events: tuple[AnyEvent, ...]
    says: tuple[str, ...] = ()
    closes: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """One thing on the bench.

    Attributes:
        title: a line.
        about: what is read before the question: the cautions for all of it first, then how to get there and do it.
        how: how to look or do it, for whoever asks; nothing else stands before the question when there is no `about`.
        steps: of a fix, to tick off, each with the cautions to read right before it.
        after: what comes after the steps: figures, parts, what follows.
        question: what is asked.
        choices: the answers.
        unsure, skip: what "not sure" and leaving it out add; None where that makes no sense.
        finding: the finding that a number would be a reading of.
        gauge: how its number is taken; None where there is none.
        measures: (finding, the tool that works it out), where there is a tool for all that is asked.
        tools: the names of tools that are of use here, that of `measures` included.
        why: in one sentence, and the figures behind it.
        rest: findings of the same check that are still to be asked.
        due: whether it comes of what was found or done before, and not of the plan.
    """

    title: str
    about: tuple[str, ...] = ()
    how: tuple[str, ...] = ()
    steps: Steps = ()
    after: tuple[str, ...] = ()
    question: str = ""
    choices: tuple[Choice, ...] = ()
    unsure: tuple[AnyEvent, ...] | None = None
    skip: tuple[AnyEvent, ...] | None = None
    finding: str = ""
    gauge: Gauge | None = None
    tools: tuple[str, ...] = ()
    measures: tuple[tuple[str, Measure], ...] = ()
    why: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    rest: tuple[str, ...] = ()
    due: bool = False


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


def onward(a: Assessment, card: Card, events: Sequence[AnyEvent]) -> Card | None:
    """Return what comes right after an answer, whatever is planned: the next finding of the same check.

    An answer that was wrong is asked again. Leaving it out ends a check; so does not being able to tell, where it is
    due: it would be due again at once. None when nothing is left.

    Args:
        a: what follows from the events.
        card: what was asked.
        events: what came of it.
    """
    match events:
        case [Correction(number=number)] if isinstance(wrong := a.events[number - 1], (Answer, Reading)):
            name = a.knowledge.settled_by.get(wrong.finding, wrong.finding)
            return _findings(a, Turn("retest", name, (wrong.finding,)), "Look again")
    ends = tuple(events) == card.skip or (card.due and tuple(events) == card.unsure)
    left = [f for f in card.rest if f not in a.state.unsure]
    return None if ends or not left else _ask_finding(a, replace(card, rest=tuple(left)))


def _step(a: Assessment, turn: Turn) -> Card:
    kb, step = a.knowledge, turn.step
    assert step is not None
    if step.doing == "check":
        return _findings(a, turn, "Check")
    why, numbers = (show.reason(a, step),), tuple(show.numbers(a, step))
    if step.doing == "fact":
        fact = kb.entries.facts[step.name]
        choices = [
            Choice(v, words, (Context(fact=step.name, value=v),), tuple(fact.says.get(v, ())))
            for v, words in fact.values.items()
        ]
        title, ask, how = "About the bike", fact.ask, fact.how
        none: tuple[AnyEvent, ...] = (Unsure(about=step.name),)
        measures: tuple[tuple[str, Measure], ...] = ()
    elif step.doing == "question":
        question = kb.entries.questions[step.name]
        choices = [
            Choice(name, x.words, tuple(Answer(finding=f, grade=g) for f, g in x.sets.items()), tuple(x.says))
            for name, x in question.answers.items()
        ]
        title, ask, how = "Question", question.ask, question.how
        none = (Unsure(about=step.name), *(Unsure(about=f) for f in step.settles))
        measures = measures_of(kb, list(dict.fromkeys(f for x in question.answers.values() for f in x.sets)))
    else:
        card = Card("Question", skip=(Unsure(about=step.name),), why=why, numbers=numbers, rest=(step.name,))
        return _ask_finding(a, card)
    return Card(
        title,
        how=tuple(show.numbered("How:", how)),
        question=ask,
        choices=tuple(choices),
        measures=measures,
        tools=_tools(measures),
        unsure=none,
        skip=none,
        why=why,
        numbers=numbers,
    )


def _findings(a: Assessment, turn: Turn, title: str) -> Card:
    """Return the card of a check, or of a symptom tried again, at its first finding."""
    kb, step = a.knowledge, turn.step
    about: list[str] = []
    how: tuple[str, ...] = ()
    if turn.name in kb.entries.checks:
        first, *about = show.check(kb, turn.name, a.state.open)
        title = f"{title}: {first.removeprefix('Check: ')}"
        how = tuple(show.how(kb, kb.entries.checks[turn.name]))
    if turn.kind == "retest":
        since = list(show.before_work(a, turn.findings))
        symptom = known.how if isinstance(known := kb.findings[turn.findings[0]], Symptom) else ()
        how = how or tuple(show.numbered("How:", symptom))
        about = [*since, *(about or how)]
    if turn.name in kb.entries.checks and turn.kind != "clear":
        about = [*_no_ride(a, kb.entries.checks[turn.name]), *about]
    reason = show.reason(a, step) if step else show.PROOF if turn.kind == "retest" else show.DUE
    card = Card(
        title,
        tuple(about),
        how,
        skip=(Unsure(about=turn.name),),
        why=(reason,),
        numbers=tuple(show.numbers(a, step)) if step else (),
        rest=tuple(turn.findings),
        due=step is None,
    )
    return _ask_finding(a, card)


def _ask_finding(a: Assessment, card: Card) -> Card:
    """Put the first of a card's findings to the person."""
    finding, *rest = card.rest
    known = a.knowledge.findings[finding]
    says = known.says if isinstance(known, Symptom) else {}
    ends = card.skip if card.due and card.skip else ()
    measures = measures_of(a.knowledge, (finding,))
    return replace(
        card,
        how=card.how if card.about else tuple(show.numbered("How:", known.how if isinstance(known, Symptom) else ())),
        question=known.ask,
        choices=tuple(
            Choice(g, words, (Answer(finding=finding, grade=g),), tuple(says.get(g, ())))
            for g, words in known.grades.items()
        ),
        unsure=tuple(dict.fromkeys((Unsure(about=finding), *ends))),
        finding=finding,
        gauge=known.reading if isinstance(known, Observable) else None,
        measures=measures,
        tools=_tools(measures),
        rest=tuple(rest),
    )


def measures_of(kb: KnowledgeBase, findings: Sequence[str]) -> tuple[tuple[str, Measure], ...]:
    """Return (finding, how it is measured) where one tool serves them all; else nothing."""
    out = [(f, m) for f in findings if (m := kb.findings[f].measure)]
    return tuple(out) if len(out) == len(findings) and len({m.tool for _, m in out}) == 1 else ()


def _tools(measures: tuple[tuple[str, Measure], ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(m.tool for _, m in measures))


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
    about = [*_no_ride(a, entry), *about]
    follow = [kb.name_of(name) for name in entry.then]
    after += [f"After it comes: {', '.join(follow)}."] if follow else []
    after += [f"The proof: {', '.join(kb.asks(t) for t in entry.retest)}"] if entry.retest else []
    step = turn.step or next((s for s in a.steps if s.name == turn.name), None)
    left = (LeftOut(about=turn.name),)
    return Card(
        title=f"{title}: {first.removeprefix('Fix: ')}",
        about=tuple(about),
        how=tuple(show.how(kb, entry)),
        steps=guide(kb, entry).steps,
        after=tuple(after),
        question="When it is done:",
        choices=(Choice("done", "done", (FixDone(fix=turn.name),)), Choice("not-now", "cannot, or not now", left)),
        tools=tuple(entry.measure_with),
        skip=left,
        why=(show.reason(a, step) if step else show.DUE,),
        numbers=tuple(show.numbers(a, step)) if step else (),
    )


def _no_ride(a: Assessment, entry: Check | Fix) -> list[str]:
    """Say of work with a ride in it that the ride has to wait while a reason not to ride stands."""
    kb = a.knowledge
    rides = any(kb.entries.hazards[h].riding for h in entry.hazards)
    until = dict.fromkeys(kb.name_of(s.until) for s in a.standing_stops)
    return [f"{show.NO_RIDE} {'; '.join(until)}."] if rides and until else []


def _settle(a: Assessment, turn: Turn) -> Card:
    c = turn.contradiction
    assert c is not None
    standing = dict(in_force(a.events))
    choices = [
        Choice(f"event-{n}", f"wrong: {show.event(a.knowledge, standing[n])}", (Correction(number=n),))
        for n in c.numbers
        if n in standing
    ]
    left = (LeftOut(about=conflict_name(c.numbers)),)
    choices.append(Choice("leave", "leave it as it is", left))
    why = (show.CONFLICT,)
    question = "Which of these is wrong? It is taken back, and asked again where it matters."
    title = "This does not fit together"
    return Card(title, (c.because,), question=question, choices=tuple(choices), skip=left, why=why)


def _besides(a: Assessment) -> Card:
    found = tuple(show.besides(a))
    left = (LeftOut(about=BESIDES),)
    too = Choice("go-on", "go on, and put this right too", tuple(take_up(a)))
    close = Choice("close", "close with a summary", left)
    why = ("It was not what you came with.",)
    return Card(show.CAME_UP, found, question="What now?", choices=(close, too), skip=left, why=why)


def _hand_over(a: Assessment, turn: Turn) -> Card:
    because = tuple(show.hand_over_because(a, turn.last))
    left, note = (LeftOut(about=HAND_OVER),), (Note(text="Handed over to a workshop."),)
    handed = Choice(HAND_OVER, "hand the bike over, and close with a summary", note, closes=True)
    go_on = Choice("go-on", "go on here", left)
    numbers = tuple(show.numbers(a, turn.step)) if turn.step else ()
    title = "The best way from here is a qualified workshop"
    return Card(title, because, question="What now?", choices=(handed, go_on), skip=left, why=because, numbers=numbers)


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
