"""From a rider's own sentence to what it may mean: candidates to be confirmed, nothing more.

Every target (a grade of a symptom, a value of a fact) has phrases: how riders say it, and what the knowledge calls it.
A phrase scores by how much of its weight stands close together in the sentence, in any order. Rare words weigh more
than common ones. A word that no phrase knows is first taken as a misspelling of one that it resembles. A phrase that
is found under a negation ("does not squeal") speaks for the normal grade of its finding; one that says what cannot be
done ("will not shift"), or what is not being done meanwhile ("even when I am not braking"), does not. What someone did
to the bike ("since I mended the puncture") says less of what is wrong with it.

Riders rarely say a phrase as it is written down. So a symptom also scores by how much of the whole sentence is about
it, whichever of its phrases the words come from. What only qualifies a symptom ("only when it is wet") speaks for the
symptom that it qualifies as well, and of two that fit as well the one that is more common on bikes comes first.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from heapq import nlargest
from math import exp, log
from typing import TYPE_CHECKING, Literal

from symptomtree.reasoning import lexicon

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase

MOST, MOST_FINDINGS = 12, 6
"""No more candidates than this are returned, and no more findings, so that facts are seen as well."""
LEAST = 0.05
"""Candidates that score lower are not returned."""
WELL = 0.42
"""Facts, and that something is right, need a phrase that is found as well as this."""
FAR = 0.5
"""Nor is a symptom with less than this share of the best one's score."""
NEARLY = 0.85
"""A grade or value whose phrase has this share of the score of the best one's is nearly as likely."""
LOOKED_AT = 60
"""The phrases of so many findings and facts are looked at closely: those of which the sentence's words speak most."""
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
FACT = 0.3
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
UNLIKE = 0.4
"""What a phrase is worth when only it, or only the sentence, says that something does not happen."""
DONE = 0.5
"""What a word of what was done to the bike weighs for what is wrong."""
DENIED = 0.5
"""What a word that is denied weighs for what is said by denying it."""
# How a symptom's score is made; see `_rank`. Fitted roughly: the figures of tests/bench/words.py are flat around these.
WHOLE = 3.0
"""What the share of the sentence that is about a symptom weighs, compared with its best phrase."""
SELDOM, OFTEN = 0.5, 4.0
"""What a word is worth that only one of a symptom's phrases has; from so many phrases on it is worth all."""
QUALIFIES = 0.3
"""What the score of what qualifies a symptom adds to the symptom's."""
QUALIFIER = 0.7
"""What the qualifying itself is worth: it is nothing to start from."""
TOUCHED = 0.04
"""A symptom must score this by its own words before what qualifies it adds anything."""
COMMON, RAREST = 0.06, 1e-5
"""The power of how common a symptom is, by which its score is multiplied, and the rarest that counts."""


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
    done: bool  # part of what was done to the bike
    negated: bool
    denied: bool  # negated, and so said not to be there: "does not squeal", but not "cannot shift", "when not braking"


@dataclass(frozen=True, slots=True)
class _Phrase:
    target: int
    stems: tuple[str, ...]
    small: int  # how many small words it has besides
    worth: float
    denies: bool


@dataclass(frozen=True, slots=True)
class _Found:
    """How well the best phrase of a grade or value is found, and the words that this rests on."""

    value: str
    score: float
    words: tuple[str, ...]


_Name = tuple[Literal["finding", "fact"], str]
_Hit = tuple[int, str, float]
"""(word of the sentence, stem of a phrase, how alike they are)"""


