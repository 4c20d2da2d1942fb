"""Does the knowledge make sense as a whole? Every rule here is one small function that yields problems.

Codes: K0 the file, K1 its shape (see `nodes`), K2 references, K3 sense, K4 what only inference or simulated bikes can
tell (see `symptomtree.trials.deep`). Rules with a topic of their own stand in `vetting/`.
"""

import re
from collections.abc import Callable, Iterator

from symptomtree.kb import scale
from symptomtree.kb.load import Draft
from symptomtree.kb.model import Check, Fix, Number, Observable, Reading, Strength, Symptom, Times
from symptomtree.kb.nodes import Path, Problem, nearest
from symptomtree.kb.vetting.alike import causes_can_be_told_apart, links_differ, names_differ
from symptomtree.kb.vetting.desk import Desk, chance, first_chance, needs_of, said
from symptomtree.kb.vetting.exceptions import AT_ONCE, exceptions_are_in_order, excused
from symptomtree.kb.vetting.measures import fixes_name_tools, measures_fit
from symptomtree.kb.vetting.reading import sentences_are_short, texts_are_easy
from symptomtree.kb.vetting.use import findings_speak, nothing_is_left_over

ID = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
FIGURE = re.compile(
    r"(?<![\w.])(\d+(?:\.\d+)?)(?: ?(?:to|or|-) ?(\d+(?:\.\d+)?))? ?(?:%|°|(?:mm|cm|N m|Nm|bar|psi|kPa|degrees?)\b)"
)
"""A number with its unit, or two: '0.75 %', '5 to 7 N m'."""
CONFIRMS_FROM = scale.BANDS["very-likely"][0]
REFERENCES: dict[tuple[str, str], tuple[str, ...]] = {
    ("parts", "inside"): ("parts",),
    ("facts", "source"): ("sources",),
    ("symptoms", "part"): ("parts",),
    ("checks", "part"): ("parts",),
    ("checks", "tools"): ("tools",),
    ("checks", "access"): ("access",),
    ("checks", "hazards"): ("hazards",),
    ("causes", "part"): ("parts",),
    ("causes", "confirm"): ("checks",),
    ("causes", "fixes"): ("fixes",),
    ("causes", "confused_with"): ("causes",),
    ("causes", "source"): ("sources",),
    ("fixes", "tools"): ("tools",),
    ("fixes", "access"): ("access",),
    ("fixes", "hazards"): ("hazards",),
    ("fixes", "then"): ("fixes", "checks"),
    ("fixes", "retest"): ("findings", "checks"),
    ("access", "inside"): ("access",),
    ("access", "tools"): ("tools",),
    ("access", "hazards"): ("hazards",),
    ("rules", "rules_out"): ("causes",),
    ("rules", "do_first"): ("checks", "fixes"),
    ("rules", "must_follow"): ("checks", "fixes"),
    ("rules", "source"): ("sources",),
}
"""(section, attribute) -> the kinds of entry that it may name."""


def vet(draft: Draft) -> list[Problem]:
    """Return every problem of the draft that no exception lets stand, in the order of files and lines."""
    desk = Desk(draft)
    found = {problem for rule in RULES for problem in rule(desk)}
    return sorted({*draft.problems, *excused(desk, found, AT_ONCE)})


def ids_are_kebab_case(desk: Desk) -> Iterator[Problem]:
    """Ids of entries and findings, and the names that cases quote with them: grades, values, answers."""
    names: list[tuple[str, Path]] = [(name, (section, name)) for name, section in desk.draft.declared.items()]
    for check_id, check in desk.entries.checks.items():
        for finding, observable in check.settles.items():
            path: Path = ("checks", check_id, "settles", finding)
            names += [(finding, path), *((grade, (*path, "grades", grade)) for grade in observable.grades)]
    for section, attribute in (("symptoms", "grades"), ("facts", "values"), ("questions", "answers")):
        for name, entry in getattr(desk.entries, section).items():
            names += [(key, (section, name, attribute, key)) for key in getattr(entry, attribute)]
    for name, path in names:
        if not ID.fullmatch(name):
            yield desk.problem("K109", f"{name!r} is not an id; ids are lower-case words joined by '-'", *path)


