"""The installed command at a real terminal: 80 columns, keys that interrupt, and a file that goes on."""

import os
import shutil
import sys
from pathlib import Path

import pexpect
import pytest

from symptomtree.cases.files import read_case
from symptomtree.cases.model import Answer, Correction
from symptomtree.kb.compile import open_knowledge

COMMAND = shutil.which("symptomtree", path=str(Path(sys.executable).parent))


@pytest.fixture
def start(tmp_path):
    """Return a function that starts `symptomtree ask` at a terminal of 80 columns and 24 lines."""
    started = []

    def spawn(*args):
        assert COMMAND, "the package is installed"
        env = {**os.environ, "XDG_DATA_HOME": str(tmp_path), "TERM": "xterm-256color", "COLUMNS": "80"}
        child = pexpect.spawn(
            COMMAND, ["ask", *args], env=env, cwd=tmp_path, dimensions=(24, 80), encoding="utf-8", timeout=60
        )
        child.delaybeforesend = 0.02
        started.append(child)
        return child

    yield spawn
    for child in started:
        child.close(force=True)


def ended(child):
    """Wait for the end; return (all that was shown last, exit code)."""
    child.expect(pexpect.EOF)
    child.close()
    return child.before, child.exitstatus


@pytest.mark.parametrize("key", ["interrupt", "end of input"])
def test_leaving_by_key_keeps_the_case_and_it_goes_on(start, tmp_path, key):
    """Ctrl-C and Ctrl-D leave a file and one line on how to go on; the case goes on with the same question."""
    child = start("--case", "mine.yaml", "my back brake howls")
    child.expect("all, or none.\r\n> ")
    child.sendline("1")
    child.expect("\r\n> ")
    question = child.before.split("\r\n\r\n")[-1]
    if key == "interrupt":
        child.sendintr()
    else:
        child.sendeof()
    shown, code = ended(child)
    assert code == 0
    assert "symptomtree ask --resume mine.yaml" in shown
    assert "Traceback" not in shown
    events = read_case(tmp_path / "mine.yaml", open_knowledge()).events
    assert events[-1] == Answer(finding="brake-noise", grade="howl", complaint=True)
    child = start("--resume", "mine.yaml")
    child.expect("\r\n> ")
    assert child.before.split("\r\n\r\n")[-1] == question
    child.sendline("back")
    child.expect("Taken back: Does the brake squeal or howl")
    child.expect("\r\n> ")
    child.sendline("stop")
    assert ended(child)[1] == 0
    assert read_case(tmp_path / "mine.yaml", open_knowledge()).events[-1] == Correction(number=2)


def test_it_is_plain_lines(start):
    """No line is wider than the terminal, and nothing but text is sent: no colour, no cursor keys, no bell."""
    child = start("--no-save")
    child.expect("list.\r\n> ")
    child.sendline("my back brake howls and the lever comes to the bar")
    child.expect("all, or none.\r\n> ")
    child.sendline("all")
    child.expect("STOP RIDING: A lever that reaches the bar")
    child.expect("\r\n> ")
    for command in ("why", "list", "help", "?"):
        child.sendline(command)
        child.expect("\r\n> ")
        assert all(len(line) < 80 for line in child.before.splitlines())
        assert all(char.isprintable() or char in "\r\n" for char in child.before)
    child.sendline("stop")
    shown, code = ended(child)
    assert code == 0
    assert "STOP RIDING" in shown, "a reason not to ride is said once more on leaving"
    assert "The case is not saved." in shown