class Matcher:
    """The phrases of some knowledge, ready to be looked for."""

    def __init__(self, kb: "KnowledgeBase") -> None:
        self._targets: list[tuple[_Name, str]] = []
        self._phrases: list[_Phrase] = []
        for about, value, texts in _targets(kb):
            self._targets.append((about, value))
            for text, worth in texts:
                stems = dict.fromkeys(lexicon.stem(w) for w in lexicon.split(text) if w.isalnum())
                rest = [s for s in stems if s not in lexicon.NEGATIONS]
                if kept := tuple(s for s in rest if s not in lexicon.small()):
                    denies = len(rest) < len(stems)
                    self._phrases.append(_Phrase(len(self._targets) - 1, kept, len(rest) - len(kept), worth, denies))
        self._normal = {("finding", name): kb.grades(name)[0] for name in kb.entries.symptoms}
        targets_of: dict[str, set[int]] = defaultdict(set)
        self._where: dict[str, dict[_Name, list[int]]] = defaultdict(lambda: defaultdict(list))
        for n, phrase in enumerate(self._phrases):
            for stem in phrase.stems:
                targets_of[stem].add(phrase.target)
                self._where[stem][self._targets[phrase.target][0]].append(n)
        self._weight = {
            stem: log(1 + len(self._targets) / len(found)) * (LIGHTNESS if stem in lexicon.light() else 1.0)
            for stem, found in targets_of.items()
        }
        self._total = [sum(self._weight[s] for s in p.stems) + SMALLNESS * p.small for p in self._phrases]
        self._speaks = {stem: self._speaks_of(stem, denied=False) for stem in self._weight}
        self._speaks_denied = {stem: self._speaks_of(stem, denied=True) for stem in self._weight}
        self._asked_when = {name: tuple(s.asked_when) for name, s in kb.entries.symptoms.items() if s.asked_when}
        self._factor = {
            name: share**COMMON * (QUALIFIER if name in self._asked_when else 1.0)
            for name, share in _common(kb).items()
        }
        self._letters = sorted(s for s in {*self._weight, *lexicon.kin()} if len(s) > 2)
        self._likes: dict[str, tuple[tuple[str, float], ...]] = {}

    def _speaks_of(self, stem: str, *, denied: bool) -> dict[_Name, float]:
        """Return the findings and facts that a stem speaks of, and what it weighs there: more where it is usual.

        When it is denied, only phrases that deny something themselves are about it.
        """
        weighs = {}
        for about, phrases in self._where[stem].items():
            normal = self._normal.get(about)
            about_it = [self._phrases[n] for n in phrases]
            worth = [p.worth for p in about_it if self._targets[p.target][1] != normal and (p.denies or not denied)]
            if worth:
                usual = min(sum(worth) / OFTEN, 1.0)
                weighs[about] = self._weight[stem] * max(worth) * (SELDOM + (1 - SELDOM) * usual)
        return weighs

    def candidates(self, sentence: str) -> list[Candidate]:
        """Return what the sentence may mean, best first; of one finding or fact at most two grades or values."""
        words = _words(sentence)
        said = sum(self._heaviest(stem) for stem in {w.stem for w in words})
        spoken = self._spoken(words)
        touched = self._spoken([replace(w, denied=False) for w in words])
        near = {*nlargest(LOOKED_AT, touched, key=lambda about: (touched[about], about))}
        found = self._found(words, said, near)
        right = {about for about, (first, *_) in found.items() if first.value == self._normal.get(about)}
        whole = {about: (touched if about in right else spoken).get(about, 0.0) / (said + 1) for about in found}
        ranked = sorted(self._rank(found, whole), key=lambda c: (-c.score, c.kind, c.name, c.value))
        best = max((c.score for c in ranked if c.kind == "finding"), default=0.0)
        likely = [c for c in ranked if c.score >= (LEAST if self._told_so(c) else max(LEAST, FAR * best))]
        findings = [c for c in likely if c.kind == "finding"][:MOST_FINDINGS]
        return [c for c in likely if c.kind == "fact" or c in findings][:MOST]

    def _told_so(self, c: Candidate) -> bool:
        """Return whether it is a fact, or something that is said to be right: no guess at what is wrong."""
        return c.value == self._normal.get((c.kind, c.name), c.value)

    def _spoken(self, words: Sequence[_Word]) -> dict[_Name, float]:
        """Return what the words weigh for each finding and fact, wherever in its phrases they stand."""
        out: dict[_Name, float] = {}
        for word in words:
            weighs: dict[_Name, float] = {}
            for stem, likeness in self._like(word.stem):
                speaks = self._speaks_denied if word.denied else self._speaks
                alike = DENIED * likeness if word.denied else likeness
                for about, weight in speaks[stem].items():
                    worth = alike * weight * (DONE if word.done and about[0] == "finding" else 1.0)
                    if worth > weighs.get(about, 0.0):
                        weighs[about] = worth
            for about, weight in weighs.items():
                out[about] = out.get(about, 0.0) + weight
        return out

    def _found(self, words: Sequence[_Word], said: float, near: Set[_Name]) -> dict[_Name, list[_Found]]:
        """Return what the grades or values of these findings and facts score by their best phrases, best first."""
        hits: dict[int, list[_Hit]] = defaultdict(list)
        for n, word in enumerate(words):
            for stem, likeness in self._like(word.stem):
                where = self._where[stem]
                for about in where.keys() & near:
                    weighs = DONE * likeness if word.done and about[0] == "finding" else likeness
                    for phrase in where[about]:
                        hits[phrase].append((n, stem, weighs))
        support: dict[int, dict[int, float]] = defaultdict(dict)  # target -> word -> what it weighs
        for n, found in hits.items():
            backing = support[self._phrases[n].target]
            for w, stem, likeness in found:
                backing[w] = max(backing.get(w, 0.0), likeness * self._phrases[n].worth * self._weight[stem])
        best: dict[_Name, dict[str, _Found]] = defaultdict(dict)
        for n, found in hits.items():
            about, _ = self._targets[self._phrases[n].target]
            scored = self._score(n, found, words, said, support[self._phrases[n].target])
            if scored and (scored.value not in best[about] or scored.score > best[about][scored.value].score):
                best[about][scored.value] = scored
        return {
            about: sorted(values.values(), key=lambda f: (-f.score, f.value))
            for about, values in best.items()
            if values
        }

    def _rank(self, found: Mapping[_Name, Sequence[_Found]], whole: Mapping[_Name, float]) -> Iterator[Candidate]:
        """Yield candidates: of each finding or fact the best grade or value, and a second that is nearly as likely.

        `whole` is the share of the sentence that is about each.
        """
        score = {}
        for about, (first, *_) in found.items():
            score[about] = (first.score + WHOLE * whole[about]) / (1 + WHOLE)
            if first.value == self._normal.get(about):
                score[about] *= NEGATED
        qualified: dict[str, float] = defaultdict(float)
        for about, own in score.items():
            if found[about][0].value != self._normal.get(about):
                for name in self._asked_when.get(about[1], ()):
                    qualified[name] = max(qualified[name], own)
        for about, (first, *others) in found.items():
            kind, name = about
            if kind == "finding":
                more = QUALIFIES * qualified[name] if score[about] >= TOUCHED else 0.0
                final = (score[about] + more) / (1 + QUALIFIES) * self._factor[name]
            else:
                final = FACT * score[about] if first.score >= WELL else 0.0
            yield Candidate(kind, name, first.value, final, first.words)
            # What is denied is not there, and what is there is not denied: never both.
            normal = self._normal.get(about)
            if others and others[0].score >= NEARLY * first.score and normal not in (first.value, others[0].value):
                yield Candidate(kind, name, others[0].value, NEARLY * final, others[0].words)

    def _score(
        self,
        n: int,
        found: Sequence[_Hit],
        words: Sequence[_Word],
        said: float,
        backing: Mapping[int, float],
    ) -> _Found | None:
        """Score the best stretch of the sentence for phrase `n`; `said` is what the whole sentence weighs."""
        phrase, total = self._phrases[n], self._total[n]
        weight, used = self._best_stretch(phrase, found, words)
        covered = weight / total
        # Half a phrase is worth less than half; and a phrase that says little in itself is worth little.
        score = covered**1.7 * (1 - exp(-weight / 2.2))
        score = phrase.worth * max(score, ALL_SAID * min(weight / said, 1.0) ** 1.5 * covered**0.5)
        other = sum(weight for word, weight in backing.items() if word not in used)
        score += (1 - score) * SUPPORT * covered * (1 - exp(-other / 5))
        about, value = self._targets[phrase.target]
        main = words[max(used, key=lambda n: self._weight.get(words[n].stem, 1.0))]
        if main.denied and not phrase.denies:
            normal = self._normal.get(about, value)
            if value == normal:
                return None
            value = normal
        elif phrase.denies != main.negated:
            score *= UNLIKE
        if value == self._normal.get(about) and score < WELL:
            return None
        return _Found(value, score, tuple(words[w].written for w in used))

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


