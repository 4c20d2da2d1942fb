"""How often the right symptom is among the first that a rider's own words bring up, and how long a look-up takes.

    python -m tests.bench.words [--failures]

The sentences are the complaints of the published cases (tests/real_cases), of the walkthroughs, and those of
tests/sentences.py, which no knowledge was written from. A place is one in the list as it is shown, facts included.

The right symptoms of a case are those that its rider complains of: answers marked `complaint: true`. A case that marks
none is about the symptoms it answers before any check, without those that only qualify another (`asked-when`). Any of
them will do, but as something abnormal: the candidate "does not squeal" is no hit for a squeal.

Cross-validation keeps a case's own words out of the knowledge. For each complaint the matcher is built anew without

- `own words out`: every phrase of any `says` that may have been written from it: one that has a run of three content
  words in common with the complaint, or of which two or more content words stand there as one run, word for word.
- `all words out`: also every phrase of the right symptoms whose content words all stand in the complaint, in whatever
  order and however few. That is harder than fair: what anyone would call it is taken away, and from no rival.

Content words are what is left without the lexicon's small words, as stems. Names, questions and grades stay: they are
the knowledge's own wording.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter

import msgspec

from symptomtree.cases.files import read_case
from symptomtree.cases.model import Answer, AnyEvent, Complaint, Context
from symptomtree.kb.compile import KnowledgeBase, open_knowledge
from symptomtree.kb.shipped import shipped
from symptomtree.reasoning import lexicon
from symptomtree.reasoning.words import Matcher
from symptomtree.trials.figures import share
from tests.sentences import HELD_OUT

RUN = 3
FIRST = (1, 3, 5)


@dataclass(frozen=True)
class Told:
    """What a rider says, and what is right."""

    name: str
    words: str
    right: frozenset[str]


def published(kb: KnowledgeBase, folder: Path) -> Iterator[Told]:
    """Yield the complaints of the cases in a folder."""
    for path in sorted(folder.glob("*.yaml")):
        events = read_case(path, kb).events
        words = " ".join(e.text for e in events if isinstance(e, Complaint))
        if right := _complained_of(kb, events):
            yield Told(path.stem, words, right)


def _complained_of(kb: KnowledgeBase, events: Sequence[AnyEvent]) -> frozenset[str]:
    at_first: list[str] = []
    marked: list[str] = []
    early = True
    for e in events:
        symptom = kb.entries.symptoms.get(e.finding) if isinstance(e, Answer) else None
        early = early and (symptom is not None or isinstance(e, Complaint | Context))
        if isinstance(e, Answer) and symptom and e.grade != kb.grades(e.finding)[0]:
            marked += [e.finding] * e.complaint
            at_first += [e.finding] * (early and not symptom.asked_when)
    return frozenset(marked or at_first)


def held_out() -> Iterator[Told]:
    """Yield the sentences that nothing was written from."""
    for words, right, _ in HELD_OUT:
        yield Told(words, words, frozenset(right.split()))


@lru_cache(maxsize=20_000)
def content(text: str) -> tuple[str, ...]:
    """Return the stems of a text's words that carry something by themselves."""
    stems = (lexicon.stem(w) for w in lexicon.split(text) if w.isalnum())
    return tuple(s for s in stems if s != lexicon.NOT and s not in lexicon.small())


def _runs(stems: Sequence[str], length: int) -> set[tuple[str, ...]]:
    return {tuple(stems[n : n + length]) for n in range(len(stems) - length + 1)}


def own_words(phrase: str, told: Told, _: str) -> bool:
    """Return whether a phrase may have been written from a complaint."""
    stems, said = content(phrase), content(told.words)
    length = min(RUN, len(stems))
    return length > 1 and not _runs(stems, length).isdisjoint(_runs(said, length))


def all_words(phrase: str, told: Told, entry: str) -> bool:
    """Return the same, or whether a right symptom's phrase has nothing but words of the complaint."""
    return own_words(phrase, told, entry) or (entry in told.right and set(content(phrase)) <= set(content(told.words)))


