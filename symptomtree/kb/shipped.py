"""Finds the folders that ship with the program."""

from importlib import resources
from pathlib import Path
from typing import Literal


def shipped(name: Literal["knowledge", "walkthroughs", "vetted"]) -> Path:
    """Return the folder of that name: inside the package in an installed wheel, beside it in a checkout."""
    package = Path(str(resources.files("symptomtree")))
    inside = package / "_shipped" / name
    return inside if inside.is_dir() else package.parent / name
