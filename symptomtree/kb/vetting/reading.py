"""Can someone at the bike read it? Short sentences, plain words."""

import re
from collections.abc import Iterator

from symptomtree.kb.nodes import Path, Problem
from symptomtree.kb.vetting.desk import Desk, said

LONGEST = 32
"""Words of a sentence."""
HARDEST = 10.0
"""School grade of a text: what someone of 15 or 16 reads with ease."""
SENTENCE = re.compile(r"(?<=[.!?:;])\s+")
"""Where a sentence ends; a colon or semicolon ends one too, what follows it is understood by itself."""
WORD = re.compile(r"[A-Za-z0-9]+(?:['.-][A-Za-z0-9]+)*")
READ = ("ask", "how", "steps", "cautions", "mechanism", "because")
"""What a rider or mechanic reads at the bike, by field."""


def sentences_are_short(desk: Desk) -> Iterator[Problem]:
    """Who works with both hands keeps no long sentence in mind."""
    for path, texts in _read(desk):
        for inside, text in texts:
            for sentence in sentences(text):
                if (words := len(WORD.findall(sentence))) > LONGEST:
                    told = f"a sentence of {words} words, more than {LONGEST}; make two of it: {sentence[:40]!r}"
                    yield desk.judge("K325", told, (str(path[1]),), *path, *inside)


def texts_are_easy(desk: Desk) -> Iterator[Problem]:
    """All that one field says, as it is read in one go, is no harder than `HARDEST`."""
    for path, texts in _read(desk):
        whole = " ".join(text for _, text in texts)
        if WORD.search(whole) and (grade := automated_readability(whole)) > HARDEST:
            told = f"as hard as school grade {grade:.1f}, above {HARDEST:g}; use shorter sentences and words"
            yield desk.judge("K326", told, (str(path[1]),), *path, *texts[0][0])


def automated_readability(text: str) -> float:
    """Return the school grade that a text asks for.

    The Automated Readability Index: 4.71 letters per word + 0.5 words per sentence - 21.43 (E. A. Smith and R. J.
    Senter, "Automated Readability Index", AMRL-TR-66-220, 1967). It needs no count of syllables.
    """
    words = WORD.findall(text)
    letters = sum(character.isalnum() for word in words for character in word)
    grade: float = 4.71 * letters / len(words) + 0.5 * len(words) / len(sentences(text)) - 21.43
    return grade


def sentences(text: str) -> list[str]:
    """Return the sentences of a text; what holds no word is none."""
    return [sentence for sentence in SENTENCE.split(text) if WORD.search(sentence)]


def _read(desk: Desk) -> Iterator[tuple[Path, list[tuple[Path, str]]]]:
    """Yield (path of an entry, its texts with their paths inside it), a field at a time."""
    for section in ("facts", "symptoms", "questions", "checks", "causes", "fixes", "access", "rules"):
        for name, entry in getattr(desk.entries, section).items():
            for attribute in READ:
                if texts := list(said(entry, attribute)):
                    yield (section, name), texts
