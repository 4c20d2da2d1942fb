"""What an entry of the knowledge says, in plain words, for someone who wants to check or to extend it."""

from collections.abc import Iterator, Mapping, Sequence

from symptomtree.kb.compile import KnowledgeBase, probability
from symptomtree.kb.model import (
    Access,
    Cause,
    Check,
    Condition,
    Fact,
    Fix,
    Hazard,
    Observable,
    Part,
    Question,
    Reading,
    Rule,
    Symptom,
    Tool,
)
from symptomtree.kb.nodes import Path, Place
from symptomtree.kb.vetting.desk import needs_of
from symptomtree.plain import show
from symptomtree.plain.map import kind_of, lines
from symptomtree.plain.text import minutes
from symptomtree.reasoning.graph import (
    KINDS,
    Graph,
    factor_words,
    graded_words,
    neighbourhood,
    sources_of,
    strength_words,
)

SECTIONS = {kind: section for section, kind in KINDS.items()}
AROUND = 2
"""How many lines of a file are shown before and after one that is wrong."""


def part_of(kb: KnowledgeBase, name: str) -> str | None:
    """Return the part that an entry is about; a finding of a check is about the check's."""
    check = kb.settled_by.get(name)
    entry = kb.entries.checks[check] if check else entry_of(kb, name)
    return getattr(entry, "part", None)


def path_of(kb: KnowledgeBase, graph: Graph, name: str) -> Path:
    """Return the keys from the top of a file to an entry, as the loader keeps places by."""
    if name in kb.settled_by:
        return "checks", kb.settled_by[name], "settles", name
    return SECTIONS[graph.nodes[name]["kind"]], name


def entry_at(places: Mapping[Path, Place], at: Place) -> str | None:
    """Return the id of the entry that a place in a file lies in."""
    starts = [
        (place.line, str(path[1]))
        for path, place in places.items()
        if len(path) == 2 and place.source == at.source and place.line <= at.line and place.column <= at.column
    ]
    return max(starts)[1] if starts else None


def excerpt(content: str, at: Place) -> Iterator[str]:
    """Yield the lines of a file around a place, and a mark under it."""
    for n, line in enumerate(content.splitlines(), start=1):
        if abs(n - at.line) <= AROUND:
            yield f"  {line}"
        if n == at.line:
            yield " " * (at.column + 1) + "^ here"


def links(graph: Graph, name: str) -> list[tuple[str, str]]:
    """Return (id, line) of everything that an entry is connected with."""
    steps = neighbourhood(graph, name, 1)
    return [(step.node, line.strip()) for step, line in zip(steps, list(lines(graph, name, steps))[1:], strict=True)]


def described(kb: KnowledgeBase, graph: Graph, name: str) -> Iterator[str]:
    """Yield everything that an entry says, and its sources in full."""
    yield f"{kind_of(graph, name)} {name}"
    entry = entry_of(kb, name)
    part = part_of(kb, name)
    if part:
        yield f"Part: {_place(kb, part)}"
    match entry:
        case Cause():
            yield from _cause(kb, entry)
        case Check():
            yield from _check(kb, name, entry)
        case Fix():
            yield from _fix(kb, name, entry)
        case Symptom() | Observable():
            yield from _finding(kb, name, entry)
        case Question():
            yield from _question(kb, entry)
        case Fact():
            yield from _fact(entry)
        case Rule():
            yield from _rule(kb, entry)
        case Access():
            yield from _access(kb, name, entry)
        case Part():
            yield f"Where: {_place(kb, name)}"
            yield from _told("About", entry.about)
        case Tool():
            yield f"Tool: {entry.name}"
            yield from _told("Instead", entry.instead)
        case Hazard():
            yield f"Hazard: {entry.name}"
            yield f"Caution: {entry.caution}"
            yield from _told("Words that mean it", "; ".join(entry.words))
    yield from _context(kb, name, entry)
    sources = [name] if name in kb.entries.sources else list(dict.fromkeys(sources_of(entry)))
    yield from _listed("Source:" if len(sources) == 1 else "Sources:", [source(kb, s) for s in sources])


def source(kb: KnowledgeBase, name: str) -> str:
    """Return a source in full."""
    s = kb.entries.sources[name]
    parts = [s.title, s.publisher, str(s.year) if s.year else None, s.where, s.kind.replace("-", " ")]
    return f"{'. '.join(p.rstrip('.') for p in parts if p)} ({name})"


