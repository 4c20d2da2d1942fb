"""From a rider's own sentence to what it may mean: candidates to be confirmed, nothing more.

Every target (a grade of a symptom, a value of a fact) has phrases: how riders say it, and what the knowledge calls it.
A phrase scores by how much of its weight stands close together in the sentence, in any order. Rare words weigh more
than common ones. A word that no phrase knows is first taken as a misspelling of one that it resembles. A phrase that
is found under a negation ("does not squeal") speaks for the normal grade of its finding.
"""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log
from typing import Literal

from symptomtree.kb.compile import KnowledgeBase

MOST = 12
"""No more candidates than this are returned."""
LEAST = 0.42
"""Candidates that score lower are not returned."""
MOST_WORDS = 1200
"""Words of a sentence past this number are not looked at."""
SLACK = 3
"""How many words may stand among those of a phrase."""
SENTENCE_GAP, CLAUSE_GAP = 4, 1
"""Words of different sentences, or clauses, stand further apart by so many words."""
SPELLING = 0.72
"""From this likeness on, an unknown word may be a misspelling."""
KIN = 0.6
"""What a word of the same family is worth, compared with the word itself."""
OWN_NAME, OWN_QUESTION, OWN_GRADE = 0.85, 0.55, 0.8
"""What the knowledge's own wording is worth, compared with how riders say it."""
SMALLNESS, LIGHTNESS = 0.1, 0.45
"""What grammar, and words of little meaning, are worth compared with other words as rare."""
NEGATED = 0.6
"""What a negated phrase is worth for the normal grade."""

NOT = "not"
_NEGATIONS = frozenset({"not", "no", "never", "without", "cannot", "cant", "dont", "doesnt", "wont", "isnt", "didnt"})
_NEGATION_REACH = 3
_NEGATION_ENDS = frozenset({"but", "and", "except", "only", "until", "because", "when", "or", "though", "so"})

# Words that carry little by themselves (grammar), and words that carry less than their rarity says.
_SMALL = frozenset(
    """a am an and any are as at be been but by can could did do does for from get gets go goes going gone got had has
    have he her his how i if in into is it its just like me mine my myself now of on or our out put so some than that
    the their them then there these they thing this those to too up us very was we went were what when where which
    while who will with would you your bike bicycle make made really still yes seem""".split()
)
_LIGHT = frozenset(
    """after again all along always before both bit day done each end every few fine first fitted good little long more
    new next nothing off ok old once one only other own part ride side since something then three through time turn
    two way well work worse year""".split()
)
# After these, or before those, "back" is a direction and not the rear end.
_BACK_AFTER = frozenset("come comes came coming go goes went get gets got put puts spring springs bend bent push".split())
_BACK_BEFORE = frozenset("again in into on onto out to when".split())
# Different words of the trade and of riders for one and the same thing.
_SAME = {
    word: group[0]
    for group in (
        ("rear", "back", "behind", "hind"),
        ("bar", "handlebar", "handlebars", "grip"),
        ("sprocket", "cog", "cogs", "sprockets"),
        ("mech", "derailleur", "derailer", "derailleurs", "mechs"),
        ("ring", "chainring", "chainwheel", "chainrings", "rings"),
        ("cassette", "freewheel", "block"),
        ("disc", "disk", "rotor"),
        ("coast", "freewheeling", "coasting", "freewheel"),
        ("tyre", "tire", "tyres", "tires"),
        ("noise", "sound", "noises", "sounds"),
    )
    for word in group
}
# Words that mean nearly the same, or that riders use for one another.
_FAMILIES = (
    "squeak squeal chirp tweet peep whistle",
    "howl honk screech shriek scream wail trumpet",
    "squeal howl screech shriek",
    "click tick clunk knock bang pop",
    "rattle chatter clatter buzz",
    "creak crack groan",
    "grind gritty grating scrape crunch rough gravel sand",
    "rub drag touch scrape",
    "skip slip jump hop lurch hiccup let",
    "spongy soft squishy mushy springy",
    "shake shudder judder vibrate wobble",
    "loose wobble rock",
    "stuck jam seize lock close",
    "slow late hesitate sluggish lazy vague sloppy",
    "stiff heavy hard",
    "big biggest large larger bigger",
    "small smallest smaller little inner",
    "fall drop come",
    "hit touch reach",
    "pedal crank feet",
    "climb hill uphill sprint load press stamp push",
    "change shift",
    "weak feeble poor",
)


@dataclass(frozen=True, slots=True)
class Candidate:
    """What a sentence may mean.

    Attributes:
        kind, name, value: a finding and its grade, or a fact and its value.
        score: 0 to 1, for ordering.
        words: the words of the sentence that it rests on.
    """

    kind: Literal["finding", "fact"]
    name: str
    value: str
    score: float
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Word:
    stem: str
    written: str
    place: int
    denied: bool


