"""Reads a folder of knowledge: every file, every problem, in one run."""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from symptomtree.kb.model import Entries
from symptomtree.kb.nodes import MAX_BYTES, MISSING, Builder, Path, Place, Problem, compose, nearest

MAX_FILES = 2_000
MAX_TOTAL = 20_000_000
"""Bytes of all files together."""


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

    Hidden files and folders are left out, and links to folders are not followed.

    Raises:
        Unreadable: there is no such folder, it cannot be listed, or it does not hold what it should.
    """
    if folder.is_file():
        return [folder]
    if not folder.is_dir():
        raise Unreadable(f"{folder}: no such folder; name the folder that holds the knowledge")
    files = []
    for where, folders, names in os.walk(folder, onerror=_cannot_list):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            if name.lower().endswith((".yaml", ".yml")) and not name.startswith("."):
                files.append(FilePath(where, name))
    for file in files:
        if not str(file.relative_to(folder)).isprintable():
            raise Unreadable(f"{str(file)!a}: a name that cannot be printed; rename the file")
        if not file.is_file():
            raise Unreadable(f"{file}: not a file, or a link that leads nowhere; take it away")
    if not files:
        raise Unreadable(f"{folder}: holds no YAML file; name the folder that holds the knowledge")
    if len(files) > MAX_FILES:
        raise Unreadable(f"{folder}: holds more than {MAX_FILES} YAML files; name a narrower folder")
    return sorted(files)


def _cannot_list(error: OSError) -> None:
    raise Unreadable(f"{error.filename}: {error.strerror or error}; make it readable or take it away") from error


def read_bytes(folder: FilePath) -> dict[str, bytes]:
    """Return file name (relative to the folder, with '/') -> content; of a file that is too large only so much.

    Raises:
        Unreadable: a file cannot be read, or they are too much together.
    """
    found = {}
    total = 0
    for path in files_of(folder):
        name = path.name if path == folder else path.relative_to(folder).as_posix()
        try:
            with path.open("rb") as file:
                found[name] = file.read(MAX_BYTES + 1)
        except OSError as error:
            raise Unreadable(f"{path}: {error.strerror or error}; make it readable or take it away") from error
        total += len(found[name])
        if total > MAX_TOTAL:
            raise Unreadable(f"{folder}: holds more than {MAX_TOTAL} bytes of YAML; name a narrower folder")
    return found


def digest_of(files: dict[str, bytes]) -> str:
    """Return the sha256 that names exactly these files with exactly this content."""
    total = hashlib.sha256()
    for name, content in sorted(files.items()):
        total.update(f"{name}\0{len(content)}\0".encode("utf-8", "surrogateescape"))
        total.update(content)
    return total.hexdigest()


def read(files: dict[str, bytes], folder: FilePath | None = None) -> Draft:
    """Build the entries of all files.

    Args:
        files: as `read_bytes` returns them.
        folder: the folder that they come from, or the one file; problems name it.
    """
    draft = Draft(Entries(), digest=digest_of(files))
    sections: dict[str, dict[str, Any]] = {name: {} for name in Entries.__struct_fields__}
    for name, content in sorted(files.items()):
        source = name if folder is None else str(folder) if folder.is_file() else f"{folder}/{name}"
        for section, key, entry in _entries_of(source, content, draft):
            sections[section][key] = entry
    draft.entries = Entries(**sections)
    return draft


def _entries_of(source: str, content: bytes, draft: Draft) -> Iterator[tuple[str, str, Any]]:
    """Yield (section, id, entry) of one file; problems and places go to the draft."""
    root = compose(content, source)
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
                        taken = (draft.declared[name], name)
                        first = draft.places.get(taken) or builder.places[taken]
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
