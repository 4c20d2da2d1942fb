"""The dialogue, through a pipe and in process: whatever is typed, nothing is lost and nothing breaks."""

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from symptomtree.cases.files import read_case
from symptomtree.cases.model import (
    Answer,
    Case,
    Complaint,
    Context,
    Correction,
    FixDone,
    LeftOut,
    Note,
    Reading,
    Unsure,
)
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain import show
from symptomtree.plain.answers import Option
from symptomtree.plain.asker import Asker, Prompt
from symptomtree.plain.dialogue import Dialogue
from symptomtree.plain.keeper import Keeper
from symptomtree.plain.talk import Talk
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.costs import Profile
from symptomtree.reasoning.state import in_force

KB = open_knowledge()
HOWL = "my back brake howls and the lever comes to the bar"
TRUE = "2 1 4"
"""What of its meanings is true: the lever, the howl, and which end it is."""


def bike(*events):
    """Return a case in which these things have happened."""
    return Case(symptomtree_case=1, title="test", events=list(events))


def talk(script, path=None, case=None):
    """Run a dialogue on lines (or on anything with `readline`); return (output, keeper)."""
    out = io.StringIO()
    source = io.StringIO("".join(f"{line}\n" for line in script)) if isinstance(script, list) else script(out)
    keeper = Keeper(KB, case or bike(), path, Profile(), lambda text: print(text, file=out))
    assert Dialogue(Talk(source, out), keeper).run() == 0
    return out.getvalue(), keeper


def complaints(keeper):
    return [e for _, e in in_force(keeper.events) if isinstance(e, Complaint)]


def ask(*args, typed="", cwd=None, **env):
    """Run the command with typed input; return the finished process."""
    return subprocess.run(
        [sys.executable, "-m", "symptomtree", "ask", *args],
        input=typed.encode() if isinstance(typed, str) else typed,
        capture_output=True,
        cwd=cwd,
        env={**os.environ, **env},
        timeout=120,
        check=False,
    )


class Rider:
    """Someone at a bike whose faults are known: answers each question with what is true, until a fix cures it."""

    def __init__(self, out, first, truth, cured_by):
        self.out, self.truth, self.cured_by = out, truth, cured_by
        self.lines = [first]
        self.asks = {f.ask: name for name, f in KB.findings.items()}
        self.asks |= {f.ask: name for name, f in KB.entries.facts.items()}
        self.questions = {q.ask: q for q in KB.entries.questions.values()}
        self.cured = False

    def isatty(self):
        return True

    def readline(self):
        return (self.lines.pop() if self.lines else self.answer()) + "\n"

    def answer(self):
        said = " ".join(self.out.getvalue().split())
        if said.endswith("all, or none. >"):
            return "1 2 3"  # the howl, the lever, the end; what else it may mean is not so
        if said.endswith("1. done 2. cannot, or not now >"):
            fix = re.split(r"(?:Fix|Due now|put together to try): ", said)[-1]
            self.cured = self.cured or any(fix.startswith(KB.name_of(f)) for f in self.cured_by)
            return "done"
        if said.endswith("2. go on here >"):
            return "2"
        at, ask = max((said.rfind(ask), ask) for ask in [*self.asks, *self.questions])
        assert at >= 0, said[-500:]
        if ask in self.questions:
            answers = self.questions[ask].answers
            fits = [key for key, a in answers.items() if all(self.grade(f) == g for f, g in a.sets.items())]
            return answers[fits[0]].words if fits else "not sure"
        name = self.asks[ask]
        if name in KB.findings:
            return KB.findings[name].grades[self.grade(name)]
        fact = KB.entries.facts[name]
        return fact.values[self.truth.get(name, next(iter(fact.values)))]

    def grade(self, finding):
        normal = KB.grades(finding)[0]
        return normal if self.cured else self.truth.get(finding, normal)


