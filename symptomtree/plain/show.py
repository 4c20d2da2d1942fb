"""How entries and conclusions read in plain lines: checks, fixes, causes, reasons, the closing summary."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from symptomtree.cases.model import (
    BIKE,
    Answer,
    AnyEvent,
    Complaint,
    Context,
    FixDone,
    LeftOut,
    Measured,
    Note,
    Reading,
    Unsure,
)
from symptomtree.kb.model import Check, Fix, Observable
from symptomtree.plain.answers import Option, close
from symptomtree.plain.guide import Steps, guide, way_to
from symptomtree.plain.text import clean, minutes
from symptomtree.reasoning.costs import minutes_of

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase
    from symptomtree.reasoning.assess import Assessment, Standing, StopRiding
    from symptomtree.reasoning.planning import FixRank, Step

KINDS = {
    "clean": "cleaning",
    "adjust": "adjusting",
    "repair": "repair",
    "replace": "new parts",
    "hand-over": "work for a workshop",
}
HANDS = {"mechanic": "a trained mechanic", "specialist": "a specialist with special tools"}
LEAST_LISTED = 0.005
"""Causes less likely than this are not listed."""
DUE = "It is due because of what was found or done before."
PROOF = "It proves whether the work helped."
ONCE_MORE = "It was done before and did not help. Once more, with more care, is worth a try."
NO_RIDE = "You may not ride it yet: leave out what is ridden here until this is in order:"
BOTH_AT_ONCE = "If both are done at once, it will not be known which of them helped."
NOT_GONE = "It is not all gone, so the search goes on."
NOTHING_LEFT = "There is nothing left to ask, to check or to try."
CAME_UP = "What you came with is in order. This came up on the way, and is still so:"
CONFLICT = "Two answers do not fit, and guessing which is right would mislead."
UNLIKELY = 0.2
"""Below this no cause is called likely."""
WEIGHTY = 0.1
"""Findings that change the log odds by less are not listed as evidence."""
NEVER_SAFE = (
    "This says what was found and what was not checked. It does not say that the bike is safe: if in doubt, "
    "have a qualified workshop look at it."
)


def check(kb: "KnowledgeBase", name: str, open_: frozenset[str] = frozenset()) -> Iterator[str]:
    """Yield what someone needs to know to carry a check out: each caution before what it belongs to.

    Args:
        open_: the access states that are open already.
    """
    entry = kb.entries.checks[name]
    told = guide(kb, entry)
    yield f"Check: {entry.name} ({minutes(minutes_of(kb, entry, open_))})."
    yield from _work(kb, entry, told.ahead, open_)
    yield from guided("How:", told.steps)


def fix(
    kb: "KnowledgeBase", name: str, rank: "FixRank | None" = None, open_: frozenset[str] = frozenset()
) -> Iterator[str]:
    """Yield what someone needs to know to carry a fix out: each caution before what it belongs to."""
    yield from before_fix(kb, name, rank, open_)
    yield from guided("Steps:", guide(kb, kb.entries.fixes[name]).steps)
    yield from figures(kb, name)


def before_fix(kb: "KnowledgeBase", name: str, rank: "FixRank | None", open_: frozenset[str]) -> Iterator[str]:
    """Yield what comes before the steps of a fix.

    Args:
        kb: the knowledge.
        name: of the fix.
        rank: how likely it is needed, when that is known.
        open_: the access states that are open already.
    """
    entry = kb.entries.fixes[name]
    yield f"Fix: {entry.name} ({KINDS[entry.kind]}, {minutes(minutes_of(kb, entry, open_))})."
    if rank and rank.causes:
        causes = "; ".join(kb.name_of(c) for c in rank.causes[:3])
        yield f"It removes: {causes}. Chance that it is needed: {rank.needed:.0%}."
        if kb.entries.causes[rank.causes[0]].normal:
            yield "If it is that, nothing is broken."
    if not entry.reversible:
        yield "It cannot be undone."
    yield from _work(kb, entry, guide(kb, entry).ahead, open_)
    if entry.parts:
        yield f"Parts: {', '.join(entry.parts)} (price: {entry.price})."


def figures(kb: "KnowledgeBase", name: str) -> Iterator[str]:
    """Yield the numbers that a fix needs, with their sources."""
    for figure in kb.entries.fixes[name].figures:
        yield f"Figure: {figure.what}: {figure.value} {figure.unit}".rstrip() + f" ({_source(kb, figure.source)})."


def _source(kb: "KnowledgeBase", name: str) -> str:
    source = kb.entries.sources[name]
    if source.kind in ("common-practice", "memory"):
        return "common practice" if source.kind == "common-practice" else "from memory"
    return f"{source.title}, {source.year}" if source.year else source.title


def how(kb: "KnowledgeBase", entry: Check | Fix) -> Iterator[str]:
    """Yield how it is done, once more: cautions and steps."""
    told = guide(kb, entry)
    yield from (f"Caution: {caution}" for caution in told.ahead)
    yield from guided("How:", told.steps)


def _work(kb: "KnowledgeBase", entry: Check | Fix, ahead: Sequence[str], open_: frozenset[str]) -> Iterator[str]:
    """Yield what a check and a fix have in common, with the cautions ahead of all steps."""
    if entry.skill in HANDS:
        yield f"This is work for {HANDS[entry.skill]}."
    for caution in ahead:
        yield f"Caution: {caution}"
    states = way_to(kb, entry.access)
    if states and states[-1] in open_:
        yield f"While the bike is like that ({kb.entries.access[states[-1]].name}), nothing more has to be opened."
    elif states:
        yield f"With the bike: {kb.entries.access[states[-1]].name}."
        for state in states:
            if state not in open_:
                yield from (f"  {how}" for how in kb.entries.access[state].how)
    tools = dict.fromkeys([*(t for s in states for t in kb.entries.access[s].tools), *entry.tools])
    if tools:
        yield f"Tools: {'; '.join(_tool(kb, t) for t in tools)}."


def _tool(kb: "KnowledgeBase", name: str) -> str:
    tool = kb.entries.tools[name]
    return f"{tool.name} (or {tool.instead})" if tool.instead else tool.name


def cautions(kb: "KnowledgeBase", entries: Sequence[Check | Fix]) -> list[str]:
    """Return the cautions of some work, each once."""
    return list(dict.fromkeys(caution for entry in entries for caution in guide(kb, entry).cautions))


def numbered(title: str, texts: Sequence[str]) -> Iterator[str]:
    yield from guided(title, tuple(((), text) for text in texts))


def guided(title: str, steps: Steps) -> Iterator[str]:
    """Yield numbered steps, each after its cautions."""
    if steps:
        yield title
    for n, (cautions, step) in enumerate(steps, start=1):
        yield from (f"  Caution: {caution}" for caution in cautions)
        yield f"  {n}. {step}"


def stops(kb: "KnowledgeBase", standing: Iterable["StopRiding"]) -> list[str]:
    """Return the reasons not to ride, each once: several rules may have the same one."""
    return list(
        dict.fromkeys(
            f"STOP RIDING: {s.because} Do not ride until this check is in order: {kb.name_of(s.until)}."
            for s in standing
        )
    )


def warning(kb: "KnowledgeBase", cause: str, words: str) -> str:
    entry = kb.entries.causes[cause]
    because = f" {entry.danger_because}" if entry.danger_because else ""
    return f"DO NOT RIDE BEFORE THIS IS SETTLED: {entry.name} is possible ({words}).{because}"


def likeliest(kb: "KnowledgeBase", first: "Standing") -> str:
    """Return one line on the cause that stands first."""
    if first.probability < UNLIKELY:
        return f"No cause stands out yet; first of many is: {kb.name_of(first.cause)} ({first.probability:.0%})."
    return f"Most likely so far: {kb.name_of(first.cause)} ({first.words}, {first.probability:.0%})."


def reason(a: "Assessment", step: "Step") -> str:
    """Return in one sentence what a step would settle and what it costs."""
    kb = a.knowledge
    first = [c for c in a.conclusions if c.kind == "do-first" and c.target == step.name]
    cost = f"it takes {minutes(step.minutes)}"
    if first:
        return f"{first[0].because or 'A rule puts it first.'} It comes before everything else, and {cost}."
    names = [kb.name_of(cause) for cause, _, _ in step.tells]
    if step.doing == "fix":
        rank = next((r for r in a.fixes if r.fix == step.name), None)
        causes = " or ".join(kb.name_of(c) for c in rank.causes[:2]) if rank else "what is likely"
        return f"Trying it is cheaper than asking on: it would remove {causes}, and {cost}."
    if len(names) > 1:
        return f"It helps to tell {names[0]} from {names[1]}, and {cost}."
    if names:
        return f"It helps to settle whether it is {names[0]}, and {cost}."
    return f"Of what is left to do this promises the cheapest way to a fixed bike; {cost}."


def why_not(a: "Assessment", said: str) -> Iterator[str]:
    """Yield why a step that the person would have taken does not come next.

    Args:
        a: the assessment.
        said: the step in their words, or its id.
    """
    kb = a.knowledge
    e = kb.entries
    names = [*e.checks, *e.fixes, *e.symptoms, *e.questions, *e.facts]
    _, near = close(said, [Option(n, kb.name_of(n), (kb.asks(n),)) for n in names])
    name = said if said in names else near.value if near else None
    if name is None:
        yield f"Nothing to ask, check or fix here is called '{said}'. Name it in other words."
        return
    best = next((s for s in a.steps), None)
    step = next((s for s in a.steps if s.name == name), None)
    known = a.state.facts.get(name) or a.state.seen.get(name)
    yield f"{kb.asks(name)}"
    if best and step == best:
        yield "It is the next step."
    elif known:
        yield "It was answered already."
    elif name in a.state.unsure:
        yield "You could not tell, so it is not asked again."
    elif step and best:
        more = step.total - best.total
        ahead = any(c.kind == "do-first" and c.target == best.name for c in a.conclusions)
        if ahead:
            yield f"A rule puts another step first: {kb.asks(best.name)}."
        elif more > 0.05:
            yield f"Taken next, the whole way would cost about {more:.1f} more than with: {kb.asks(best.name)}"
        else:
            yield f"It would do as well; a hair better is: {kb.asks(best.name)}"
        yield from numbers(a, step)
    elif name in kb.entries.fixes:
        yield from _fix_not_offered(a, name)
    else:
        yield "As things stand its outcome would change nothing that is still open, or it does not fit this bike."


def _fix_not_offered(a: "Assessment", name: str) -> Iterator[str]:
    kb = a.knowledge
    rank = next((r for r in a.fixes if r.fix == name), None)
    if any(fix == name for fix, _ in a.state.fixes):
        yield "It was done already."
    elif rank:
        yield f"It would be needed with a chance of {rank.needed:.0%} and cost {rank.cost:.1f}; others promise more."
    else:
        causes = ", ".join(kb.name_of(c) for c in kb.fixed_by[name][:3])
        yield f"It removes what is not likely here: {causes}." if causes else "Nothing here calls for it."


def besides(a: "Assessment") -> Iterator[str]:
    """Yield what came up besides the job, and what is dangerous about its likely causes."""
    kb = a.knowledge
    yield from (f"- {told(a, f)}" for f in a.besides)
    for c in a.causes:
        entry = kb.entries.causes[c.cause]
        if c.probability >= UNLIKELY and entry.danger_because and not entry.shows.keys().isdisjoint(a.besides):
            yield f"Caution: it may be: {entry.name}. {entry.danger_because}"


def hand_over_because(a: "Assessment", last: bool) -> list[str]:
    """Return why the bike is best handed over; `last` when nothing else is left to try."""
    because = [c.because for c in a.conclusions if c.kind == "hand-over"]
    if because:
        return because
    if last or not a.causes or a.causes[0].probability < UNLIKELY:
        return ["No cause that is known here is likely for what is still not right."]
    return ["What is left to try is likely to cost more than having it done there."]


def money(a: "Assessment") -> str:
    """Return what sums of money are counted in."""
    return clean(a.profile.currency) or "money"


def numbers(a: "Assessment", step: "Step") -> Iterator[str]:
    """Yield the figures behind a step."""
    kb = a.knowledge
    for cause, least, most in step.tells:
        yield f"  {kb.name_of(cause)}: between {least:.0%} and {most:.0%} after the answer."
    yield (
        f"  Expected cost to a fixed bike, time and parts in {money(a)}: {step.total:.1f} when this comes next, "
        f"{a.plan.expected:.1f} with fixes alone."
    )


def standing(a: "Assessment", most: int = 8) -> Iterator[str]:
    """Yield how the causes stand, numbered, and which are likely together."""
    kb = a.knowledge
    listed = [c for c in a.causes[:most] if c.probability >= LEAST_LISTED]
    yield "How the causes stand (several can be true at once):" if listed else "No cause is known to be likely so far."
    yield from (f"  {n}. {kb.name_of(c.cause)}: {c.probability:.0%}, {c.words}" for n, c in enumerate(listed, start=1))
    for together, p in [(causes, p) for causes, p in a.sets if len(causes) > 1][:2]:
        yield f"  Together: {' and '.join(kb.name_of(c) for c in together)}: {p:.0%}"
    if a.error:
        yield f"  So much is wrong at once that these figures are estimates, off by at most {a.error:.0%}."


def evidence(a: "Assessment", cause: str) -> Iterator[str]:
    """Yield what speaks for and against a cause, the strongest first."""
    weighed = a.evidence_for(cause)
    for sign, word in ((1, "for"), (-1, "against")):
        found = [finding for finding, log_odds in weighed if log_odds * sign > WEIGHTY][:4]
        if found:
            yield f"What speaks {word} it:"
            yield from (f"  - {told(a, finding)}" for finding in found)


def told(a: "Assessment", finding: str) -> str:
    """Return a finding as it was last seen, with its number."""
    known = a.knowledge.findings[finding]
    look = a.state.seen[finding][-1]
    reading = known.reading if isinstance(known, Observable) else None
    number = f" ({look.value:g} {reading.unit})" if reading and look.value is not None else ""
    return f"{known.ask} {known.grades[look.grade]}{number}"


def before_work(a: "Assessment", findings: Sequence[str]) -> Iterator[str]:
    """Yield what was done last, and what was not right before it of what is to be looked at again."""
    kb = a.knowledge
    if a.state.fixes:
        yield f"The work was: {kb.name_of(a.state.fixes[-1][0])}."
    wrong = [f for f in findings if a.state.grade(f) not in (None, kb.grades(f)[0])]
    yield from (f"Before it: {told(a, f)}" for f in wrong)


def event(kb: "KnowledgeBase", event: AnyEvent) -> str:
    """Return an event in plain words."""
    match event:
        case Answer(finding=finding, grade=grade):
            return f"{kb.findings[finding].ask} {kb.findings[finding].grades[grade]}"
        case Reading(finding=finding, value=value):
            return f"{kb.findings[finding].ask} {value:g}"
        case Context(fact=fact, value=value):
            return f"{kb.entries.facts[fact].ask} {kb.entries.facts[fact].values[value]}"
        case FixDone(fix=fix):
            return f"done: {kb.name_of(fix)}"
        case Unsure(about=about):
            return f"not sure: {kb.asks(about)}"
        case LeftOut(about=about):
            return f"left out: {kb.asks(about) if about in {**kb.entries.fixes, **kb.entries.checks} else about}"
        case Complaint(text=text) | Note(text=text):
            return f"said: {text}"
        case Measured(tool=tool, says=says):
            return f"measured ({tool}): {says}"
        case _:
            return "a correction"


def _after(a: "Assessment", number: int) -> str:
    """Say of a fix, by its number from 1, what was still wrong when it was looked at again before the next."""
    kb = a.knowledge
    seen = ((f, look) for f, looks in a.state.seen.items() for look in looks if look.after == number)
    again = [f for f, look in seen if look.grade != kb.grades(f)[0] and a.state.seen[f][0].after < number]
    return f" (still there after it: {'; '.join(kb.findings[f].ask for f in again)})" if again else ""


def summary(a: "Assessment") -> Iterator[str]:
    """Yield what the bike is, what was found, measured, done, and not checked, with the cautions that stay."""
    from symptomtree.reasoning.state import in_force  # noqa: PLC0415 - the first question is there before it

    kb = a.knowledge
    yield "Summary"
    yield from _facts(a, "The bike:", "bike")
    yield from _facts(a, "Its history, and the conditions:", "history", "conditions")
    found = [f for f, looks in a.state.seen.items() if any(s.grade != kb.grades(f)[0] for s in looks)]
    if found:
        yield "Found:"
    for finding in found:
        looks = a.state.seen[finding]
        gone = looks[-1].grade == kb.grades(finding)[0]
        before = f" (before the work: {kb.findings[finding].grades[looks[0].grade]})" if gone else ""
        yield f"  - {told(a, finding)}{before}"
    taken = [e for _, e in in_force(a.events) if isinstance(e, Measured) and e.tool != BIKE]
    if taken:
        yield "Measured:"
        yield from (f"  - {e.tool}: {e.says}" for e in taken)
    likely = [c for c in a.causes if max(c.probability, c.ever) >= 0.2][:4]
    if likely:
        yield "Likely cause:" if len(likely) == 1 else "Likely causes (several can be true at once):"
    for c in likely:
        normal = " (nothing is broken)" if kb.entries.causes[c.cause].normal else ""
        now = "" if c.ever - c.probability < 0.1 else f"; still there now: {c.probability:.0%}"
        yield f"  - {kb.name_of(c.cause)}{normal}: {c.ever:.0%}{now}"
    if a.state.fixes:
        yield "Done:"
        yield from (f"  - {kb.name_of(name)}{_after(a, n)}" for n, (name, _) in enumerate(a.state.fixes, start=1))
    yield from _left_open(a, found)
    work = [kb.entries.fixes[name] for name, _ in a.state.fixes]
    if kept := cautions(kb, work):
        yield "Cautions for the work that was done:"
        yield from (f"  - {text}" for text in kept)
    yield from stops(kb, a.standing_stops)
    yield NEVER_SAFE


def _facts(a: "Assessment", title: str, *about: str) -> Iterator[str]:
    """Yield those facts that were told and are about one of these."""
    kb = a.knowledge
    told = [(kb.entries.facts[f], value) for f, (value, _) in a.state.facts.items()]
    lines = [f"  - {fact.ask} {fact.values[value]}" for fact, value in told if fact.about in about]
    yield from [title, *lines] if lines else ()


def _left_open(a: "Assessment", found: Sequence[str]) -> Iterator[str]:
    kb = a.knowledge
    wrong = [f for f in found if a.state.grade(f) != kb.grades(f)[0]]
    if wrong and a.state.fixes:
        yield "Still not right, or not looked at again:"
        yield from (f"  - {told(a, f)}" for f in wrong)
    left = a.state.left_out & (kb.entries.fixes.keys() | kb.entries.checks.keys())
    names = dict.fromkeys([*a.follow, *(s.until for s in a.standing_stops), *sorted(a.state.unsure | left)])
    yield "Not checked:"
    yield from (f"  - {kb.asks(name)}" for name in names)
    yield "  - everything else on the bike that was not asked about here"
