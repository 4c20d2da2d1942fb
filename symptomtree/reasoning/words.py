"""From a rider's own sentence to what it may mean: candidates to be confirmed, nothing more.

Every target (a grade of a symptom, a value of a fact) has phrases: how riders say it, and what the knowledge calls it.
A phrase scores by how much of its weight stands close together in the sentence, in any order. Rare words weigh more
than common ones. A word that no phrase knows is first taken as a misspelling of one that it resembles. A phrase that
is found under a negation ("does not squeal") speaks for the normal grade of its finding.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log
from typing import TYPE_CHECKING, Literal

from symptomtree.reasoning import lexicon

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

MOST = 12
"""No more candidates than this are returned."""
LEAST = 0.42
"""Candidates that score lower are not returned."""
LEAST_ALONE = 0.2
"""The same when nothing scores higher: better some guess to be confirmed than none."""
MOST_ALONE = 6
NEARLY = 0.85
"""A candidate with this share of the score of another is nearly as likely."""
MOST_WORDS = 400
"""Words of a sentence past this number are not looked at."""
SLACK = 3
"""How many words may stand among those of a phrase."""
SENTENCE_GAP, CLAUSE_GAP = 4, 1
"""Words of different sentences, or clauses, stand further apart by so many words."""
SPELLING = 0.72
"""From this likeness on, an unknown word may be a misspelling."""
SOUND = 0.1
"""What it adds when the consonants are the same."""
KIN = 0.6
"""What a word of the same family is worth, compared with the word itself."""
OWN_NAME, OWN_QUESTION, OWN_GRADE = 0.85, 0.55, 0.8
"""What the knowledge's own wording is worth, compared with how riders say it."""
SMALLNESS = 0.4
"""What each small word of a phrase takes from the others: 'comes and goes' is more than 'comes'."""
LIGHTNESS = 0.45
"""What words of little meaning are worth compared with other words as rare."""
FACT = 0.85
"""What a fact is worth: what is wrong comes before what is true of the bike."""
ALL_SAID = 0.8
"""What it is worth when a phrase holds all that the sentence says, however much more the phrase says itself."""
STRANGE = 3.0
"""The weight of a word of the sentence that nothing here knows."""
SUPPORT = 0.4
"""How much of what is missing to certainty the other words of a target may make up, at most."""
DENIAL = 3
"""How many words after it a negation reaches."""
NEGATED = 0.6
"""What a negated phrase is worth for the normal grade."""


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
    small: int  # how many small words it has besides
    worth: float
    denies: bool


_Hit = tuple[int, str, float]
"""(word of the sentence, stem of a phrase, how alike they are)"""