def finding_ids_are_unique(desk: Desk) -> Iterator[Problem]:
    for finding, checks in desk.settled_by.items():
        if finding in desk.draft.declared:
            first = desk.draft.at(desk.draft.declared[finding], finding)
            text = f"id {finding!r} is already taken at {first}"
            yield desk.problem("K110", text, "checks", checks[0], "settles", finding)
        for other in checks[1:]:
            first = desk.draft.at("checks", checks[0], "settles", finding)
            yield desk.problem(
                "K110", f"id {finding!r} is already taken at {first}", "checks", other, "settles", finding
            )


def references_lead_somewhere(desk: Desk) -> Iterator[Problem]:
    for (section, attribute), kinds in REFERENCES.items():
        for name, entry in getattr(desk.entries, section).items():
            value = getattr(entry, attribute)
            path = (section, name, attribute.replace("_", "-"))
            for n, target in enumerate(value if isinstance(value, list) else [value] if value else []):
                yield from _known(desk, kinds, target, *(path if isinstance(value, str) else (*path, n)))


def _known(desk: Desk, kinds: tuple[str, ...], target: str, *path: str | int) -> Iterator[Problem]:
    if not any(desk.knows(kind, target) for kind in kinds):
        yield desk.problem("K201", f"no {' or '.join(kinds)} entry {target!r}{desk.hint(target, *kinds)}", *path)


def conditions_make_sense(desk: Desk) -> Iterator[Problem]:
    """`applies-to` names facts and their values, `asked-when` findings and their grades."""
    for section in ("parts", "facts", "symptoms", "questions", "checks", "causes", "fixes"):
        for name, entry in getattr(desk.entries, section).items():
            yield from _needs(desk, entry, section, name)
    for name, check in desk.entries.checks.items():
        for finding, observable in check.settles.items():
            yield from _needs(desk, observable, "checks", name, "settles", finding)


def _needs(desk: Desk, entry: object, *path: str | int) -> Iterator[Problem]:
    for fact, values in getattr(entry, "applies_to", {}).items():
        for value in values:
            yield from _fact_value(desk, fact, value, *path, "applies-to", fact)
    for finding, grades in getattr(entry, "asked_when", {}).items():
        for grade in grades:
            yield from _grade(desk, finding, grade, *path, "asked-when", finding)


def _fact_value(desk: Desk, fact: str, value: str, *path: str | int) -> Iterator[Problem]:
    if not desk.knows("facts", fact):
        yield desk.problem("K201", f"no facts entry {fact!r}{desk.hint(fact, 'facts')}", *path)
    elif (known := desk.entries.facts.get(fact)) and value not in known.values:
        yield desk.problem("K202", f"fact {fact!r} has no value {value!r}{nearest(value, list(known.values))}", *path)


def _grade(desk: Desk, finding: str, grade: str, *path: str | int) -> Iterator[Problem]:
    if not desk.knows("findings", finding):
        yield desk.problem("K201", f"no findings entry {finding!r}{desk.hint(finding, 'findings')}", *path)
    elif (known := desk.findings.get(finding)) and grade not in known.grades:
        yield desk.problem(
            "K202", f"finding {finding!r} has no grade {grade!r}{nearest(grade, list(known.grades))}", *path
        )


def trees_have_no_cycle(desk: Desk) -> Iterator[Problem]:
    for section in ("parts", "access"):
        entries = getattr(desk.entries, section)
        met: set[str] = set()
        for name in entries:
            way: dict[str, None] = {}
            at = name
            while at in entries and at not in met:
                met.add(at)
                way[at] = None
                at = entries[at].inside
            if at in way:
                ring = list(way)[list(way).index(at) :]
                text = f"{at!r} is inside itself: {' > '.join([*ring, at])}"
                yield desk.problem("K203", text, section, at, "inside")


