"""Finds entries of the knowledge by id, by name and by what riders say, while someone is still typing."""

from collections import defaultdict

from rapidfuzz import fuzz, process

from symptomtree.kb.compile import KnowledgeBase
from symptomtree.plain.map import kind_of
from symptomtree.reasoning import lexicon
from symptomtree.reasoning.graph import Graph
from symptomtree.terminal.entry import entry_of, part_of

MOST = 60
"""No more entries than this are listed."""
SPELT_ALIKE = 75
"""From this likeness on, of 100, two words may be the same one."""
BEGUN = 0.9
"""What the beginning of a word is worth: someone is still typing it."""
SAID = 0.8
"""What a word that riders say is worth, compared with one of the entry's name."""
LAST = ("source", "tool", "hazard", "access")
"""Of entries that fit equally well, these kinds come after all others."""


class Finder:
    """The words of some knowledge, ready to be looked for."""

    def __init__(self, kb: KnowledgeBase, graph: Graph) -> None:
        self._kb, self._graph = kb, graph
        self._worth: dict[str, dict[str, float]] = defaultdict(dict)  # word -> id -> what it is worth there
        for name in graph:
            self._add(name, SAID, *_said(kb, name))
            self._add(name, 1.0, name.replace("-", " "), graph.nodes[name]["name"])
        self._words = list(self._worth)

    def _add(self, name: str, worth: float, *texts: str) -> None:
        for text in texts:
            for word in lexicon.split(text):
                self._worth[lexicon.stem(word)][name] = worth

    def search(self, said: str) -> list[str]:
        """Return ids, what fits best first: those that hold all the words if there are any, else those that hold most.

        A word that is misspelt or not typed to its end counts less.
        """
        words = list(dict.fromkeys(lexicon.stem(w) for w in lexicon.split(said) if w.isalnum()))[:20]
        score: dict[str, float] = defaultdict(float)
        held: dict[str, int] = defaultdict(int)
        for word in words:
            for name, worth in self._holding(word).items():
                score[name] += worth
                held[name] += 1
        most = max(held.values(), default=0)

        def place(name: str) -> tuple[float, bool, float, str]:
            alike = max(fuzz.ratio(said, name), fuzz.ratio(said.casefold(), self._graph.nodes[name]["name"].casefold()))
            return -round(score[name], 2), kind_of(self._graph, name) in LAST, -alike, name

        return sorted((n for n in held if held[n] == most), key=place)[:MOST]

    def _holding(self, word: str) -> dict[str, float]:
        """Return id -> how well it holds a word."""
        likes = {w: x / 100 for w, x, _ in process.extract(word, self._words, scorer=fuzz.ratio, limit=30)}
        found: dict[str, float] = {}
        for other in self._words:
            likeness = likes.get(other, 0.0)
            if other.startswith(word) and likeness < 1:
                likeness = max(likeness, BEGUN)
            if likeness * 100 >= SPELT_ALIKE:
                for name, worth in self._worth[other].items():
                    found[name] = max(found.get(name, 0.0), likeness * worth)
        return found

    def line(self, name: str) -> str:
        """Return how an entry reads in a list: its kind, name, id and part."""
        part = part_of(self._kb, name)
        where = f", {self._kb.name_of(part)}" if part else ""
        saying = str(self._graph.nodes[name]["name"])
        return f"{kind_of(self._graph, name)}: {saying} ({name}{where})"


def _said(kb: KnowledgeBase, name: str) -> list[str]:
    """Return how riders say what an entry is about, and the words of its grades, values or answers."""
    entry = entry_of(kb, name)
    texts = [getattr(entry, "ask", ""), *getattr(entry, "grades", {}).values(), *getattr(entry, "values", {}).values()]
    texts += [says for many in getattr(entry, "says", {}).values() for says in many]
    for answer in getattr(entry, "answers", {}).values():
        texts += [answer.words, *answer.says]
    return texts
