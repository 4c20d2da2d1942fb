"""The draft on the desk of the vetting, with the look-ups that its rules share."""

from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from symptomtree.kb import scale
from symptomtree.kb.load import Draft
from symptomtree.kb.model import Access, Check, Entries, Fix, Graded, Number, Observable, Strength, Symptom
from symptomtree.kb.nodes import Path, Problem, nearest

MAX_HINTS = 50
"""Each nearest spelling is sought among all ids; whoever has more of them wrong has no slips of the pen."""


class Desk:
    """The draft on the desk of the vetting, with the look-ups that several rules share."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.entries: Entries = draft.entries
        self.findings: dict[str, Symptom | Observable] = findings_of(draft.entries)
        self.settled_by: dict[str, list[str]] = {}
        for check_id, check in draft.entries.checks.items():
            for finding in check.settles:
                self.settled_by.setdefault(finding, []).append(check_id)
        self._declared = {path[3] for path in draft.places if len(path) == 4 and path[::2] == ("checks", "settles")}
        """What checks settle, those of broken checks included."""
        built = sum(len(getattr(draft.entries, section)) for section in Entries.__struct_fields__)
        self.whole = built == len(draft.declared)
        """Whether every entry could be built; else what seems unused or unheard of may be named by a broken one."""
        self._hints = 0

    def knows(self, kind: str, name: str) -> bool:
        """Whether `name` is one of that kind; an entry that could not be built counts, its problem is told."""
        if kind == "findings":
            return name in self.findings or name in self._declared or self.draft.declared.get(name) == "symptoms"
        return self.draft.declared.get(name) == kind

    def names(self, kind: str) -> list[str]:
        if kind == "findings":
            return list(self.findings)
        if kind == "readings":
            return [f for f, o in self.findings.items() if isinstance(o, Observable) and o.reading]
        return [name for name, section in self.draft.declared.items() if section == kind]

    def hint(self, word: str, *kinds: str) -> str:
        """Return '; did you mean ...?' for the closest name of these kinds, while hints last."""
        self._hints += 1
        return nearest(word, [n for kind in kinds for n in self.names(kind)]) if self._hints <= MAX_HINTS else ""

    def problem(self, code: str, text: str, *path: str | int) -> Problem:
        return Problem(self.draft.at(*path), code, text)

    def judge(self, code: str, text: str, about: Sequence[str], *path: str | int) -> Problem:
        """Return a problem that is a matter of judgement: an exception may let it stand for these entries."""
        return Problem(self.draft.at(*path), code, text, tuple(about))

    def path_of(self, finding: str) -> Path:
        """Return where a finding is written down."""
        if finding in self.entries.symptoms:
            return ("symptoms", finding)
        return ("checks", self.settled_by[finding][0], "settles", finding)

    def way_to(self, access: str | None) -> list[Access]:
        """Return the states that a bike goes through to be in this one, itself first."""
        way: dict[str, Access] = {}
        while access in self.entries.access and access not in way:
            way[access] = self.entries.access[access]
            access = way[access].inside
        return list(way.values())

    def texts(self) -> Iterator[tuple[str, str, Check | Fix]]:
        """Yield (section, id, entry) of everything that tells someone what to do."""
        for name, check in self.entries.checks.items():
            yield "checks", name, check
        for name, fix in self.entries.fixes.items():
            yield "fixes", name, fix


def findings_of(entries: Entries) -> dict[str, Symptom | Observable]:
    """Return every finding: symptoms, and what checks settle."""
    found: dict[str, Symptom | Observable] = dict(entries.symptoms)
    for check in entries.checks.values():
        found.update(check.settles)
    return found


def needs_of(entries: Entries, applies_to: Mapping[str, list[str]], part: str | None) -> dict[str, frozenset[str]]:
    """Return fact -> the values that something needs, with what the parts around it need."""
    out = {fact: frozenset(values) for fact, values in applies_to.items()}
    seen: set[str] = set()
    while part in entries.parts and part not in seen:
        seen.add(part)
        entry = entries.parts[part]
        for fact, values in entry.applies_to.items():
            out[fact] = out.get(fact, frozenset(values)) & frozenset(values)
        part = entry.inside
    return out


def chance(strength: Strength) -> float | None:
    """Return the probability of a word or number, None for a word that is not on the scale."""
    return strength.p if isinstance(strength, Number) else scale.PROBABILITY.get(strength)


def first_chance(graded: Strength | dict[str, Strength]) -> float:
    """Return the chance of the first abnormal grade or worse; words that are not on the scale count as sure."""
    strengths = graded.values() if isinstance(graded, dict) else [graded]
    return max((1.0 if (p := chance(s)) is None else p for s in strengths), default=1.0)


def at_least(graded: Graded, grades: Sequence[str]) -> list[float]:
    """Return the chance of each abnormal grade or worse; one left out takes that of the next named one above it."""
    named = graded if isinstance(graded, dict) else {grades[1]: graded}
    out: list[float] = []
    for grade in reversed(grades[1:]):
        last = out[-1] if out else 0.0
        out.append(last if grade not in named else 1.0 if (p := chance(named[grade])) is None else p)
    return out[::-1]


def said(entry: object, attribute: str) -> Iterator[tuple[Path, str]]:
    """Yield (path inside the entry, text) of all that a field says."""
    return _texts(getattr(entry, attribute, None), (attribute,))


def _texts(value: object, path: Path) -> Iterator[tuple[Path, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, list):
        for n, inner in enumerate(value):
            yield from _texts(inner, (*path, n))
    elif isinstance(value, Struct):
        for field in value.__struct_fields__:
            yield from _texts(getattr(value, field), (*path, field))
