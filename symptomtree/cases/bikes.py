"""Bikes that one knows: their facts are kept under a name, so that they need not be told again."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from platformdirs import user_data_path

from symptomtree.cases.files import as_yaml, write_whole
from symptomtree.kb.model import Entry, Id, Text
from symptomtree.kb.nodes import MISSING, read_struct

if TYPE_CHECKING:
    from symptomtree.kb.compile import KnowledgeBase


class BadBike(Exception):
    """A bike's file that cannot be used; the message says why and what to do."""


class Bike(Entry, frozen=True, kw_only=True):
    """A bike by its name, the facts that stay true of it, and its figures."""

    symptomtree_bike: Literal[1]
    name: Text
    facts: dict[Id, str] = {}
    figures: dict[str, Text] = {}
    """Field of a measuring tool -> what is filled in for this bike."""


def bikes_folder() -> Path:
    """Return where bikes are kept; nothing is created."""
    return user_data_path("symptomtree") / "bikes"


def read_bikes(folder: Path) -> tuple[list[Bike], list[str]]:
    """Return the bikes of a folder by name, and a message for each file that cannot be used."""
    found, messages = [], []
    for path in sorted(folder.glob("*.yaml")) if folder.is_dir() else []:
        try:
            built, builder = read_struct(path, Bike, BadBike, "a bike's file")
        except BadBike as error:
            messages.append(str(error))
            continue
        if built is MISSING or builder.problems:
            messages += [str(p) for p in builder.problems]
        else:
            found.append(built)
    return sorted(found, key=lambda b: b.name.casefold()), messages


def lasting(kb: "KnowledgeBase", facts: Mapping[str, str]) -> dict[str, str]:
    """Return those facts that stay true of a bike, and that the knowledge has."""
    entries = kb.entries.facts
    return {f: v for f, v in facts.items() if f in entries and entries[f].about == "bike" and v in entries[f].values}


def keep_bike(folder: Path, bike: Bike) -> Path:
    """Write a bike's file; one of the same name is replaced.

    Raises:
        OSError: the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = re.sub(r"[^a-z0-9]+", "-", bike.name.casefold()).strip("-")[:60] or "bike"
    path = folder / f"{stem}.yaml"
    write_whole(path, as_yaml(bike))
    return path