@dataclass(frozen=True, slots=True)
class _Phrase:
    target: int
    stems: tuple[str, ...]
    worth: float
    denies: bool


class Matcher:
    """The phrases of some knowledge, ready to be looked for."""

    def __init__(self, kb: KnowledgeBase) -> None:
        self._targets: list[tuple[Literal["finding", "fact"], str, str]] = []
        self._phrases: list[_Phrase] = []
        for kind, name, value, texts in _targets(kb):
            self._targets.append((kind, name, value))
            for text, worth in texts:
                stems = [_stem(w) for w in _split(text)]
                if kept := tuple(dict.fromkeys(s for s in stems if s != NOT)):
                    self._phrases.append(_Phrase(len(self._targets) - 1, kept, worth, NOT in stems))
        self._normal = {name: kb.grades(name)[0] for name in kb.entries.symptoms}
        targets_of: dict[str, set[int]] = defaultdict(set)
        self._where: dict[str, list[int]] = defaultdict(list)
        for n, phrase in enumerate(self._phrases):
            for stem in phrase.stems:
                targets_of[stem].add(phrase.target)
                self._where[stem].append(n)
        small, light = {_stem(w) for w in _SMALL}, {_stem(w) for w in _LIGHT}
        self._weight = {
            stem: log(1 + len(self._targets) / len(found))
            * (SMALLNESS if stem in small else LIGHTNESS if stem in light else 1.0)
            for stem, found in targets_of.items()
        }
        self._total = [sum(self._weight[s] for s in p.stems) for p in self._phrases]
        self._letters = [s for s in self._weight if len(s) > 2 and s not in small]
        self._likes: dict[str, tuple[tuple[str, float], ...]] = {}

    def candidates(self, sentence: str) -> list[Candidate]:
        """Return what the sentence may mean, best first; of one finding or fact at most two grades or values."""
        words = _words(sentence)
        hits: dict[int, list[tuple[int, str, float]]] = defaultdict(list)  # phrase -> (word, stem of the phrase, likeness)
        for n, word in enumerate(words):
            for stem, likeness in self._like(word.stem):
                for phrase in self._where[stem]:
                    hits[phrase].append((n, stem, likeness))
        best: dict[tuple[str, str, str], Candidate] = {}
        for n, found in hits.items():
            candidate = self._score(self._phrases[n], self._total[n], found, words)
            if candidate and candidate.score > getattr(best.get(_key(candidate)), "score", LEAST):
                best[_key(candidate)] = candidate
        return _few(sorted(best.values(), key=lambda c: (-c.score, c.kind, c.name, c.value)))

    def _score(
        self, phrase: _Phrase, total: float, found: Sequence[tuple[int, str, float]], words: Sequence[_Word]
    ) -> Candidate | None:
        """Score the best stretch of the sentence for one phrase."""
        reach = len(phrase.stems) + SLACK
        best, used = 0.0, ()  # type: float, tuple[int, ...]
        for start, (first, _, _) in enumerate(found):
            matched: dict[str, tuple[float, int]] = {}
            for n, stem, likeness in found[start:]:
                if words[n].place - words[first].place > reach:
                    break
                if likeness > matched.get(stem, (0.0, 0))[0]:
                    matched[stem] = (likeness, n)
            weight = sum(self._weight[s] * likeness for s, (likeness, _) in matched.items())
            if weight > best:
                best, used = weight, tuple(sorted({n for _, n in matched.values()}))
        # Half a phrase is worth less than half; and a phrase that says little in itself is worth little.
        score = phrase.worth * (best / total) ** 1.7 * (1 - exp(-best / 2.2))
        kind, name, value = self._targets[phrase.target]
        denied = self._denied(used, words)
        if denied and not phrase.denies:
            if kind == "fact" or value == self._normal[name]:
                return None
            value, score = self._normal[name], score * NEGATED
        elif phrase.denies and not denied:
            score *= 0.4
        return Candidate(kind, name, value, score, tuple(words[n].written for n in used))

    def _denied(self, used: Sequence[int], words: Sequence[_Word]) -> bool:
        """Return whether the weightiest of the words used is under a negation."""
        return bool(used) and words[max(used, key=lambda n: self._weight.get(words[n].stem, 1.0))].denied

    def _like(self, stem: str) -> tuple[tuple[str, float], ...]:
        """Return the stems of the phrases that a stem of the sentence may stand for."""
        if stem not in self._likes:
            if len(self._likes) > 5000:
                self._likes.clear()
            found = {stem: 1.0} if stem in self._weight else self._respelt(stem)
            for known, likeness in list(found.items()):
                for kin in _kin().get(known, ()):
                    if kin in self._weight:
                        found[kin] = max(found.get(kin, 0.0), KIN * likeness)
            self._likes[stem] = tuple(found.items())
        return self._likes[stem]

    def _respelt(self, stem: str) -> dict[str, float]:
        if len(stem) < 4 or len(stem) > 30 or stem in {_stem(w) for w in _SMALL}:
            return {}
        from rapidfuzz import process  # noqa: PLC0415 - only a misspelt word needs it
        from rapidfuzz.distance import DamerauLevenshtein  # noqa: PLC0415

        likeness = DamerauLevenshtein.normalized_similarity
        near = process.extract(stem, self._letters, scorer=likeness, score_cutoff=SPELLING, limit=3)
        near += [(word, 0.75, 0) for word in _kin() if likeness(stem, word) >= SPELLING]
        return {word: score for word, score, _ in near if word[0] == stem[0] or score >= 0.8}