def facts_share_out_to_one(desk: Desk) -> Iterator[Problem]:
    for name, fact in desk.entries.facts.items():
        for value in fact.says:
            yield from _fact_value(desk, name, value, "facts", name, "says", value)
        if set(fact.share) != set(fact.values):
            yield desk.problem("K301", "'share' must name each value of 'values' and no other", "facts", name, "share")
        elif abs(sum(fact.share.values()) - 1) > 1e-6:
            text = f"the shares add up to {sum(fact.share.values()):.3f}, not to 1"
            yield desk.problem("K301", text, "facts", name, "share")


def strengths_are_words(desk: Desk) -> Iterator[Problem]:
    """Words stand on the scale, numbers name a known source, and no grade is likelier than a milder one."""
    for name, symptom in desk.entries.symptoms.items():
        yield from _leak(desk, symptom, "symptoms", name, "leak")
        for grade in symptom.says:
            yield from _grade(desk, name, grade, "symptoms", name, "says", grade)
    for name, check in desk.entries.checks.items():
        for finding, observable in check.settles.items():
            yield from _leak(desk, observable, "checks", name, "settles", finding, "leak")
    for name, fix in desk.entries.fixes.items():
        yield from _strength(desk, fix.works, "fixes", name, "works")
    for name, cause in desk.entries.causes.items():
        yield from _strength(desk, cause.common, "causes", name, "common")
        for finding, graded in cause.shows.items():
            path: Path = ("causes", name, "shows", finding)
            if finding in desk.findings:
                yield from _graded(desk, graded, desk.findings[finding], *path)
            else:
                yield from _known(desk, ("findings",), finding, *path)
        for attribute in ("raised_by", "lowered_by"):
            for fact, values in getattr(cause, attribute).items():
                for value, factor in values.items():
                    path = ("causes", name, attribute.replace("_", "-"), fact, value)
                    yield from _fact_value(desk, fact, value, *path)
                    if isinstance(factor, Times):
                        yield from _known(desk, ("sources",), factor.source, *path)
                    elif factor not in scale.ODDS_FACTOR:
                        words = list(scale.ODDS_FACTOR)
                        text = f"{factor!r} is none of {', '.join(words)}{nearest(factor, words)}"
                        yield desk.problem("K302", text, *path)


def _strength(desk: Desk, strength: Strength, *path: str | int) -> Iterator[Problem]:
    if isinstance(strength, Number):
        yield from _known(desk, ("sources",), strength.source, *path)
    elif strength not in scale.PROBABILITY:
        words = list(scale.PROBABILITY)
        yield desk.problem("K302", f"{strength!r} is none of {', '.join(words)}{nearest(strength, words)}", *path)


def _leak(desk: Desk, finding: Symptom | Observable, *path: str | int) -> Iterator[Problem]:
    """A leak reaches the worst grade, however seldom: what can be answered must not be impossible."""
    yield from _graded(desk, finding.leak, finding, *path)
    worst = list(finding.grades)[-1]
    if isinstance(finding.leak, dict) and finding.leak and worst not in finding.leak:
        yield desk.problem("K303", f"the leak says nothing of the worst grade {worst!r}", *path)


def _graded(
    desk: Desk, graded: Strength | dict[str, Strength], finding: Symptom | Observable, *path: str | int
) -> Iterator[Problem]:
    grades = list(finding.grades)
    if not isinstance(graded, dict):
        yield from _strength(desk, graded, *path)
        if len(grades) > 2:
            text = f"one word for {len(grades)} grades; give 'grade: word' for {', '.join(grades[1:])}"
            yield desk.problem("K303", text, *path)
        return
    if not graded:
        yield desk.problem("K303", f"no grade is given; give 'grade: word' for {', '.join(grades[1:])}", *path)
    last = 1.0
    for grade in sorted(graded, key=lambda g: grades.index(g) if g in grades else -1):
        yield from _strength(desk, graded[grade], *path, grade)
        if grade not in grades[1:]:
            what = "is the normal grade, which needs no chance" if grade in grades else "is no grade of it"
            yield desk.problem("K202", f"{grade!r} {what}; grades are {', '.join(grades[1:])}", *path, grade)
            continue
        p = chance(graded[grade])
        if p is not None and p > last + 1e-12:
            text = f"{grade!r} ({p}) is likelier than a milder grade ({last}); chances are 'at least this grade'"
            yield desk.problem("K304", text, *path, grade)
        last = p if p is not None else last