def without(kb: KnowledgeBase, out: Callable[[str, Told, str], bool], told: Told) -> KnowledgeBase:
    """Return the knowledge without the phrases that are to be kept out."""

    def kept(texts: Sequence[str], entry: str) -> list[str]:
        return [t for t in texts if not out(t, told, entry)]

    def spoken(entries):  # type: ignore[no-untyped-def]
        return {
            name: msgspec.structs.replace(e, says={v: kept(texts, name) for v, texts in e.says.items()})
            for name, e in entries.items()
        }

    questions = {
        name: msgspec.structs.replace(
            q, answers={a: msgspec.structs.replace(v, says=kept(v.says, name)) for a, v in q.answers.items()}
        )
        for name, q in kb.entries.questions.items()
    }
    symptoms, facts = spoken(kb.entries.symptoms), spoken(kb.entries.facts)
    return replace(kb, entries=msgspec.structs.replace(kb.entries, symptoms=symptoms, facts=facts, questions=questions))


def place(matcher: Matcher, kb: KnowledgeBase, told: Told) -> int:
    """Return the place of the first right candidate, from 1; far off when there is none."""
    found = matcher.candidates(told.words)
    good = (n for n, c in enumerate(found, 1) if c.name in told.right and c.value != kb.grades(c.name)[0])
    return next(good, 999)


def show(what: str, places: Sequence[int]) -> None:
    """Print how often the right symptom is first, and among the first few."""
    cells = [share(sum(p <= n for p in places), len(places)) for n in FIRST]
    print(f"  {what:28}" + "".join(f"  {c.value:6.1%} ({c.low:.0%} to {c.high:.0%})" for c in cells))


def failures(matcher: Matcher, kb: KnowledgeBase, told: Sequence[Told]) -> None:
    """Print what the sentences bring up whose right symptom is not among the first five."""
    for t in told:
        if (n := place(matcher, kb, t)) > FIRST[-1]:
            shown = ", ".join(f"{c.name}={c.value} {c.score:.2f}" for c in matcher.candidates(t.words)[: FIRST[-1]])
            print(f"\n{t.name}: place {n} of {', '.join(sorted(t.right))}\n  {t.words}\n  {shown}")


def times(kb: KnowledgeBase, told: Sequence[Told]) -> tuple[list[float], list[float]]:
    """Return milliseconds of look-ups: after every word typed, as the screens make them, and of whole sentences.

    Each kind is done once by a matcher that has not met a word before.
    """
    typing, reading = Matcher(kb), Matcher(kb)
    Matcher(kb).candidates("an unknwon wrod")  # loads the library that takes misspellings
    begun = [" ".join(t.words.split()[:n]) for t in told for n in range(1, len(t.words.split()) + 1)]
    return [_took(typing, said) for said in begun], [_took(reading, t.words) for t in told]


def _took(matcher: Matcher, said: str) -> float:
    begun = perf_counter()
    matcher.candidates(said)
    return (perf_counter() - begun) * 1e3


def main() -> None:
    """Measure and print."""
    kb = open_knowledge()
    begun = perf_counter()
    matcher = Matcher(kb)
    ready = perf_counter() - begun
    here = Path(__file__).parents[1]
    sets = {
        "published cases": list(published(kb, here / "real_cases")),
        "walkthroughs": list(published(kb, shipped("walkthroughs"))),
    }
    apart = list(held_out())
    if "--failures" in sys.argv:
        for told in (*sets.values(), apart):
            failures(matcher, kb, told)
        return
    print("right symptom among the first" + "".join(f"{n:>22}" for n in FIRST))
    for name, told in {**sets, "both": [t for some in sets.values() for t in some]}.items():
        print(f"{name}: {len(told)}")
        show("as it stands", [place(matcher, kb, t) for t in told])
        for rule, out in (("own words out", own_words), ("all words out", all_words)):
            show(rule, [place(Matcher(without(kb, out, t)), kb, t) for t in told])
    print(f"made-up sentences: {len(apart)}")
    show("as it stands", [place(matcher, kb, t) for t in apart])
    print()
    everything = [t for some in (*sets.values(), apart) for t in some]
    for what, took in zip(("after every word typed", "of a whole sentence"), times(kb, everything), strict=True):
        print(f"a look-up, {what}: median {median(took):.1f} ms, 95th percentile {quantiles(took, n=20)[-1]:.1f} ms")
    print(f"the matcher: ready in {ready * 1e3:.0f} ms, over {len(kb.entries.symptoms)} symptoms")


if __name__ == "__main__":
    main()
