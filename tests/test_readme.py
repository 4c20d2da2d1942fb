"""The README says what is true."""

import argparse
import re
from pathlib import Path

from symptomtree.cli import build_parser

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_there_are_two_ways_to_start():
    """One line gets a fresh clone to the main job, one to its tests; `.ci/run` runs the second."""
    assert re.findall(r"^```sh\n(.*?)^```$", README, re.MULTILINE | re.DOTALL) == [
        "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/symptomtree ask\n",
        "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest -q\n",
    ]


def test_every_command_is_told():
    """A reader finds each command that `symptomtree --help` lists, each with a line of help."""
    commands = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    helped = {choice.dest for choice in commands._choices_actions if choice.help}
    assert helped == set(commands.choices)
    missing = {name for name in commands.choices if not re.search(rf"`symptomtree {name}\b", README)}
    assert not missing
