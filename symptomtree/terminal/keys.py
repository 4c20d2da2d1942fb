"""The keys, all of which can be changed in a file of one's own."""

from pathlib import Path

import yaml
from platformdirs import user_config_path

KEYS: dict[str, tuple[str, str, str]] = {
    # id: (key, label, what it does)
    "help": ("question_mark", "Keys", "all keys of this screen"),
    "unsure": ("u", "Not sure", "you cannot tell"),
    "leave": ("s", "Leave out", "leave this step out"),
    "undo": ("z", "Undo", "take the last answer back"),
    "answers": ("a", "Answers", "all answers so far; correct one"),
    "why": ("w", "Why this?", "what this settles, what it costs, and the figures"),
    "what-if": ("i", "What if", "try an answer without giving it"),
    "causes": ("c", "Causes", "go to the causes; Enter says why"),
    "steps": ("n", "Next", "go to the next steps; Enter says why not now"),
    "fix": ("f", "Fix", "go to the best fix now"),
    "add": ("plus", "Also", "something else that is wrong"),
    "note": ("m", "Note", "write something down"),
    "sheet": ("x", "Sheet", "the job sheet: read, copy or save it"),
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


class BadKeys(Exception):
    """A file of keys that cannot be used; the message says where and why."""


def keys_path() -> Path:
    """Return where one's own keys are read from."""
    return user_config_path("symptomtree") / "keys.yaml"


def own_keys(path: Path) -> dict[str, str]:
    """Return id -> key from a file that maps names of `KEYS` to keys; nothing when there is no file.

    Raises:
        BadKeys: it cannot be read, or names what there is not.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise BadKeys(f"{path}: cannot be read ({error})") from error
    try:
        found = yaml.load(text, Loader=yaml.CSafeLoader) if len(text) < 20_000 else None
    except yaml.YAMLError as error:
        raise BadKeys(f"{path}: {' '.join(str(error).split())}") from error
    if not isinstance(found, dict):
        raise BadKeys(f"{path}:1:1: write one line per key, like  undo: b")
    for name, key in found.items():
        if name not in KEYS:
            raise BadKeys(f"{path}: nothing is called {name!r}; the names are {', '.join(KEYS)}")
        if not isinstance(key, str) or not key or len(key) > 30:
            raise BadKeys(f'{path}: {name}: {key!r} is no key; write it in quotes, like  {name}: "b"')
    keys = [found.get(name, key) for name, (key, _, _) in KEYS.items()]
    twice = sorted({k for k in keys if keys.count(k) > 1 and k in found.values()})
    if twice:
        raise BadKeys(f"{path}: {twice[0]!r} would do two things; give one of them another key")
    return {str(name): str(key) for name, key in found.items()}
