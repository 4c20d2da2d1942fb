"""README and DEVELOPERS show what is true.

After a change that is meant: `STORE_README=1 pytest tests/test_readme.py`, then read the difference.
"""

import argparse
import os
import re
import shlex
import subprocess
import sys
from itertools import zip_longest
from pathlib import Path

import pytest

from symptomtree.cli import build_parser
from symptomtree.measuring.tools import FAMILIES

FILES = {name: Path(__file__).parents[1] / f"{name}.md" for name in ("README", "DEVELOPERS")}
TEXTS = {name: file.read_text(encoding="utf-8") for name, file in FILES.items()}
README = TEXTS["README"]
SESSION = re.compile(r"^```text\n\$ (symptomtree [^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
SESSIONS = {(name, command): shown for name, text in TEXTS.items() for command, shown in SESSION.findall(text)}
"""Page and command line -> what is shown of it."""
COLUMNS = 96
"""How wide the sessions are: a page shows it without a bar to scroll."""
LEFT_OUT = re.compile(r"   \(.*\)")
"""A line that stands for any number of printed lines, one in a turn; what is typed is never left out."""


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


def test_the_sessions_show_each_way_in_plain_lines():
    assert {shlex.split(command)[1] for page, command in SESSIONS if page == "README"} == {"ask", "walk", "measure"}


def test_each_family_of_tools_is_shown():
    """A command and a picture of each, in one of the two pages."""
    shown = {shlex.split(command)[2] for _, command in SESSIONS if command.startswith("symptomtree measure")}
    assert all(shown & set(tools) for _, tools in FAMILIES.values())


@pytest.mark.parametrize(("page", "command"), SESSIONS, ids=[" ".join(c.split()[1:3]) for _, c in SESSIONS])
def test_a_session_is_what_the_program_prints(page, command, tmp_path, cache):
    shown = SESSIONS[page, command].splitlines()
    printed = replayed(command, [line.removeprefix("> ") for line in shown if is_typed(line)], tmp_path, cache)
    now = with_left_out(printed, shown)
    if os.environ.get("STORE_README"):
        body = "".join(f"{line}\n" for line in now)
        text = FILES[page].read_text(encoding="utf-8")
        text = text.replace(f"$ {command}\n{SESSIONS[page, command]}", f"$ {command}\n{body}")
        FILES[page].write_text(text, encoding="utf-8")
    else:
        assert shown == now


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    """Return a folder that all sessions share, so that only the first of them vets the knowledge."""
    return tmp_path_factory.mktemp("cache")


def replayed(command, typed, home, cache):
    """Return the lines that a command prints when these lines are typed; it writes into the two folders only."""
    folders = {"HOME": home, "XDG_DATA_HOME": home, "XDG_CONFIG_HOME": home, "XDG_CACHE_HOME": cache}
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        input="".join(f"{line}\n" for line in typed),
        capture_output=True,
        encoding="utf-8",
        env={**os.environ, **folders, "COLUMNS": str(COLUMNS), "PYTHONIOENCODING": "utf-8"},
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.splitlines()


def with_left_out(printed, shown):
    """Return the printed lines, without those that are left out of what is shown.

    Each turn is taken by itself, so that a difference in one moves nothing in those after it; of a turn with a line in
    parentheses as many lines are kept before and after it as are shown.
    """
    told = []
    for now, then in zip_longest(turns(printed), turns(shown), fillvalue=()):
        start = next((n for n, line in enumerate(then) if LEFT_OUT.fullmatch(line)), None)
        if start is None:
            told += now
        else:
            end = max(start, len(now) - len(then[start + 1 :]))
            told += [*now[:start], then[start], *now[end:]]
    return told


def turns(lines):
    """Return the lines in turns; each but the first begins with what is typed."""
    found = [[]]
    for line in lines:
        if is_typed(line):
            found.append([])
        found[-1].append(line)
    return found


def is_typed(line):
    return line.startswith("> ")
