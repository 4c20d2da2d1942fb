"""Are two entries one? What nobody can tell apart, what is called nearly the same, what is linked the same."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import TypeVar

from rapidfuzz import fuzz

from symptomtree.kb.model import Cause
from symptomtree.kb.nodes import Problem
from symptomtree.kb.vetting.desk import Desk, at_least, needs_of

AFFORDABLE = 30.0
"""Minutes, way in and out included, that anyone spends to tell two causes apart; no special tooling."""
TELLS_FROM = 0.5
"""Two causes are told apart by a finding that one of them makes so much oftener, in shares of bikes."""
SAME_NAME_FROM = 90.0
"""Per cent of the letters that two names have in common, their words put in order."""
SAME_LINKS_FROM = 0.6
"""The share of the links of two causes (finding, grade and strength) that both have."""

_Key = TypeVar("_Key")
_Chances = Mapping[str, list[float]]
"""finding -> how often a cause brings it to each abnormal grade or beyond."""


def causes_can_be_told_apart(desk: Desk) -> Iterator[Problem]:
    """Two causes that show something in common, and share no fix, are told apart by something that costs little."""
    causes = {n: c for n, c in desk.entries.causes.items() if desk.findings.keys() >= c.shows.keys()}
    cheap = {finding for finding in desk.findings if _affordable(desk, finding)}
    often: dict[str, _Chances] = {
        name: {f: at_least(graded, list(desk.findings[f].grades)) for f, graded in cause.shows.items()}
        for name, cause in causes.items()
    }
    leak = {f: at_least(finding.leak, list(finding.grades)) for f, finding in desk.findings.items()}
    needs = {name: _needs(desk, name) for name in causes}
    for first, second in _pairs(_grouped((finding, name) for name in causes for finding in causes[name].shows)):
        if set(causes[first].fixes).isdisjoint(causes[second].fixes) and _meet(needs[first], needs[second]):
            told = (
                abs(a - b) * (1 - by_itself)
                for f in cheap & (often[first].keys() | often[second].keys())
                for a, b, by_itself in _beside(f, often[first], often[second], leak)
            )
            if not any(t >= TELLS_FROM for t in told):
                text = f"nothing that costs little tells it from {first!r}, which has other fixes"
                yield desk.judge("K317", text, (first, second), "causes", second, "shows")


def _grouped(pairs: Iterable[tuple[_Key, str]]) -> dict[_Key, list[str]]:
    """Return key -> all that stands under it, in order."""
    out: dict[_Key, list[str]] = {}
    for key, value in pairs:
        out.setdefault(key, []).append(value)
    return out


def _pairs(groups: Mapping[_Key, list[str]]) -> Iterable[tuple[str, str]]:
    """Return each two that stand in a group together, once: what shares nothing need not be compared."""
    return dict.fromkeys(pair for group in groups.values() for pair in combinations(group, 2))


def _beside(finding: str, first: _Chances, second: _Chances, leak: _Chances) -> Iterator[tuple[float, float, float]]:
    never = [0.0] * len(leak[finding])
    return zip(first.get(finding, never), second.get(finding, never), leak[finding], strict=True)


def _needs(desk: Desk, cause: str) -> dict[str, frozenset[str]]:
    entry = desk.entries.causes[cause]
    return needs_of(desk.entries, entry.applies_to, entry.part)


def _meet(some: Mapping[str, frozenset[str]], others: Mapping[str, frozenset[str]]) -> bool:
    """Whether both can be on one bike."""
    return all(values & others.get(fact, values) for fact, values in some.items())


def _affordable(desk: Desk, finding: str) -> bool:
    check = desk.entries.checks.get(next(iter(desk.settled_by.get(finding, ())), ""))
    if check is None:
        return True  # a rider knows it
    minutes, way = check.minutes, desk.way_to(check.access)
    return check.skill != "specialist" and minutes + sum(a.open + a.close for a in way) <= AFFORDABLE


def names_differ(desk: Desk) -> Iterator[Problem]:
    """Two entries of a kind that are called nearly the same are one, or get mixed up."""
    for section in ("parts", "symptoms", "checks", "causes", "fixes", "access", "tools", "hazards"):
        names = {key: entry.name for key, entry in getattr(desk.entries, section).items()}
        called = _grouped((" ".join(sorted(name.lower().split())), key) for key, name in names.items())
        pairs = [(keys[0], other) for keys in called.values() for other in keys[1:]]
        by_word = _grouped((word, words) for words in called for word in set(words.split()))
        pairs += [
            (called[one][0], called[another][0])
            for one, another in _pairs(by_word)
            if fuzz.ratio(one, another, score_cutoff=SAME_NAME_FROM)
        ]
        for first, second in pairs:
            text = f"{names[second]!r} is nearly what {first!r} is called: {names[first]!r}"
            yield desk.judge("K323", text, (first, second), section, second, "name")


def links_differ(desk: Desk) -> Iterator[Problem]:
    """Two causes with mostly the same links, two symptoms of the very same causes, two fixes of a kind for the same."""
    entries = desk.entries
    links = {name: _links(cause) for name, cause in entries.causes.items()}
    for first, second in _pairs(_grouped((link, name) for name, found in links.items() for link in found)):
        both = len(links[first] & links[second])
        mostly = both >= SAME_LINKS_FROM * len(links[first] | links[second])
        if mostly and _meet(_needs(desk, first), _needs(desk, second)):
            text = f"shows nearly the same as {first!r} ({both} of {len(links[second])} links)"
            yield desk.judge("K324", text, (first, second), "causes", second, "shows")
    for section, linked in (("symptoms", "shows"), ("fixes", "fixes")):
        of = _grouped((target, name) for name, cause in entries.causes.items() for target in getattr(cause, linked))
        known = getattr(entries, section)
        several = {name: entry for name, entry in known.items() if len(of.get(name, ())) > 1}
        alike = _grouped(((getattr(entry, "kind", ""), *of[name]), name) for name, entry in several.items())
        for names in alike.values():
            for other in names[1:]:
                text = f"is linked with the very same causes as {names[0]!r}"
                yield desk.judge("K324", text, (names[0], other), section, other)


def _links(cause: Cause) -> frozenset[tuple[str, str, str]]:
    """Return (finding, grade, strength) of everything that a cause shows."""
    return frozenset(
        (finding, grade, str(strength))
        for finding, graded in cause.shows.items()
        for grade, strength in (graded.items() if isinstance(graded, dict) else [("", graded)])
    )