def test_a_case_from_complaint_to_proof(tmp_path):
    """A howling brake whose lever meets the bar: stop first, then the fix, its retest, and a summary.

    The bike: pistons that did not follow the wear of their pads, cured by advancing them (common practice).
    """
    truth = {
        "which-end": "rear",
        "brake-type": "hydraulic-disc",
        "brake-noise": "howl",
        "lever-travel": "to-bar",
        "lever-crept": "yes",
        "pad-gap": "wide",
        "pad-shine": "shiny",
    }
    path = tmp_path / "case.yaml"
    text, keeper = talk(lambda out: Rider(out, HOWL, truth, ["pistons-advance"]), path)
    flat = " ".join(text.split())
    assert flat.index("STOP RIDING: A lever that reaches the bar") < flat.index("Most likely so far")
    assert FixDone(fix="pistons-advance") in keeper.events
    summary = flat.rpartition("Summary")[2]
    assert KB.name_of("pistons-advance") in summary
    assert "before the work" in summary
    assert "It does not say that the bike is safe" in summary
    assert keeper.assessment.stage == "done"
    assert not keeper.assessment.standing_stops, "the brake was tried before the case was closed"
    assert read_case(path, KB).events == keeper.events
    assert all(len(line) < 80 for line in text.splitlines() if not line.startswith("symptomtree ask"))


def test_nothing_is_assumed_silently():
    """Only what was confirmed becomes evidence."""
    _, keeper = talk([HOWL, "none", "my lever is spongy", "1"])
    answers = [e for e in keeper.events if isinstance(e, (Answer, Context))]
    assert answers == [Answer(finding="lever-spongy", grade="spongy", complaint=True)]
    assert [e.text for e in complaints(keeper)] == [HOWL, "my lever is spongy"]


def test_back_takes_everything_back_and_no_more():
    """After many `back` nothing counts any more, though the file keeps every event; and the talk goes on."""
    text, keeper = talk([HOWL, TRUE, "1", "1", "not sure", *["back"] * 20, HOWL, "1"])
    assert "There is nothing to take back" in text
    left = [e for _, e in in_force(keeper.events)]
    assert left == [Complaint(text=HOWL), Answer(finding="lever-travel", grade="to-bar", complaint=True)]
    assert sum(isinstance(e, Correction) for e in keeper.events) == 7


def test_answers_by_number_word_slip_and_not_sure():
    """An answer is taken by number, id, words or near words; what is not understood changes nothing."""
    for typed in ("2", "cable-disc", "cable disc", "a disc at the hub, worked by a bare steel cable in a housing"):
        _, keeper = talk([HOWL, TRUE, typed])
        assert keeper.events[-1] == Context(fact="brake-type", value="cable-disc"), typed
    text, keeper = talk([HOWL, TRUE, "the bare steel cable one", ""])
    assert "Taken as 2" in text
    assert keeper.events[-1] == Context(fact="brake-type", value="cable-disc")
    text, keeper = talk([HOWL, TRUE, "wat", "9", "-1", "", "bakc", "lsit"])
    assert "Did you mean back?" in text
    assert "Did you mean list?" in text
    assert isinstance(keeper.events[-1], Context), "none of that was an answer"
    assert keeper.events[-1].fact == "which-end"
    _, keeper = talk([HOWL, TRUE, "i don't know"])
    assert keeper.events[-1] == Unsure(about="brake-type")


def test_a_word_that_is_an_answer_and_a_command_is_asked_back():
    """At 'which end?' the word back may be the rear, or a step back: it does neither before that is clear."""
    options = [Option("front", "the front"), Option("rear", "the rear", ("back", "rear"))]
    for typed, expected in [("undo\n2\n", "undone"), ("2\n", "chosen")]:
        out, undone = io.StringIO(), []
        asker = Asker(Talk(io.StringIO("back\n" + typed), out), {"back": undone.append})
        assert asker.ask(Prompt("Which end?", options)) is options[1]
        assert "'back' can be an answer or a command here. Type 2 for the answer, or undo" in " ".join(
            out.getvalue().split()
        )
        assert bool(undone) == (expected == "undone")


@pytest.mark.parametrize(
    ("typed", "value", "error"),
    [("1.6", 1.6, None), ("1,6 mm", 1.6, None), ("1.6 millimetres", 1.6, None), ("0.4 mm +-0.05", 0.4, 0.05)],
)
def test_a_reading_is_a_number_with_or_without_its_unit(typed, value, error):
    """A comma is a decimal point; the gauge's own uncertainty can be told."""
    keeper = _at_pad_lining([typed])[1]
    assert Reading(finding="pad-lining", value=value, error=error) in keeper.events


