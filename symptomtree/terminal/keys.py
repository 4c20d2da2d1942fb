"""The keys, all of which can be changed in a file of one's own."""

from pathlib import Path

import msgspec
from platformdirs import user_config_path

from symptomtree.kb.model import Entry, Text
from symptomtree.kb.nodes import MISSING, Problem, read_struct

KEYS: dict[str, tuple[str, str, str]] = {
    # id: (key, label, what it does)
    "help": ("question_mark", "Keys", "all keys of this screen"),
    "unsure": ("u", "Not sure", "you cannot tell"),
    "leave": ("s", "Leave out", "leave this step out"),
    "undo": ("z", "Undo", "take the last answer back"),
    "answers": ("a", "Answers", "all answers so far; correct one"),
    "why": ("w", "Why this?", "what this settles, what it costs, and the figures"),
    "what-if": ("i", "What if", "try an answer without giving it"),
    "causes": ("c", "Causes", "list the causes; Enter says why"),
    "steps": ("n", "Next", "list the next steps; Enter says why not now"),
    "fix": ("f", "Fix", "go to the best fix now"),
    "add": ("plus", "Also", "something else that is wrong"),
    "note": ("m", "Note", "write something down"),
    "sheet": ("x", "Sheet", "the job sheet: read, copy or save it"),
    "measure": ("r", "Measure", "work it out from readings"),
    "stops": ("exclamation_mark", "Stops", "why the bike must not be ridden"),
    "bikes": ("b", "Bikes", "take a bike that is known, or keep this one"),
    "new": ("plus", "New case", "begin a new case"),
    "cases": ("o", "Cases", "other cases, and a new one"),
    "lessons": ("l", "Lessons", "walk a case to learn"),
    "browse": ("k", "Knowledge", "read the knowledge"),
    "learner": ("n", "Learner", "who is learning"),
    "find": ("slash", "Find", "type what you want to do"),
    "hint": ("h", "Hint", "a hint; each takes a little from the score"),
    "verdict": ("v", "Say it", "say what is wrong, and end the lesson"),
    "hand-over": ("d", "Hand over", "hand the bike over, and end the lesson"),
    "give-up": ("j", "Give up", "see the answer"),
    "theme": ("t", "Look", "the next look"),
    "quit": ("q", "Leave", "leave; the case is saved"),
    "copy": ("y", "Copy", "copy this text"),
    "save": ("e", "Save", "write this text to a file"),
    "search": ("slash", "Search", "look for another entry"),
    "reload": ("r", "Reload", "read the knowledge again after an edit"),
    "go": ("g", "Go on", "go on with what is ticked"),
    "back": ("escape", "Back", "back to where you were"),
}


OwnKeys = msgspec.defstruct(
    "OwnKeys", [(name.replace("-", "_"), Text | None, None) for name in KEYS], bases=(Entry,), frozen=True, kw_only=True
)
"""What a file of one's own keys may say: a key for any name of `KEYS`."""


class BadKeys(Exception):
    """A file of keys that cannot be used; the message says where and why."""


def keys_path() -> Path:
    """Return where one's own keys are read from."""
    return user_config_path("symptomtree") / "keys.yaml"


def own_keys(path: Path) -> dict[str, str]:
    """Return id -> key from a file that gives names of `KEYS` other keys; nothing when there is no file.

    Raises:
        BadKeys: it cannot be read, names what there is not, or gives one key to two things.
    """
    if not path.exists():
        return {}
    built, builder = read_struct(path, OwnKeys, BadKeys, "a file of keys")
    problems = list(builder.problems)
    own: dict[str, str] = {}
    if built is not MISSING:
        own = {name: key for name in KEYS if (key := getattr(built, name.replace("-", "_")))}
        keys = [own.get(name, key) for name, (key, _, _) in KEYS.items()]
        for name, key in own.items():
            if key.isdigit():
                text = f"{name}: {key!r} chooses an answer; give it another key"
            elif keys.count(key) > 1 and key != KEYS[name][0]:
                text = f"{name}: {key!r} would do two things; give one of them another key"
            else:
                continue
            problems.append(Problem(builder.places[(name,)], "Y201", text))
    if problems:
        raise BadKeys("\n".join(str(p) for p in sorted(problems)))
    return own