def readings_are_in_order(desk: Desk) -> Iterator[Problem]:
    for name, check in desk.entries.checks.items():
        for finding, observable in check.settles.items():
            if observable.reading:
                path: Path = ("checks", name, "settles", finding, "reading")
                yield from _reading(desk, observable.reading, list(observable.grades), path)


def _reading(desk: Desk, reading: Reading, grades: list[str], path: Path) -> Iterator[Problem]:
    yield from _known(desk, ("sources",), reading.source, *path, "source")
    if set(reading.limits) != set(grades[1:]):
        yield desk.problem("K305", f"'limits' must name each of {', '.join(grades[1:])} and no other", *path, "limits")
        return
    numbers = [reading.limits[g] for g in grades[1:]]
    ordered = sorted(numbers, reverse=reading.worse == "below")
    if numbers != ordered or len(set(numbers)) != len(numbers):
        yield desk.problem("K305", f"limits must rise in severity ({reading.worse}): {numbers}", *path, "limits")
    low, high = reading.span
    if not all(low < n < high for n in numbers):
        yield desk.problem("K305", f"limits must lie inside the span {low} to {high}", *path, "span")


def questions_set_symptoms(desk: Desk) -> Iterator[Problem]:
    for name, question in desk.entries.questions.items():
        sets = [set(a.sets) for a in question.answers.values()]
        if any(s != sets[0] for s in sets):
            yield desk.problem("K306", "every answer must set the same findings", "questions", name, "answers")
        for answer_id, answer in question.answers.items():
            for finding, grade in answer.sets.items():
                yield from _grade(desk, finding, grade, "questions", name, "answers", answer_id, "sets", finding)


def causes_can_be_settled(desk: Desk) -> Iterator[Problem]:
    for name, cause in desk.entries.causes.items():
        check = desk.entries.checks.get(cause.confirm)
        links = [first_chance(cause.shows[f]) for f in check.settles if f in cause.shows] if check else [1.0]
        if not links:
            text = f"check {cause.confirm!r} settles no finding that this cause shows"
            yield desk.problem("K307", text, "causes", name, "confirm")
        elif max(links) < CONFIRMS_FROM:
            text = f"check {cause.confirm!r} settles nothing that this cause shows as 'very-likely' or more"
            yield desk.problem("K307", text, "causes", name, "confirm")
        if cause.danger != "none" and not cause.danger_because:
            yield desk.problem("K308", "a danger needs 'danger-because'", "causes", name, "danger")
        if len(cause.shows) < 2:
            yield desk.problem("K309", "needs two findings that tell it from its neighbours", "causes", name, "shows")


def hazards_are_named(desk: Desk) -> Iterator[Problem]:
    """A step that speaks of a hazard carries its caution."""
    for section, name, entry in desk.texts():
        for path, step in said(entry, "how" if section == "checks" else "steps"):
            for hazard, known in desk.entries.hazards.items():
                if path[-1] != "mind" and hazard not in entry.hazards and (word := known.word_in(step)):
                    text = f"the step says {word!r} but 'hazards' lacks {hazard!r}, so its caution is missing"
                    yield desk.problem("K310", text, section, name, *path)


