"""`walk`, in process and as a command: whatever is typed, it answers; what is ended is counted, nothing else."""

import io
import os
import subprocess
import sys
from datetime import date

import pytest

from symptomtree.kb.compile import open_knowledge
from symptomtree.kb.shipped import shipped
from symptomtree.lessons.library import lesson_named, library
from symptomtree.lessons.progress import Progress, read_progress
from symptomtree.lessons.way import Tutor, advised_way
from symptomtree.plain.talk import Talk
from symptomtree.plain.walk import Walk, Wish, pick

KB = open_knowledge()
TUTOR = Tutor(KB)
CLUNK = "brakes-clunk-on-the-cobbles"
BEGINNER = Progress(symptomtree_learner=1, name="ann")


def lesson(script, name=CLUNK, path=None, progress=BEGINNER):
    """Give a lesson on lines typed (or on anything with `readline`); return (output, the walk)."""
    out = io.StringIO()
    source = io.StringIO("".join(f"{line}\n" for line in script)) if isinstance(script, list) else script
    walk = Walk(Talk(source, out), TUTOR, lesson_named(KB, name), progress, path, date(2026, 5, 6))
    assert walk.run() == 0
    return " ".join(out.getvalue().split()), walk


def run(*args, typed="", home=None, **env):
    """Run the command with typed input; return the finished process."""
    return subprocess.run(
        [sys.executable, "-m", "symptomtree", "walk", *args],
        input=typed.encode() if isinstance(typed, str) else typed,
        capture_output=True,
        env={**os.environ, "XDG_DATA_HOME": str(home), **env},
        timeout=120,
        check=False,
    )


def as_advised(name):
    """Return what the adviser would type, step by step, to the name of the cause."""
    way = advised_way(TUTOR, lesson_named(KB, name))
    return [*(m.action.name for m in way.moves), f"think {way.named}"]


def test_a_lesson_from_its_story_to_its_score(tmp_path):
    path = tmp_path / "ann.yaml"
    said, walk = lesson(as_advised(CLUNK), path=path)
    assert "My neighbour says it is the steering." in said
    assert said.index("STOP RIDING: A hard knock") < said.index("What do you do next?")
    assert "Are both caliper bolts there and tight? yes, both" in said
    assert "About 1 minute; so far about 1 minute." in said
    assert "It was: Loose brake adapter." in said
    assert "You said: Loose brake adapter. That is right." in said
    assert "The adviser would have done the same." in said
    assert "Score: 100 of 100." in said
    assert "What the rider came with is gone, and looking again has proven it." in said
    kept = read_progress(path, "ann")
    assert kept == walk.progress
    assert [(d.lesson, d.score, d.on) for d in kept.done] == [(CLUNK, 100.0, "2026-05-06")]


def test_a_poor_way_is_explained():
    """Nothing checked, the wrong thing fixed, and given up: what was lost where, why it is capped, what to practise."""
    said, walk = lesson(["disc-true", "brake-knock", "bed-in", "look-at-saddle-clamp", "give up"])
    assert walk.way.ended == "gave up"
    assert "You did not say what it was." in said
    assert "It could remove nothing that was still likely." in said
    assert "NOT SAFE: you rode while a stop stood." in said
    assert "The adviser's step: Check: Try the caliper and its bolts by hand" in said
    assert "is expected to cost" in said
    assert "It cannot be above 0, since the bike was not brought in order and named;" in said
    assert "To practise:" in said
    assert "tell apart: Loose brake adapter and" in said
    assert "What the rider came with is not gone." in said


def test_words_are_searched_and_nothing_is_taken_for_sure():
    """Names and ids are taken; other words offer numbers; a number means the last list only."""
    said, walk = lesson(["1", "caliper bolts", "99", "1", "1", "flux capacitor", "stop"])
    assert "There is nothing to choose from yet" in said
    assert "1. Check: Try the caliper and its bolts by hand (about 1 minute)" in said
    assert "There is no such number; they go from 1 to" in said
    assert [m.action.name for m in walk.way.moves] == ["rock-the-caliper"]
    assert said.count("There is nothing to choose from yet") == 2
    assert "Nothing that can be done here is like 'flux capacitor'." in said


def test_lists_are_by_part_and_do_not_rank():
    said, _ = lesson(["list", "list hanger", "list caliper and its bolts", "list zzz", "stop"])
    assert "- disc caliper (" in said
    assert "1. Check: Try the caliper and its bolts by hand" in said
    assert "Nothing that can be done here is like 'zzz'." in said


def test_hints_on_demand():
    said, walk = lesson(["hint", "hint", "hint", "hint", "stop"])
    assert "Think about: disc caliper." in said
    assert "What needs telling apart: " in said
    assert said.count("The adviser would now: Check: Try the caliper and its bolts by hand") == 2
    assert [level for _, level in walk.way.hints] == [1, 2, 3]


def test_thinking_too_early_is_asked_about():
    said, walk = lesson(
        ["think", "think flying saucer", "think loose adapter", "1", "no", "think adapter-bolts-loose", "yes"]
    )
    assert said.count("Type think and the name of what is wrong") == 2
    assert "Which of these? 1. Loose brake adapter" in said
    assert "Then it goes on." in said
    assert walk.way.named == "adapter-bolts-loose"
    assert "It cannot be above 0, since" in said


