"""What a typed line means: one of the options, or a number, or a command; near misses are named, never taken."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from symptomtree.reasoning import lexicon

SURE = 0.74
"""An option is taken when it holds this much of what was said."""
APART = 0.2
"""By so much it must hold more than the next one."""
PERHAPS = 0.4
"""From here on, an option is suggested."""
SPELT_ALIKE = 0.75
"""From this likeness on, two words may be the same one."""

COMMANDS = {
    "?": "how",
    "how": "how",
    "why": "why",
    "numbers": "numbers",
    "not sure": "unsure",
    "unsure": "unsure",
    "do not know": "unsure",
    "dont know": "unsure",
    "i dont know": "unsure",
    "no idea": "unsure",
    "back": "back",
    "undo": "back",
    "list": "list",
    "fix": "fix",
    "skip": "skip",
    "cannot": "skip",
    "note": "note",
    "also": "also",
    "parts": "parts",
    "measure": "measure",
    "stop": "stop",
    "quit": "stop",
    "exit": "stop",
    "help": "help",
}
_WITH_TEXT = ("note", "also")


@dataclass(frozen=True, slots=True)
class Option:
    """One answer that can be chosen.

    Attributes:
        value: its id: a grade, a value, or the key of an answer.
        words: in plain words.
        says: other ways to say it.
    """

    value: str
    words: str
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Command:
    """A command, and what was typed after it."""

    name: str
    rest: str = ""


def command(line: str) -> Command | None:
    """Return the command that a line is."""
    plain = _plain(line)
    if plain in COMMANDS:
        return Command(COMMANDS[plain])
    first, _, rest = line.partition(" ")
    first, rest = first.casefold().rstrip(":"), rest.strip()
    if plain.startswith("why not "):
        return Command("why-not", line.split(None, 2)[2])
    if rest and (first in _WITH_TEXT or (first == "list" and rest.isdigit())):
        return Command(first, rest)
    return None


def exact(line: str, options: Sequence[Option], lettered: bool = False) -> Option | None:
    """Return the option whose number (or letter), id or words are exactly this line."""
    plain = _plain(line).rstrip(".)")
    labels = [label(n, lettered) for n in range(len(options))]
    if (typed := line.strip(" .)(").casefold()) in labels:
        return options[labels.index(typed)]
    for option in options:
        if plain in {_plain(option.value), _plain(option.value.replace("-", " ")), _plain(option.words)}:
            return option
    short = {"y": "yes", "n": "no"}.get(plain)
    by_say = [o for o in options if o.value == short or plain in {_plain(s) for s in o.says}]
    return by_say[0] if len(by_say) == 1 else None


def close(line: str, options: Sequence[Option]) -> tuple[Option | None, Option | None]:
    """Return (the option that a line surely means, the one that it may mean)."""
    scores = _scores(line, options)
    if not scores:
        return None, None
    best = max(range(len(options)), key=lambda n: (scores[n], -n))
    second = max((score for n, score in enumerate(scores) if n != best), default=0.0)
    if scores[best] >= SURE and scores[best] - second >= APART:
        return options[best], options[best]
    return None, options[best] if scores[best] >= PERHAPS and scores[best] > second else None


def matching(line: str, options: Sequence[Option], most: int = 8) -> list[Option]:
    """Return the options that a line may mean, the closest first; those far behind the closest are left out."""
    scores = _scores(line, options)
    least = max(PERHAPS, SURE * max(scores, default=0.0))
    ranked = sorted((-score, n) for n, score in enumerate(scores) if score >= least)
    return [options[n] for _, n in ranked[:most]]


def _scores(line: str, options: Sequence[Option]) -> list[float]:
    """Return how much of a line each option holds; nothing when the line says nothing."""
    said = _stems(line)
    if not said:
        return []
    return [max(_held(said, _stems(t)) for t in (o.value.replace("-", " "), o.words, *o.says)) for o in options]


def _held(said: Sequence[str], text: Sequence[str]) -> float:
    """Return how much of what was said stands in a text, a misspelt word for half; nothing when one denies."""
    from rapidfuzz import fuzz  # noqa: PLC0415 - most answers are a number

    if not text or (lexicon.NOT in said) != (lexicon.NOT in text):
        return 0.0
    likeness = [max(fuzz.ratio(word, other) for other in text) / 100 for word in said]
    return sum(1.0 if x == 1 else x / 2 for x in likeness if x >= SPELT_ALIKE) / len(said)


def near_command(line: str) -> str | None:
    """Return the command that a line may be a slip of."""
    found = get_close_matches(_plain(line), list(COMMANDS), n=1, cutoff=0.7)
    return found[0] if found else None


def several(line: str, count: int) -> list[int] | None:
    """Read '1 3', '1, 3 and 4', '2-4', 'all' or 'none' as numbers from 1; None when it is nothing of the kind."""
    plain = _plain(line)
    if plain in ("all", "yes", "y", "all of them"):
        return list(range(1, count + 1))
    if plain in ("none", "no", "n", "none of them", "0"):
        return []
    spread = re.sub(r"(\d{1,3})\s*-\s*(\d{1,3})", _range, line)
    parts = [p for p in re.split(r"[\s,;.+&]+|\band\b", spread.casefold()) if p]
    if not parts or not all(p.isascii() and p.isdigit() and len(p) <= 3 and 1 <= int(p) <= count for p in parts):
        return None
    return sorted({int(p) for p in parts})


def label(n: int, lettered: bool) -> str:
    """Return what the nth option (from 0) is chosen by."""
    return "abcdefghijklmnopqrstuvwxyz"[n] if lettered else str(n + 1)


def _range(found: re.Match[str]) -> str:
    low, high = int(found[1]), int(found[2])
    return " ".join(str(n) for n in range(low, min(high, low + 50) + 1)) if low <= high else found[0]


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^\w?.)% ]", "", text.casefold()).split()).rstrip(".")


def _stems(text: str) -> list[str]:
    return [
        lexicon.stem(w) for w in lexicon.split(text) if w.isalnum() and w not in ("a", "the", "it", "is", "of", "and")
    ]