def figures_have_sources(desk: Desk) -> Iterator[Problem]:
    """A figure names its source, and a number with a unit in the text of a fix is one of its figures."""
    for name, fix in desk.entries.fixes.items():
        for n, figure in enumerate(fix.figures):
            yield from _known(desk, ("sources",), figure.source, "fixes", name, "figures", n, "source")
        given = {number for figure in fix.figures for number in NUMBER.findall(figure.value)}
        for attribute in ("steps", "cautions"):
            for path, text in said(fix, attribute):
                for found in FIGURE.finditer(text):
                    if not given.issuperset(number for number in found.groups() if number):
                        what = f"{found.group()!r} is not among the figures; write it there, with its source"
                        yield desk.problem("K315", what, "fixes", name, *path)


def rules_are_whole(desk: Desk) -> Iterator[Problem]:
    for name, rule in desk.entries.rules.items():
        for n, condition in enumerate(rule.when):
            path = ("rules", name, "when", n)
            given = [k for k in ("fact", "finding", "reading", "done") if getattr(condition, k)]
            if len(given) != 1:
                yield desk.problem("K311", "a condition names one of fact, finding, reading, done", *path)
            elif condition.done:
                yield from _known(desk, ("fixes",), condition.done, *path)
            elif condition.reading:
                yield from _condition_on_reading(desk, condition.reading, condition.above, condition.below, path)
            elif condition.fact:
                yield from (p for v in condition.any_of for p in _fact_value(desk, condition.fact, v, *path))
                if not condition.any_of:
                    yield desk.problem("K311", "a condition on a fact needs 'is: [value, ...]'", *path)
            elif condition.finding:
                wanted = [*condition.any_of, *([condition.at_least] if condition.at_least else [])]
                yield from (p for g in wanted for p in _grade(desk, condition.finding, g, *path))
                if not wanted:
                    yield desk.problem("K311", "a condition on a finding needs 'is' or 'at-least'", *path)
        if rule.stop_riding:
            yield from _known(desk, ("checks",), rule.stop_riding.until, "rules", name, "stop-riding", "until")
        for target, value in rule.implies.items():
            kind = _fact_value if desk.knows("facts", target) else _grade
            yield from kind(desk, target, value, "rules", name, "implies", target)
        conclusions = (rule.stop_riding, rule.rules_out, rule.implies, rule.contradicts, rule.do_first,
                       rule.must_follow, rule.hand_over)  # fmt: skip
        if not any(conclusions):
            yield desk.problem("K312", "a rule without a conclusion", "rules", name)


def _condition_on_reading(
    desk: Desk, finding: str, above: float | None, below: float | None, path: Path
) -> Iterator[Problem]:
    known = desk.findings.get(finding)
    broken = known is None and desk.knows("findings", finding)
    if not broken and (not isinstance(known, Observable) or not known.reading):
        yield desk.problem("K201", f"no reading {finding!r}{desk.hint(finding, 'readings')}", *path)
    if above is None and below is None:
        yield desk.problem("K311", "a condition on a reading needs 'above' or 'below'", *path)


def nothing_lies_about(desk: Desk) -> Iterator[Problem]:
    """An entry that nothing uses is a slip, or work that was not finished."""
    if not desk.whole:
        return
    used: set[str] = {f for cause in desk.entries.causes.values() for f in cause.fixes}
    used |= {x for fix in desk.entries.fixes.values() for x in fix.then}
    used |= {x for rule in desk.entries.rules.values() for x in (*rule.do_first, *rule.must_follow)}
    for name in desk.entries.fixes:
        if name not in used:
            yield desk.problem("K313", "no cause names this fix, and nothing makes it follow", "fixes", name)
    shown = {f for cause in desk.entries.causes.values() for f in cause.shows}
    shown |= {c.finding for rule in desk.entries.rules.values() for c in rule.when if c.finding}
    shown |= {c.reading for rule in desk.entries.rules.values() for c in rule.when if c.reading}
    for finding in desk.findings:
        if finding not in shown:
            yield desk.problem("K314", f"no cause shows {finding!r} and no rule uses it", *desk.path_of(finding))