def test_a_reading_that_cannot_be_is_asked_again():
    """Another unit, or a number out of its span, is named and not taken; letters give the grade without a gauge."""
    text, keeper = _at_pad_lining(["2 inch", "300", "1e999", "b"])
    assert "The number is needed in mm, not in inch." in text
    assert "300 is outside 0 to 6 mm" in text
    assert not any(isinstance(e, Reading) for e in keeper.events)
    assert Answer(finding="pad-lining", grade="limit") in keeper.events


def _at_pad_lining(typed):
    """Bring a dialogue to the check that measures the pads, then type."""
    told = [
        Complaint(text="x"),
        Answer(finding="brake-noise", grade="howl", complaint=True),
        Context(fact="brake-type", value="hydraulic-disc"),
    ]
    adviser = Adviser(KB)
    while (step := adviser.assess(told).steps[0]).name != "look-at-pads-in-place":
        assert step.doing != "hand-over"
        told.append(Unsure(about=step.name))
        told += [Unsure(about=f) for f in step.settles]
    return talk(typed, case=bike(*told))


def test_commands_answer_and_lose_nothing():
    """why, its figures, ?, list and help answer; notes are kept; the question stands again after each."""
    asked = ["why", "why", "?", "list", "list 1", "help", "note wet all week", "also chain skips"]
    text, keeper = talk([HOWL, TRUE, *asked])
    for said in ("It helps to", "Expected cost to", "How the causes stand", "What speaks for", "At any prompt"):
        assert said in text, said
    assert Note(text="wet all week") in keeper.events
    assert [c.text for c in complaints(keeper)] == [HOWL, "chain skips"]


def test_a_fix_can_be_asked_for_left_out_and_taken_back():
    """`fix` goes to the best fix; left out, the talk goes on without it; back returns to it."""
    text, keeper = talk([HOWL, TRUE, "1", "fix", "2", "back", "fix", "1", "1", "1"])
    assert text.count("When it is done:") >= 2
    assert "Caution:" in text.partition("When it is done:")[0]
    assert any(isinstance(e, FixDone) for e in keeper.events)
    assert text.index("Look again") > text.index("Written down as done.")


def test_a_fix_is_told_with_each_caution_before_its_step():
    """When it comes, and again after `?`: what is to be minded is read before it is done."""
    text, keeper = talk([HOWL, TRUE, "1", "fix", "?", "2"])
    fix = keeper.assessment.state.left_out & KB.entries.fixes.keys()
    assert len(fix) == 1
    name = fix.pop()
    first, again = " ".join(text.split()).split("When it is done:")[:2]
    first = first[first.rindex("Fix: ") :]  # the check before it may have the same cautions
    for told, shown in ((first, show.fix(KB, name)), (again, show.how(KB, KB.entries.fixes[name]))):
        lines = [line for line in shown if re.match(r" *(Caution:|\d+\.) ", line)]
        assert len(lines) > 2
        at = [told.index(" ".join(line.split())) for line in lines]
        assert at == sorted(at)


def test_symptoms_can_be_chosen_by_part():
    """Someone who has no words for it finds it by the part of the bike."""
    text, keeper = talk(["parts", "brake", "squeal or howl when braking", "3"])
    assert "Which part of the bike is it about? (skip leaves this list)" in text
    assert keeper.events[-1] == Answer(finding="brake-noise", grade="howl", complaint=True)


def test_two_answers_that_cannot_both_be_are_asked_again():
    """A wheel that is locked cannot run free: the person says which was wrong and is asked again."""
    locked, free = Answer(finding="brake-drag", grade="locked"), Answer(finding="brake-rub", grade="none")
    text, keeper = talk(["1", "1"], case=bike(Complaint(text="x"), locked, free))
    assert "This does not fit together." in text
    assert keeper.events[3:5] == [Correction(number=2), Answer(finding="brake-drag", grade="free")]
    assert not keeper.assessment.contradictions


def test_of_meanings_that_exclude_each_other_none_is_guessed():
    """'All' of a list that holds 'a loud howl' and 'a squeak' is asked again, and nothing is written down."""
    text, keeper = talk(["my brake squeals and howls", "all", "2"])
    assert "These cannot all be true: 1, 2." in text
    assert keeper.events[1:] == [Answer(finding="brake-noise", grade="squeak", complaint=True)]