def _key(c: Candidate) -> tuple[str, str, str]:
    return c.kind, c.name, c.value


def _few(ranked: Sequence[Candidate]) -> list[Candidate]:
    """Keep the best value of each finding or fact, and a second one that is nearly as likely."""
    top: dict[str, float] = {}
    count: dict[str, int] = defaultdict(int)
    kept = []
    for c in ranked:
        if c.score >= 0.85 * top.setdefault(c.name, c.score) and count[c.name] < 2:
            count[c.name] += 1
            kept.append(c)
    return kept[:MOST]


def _targets(
    kb: KnowledgeBase,
) -> Iterator[tuple[Literal["finding", "fact"], str, str, list[tuple[str, float]]]]:
    """Yield every target with its phrases and what each is worth."""
    for name, symptom in kb.entries.symptoms.items():
        normal, mildest, *_ = symptom.grades
        for grade, plain in symptom.grades.items():
            texts = [(text, 1.0) for text in symptom.says.get(grade, ())]
            if grade != normal:
                texts.append((re.sub(r"^(yes|no), ", "", plain), OWN_GRADE))
            if grade == mildest:
                texts += [(symptom.name, OWN_NAME), (symptom.ask, OWN_QUESTION)]
            yield "finding", name, grade, texts
    for question in kb.entries.questions.values():
        for answer in question.answers.values():
            for name, grade in answer.sets.items():
                if grade != kb.grades(name)[0]:
                    said = [(text, 1.0) for text in answer.says]
                    yield "finding", name, grade, [*said, (answer.words, OWN_GRADE)]
    for name, fact in kb.entries.facts.items():
        for value in fact.values:
            if said := [(text, 1.0) for text in fact.says.get(value, ())]:
                yield "fact", name, value, said


def _split(text: str) -> list[str]:
    """Return the words of a text in lower case; negations become `NOT`, breaks stay as '.' and ','."""
    plain = unicodedata.normalize("NFKD", text).lower().replace("\u2019", "'")
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = re.sub(r"\b(wo|ca|sha)n't\b", r"will not", plain)
    plain = re.sub(r"n't\b", " not", plain).replace("'s ", " ").replace("'", "")
    found = re.findall(r"[a-z0-9]+|[.;:!?,\n]", plain)
    for n, word in enumerate(found):
        before, after = found[n - 1] if n else "", found[n + 1] if n + 1 < len(found) else ""
        if word == "back" and (before in _BACK_AFTER or after in _BACK_BEFORE):
            found[n] = "backwards"
    return [NOT if w in _NEGATIONS else "," if w == "," else w if w.isalnum() else "." for w in found]


def _words(sentence: str) -> list[_Word]:
    """Return the words with their places: far apart when a sentence or clause ends between them."""
    out: list[_Word] = []
    place, denied_until = 0, -1
    for written in _split(sentence[: MOST_WORDS * 12])[: MOST_WORDS]:
        if written in ".,":
            place += SENTENCE_GAP if written == "." else CLAUSE_GAP
            denied_until = -1
        elif written == NOT:
            denied_until = place + _NEGATION_REACH
            place += 1
        else:
            if written in _NEGATION_ENDS:
                denied_until = -1
            out.append(_Word(_stem(written), written, place, place <= denied_until))
            place += 1
    return out


@lru_cache(maxsize=20_000)
def _stem(word: str) -> str:
    """Return a word without its endings, so that 'braking', 'brakes' and 'brake' are one."""
    word = _SAME.get(word, word)
    if word == NOT or len(word) < 4 or word.isdigit():
        return word
    for ending in ("ing", "ed", "es", "s", "ly", "y", "e"):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and not word.endswith("ss"):
            word = word[: -len(ending)]
            break
    word = word.removesuffix("e") if len(word) > 3 else word
    if len(word) > 3 and word[-1] == word[-2]:
        word = word[:-1]
    return _SAME.get(word, word)


@lru_cache(maxsize=1)
def _kin() -> dict[str, frozenset[str]]:
    """stem -> the other stems of its families"""
    out: dict[str, set[str]] = defaultdict(set)
    for family in _FAMILIES:
        stems = {_stem(w) for w in family.split()}
        for stem in stems:
            out[stem] |= stems - {stem}
    return {stem: frozenset(others) for stem, others in out.items()}
