"""The installed application at a real terminal: keys, signals, sizes; the terminal is given back, nothing is lost."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pexpect
import pytest

from symptomtree.cases.files import read_case, write_case
from symptomtree.cases.model import Complaint, Context, Correction
from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.state import in_force
from tests.hands import TO_BAR, case_of

COMMAND = shutil.which("symptomtree", path=str(Path(sys.executable).parent))
ENTERED, LEFT, CURSOR_SHOWN = "\x1b[?1049h", "\x1b[?1049l", "\x1b[?25h"
"""What a terminal is told to go to its second screen, to come back from it, and to show its cursor (xterm control
sequences, private modes 1049 and 25)."""

STOP_ROW = "STOP RIDING: A lever that reaches the bar"
GREYS = {16, 59, 102, 145, 188, 231, *range(232, 256)}
"""The greys of a terminal's 256 colours: the grey ramp, and the diagonal of the colour cube (xterm)."""


@pytest.fixture
def start(tmp_path):
    """Return a function that starts `symptomtree` at a terminal of 80 columns and 24 lines."""
    assert COMMAND, "the package is installed"
    started = []

    def spawn(*args, **env):
        own = {"XDG_DATA_HOME": str(tmp_path / "data"), "XDG_CONFIG_HOME": str(tmp_path / "config")}
        child = pexpect.spawn(
            COMMAND,
            list(args),
            env={**os.environ, **own, "TERM": "xterm-256color", **env},
            cwd=tmp_path,
            dimensions=(24, 80),
            encoding="utf-8",
            codec_errors="replace",
            timeout=60,
        )
        started.append(child)
        return child

    yield spawn
    for child in started:
        child.close(force=True)


@pytest.fixture
def told(tmp_path):
    """Return a case file of a bike that must not be ridden."""
    path = tmp_path / "mine.yaml"
    write_case(path, case_of(*TO_BAR[:2]))
    return path


def ended(child):
    """Wait for the end; return (all that was shown last, exit code)."""
    child.expect(pexpect.EOF)
    child.close()
    return child.before, child.exitstatus


def events(path):
    return read_case(path, open_knowledge()).events


def press(child, key, path=None):
    """Press a key; with a path, wait until the case has grown."""
    count = len(events(path)) if path else 0
    child.send(key)
    until = time.monotonic() + 60
    while path and len(events(path)) == count:
        assert time.monotonic() < until, f"{key} made no event"
        child.expect([pexpect.TIMEOUT, r".+"], timeout=0.1)


def given_back(shown):
    """Whether the last words to the terminal leave its second screen and show its cursor."""
    return shown.rfind(LEFT) > shown.rfind(ENTERED) and CURSOR_SHOWN in shown[shown.rfind(LEFT) - 200 :]


def test_a_case_from_the_complaint_to_the_end(start, tmp_path):
    """Words, a tick, answers, undo, another size, the sheet, leaving: exit 0, and the file is the case."""
    child = start("--case", "new.yaml")
    child.expect("What is wrong with the bike")
    child.send("my back brake howls")
    child.send("\r")
    child.expect(r"\[ \]")
    child.send("\x1b[B")
    child.send(" ")
    child.expect("x")
    path = tmp_path / "new.yaml"
    child.send("g")
    child.expect("Likely causes")
    assert events(path)[0] == Complaint(text="my back brake howls")
    press(child, "1", path)
    press(child, "u", path)
    press(child, "z", path)
    child.setwinsize(20, 60)
    press(child, "u", path)
    child.setwinsize(40, 120)
    child.send("x")
    child.expect("Job sheet")
    child.send("q")
    shown, code = ended(child)
    assert code == 0
    assert given_back(shown)
    assert "symptomtree --case new.yaml" in shown.replace("\r\n", "")
    assert any(isinstance(e, Correction) for e in events(path))