def test_a_warning_is_not_said_again_because_its_odds_moved():
    """Each cause that is dangerous to ride with is named once while it stays likely."""
    twisted = Answer(finding="link-twisted", grade="yes")
    text, _ = talk(["1", "1", "1", "1"], case=bike(Answer(finding="skips", grade="gentle"), twisted))
    assert text.count("BEFORE THIS IS SETTLED: Twisted or cracked link") == 1


def test_text_is_text():
    """Control characters and marks that turn the writing neither reach the screen nor the file."""
    text, keeper = talk(["brake \x1b[31mhowls\x1b[0m \u202e [/b] %s {0}\x07", "1", "note \x1b]0;title\x07 end"])
    assert not set(text) & {"\x1b", "\x07", "\u202e"}
    assert complaints(keeper)[0].text == "brake howls [/b] %s {0}"
    assert Note(text="end") in keeper.events


def test_a_very_long_line_is_kept(tmp_path):
    """Ten thousand characters become several complaints, and the case can be read again."""
    path = tmp_path / "long.yaml"
    line = "the brake howls and " * 500
    _, keeper = talk([line, "1"], path)
    assert " ".join(c.text for c in complaints(keeper)) == line.strip()
    assert read_case(path, KB).events == keeper.events


def test_through_a_pipe_and_resumed(tmp_path):
    """End of input leaves a case file and says how to go on; going on starts where it was."""
    first = ask("My", "back", "brake", "howls", "--case", "c.yaml", typed="1 2\n", cwd=tmp_path)
    out = first.stdout.decode()
    assert (first.returncode, first.stderr) == (0, b"")
    assert out.splitlines()[-1] == "symptomtree ask --resume c.yaml"
    asked = out.rpartition("\n>")[0].rpartition("\n\n")[2]
    before = read_case(tmp_path / "c.yaml", KB).events
    second = ask("--resume", "c.yaml", typed="1\n", cwd=tmp_path)
    assert second.returncode == 0
    assert asked in second.stdout.decode(), "the same question is asked again"
    after = read_case(tmp_path / "c.yaml", KB).events
    assert after[: len(before)] == before
    assert len(after) > len(before)


def test_without_words_there_is_nothing_to_save(tmp_path):
    """Leaving at once leaves no file."""
    ran = ask(typed="", XDG_DATA_HOME=str(tmp_path))
    assert ran.returncode == 0
    assert "nothing was saved" in ran.stdout.decode()
    assert not list(tmp_path.rglob("*.yaml"))


def test_wrong_use_is_one_clear_message(tmp_path):
    """Unreadable cases and knowledge, files in the way and folders that are not there: exit 2, no traceback."""
    (tmp_path / "broken.yaml").write_text("symptomtree-case: 1\nevents: [{kind: answer, finding: brake-nois")
    (tmp_path / "there.yaml").write_text("mine")
    (tmp_path / "faulty").mkdir()
    (tmp_path / "faulty" / "a.yaml").write_text("causes: {x: {nam: y}}\n")
    for args, expected in [
        (["--resume", "none.yaml"], "none.yaml"),
        (["--resume", "broken.yaml"], "broken.yaml:"),
        (["--case", "there.yaml"], "is there already"),
        (["--case", "no/such/folder.yaml"], "no such folder"),
        (["--knowledge", "nowhere"], "no such folder"),
        (["--knowledge", "faulty"], "a.yaml:1:"),
        (["--profile", "home-ridder"], "did you mean 'home-rider'"),
        (["--resume", "a\x1b[31mb"], "ab: No such file"),
    ]:
        ran = ask(*args, typed="x\n", cwd=tmp_path)
        assert ran.returncode == 2, args
        assert expected in ran.stderr.decode(), args
        assert "Traceback" not in ran.stderr.decode()
    assert (tmp_path / "there.yaml").read_text() == "mine"


def test_a_walkthrough_is_not_written_over(tmp_path):
    """Going on with somebody's lesson keeps the new case elsewhere."""
    lesson = Path(__file__).parents[1] / "walkthroughs" / "brakes-howl-and-lever-at-the-bar.yaml"
    copy = tmp_path / "lesson.yaml"
    copy.write_bytes(lesson.read_bytes())
    assert ask("--resume", str(copy), typed="note hello\n", XDG_DATA_HOME=str(tmp_path)).returncode == 0
    assert copy.read_bytes() == lesson.read_bytes()
    assert len(list((tmp_path / "symptomtree" / "cases").glob("*.yaml"))) == 1