def _common(kb: "KnowledgeBase") -> dict[str, float]:
    """Return how often each symptom is made by some cause, of all bikes."""
    columns = [kb.column[name] for name in kb.entries.symptoms]
    made = 1 - (1 - kb.prior[:, None] * (1 - kb.reach[:, columns, 0])).prod(axis=0)
    return dict(zip(kb.entries.symptoms, made.clip(RAREST).tolist(), strict=True))


def _targets(
    kb: "KnowledgeBase",
) -> Iterator[tuple[_Name, str, list[tuple[str, float]]]]:
    """Yield every target with its phrases and what each is worth."""
    for name, symptom in kb.entries.symptoms.items():
        normal, mildest, *_ = symptom.grades
        for grade, plain in symptom.grades.items():
            texts = [(text, 1.0) for text in symptom.says.get(grade, ())]
            if grade != normal:
                texts.append((re.sub(r"^(yes|no), ", "", plain), OWN_GRADE))
            if grade == mildest:
                texts += [(symptom.name, OWN_NAME), (symptom.ask, OWN_QUESTION)]
            yield ("finding", name), grade, texts
    for question in kb.entries.questions.values():
        for answer in question.answers.values():
            for name, grade in answer.sets.items():
                if grade != kb.grades(name)[0]:
                    said = [(text, 1.0) for text in answer.says]
                    yield ("finding", name), grade, [*said, (answer.words, OWN_GRADE)]
    for name, fact in kb.entries.facts.items():
        for value in fact.values:
            if said := [(text, 1.0) for text in fact.says.get(value, ())]:
                yield ("fact", name), value, said