@pytest.mark.parametrize("key", ["\x03", "q"], ids=["ctrl-c", "q"])
def test_ways_to_leave(start, told, key):
    """Each gives the terminal back, ends with 0, and says how to go on."""
    child = start("--case", told.name)
    child.expect("Likely causes")
    press(child, "1", told)
    child.send(key)
    shown, code = ended(child)
    assert code == 0
    assert given_back(shown)
    assert f"--case {told.name}" in shown
    assert len(events(told)) == 3


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGHUP])
def test_killed_it_gives_the_terminal_back(start, told, sign):
    """Asked to end from outside, it leaves the second screen, shows the cursor, and every answer is on disk."""
    child = start("--case", told.name)
    child.expect("Likely causes")
    press(child, "1", told)
    child.kill(sign)
    shown, _ = ended(child)
    assert given_back(shown)
    assert "Traceback" not in shown
    assert isinstance(events(told)[-1], Context)


def test_killed_without_warning_nothing_is_lost(start, told):
    """SIGKILL in the middle: the next start shows the next question, with the stop, and goes on in the same file."""
    child = start("--case", told.name)
    child.expect("Likely causes")
    press(child, "1", told)
    press(child, "1", told)
    before = events(told)
    child.kill(signal.SIGKILL)
    child.expect(pexpect.EOF)
    assert events(told) == before
    assert not [p for p in told.parent.iterdir() if p.suffix == ".yaml" and p != told]
    child = start("--case", told.name)
    child.expect("STOP RIDING")
    child.expect("Likely causes")
    press(child, "z", told)
    child.send("q")
    assert ended(child)[1] == 0
    assert events(told)[: len(before)] == before
    assert len(in_force(events(told))) == len(before) - 1


def test_suspended_and_continued(start, told):
    """Ctrl-Z gives the terminal back and stops; continued, the same screen is there and takes answers."""
    child = start("--case", told.name)
    child.expect("Likely causes")
    child.send("\x1a")
    child.expect_exact(LEFT)
    until = time.monotonic() + 30
    while state(child.pid) != "T":
        assert time.monotonic() < until, "it did not stop"
        time.sleep(0.05)
    child.kill(signal.SIGCONT)
    child.expect_exact(ENTERED)
    child.expect("STOP RIDING")
    press(child, "1", told)
    child.send("q")
    shown, code = ended(child)
    assert code == 0
    assert given_back(shown)


def state(pid):
    """Return the state letter of a process, from the kernel."""
    return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0]


@pytest.mark.parametrize("look", ["light", "plain"])
def test_no_colour_where_none_is_wanted(start, told, look):
    """With NO_COLOR (no-color.org) there are greys only, none on itself, and the stop stands in words all the same."""
    child = start("--case", told.name, "--look", look, NO_COLOR="1")
    child.expect(STOP_ROW)
    child.send("q")
    shown, code = ended(child)
    assert code == 0
    inks = re.findall(r"38;5;(\d+);48;5;(\d+)m", child.before + shown)
    assert inks
    assert all(ink != ground for ink, ground in inks), "every word can be seen"
    assert {int(colour) for pair in inks for colour in pair} <= GREYS


def test_without_a_terminal_it_is_one_line(tmp_path):
    """In a pipe the screens do not open: one line on what to do instead, and exit code 2."""
    ran = subprocess.run([COMMAND], input=b"", capture_output=True, cwd=tmp_path, timeout=60, check=False)
    assert ran.returncode == 2
    assert ran.stdout == b""
    assert len(ran.stderr.splitlines()) == 1
    assert b"symptomtree ask" in ran.stderr


def test_wrong_use_is_told_and_the_screens_do_not_open(start, tmp_path):
    """A damaged case and a faulty file of keys: exit code 2, what and where, no traceback, the terminal untouched."""
    (tmp_path / "broken.yaml").write_text("symptomtree-case: 1\nevents: [{kind: answer, finding: brake-nois")
    (tmp_path / "config" / "symptomtree").mkdir(parents=True)
    for args, keys, said in [(["--case", "broken.yaml"], "", "broken.yaml:"), ([], "udno: b\n", "keys.yaml")]:
        (tmp_path / "config" / "symptomtree" / "keys.yaml").write_text(keys or "undo: f6\n")
        shown, code = ended(start(*args))
        assert code == 2, shown
        assert said in shown
        assert "Traceback" not in shown
        assert ENTERED not in shown