def entry_of(kb: KnowledgeBase, name: str) -> object:
    """Return the entry or the finding of an id."""
    if name in kb.settled_by:
        return kb.findings[name]
    return next(section[name] for s in KINDS if name in (section := getattr(kb.entries, s)))


def _told(what: str, words: str | None) -> Iterator[str]:
    if words:
        yield f"{what}: {words}"


def _listed(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield title
        yield from (f"  - {item}" for item in items)


def _names(kb: KnowledgeBase, names: Sequence[str]) -> list[str]:
    return [kb.name_of(n) for n in names]


def _place(kb: KnowledgeBase, part: str) -> str:
    """Return a part with all parts around it, the bike first."""
    way = [part]
    while around := kb.entries.parts[way[0]].inside:
        way.insert(0, around)
    return " > ".join(_names(kb, way))


def _cause(kb: KnowledgeBase, cause: Cause) -> Iterator[str]:
    yield f"Cause: {cause.name}"
    yield cause.mechanism
    if cause.normal:
        yield "When it is this, nothing is broken."
    often = 1 / probability(cause.common)
    yield f"How common: {strength_words(cause.common)}; one in {often:.0f} of the bikes at a bench that can have it"
    if cause.danger != "none":
        yield f"Danger: {'do not ride' if cause.danger == 'stop' else 'ride with care'}"
    yield from _told("Caution", cause.danger_because)
    shows = [f"{kb.name_of(f)}: {graded_words(g, kb.grades(f))}" for f, g in cause.shows.items()]
    yield from _listed("It shows, when it is alone:", shows)
    for title, changed in (("Raised by:", cause.raised_by), ("Lowered by:", cause.lowered_by)):
        yield from _listed(
            title,
            [
                f"{kb.asks(fact)} {kb.entries.facts[fact].values[value]}: {factor_words(factor)}"
                for fact, values in changed.items()
                for value, factor in values.items()
            ],
        )
    yield f"Confirmed by: {kb.name_of(cause.confirm)}"
    yield from show.numbered("Fixes, best first:", _names(kb, cause.fixes))
    yield from _listed("Not to be confused with:", _names(kb, cause.confused_with))


def _check(kb: KnowledgeBase, name: str, check: Check) -> Iterator[str]:
    yield from show.check(kb, name)
    yield from _hands(check)
    yield "It settles:"
    for observable in check.settles.values():
        yield f"  {observable.ask}"
        yield from (f"    {line}" for line in _grades(observable))


def _fix(kb: KnowledgeBase, name: str, fix: Fix) -> Iterator[str]:
    yield from show.fix(kb, name)
    yield from _hands(fix)
    yield f"It works, when its cause is what is wrong: {strength_words(fix.works)}"
    yield from _listed("It removes:", _names(kb, kb.fixed_by[name]))
    yield from _listed("It is proved by:", [kb.asks(n) for n in fix.retest])
    yield from _listed("What must follow:", _names(kb, fix.then))


def _hands(work: Check | Fix) -> Iterator[str]:
    people = f", {work.people} people" if work.people > 1 else ""
    yield f"Hands on it, once the way is open: {minutes(work.minutes)}{people}"


def _finding(kb: KnowledgeBase, name: str, finding: Symptom | Observable) -> Iterator[str]:
    if isinstance(finding, Symptom):
        yield f"Symptom: {finding.name}"
        yield from _told("Told of by the question", kb.asks(kb.set_by[name]) if name in kb.set_by else None)
    else:
        yield f"Settled by: {kb.name_of(kb.settled_by[name])}"
    yield f"Question: {finding.ask}"
    yield from _grades(finding)
    if isinstance(finding, Symptom):
        yield from _says(finding.says)
        yield from show.numbered("How:", finding.how)


def _grades(finding: Symptom | Observable) -> Iterator[str]:
    """Yield the grades of a finding, normal first, the limits between them, and how often it is there for nothing."""
    for n, (grade, words) in enumerate(finding.grades.items()):
        yield f"{n}. {grade}: {words}" + (" (normal)" if n == 0 else "")
    if isinstance(finding, Observable) and finding.reading:
        yield from _limits(finding.reading)
    if finding.measure:
        yield f"Worked out by the tool {finding.measure.tool} (its {', '.join(finding.measure.values)})."
    yield f"For no reason that is listed: {graded_words(finding.leak, list(finding.grades))}"


def _limits(reading: Reading) -> Iterator[str]:
    unit = reading.unit
    limits = "; ".join(f"{grade} from {n:g} {unit}" for grade, n in reading.limits.items())
    low, high = reading.span
    yield (
        f"As a number: {limits} on, {'more' if reading.worse == 'above' else 'less'} is worse. "
        f"The gauge is good to {reading.error:g} {unit}; from {low:g} to {high:g} {unit} it is no slip of the pen."
    )
    yield from _told("Note", reading.note)


def _question(kb: KnowledgeBase, question: Question) -> Iterator[str]:
    yield f"Question: {question.ask}"
    for answer in question.answers.values():
        yield f"  - {answer.words}"
        yield from (f"      {kb.name_of(f)}: {kb.findings[f].grades[g]}" for f, g in answer.sets.items())
    yield from _says({a.words: a.says for a in question.answers.values()})
    yield from show.numbered("How:", question.how)


def _fact(fact: Fact) -> Iterator[str]:
    yield f"Question: {fact.ask}"
    yield f"It is about the {fact.about}."
    yield from _listed("Values:", [f"{words} ({v}): {fact.share[v]:.0%} of bikes" for v, words in fact.values.items()])
    yield from _says(fact.says)
    yield from show.numbered("How:", fact.how)


def _says(says: Mapping[str, Sequence[str]]) -> Iterator[str]:
    yield from _listed("What riders say:", [f"{value}: {'; '.join(words)}" for value, words in says.items() if words])


def _access(kb: KnowledgeBase, name: str, access: Access) -> Iterator[str]:
    yield f"With the bike: {access.name}"
    yield from _told("Inside", kb.name_of(access.inside) if access.inside else None)
    yield f"To open: {minutes(access.open)}; to close: {minutes(access.close)}"
    if access.skill in show.HANDS:
        yield f"This is work for {show.HANDS[access.skill]}."
    cautions = [*(kb.entries.hazards[h].caution for h in access.hazards), *access.cautions]
    yield from (f"Caution: {c}" for c in cautions)
    yield from _told("Tools", "; ".join(_names(kb, access.tools)))
    yield from show.numbered("How:", access.how)


def _rule(kb: KnowledgeBase, rule: Rule) -> Iterator[str]:
    yield from _listed("When all of this is so:", [_condition(kb, c) for c in rule.when])
    if rule.stop_riding:
        yield f"STOP RIDING: {rule.stop_riding.because}"
        yield f"Until this is in order: {kb.name_of(rule.stop_riding.until)}"
    yield from _listed("These causes are ruled out:", _names(kb, rule.rules_out))
    implied = [f"{kb.asks(n)} {_value(kb, n, value)}" for n, value in rule.implies.items()]
    yield from _listed("This need not be asked any more:", implied)
    yield from _told("That cannot be", rule.contradicts)
    yield from _listed("Before everything else:", _names(kb, rule.do_first))
    yield from _listed("Due from then on:", _names(kb, rule.must_follow))
    yield from _told("Hand over", rule.hand_over)
    yield from _told("Because", rule.because)


def _condition(kb: KnowledgeBase, c: Condition) -> str:
    if c.done:
        return f"done: {kb.name_of(c.done)}"
    name = c.fact or c.finding or c.reading or ""
    finding = kb.findings.get(name)
    if isinstance(finding, Observable) and finding.reading and c.reading:
        limits = [f"{word} {n:g}" for word, n in (("above", c.above), ("below", c.below)) if n is not None]
        return f"{finding.ask} {' and '.join(limits)} {finding.reading.unit}"
    if c.at_least:
        return f"{kb.asks(name)} {_value(kb, name, c.at_least)}, or worse"
    return f"{kb.asks(name)} {' or '.join(_value(kb, name, v) for v in c.any_of)}"


def _value(kb: KnowledgeBase, name: str, value: str) -> str:
    """Return a grade of a finding or a value of a fact in words."""
    return kb.entries.facts[name].values[value] if name in kb.entries.facts else kb.findings[name].grades[value]


def _context(kb: KnowledgeBase, name: str, entry: object) -> Iterator[str]:
    """Yield on which bikes an entry counts, and after which findings it is asked."""
    part = name if isinstance(entry, Part) else getattr(entry, "part", None)
    for fact, values in needs_of(kb.entries, getattr(entry, "applies_to", {}), part).items():
        known = kb.entries.facts[fact]
        yield f"Only where: {known.ask} {' or '.join(w for v, w in known.values.items() if v in values)}"
    after = getattr(entry, "asked_when", {}).items()
    found = [f"{kb.asks(finding)} {' or '.join(_value(kb, finding, g) for g in grades)}" for finding, grades in after]
    yield from _listed("Only asked after one of these:", found)