class Matcher:
    """The phrases of some knowledge, ready to be looked for."""

    def __init__(self, kb: "KnowledgeBase") -> None:
        self._targets: list[tuple[Literal["finding", "fact"], str, str]] = []
        self._phrases: list[_Phrase] = []
        for kind, name, value, texts in _targets(kb):
            self._targets.append((kind, name, value))
            for text, worth in texts:
                stems = dict.fromkeys(lexicon.stem(w) for w in lexicon.split(text) if w.isalnum())
                if kept := tuple(s for s in stems if s != lexicon.NOT and s not in lexicon.small()):
                    rest = len(stems) - len(kept) - (lexicon.NOT in stems)
                    self._phrases.append(_Phrase(len(self._targets) - 1, kept, rest, worth, lexicon.NOT in stems))
        self._normal = {name: kb.grades(name)[0] for name in kb.entries.symptoms}
        targets_of: dict[str, set[int]] = defaultdict(set)
        self._where: dict[str, list[int]] = defaultdict(list)
        for n, phrase in enumerate(self._phrases):
            for stem in phrase.stems:
                targets_of[stem].add(phrase.target)
                self._where[stem].append(n)
        self._weight = {
            stem: log(1 + len(self._targets) / len(found)) * (LIGHTNESS if stem in lexicon.light() else 1.0)
            for stem, found in targets_of.items()
        }
        self._total = [sum(self._weight[s] for s in p.stems) + SMALLNESS * p.small for p in self._phrases]
        self._letters = sorted(s for s in {*self._weight, *lexicon.kin()} if len(s) > 2)
        self._likes: dict[str, tuple[tuple[str, float], ...]] = {}

    def candidates(self, sentence: str) -> list[Candidate]:
        """Return what the sentence may mean, best first; of one finding or fact at most two grades or values."""
        words = _words(sentence)
        hits: dict[int, list[_Hit]] = defaultdict(list)
        for n, word in enumerate(words):
            for stem, likeness in self._like(word.stem):
                for phrase in self._where[stem]:
                    hits[phrase].append((n, stem, likeness))
        said = sum(self._heaviest(stem) for stem in {w.stem for w in words})
        best: dict[tuple[str, str, str], Candidate] = {}
        support: dict[int, dict[int, float]] = defaultdict(dict)  # target -> word -> what it weighs
        for n, found in hits.items():
            backing = support[self._phrases[n].target]
            for w, stem, likeness in found:
                backing[w] = max(backing.get(w, 0.0), likeness * self._phrases[n].worth * self._weight[stem])
        for n, found in hits.items():
            candidate = self._score(n, found, words, said, support[self._phrases[n].target])
            if candidate and candidate.score > getattr(best.get(_key(candidate)), "score", LEAST_ALONE):
                best[_key(candidate)] = candidate
        ranked = sorted(best.values(), key=lambda c: (-c.score, c.kind, c.name, c.value))
        likely = [c for c in ranked if c.score >= LEAST]
        if any(c.kind == "finding" for c in likely):
            used = {word for c in likely for word in c.words}
            # What is left of the sentence gets a guess too, and so does what the same words mean nearly as well.
            guessed = [
                c
                for c in ranked[len(likely) :]
                if c.kind == "finding"
                and (
                    (len(c.words) > 1 and used.isdisjoint(c.words))
                    or any(c.words == k.words and c.score >= NEARLY * k.score for k in likely)
                )
            ]
            return _few([*likely, *guessed[:MOST_ALONE]])
        return _few([*likely, *(c for c in ranked if c.kind == "finding")][:MOST_ALONE])

    def _score(
        self,
        n: int,
        found: Sequence[_Hit],
        words: Sequence[_Word],
        said: float,
        backing: Mapping[int, float],
    ) -> Candidate | None:
        """Score the best stretch of the sentence for phrase `n`; `said` is what the whole sentence weighs."""
        phrase, total = self._phrases[n], self._total[n]
        weight, used = self._best_stretch(phrase, found, words)
        covered = weight / total
        # Half a phrase is worth less than half; and a phrase that says little in itself is worth little.
        score = covered**1.7 * (1 - exp(-weight / 2.2))
        score = phrase.worth * max(score, ALL_SAID * min(weight / said, 1.0) ** 1.5 * covered**0.5)
        other = sum(weight for word, weight in backing.items() if word not in used)
        score += (1 - score) * SUPPORT * covered * (1 - exp(-other / 5))
        kind, name, value = self._targets[phrase.target]
        if kind == "fact":
            score *= FACT
        denied = self._denied(used, words)
        if denied and not phrase.denies:
            if kind == "fact" or value == self._normal[name]:
                return None
            value, score = self._normal[name], score * NEGATED
        elif phrase.denies and not denied:
            score *= 0.4
        return Candidate(kind, name, value, score, tuple(words[w].written for w in used))

    def _best_stretch(
        self, phrase: _Phrase, found: Sequence[_Hit], words: Sequence[_Word]
    ) -> tuple[float, tuple[int, ...]]:
        """Return the greatest weight of the phrase that stands together, and the words that make it up."""
        reach = len(phrase.stems) + SLACK
        best, used = 0.0, set[int]()
        for start in range(len(found)):
            matched: dict[str, tuple[float, int]] = {}
            for i in range(start, len(found)):
                word, stem, likeness = found[i]
                if words[word].place - words[found[start][0]].place > reach:
                    break
                if likeness > matched.get(stem, (0.0, 0))[0]:
                    matched[stem] = (likeness, word)
            weight = sum(self._weight[stem] * likeness for stem, (likeness, _) in matched.items())
            if weight > best:
                best, used = weight, {word for _, word in matched.values()}
        return best, tuple(sorted(used))

    def _heaviest(self, stem: str) -> float:
        """Return what a word of the sentence weighs."""
        if stem in lexicon.small():
            return 0.0
        return max((self._weight[known] * likeness for known, likeness in self._like(stem)), default=STRANGE)

    def _denied(self, used: Sequence[int], words: Sequence[_Word]) -> bool:
        """Return whether the weightiest of the words used is under a negation."""
        return bool(used) and words[max(used, key=lambda n: self._weight.get(words[n].stem, 1.0))].denied

    def _like(self, stem: str) -> tuple[tuple[str, float], ...]:
        """Return the stems of the phrases that a stem of the sentence may stand for."""
        if stem not in self._likes:
            if len(self._likes) > 5000:
                self._likes.clear()
            found = {stem: 1.0} if stem in self._weight or stem in lexicon.kin() else self._respelt(stem)
            for known, likeness in list(found.items()):
                for kin in lexicon.kin().get(known, ()):
                    if kin in self._weight:
                        found[kin] = max(found.get(kin, 0.0), KIN * likeness)
            self._likes[stem] = tuple((known, likeness) for known, likeness in found.items() if known in self._weight)
        return self._likes[stem]

    def _respelt(self, stem: str) -> dict[str, float]:
        if len(stem) < 4 or len(stem) > 30 or stem in lexicon.small():
            return {}
        from rapidfuzz import process  # noqa: PLC0415 - only a misspelt word needs it
        from rapidfuzz.distance import DamerauLevenshtein  # noqa: PLC0415

        likeness = DamerauLevenshtein.normalized_similarity
        near = process.extract(stem, self._letters, scorer=likeness, score_cutoff=SPELLING, limit=5)
        # People spell by ear: the same consonants in the same order mean more than one letter more or less.
        bones = lexicon.bones(stem)
        found = {word: min(score + SOUND * (lexicon.bones(word) == bones), 0.95) for word, score, _ in near}
        return {word: score for word, score in found.items() if score >= max(found.values()) - SOUND / 2}