def test_a_folder_that_cannot_be_written_is_told_once(tmp_path):
    """The talk goes on without a file."""
    (tmp_path / "symptomtree").write_text("a file where the folder should be")
    ran = ask(*HOWL.split(), typed="all\n1\n1\n", XDG_DATA_HOME=str(tmp_path))
    out = " ".join(ran.stdout.decode().split())
    assert ran.returncode == 0
    assert out.count("The case cannot be saved") == 1
    assert out.endswith("The case is not saved.")


def test_odd_bytes_and_a_reader_that_leaves(tmp_path):
    """Bytes that are no text do no harm; when nobody reads any more it ends without a word."""
    ran = ask("--no-save", typed=b"\xff\xfe brake howls \x00\n1\n")
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert "Nothing will be saved" in ran.stdout.decode()
    command = f"(yes 1 | head -200) | {sys.executable} -m symptomtree ask --no-save brake howls | head -n 1"
    piped = subprocess.run(["bash", "-c", command], capture_output=True, timeout=120, check=True)
    assert piped.stderr == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is a Linux thing")
def test_output_that_cannot_be_written_is_told():
    """A full disk behind the output ends it with a line; a closed output with none; a closed input is its end."""
    command = f"{sys.executable} -m symptomtree ask --no-save brake howls"
    for redirect, code, message in [("> /dev/full", 2, b"is the disk full?"), (">&-", 0, b""), ("<&-", 0, b"")]:
        ran = subprocess.run(f"{command} {redirect}", shell=True, capture_output=True, timeout=120, check=False)
        assert ran.returncode == code, redirect
        assert message in ran.stderr
        assert b"Traceback" not in ran.stderr


def test_the_first_question_does_without_the_heavy_libraries():
    """Asking needs neither the graph nor the screen library; the first screen needs not even the arrays."""
    for front, heavy in (("plain.ask", {"textual"}), ("terminal.app", {"numpy"})):
        code = f"import sys, symptomtree.{front}; print(*sys.modules)"
        ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert not ({"experta", "networkx", "rapidfuzz"} | heavy) & set(ran.stdout.split())


SLOW = (
    Context(fact="gears", value="derailleur"),
    Answer(finding="slow-to-bigger", grade="slow", complaint=True),
    Answer(finding="chain-dirty", grade="caked"),
    FixDone(fix="index-gears"),
    Answer(finding="slow-to-bigger", grade="no"),
)


def test_what_came_up_besides_is_told_and_can_be_left():
    said, keeper = talk(["1"], case=bike(*SLOW))
    assert "This came up on the way, and is still so:" in said
    assert "Summary" in said
    assert keeper.events[-1] == LeftOut(about="besides")


def test_what_came_up_besides_can_be_taken_up():
    """The search then goes on for it; a number that was measured keeps its value."""
    bent = Reading(finding="hanger-out", value=6.0, error=0.2)
    said, keeper = talk(["2"], case=bike(*SLOW, bent))
    assert "Summary" not in said
    assert {"chain-dirty", "hanger-out"} <= set(keeper.assessment.job)
    assert keeper.assessment.state.seen["hanger-out"][-1].value == 6.0


def test_work_that_did_not_help_is_offered_once_more_and_said_so():
    case = bike(
        Answer(finding="grind-pedalling", grade="yes", complaint=True),
        Answer(finding="chain-dirty", grade="caked"),
        FixDone(fix="clean-drivetrain"),
        Answer(finding="grind-pedalling", grade="yes"),
        Answer(finding="chain-dirty", grade="caked"),
        Answer(finding="chain-dry", grade="no"),
    )
    said, _ = talk(["fix"], case=case)
    assert "It was done before and did not help." in said


def test_what_is_dangerous_about_what_came_up_besides_is_said():
    """A dented rim found on the way is no part of the job, but it may be cracked."""
    dented = (Answer(finding="rim-edge", grade="dent"), Answer(finding="rim-step", grade="step"))
    said, _ = talk(["1"], case=bike(*SLOW, *dented))
    flat = " ".join(said.split())
    assert f"Caution: it may be: {KB.name_of('rim-dented')}." in flat