def test_help_told_and_handing_over():
    said, walk = lesson(["help", "", "rock-the-caliper", "told", "hand over"])
    assert "ends the lesson" in said
    assert "Say what you do next, or: list, hint, think CAUSE, help." in said
    assert said.count("Which end of the bike is it? the front") == 2
    assert said.count("Are both caliper bolts there and tight? yes, both") == 2
    assert walk.way.ended == "handed over"
    assert "You handed the bike over." in said


class Interrupting:
    """A learner who presses the keys that interrupt."""

    def isatty(self):
        return True

    def readline(self):
        raise KeyboardInterrupt


@pytest.mark.parametrize("source", [["stop"], ["quit"], [], Interrupting()])
def test_leaving_counts_nothing(tmp_path, source):
    said, walk = lesson(source, path=tmp_path / "ann.yaml")
    assert "The lesson is not ended, so it is not counted." in said
    assert walk.progress == BEGINNER
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    said, _ = lesson(["give up"], path=tmp_path / "file" / "ann.yaml")
    assert "This could not be written down in" in said


def test_a_wish_is_met_or_told():
    assert pick(TUTOR, Wish(case=CLUNK), BEGINNER).name == CLUNK
    assert pick(TUTOR, Wish(area="drivetrain", difficulty="tricky", number=1), BEGINNER).area == "drivetrain"
    first, second = (pick(TUTOR, Wish(number=5), BEGINNER).name for _ in range(2))
    assert first == second


def test_every_lesson_can_be_walked_in_lines():
    """By the names of its steps alone each ends right, with all points."""
    for each in library(KB)[::20]:
        said, _ = lesson(as_advised(each.name), each.name)
        assert "That is right." in said
        assert "Score: 100 of 100." in said


def test_the_command(tmp_path):
    """Progress is kept by learner; no line is wider than the terminal; nothing but text is sent."""
    typed = "".join(f"{line}\n" for line in as_advised("drivetrain-hiccup-after-new-chain"))
    ran = run("drivetrain-hiccup-after-new-chain", "--learner", "Ann Lee", typed=typed, home=tmp_path, COLUMNS="80")
    assert (ran.returncode, ran.stderr) == (0, b"")
    text = ran.stdout.decode()
    assert "Score: 100 of 100." in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert (tmp_path / "symptomtree" / "learners" / "ann-lee.yaml").exists()
    listed = run("--list", "--area", "drivetrain", "--learner", "ann lee", home=tmp_path).stdout.decode()
    assert "last score 100" in " ".join(listed.split())
    assert "brakes-" not in listed


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (["brakes-clunk"], 2, "near it: brakes-clunk-on-the-cobbles"),
        (["nothing-like-it"], 2, "no lesson 'nothing-like-it'"),
        (["--area", "brkae"], 2, "did you mean 'brake'?"),
        (["--learner", "../me"], 2, "a name has letters"),
        (["--difficulty", "mad"], 2, "invalid choice"),
        ([CLUNK, "--generated"], 2, "not both"),
        (["--area", "seat", "--difficulty", "tricky"], 2, "add --generated"),
    ],
)
def test_wrong_use_ends_with_one_clear_message(tmp_path, args, code, said):
    ran = run(*args, home=tmp_path)
    assert ran.returncode == code
    assert said in ran.stderr.decode()
    assert b"Traceback" not in ran.stderr


def test_a_damaged_learner_file_is_told_and_kept(tmp_path):
    path = tmp_path / "symptomtree" / "learners" / "me.yaml"
    path.parent.mkdir(parents=True)
    path.write_text("symptomtree-learner: 1\nname: me\ndone: [what]\n")
    ran = run(home=tmp_path)
    assert ran.returncode == 2
    assert b"me.yaml:3" in ran.stderr
    assert b"it was left as it is" in ran.stderr
    assert path.read_text().endswith("done: [what]\n")


def test_odd_bytes_and_a_file_that_is_not_ours(tmp_path):
    """A story from elsewhere cannot speak to the terminal, and bytes that are no text break nothing."""
    text = (shipped("walkthroughs") / f"{CLUNK}.yaml").read_text(encoding="utf-8")
    title = "A clunk at the front on the cobbles"
    mine = tmp_path / "mine.yaml"
    mine.write_text(text.replace(title, '"A red\\nSTOP one"'), encoding="utf-8")
    ran = run(str(mine), typed=b"\xff\xfe\x00\x1b[2J\n" + b"x" * 30_000 + b"\nlist \x07\nstop\n", home=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert b"\x1b" not in ran.stdout
    assert b"A red STOP one" in ran.stdout
    mine.write_text(text.replace(title, '"A \\u001b[31mred"'), encoding="utf-8")
    ran = run(str(mine), home=tmp_path)
    assert ran.returncode == 2
    assert b"mine.yaml:2:8: K002" in ran.stderr


def test_a_drawn_bike_is_the_same_for_the_same_number(tmp_path):
    first, second = (
        run("--generated", "--seed", "7", "--area", "drivetrain", typed="give up\n", home=tmp_path).stdout
        for _ in range(2)
    )
    assert b"A bike from the yard" in first
    assert first.split(b"Lessons so far")[0] == second.split(b"Lessons so far")[0]