def _key(c: Candidate) -> tuple[str, str, str]:
    return c.kind, c.name, c.value


def _few(ranked: Sequence[Candidate]) -> list[Candidate]:
    """Keep the best value of each finding or fact, and a second one that is nearly as likely."""
    top: dict[str, float] = {}
    count: dict[str, int] = defaultdict(int)
    kept = []
    for c in ranked:
        if c.score >= NEARLY * top.setdefault(c.name, c.score) and count[c.name] < 2:
            count[c.name] += 1
            kept.append(c)
    return kept[:MOST]


def _targets(
    kb: "KnowledgeBase",
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


def _words(sentence: str) -> list[_Word]:
    """Return the words with their places: far apart when a sentence or clause ends between them."""
    out: list[_Word] = []
    place, denied_until = 0, -1
    for written in lexicon.split(sentence[: MOST_WORDS * 12])[:MOST_WORDS]:
        if written in ".,":
            place += SENTENCE_GAP if written == "." else CLAUSE_GAP
            denied_until = -1
        elif written == lexicon.NOT:
            denied_until = place + DENIAL
            place += 1
        else:
            if written in lexicon.NEGATION_ENDS:
                denied_until = -1
            stem = lexicon.stem(written)
            if not out or out[-1].stem != stem:  # 'tick tick tick' says no more than 'tick'
                out.append(_Word(stem, written, place, place <= denied_until))
            place += 1
    return out
