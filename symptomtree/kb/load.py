"""Reads a folder of knowledge: every file, every problem, in one run."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from symptomtree.kb.model import Entries
from symptomtree.kb.nodes import MISSING, Builder, Path, Place, Problem, compose, nearest

MAX_FILES = 2_000


class Unreadable(Exception):
    """A folder or file cannot be read at all; the message says which and what to do."""


@dataclass
class Draft:
    """Knowledge as read, before vetting.

    Attributes:
        entries: what could be built; a broken entry is left out.
        declared: id -> section, broken entries included, so that a reference to one is not a second problem.
        places: (section, id, field, ...) -> where it stands.
        problems: what was wrong on the way.
        digest: sha256 over the names and bytes of all files.
    """

    entries: Entries
    declared: dict[str, str] = field(default_factory=dict)
    places: dict[Path, Place] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    digest: str = ""

    def at(self, *path: str | int) -> Place:
        """Return the place of `path`, or of the nearest thing around it."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, Place("knowledge", 1, 1))


def files_of(folder: FilePath) -> list[FilePath]:
    """Return the YAML files below `folder` (or the one file that it is), sorted by name.

    Raises:
        Unreadable: there is no such folder, or there are no YAML files in it.
    """
    if folder.is_file():
        return [folder]
    if not folder.is_dir():
        raise Unreadable(f"{folder}: no such folder; name the folder that holds the knowledge")
    files = sorted(p for pattern in ("*.yaml", "*.yml") for p in folder.rglob(pattern) if p.is_file())
    if not files:
        raise Unreadable(f"{folder}: holds no YAML file; name the folder that holds the knowledge")
    if len(files) > MAX_FILES:
        raise Unreadable(f"{folder}: holds more than {MAX_FILES} YAML files; name a narrower folder")
    return files


def read_bytes(folder: FilePath) -> dict[str, bytes]:
    """Return file name (relative to the folder, with '/') -> content.

    Raises:
        Unreadable: a file cannot be read.
    """
    found = {}
    for path in files_of(folder):
        name = path.name if path == folder else path.relative_to(folder).as_posix()
        try:
            found[name] = path.read_bytes()
        except OSError as error:
            raise Unreadable(f"{path}: {error.strerror or error}; make it readable or take it away") from error
    return found


def digest_of(files: dict[str, bytes]) -> str:
    """Return the sha256 that names exactly these files with exactly this content."""
    total = hashlib.sha256()
    for name, content in sorted(files.items()):
        total.update(f"{name}\0{len(content)}\0".encode())
        total.update(content)
    return total.hexdigest()


def read(files: dict[str, bytes], shown_as: str = "") -> Draft:
    """Build the entries of all files.

    Args:
        files: as `read_bytes` returns them.
        shown_as: the folder's name, put before each file's name in problems.
    """
    draft = Draft(Entries(), digest=digest_of(files))
    sections: dict[str, dict[str, Any]] = {name: {} for name in Entries.__struct_fields__}
    for name, content in sorted(files.items()):
        source = f"{shown_as.rstrip('/')}/{name}" if shown_as else name
        for section, key, entry in _entries_of(source, content, draft):
            sections[section][key] = entry
    draft.entries = Entries(**sections)
    return draft


def _entries_of(source: str, content: bytes, draft: Draft) -> Iterator[tuple[str, str, Any]]:
    """Yield (section, id, entry) of one file; problems and places go to the draft."""
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        draft.problems.append(Problem(Place(source, line, 1), "K003", "not UTF-8 text; save the file as UTF-8"))
        return
    root = compose(text, source)
    if isinstance(root, Problem):
        draft.problems.append(root)
        return
    builder = Builder(source)
    if not isinstance(root, yaml.MappingNode):
        builder.fail(root, "K103", f"expected sections ({', '.join(Entries.__struct_fields__)})")
    else:
        for section, key, node in builder.pairs(root, ()):
            if section not in Entries.__struct_fields__:
                builder.fail(
                    key, "K104", f"unknown section {section!r}{nearest(section, list(Entries.__struct_fields__))}"
                )
            elif not isinstance(node, yaml.MappingNode):
                builder.fail(node, "K103", f"expected 'id: entry' pairs under {section!r}")
            else:
                entry_type = _entry_type(section)
                for name, name_node, value in builder.pairs(node, (section,)):
                    entry = builder.build(value, entry_type, (section, name))
                    if name in draft.declared:
                        first = draft.at(draft.declared[name], name)
                        builder.fail(name_node, "K110", f"id {name!r} is already taken at {first}")
                    else:
                        draft.declared[name] = section
                        if entry is not MISSING:
                            yield section, name, entry
    draft.problems += builder.problems
    for path, place in builder.places.items():
        draft.places.setdefault(path, place)


def _entry_type(section: str) -> Any:
    return Entries.__annotations__[section].__args__[1]