def _words(sentence: str) -> list[_Word]:
    """Return the words with their places: far apart when a sentence or clause ends between them.

    A negation reaches a few words, not past the next clause. "Does not click when coasting, only when pedalling" does
    not deny the click, but the coasting.
    """
    out: list[_Word] = []
    place, denied_until = 0, -1
    first, condition = 0, -1  # where in `out` what is denied begins, and the condition under which it is
    bare, denies = False, True  # whether a condition has just begun; whether the last negation says what is not there
    split = lexicon.split(sentence[: MOST_WORDS * 12])[:MOST_WORDS]
    for written, done in zip(split, _done(split), strict=True):
        if written in ".,":
            place += SENTENCE_GAP if written == "." else CLAUSE_GAP
            denied_until, condition = -1, -1 if written == "." else condition
            bare = False
        elif written in lexicon.NEGATIONS:
            denied_until, first, condition = place + DENIAL, len(out), -1
            denies = written == lexicon.NOT and not bare
            place += 1
        else:
            if written in lexicon.NEGATION_ENDS and first < len(out):
                condition = len(out) if written in lexicon.CONDITIONS and place <= denied_until else condition
                denied_until = -1
            if written == "only" and condition >= 0:
                under = [(w, n >= condition) for n, w in enumerate(out[first:], start=first)]
                out[first:] = [replace(w, negated=denied, denied=denied) for w, denied in under]
                condition = -1
            stem = lexicon.stem(written)
            bare = written in lexicon.CONDITIONS or (bare and stem in lexicon.small())
            if not out or out[-1].stem != stem:  # 'tick tick tick' says no more than 'tick'
                negated = place <= denied_until
                out.append(_Word(stem, written, place, done, negated, negated and denies))
            place += 1
    return out


def _done(split: Sequence[str]) -> Iterator[bool]:
    """Yield of each word whether it tells what was done to the bike: "since I mended the puncture | the display".

    That ends with the clause, or where something new begins after what was worked on.
    """
    within = named = False  # whether it tells of work, and has named what was worked on
    for before, word in zip(["", *split], split, strict=False):
        if word in lexicon.WORK or (word in lexicon.DOERS and before in lexicon.WORK_AFTER):
            within, named = True, False
        elif word in lexicon.CLAUSE_ENDS or (named and word in lexicon.CLAUSE_STARTS):
            within = False
        else:
            named = named or lexicon.stem(word) not in lexicon.small()
        yield within