def fixes_can_be_proved(desk: Desk) -> Iterator[Problem]:
    """For each cause that it removes, a fix's retest looks at something which that cause shows."""
    for name, cause in desk.entries.causes.items():
        for n, fix_id in enumerate(cause.fixes):
            if fix := desk.entries.fixes.get(fix_id):
                if not all(target in desk.findings or target in desk.entries.checks for target in fix.retest):
                    continue  # a dangling one has its own problem
                looks = {f for t in fix.retest for f in getattr(desk.entries.checks.get(t), "settles", (t,))}
                if not looks & set(cause.shows):
                    text = f"the retest of {fix_id!r} looks at nothing that this cause shows"
                    yield desk.problem("K318", text, "causes", name, "fixes", n)


def dangers_are_stopped(desk: Desk) -> Iterator[Problem]:
    """A cause that must not be ridden with shows something by which a rule says so."""
    stopping = {c.finding or c.reading for r in desk.entries.rules.values() if r.stop_riding for c in r.when}
    if not desk.whole or not stopping <= {*desk.findings, None}:
        return
    for name, cause in desk.entries.causes.items():
        if cause.danger == "stop" and not stopping & set(cause.shows):
            text = "'stop', but no stop-riding rule looks at what it shows"
            yield desk.problem("K319", text, "causes", name, "danger")


def contexts_meet(desk: Desk) -> Iterator[Problem]:
    """What a cause shows, its check and its fixes can be had on a bike that can have the cause."""
    for name, cause in desk.entries.causes.items():
        needs = needs_of(desk.entries, cause.applies_to, cause.part)
        named: list[tuple[str, Check | Fix | Symptom | Observable | None, Path]] = [
            (cause.confirm, desk.entries.checks.get(cause.confirm), ("confirm",)),
            *((fix, desk.entries.fixes.get(fix), ("fixes", n)) for n, fix in enumerate(cause.fixes)),
            *((finding, desk.findings.get(finding), ("shows", finding)) for finding in cause.shows),
        ]
        for target, entry, path in named:
            for fact, values in entry.applies_to.items() if entry else ():
                if fact in needs and not needs[fact] & set(values):
                    mine = " or ".join(sorted(needs[fact])) or "what cannot be"
                    text = f"{target!r} needs {fact} {' or '.join(values)}, this cause {mine}"
                    yield desk.problem("K320", text, "causes", name, *path)


def sentences_are_whole(desk: Desk) -> Iterator[Problem]:
    """What tells someone what to do ends like a sentence: a comma in an unquoted list cuts one in two."""
    entries = desk.entries
    for section in ("facts", "symptoms", "questions", "checks", "fixes", "access"):
        for name, entry in getattr(entries, section).items():
            for key in ("how", "steps", "cautions"):
                for path, text in said(entry, key):
                    if not text.rstrip().endswith((".", "!", "?", ":", ")")):
                        told = f"{text[-40:]!r} is no whole sentence; if a comma cut it, put the text in quotes"
                        yield desk.problem("K321", told, section, name, *path)


RULES: tuple[Callable[[Desk], Iterator[Problem]], ...] = (
    ids_are_kebab_case,
    finding_ids_are_unique,
    references_lead_somewhere,
    conditions_make_sense,
    trees_have_no_cycle,
    facts_share_out_to_one,
    strengths_are_words,
    readings_are_in_order,
    measures_fit,
    fixes_name_tools,
    questions_set_symptoms,
    causes_can_be_settled,
    hazards_are_named,
    figures_have_sources,
    rules_are_whole,
    nothing_lies_about,
    findings_speak,
    causes_can_be_told_apart,
    fixes_can_be_proved,
    dangers_are_stopped,
    contexts_meet,
    sentences_are_whole,
    nothing_is_left_over,
    names_differ,
    links_differ,
    sentences_are_short,
    texts_are_easy,
    exceptions_are_in_order,
)
