"""The full-screen application: what stands around a case: its sheet, stops, files, keys and looks, and text as text."""

import json
import re
import shlex

import pytest
from markdown_it import MarkdownIt
from small_knowledge import SMALL
from textual.widgets import OptionList

from symptomtree.cases.files import BadCase, read_case, write_case
from symptomtree.cases.model import (
    Answer,
    Complaint,
    Context,
    Correction,
    FixDone,
    Note,
    Unsure,
)
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.keeper import cases_folder
from symptomtree.plain.sheet import sheet
from symptomtree.plain.show import summary
from symptomtree.reasoning.assess import Adviser
from symptomtree.terminal.app import SymptomtreeApp, open_app
from symptomtree.terminal.keys import BadKeys, keys_path
from symptomtree.terminal.lessons import DRAWN
from symptomtree.terminal.look import THEMES
from symptomtree.terminal.parts import StopLine
from tests.bench_hands import HOWL, KB, SIZES, words_of, work
from tests.hands import CREAK, TO_BAR, case_of

pytestmark = pytest.mark.usefixtures("own_folders")

# The job sheet, notes


def test_the_sheet_is_copied_and_saved(own_folders):
    """The text that is copied is what is written; a file that is there already is never written over."""
    there = own_folders / "there.md"
    there.write_text("mine")

    async def doing(hands):
        async def save(path):
            await hands.press("e", "end", "ctrl+u")
            await hands.paste(str(path))
            await hands.press("enter")

        await hands.press("x", "y")
        copied = hands.app.clipboard
        assert copied.startswith("# A case")
        assert "STOP RIDING" in copied
        await save(own_folders / "sheet.md")
        assert (own_folders / "sheet.md").read_text() == copied
        await save(there)
        assert there.read_text() == "mine"
        for wrong in (own_folders / "no" / "such" / "folder.md", there / "below-a-file.md", own_folders):
            await save(wrong)
            assert hands.name == "Paper"
        assert len(hands.app._notifications) >= 4, "each failure and each success was told"
        await hands.press("e", "escape", "escape")
        assert hands.name == "BenchScreen"

    work(doing, *TO_BAR)


def test_the_sheet_says_what_the_bike_is(own_folders):
    """Its own facts apart from its history and the conditions, as text: CommonMark (0.31, 2024) reads no mark in them.

    What was not told is not there, and neither is a heading with nothing under it.
    """
    words = "a disc, `not` *a* drum; [see](x) <b>there</b>"
    (own_folders / "small.yaml").write_text(SMALL.replace("disc: a disc", f"disc: {json.dumps(words)}"))
    kb = open_knowledge(own_folders / "small.yaml")
    squeals = (Complaint(text="x"), Answer(finding="squeal", grade="loud", complaint=True))

    def shown(*told):
        tokens = MarkdownIt().parse(sheet("A case", Adviser(kb).assess((*squeals, *told))))
        assert all(c.type in ("text", "softbreak") for token in tokens for c in token.children or ())
        return ["".join(c.content for c in token.children) for token in tokens if token.type == "inline"]

    kind, weather = Context(fact="kind", value="disc"), Context(fact="weather", value="wet")
    assert shown(kind, weather)[1:6] == [
        "The bike",
        f"What brake is it? {words}",
        "Its history, and the conditions",
        "Was it wet? wet",
        "Found",
    ]
    assert shown(weather)[1] == "Its history, and the conditions"
    assert shown()[1] == "Found"


def test_the_sheet_says_of_a_fix_that_it_did_not_help(own_folders):
    """What was looked at again and still there stands behind the fix, and only behind that one."""
    (own_folders / "small.yaml").write_text(SMALL)
    kb = open_knowledge(own_folders / "small.yaml")
    told = (
        Answer(finding="squeal", grade="loud", complaint=True),
        FixDone(fix="rub-pads"),
        Answer(finding="squeal", grade="some"),
        FixDone(fix="new-pads"),
        Answer(finding="squeal", grade="none"),
    )
    lines = list(summary(Adviser(kb).assess(told)))
    assert [line for line in lines if "still there" in line] == [
        f"  - {kb.name_of('rub-pads')} (still there after it: {kb.findings['squeal'].ask})"
    ]


def test_a_note_is_kept_and_changes_nothing_else():
    """A note goes into the case as it was typed; Escape keeps none, and neither does an empty line."""

    async def doing(hands):
        question = words_of(hands, "#question")
        await hands.press("m")
        await hands.paste("wet all week")
        await hands.press("enter")
        assert hands.events[-1] == Note(text="wet all week")
        count = len(hands.events)
        await hands.press("m", "enter", "m", "x", "escape")
        assert len(hands.events) == count
        assert hands.name == "BenchScreen"
        assert words_of(hands, "#question") == question

    work(doing, *TO_BAR)


def test_a_folder_that_cannot_be_written_is_told_and_the_case_goes_on(own_folders):
    """Where there is a file in place of the folder, saving fails: it is said, the state shows it, nothing stops."""
    (own_folders / "data").write_text("a file")

    async def doing(hands):
        hands.app.begin(TO_BAR)
        await hands.settle()
        assert hands.name == "BenchScreen"
        assert "NOT SAVED" in words_of(hands, "#state")
        assert len(hands.app._notifications) == 1
        await hands.press("1", "1")
        assert len(hands.events) > len(TO_BAR)
        (own_folders / "data").unlink()
        await hands.press("1")
        assert "NOT SAVED" not in words_of(hands, "#state")
        assert read_case(hands.app.keeper.path, KB).events == hands.events

    work(doing)


# Stops

EVERYWHERE = {
    "bench": [],
    "fix": ["f"],
    "why": ["w"],
    "what if": ["i"],
    "answers": ["a"],
    "correct one": ["a", "down", "enter"],
    "cause": ["c", "enter"],
    "step": ["n", "enter"],
    "keys": ["question_mark"],
    "stops": ["exclamation_mark"],
    "sheet": ["x"],
    "save": ["x", "e"],
    "note": ["m"],
    "bikes": ["b"],
    "cases": ["o"],
    "lessons": ["l"],
    "knowledge": ["k"],
    "also": ["plus"],
    "palette": ["ctrl+p"],
    "sheet, palette": ["x", "ctrl+p"],
}


@pytest.mark.parametrize(
    ("size", "places"),
    [((80, 24), list(EVERYWHERE)), *(((w, h), ["fix", "why", "sheet", "palette"]) for w, h in [(60, 20), (120, 40)])],
    ids=["80x24", "60x20", "120x40"],
)
def test_a_stop_stands_on_every_screen(size, places):
    """Wherever one goes, at any size, the reason not to ride stays in words at the top of the screen.

    The knowledge says so: a lever that reaches the bar stops the ride.
    """

    async def doing(hands):
        for where in places:
            await hands.press(*EVERYWHERE[where])
            top = " ".join(" ".join(hands.rows()[:4]).split())
            assert "STOP RIDING" in top, where
            assert "reaches the bar" in top, where
            line = hands.app.screen.query_one(StopLine)
            assert line.display, where
            assert line.region.height > 0, where
            while hands.name != "BenchScreen":
                before = hands.app.screen
                await hands.press("escape")
                assert hands.app.screen is not before or hands.name == "OpeningScreen", where

    work(doing, *TO_BAR, size=size)


def test_where_nothing_stops_the_ride_there_is_no_stop_line():
    """A creak does not stop anyone from riding: the line takes no room."""

    async def doing(hands):
        assert not hands.app.screen.query_one(StopLine).display
        assert "STOP RIDING" not in hands.text()

    work(doing, *CREAK)


def test_a_stop_goes_when_its_check_clears_it_and_not_before():
    """Only the check that the rule names takes the line away; a fix alone does not."""

    async def doing(hands):
        [stop] = hands.app.keeper.assessment.standing_stops
        await hands.press("f", "1")
        assert hands.shows_stop()
        checks = [Answer(finding=f, grade=KB.grades(f)[0]) for f in KB.entries.checks[stop.until].settles]
        hands.app.begin(checks)
        await hands.settle()
        assert not hands.app.keeper.assessment.standing_stops
        assert "reaches the bar" not in hands.text()

    work(doing, *TO_BAR)


def test_several_stops_are_counted_and_listed():
    """Two reasons not to ride: the line names one and how many more, the sheet of stops holds both."""

    async def doing(hands):
        assert len(hands.app.stops) > 1
        assert f"{len(hands.app.stops) - 1} more" in hands.text()
        await hands.press("exclamation_mark")
        assert hands.name == "Sheet"
        for stop in hands.app.keeper.assessment.standing_stops:
            assert stop.because.split(".")[0] in hands.text()

    work(doing, *TO_BAR, Answer(finding="crank-rocks", grade="yes"), size=(120, 40))


# Cases


def test_a_case_goes_on_where_it_was(own_folders):
    """`case=` shows the same question again, with its stop; new answers go into the same file."""
    path = own_folders / "mine.yaml"
    asked = []

    async def first(hands):
        hands.app.begin(TO_BAR)
        await hands.settle()
        await hands.press("1")
        asked.append(words_of(hands, "#question"))

    async def second(hands):
        assert words_of(hands, "#question") == asked[0]
        assert hands.shows_stop()
        before = list(hands.events)
        await hands.press("1")
        assert read_case(path, KB).events[:-1] == before

    work(first, case=path)
    assert path.exists()
    work(second, case=path)
    assert not cases_folder().exists()


def test_a_walkthrough_is_not_written_over(own_folders):
    """A case with a known answer is gone on with under a new name."""
    path = own_folders / "known.yaml"
    text = (
        "symptomtree-case: 1\ntitle: known\nevents:\n- {kind: answer, finding: lever-travel, grade: to-bar}\n"
        "known: {cause: pistons-not-followed}\n"
    )
    path.write_text(text)

    async def doing(hands):
        await hands.press("1")
        assert hands.app.keeper.path.parent == cases_folder()

    work(doing, case=path)
    assert path.read_text() == text


@pytest.mark.parametrize(
    "text",
    [
        "symptomtree-case: 1\nevents: [{kind: answer, finding: brake-nois",
        "symptomtree-case: 1\ntitle: x\nevents:\n- {kind: answer, finding: brake-nois, grade: howl}\n",
        "[]",
        "\x00\x01",
    ],
)
def test_an_unreadable_case_is_one_message(own_folders, text):
    """Damaged, or about what the knowledge does not have: the application does not open, and says where."""
    path = own_folders / "broken.yaml"
    path.write_text(text)
    with pytest.raises(BadCase, match=r"broken\.yaml"):
        SymptomtreeApp(kb=KB, case=path)


def test_the_cases_are_listed_and_taken_up():
    """Newest first; one is gone on with, a damaged one is told and left alone, and a new one can begin."""
    folder = cases_folder()
    folder.mkdir(parents=True)
    write_case(folder / "2020-01-01-000000.yaml", case_of(*CREAK))
    (folder / "2020-01-02-000000.yaml").write_text("symptomtree-case: 1\ntitle: [damaged\n")

    async def doing(hands):
        await hands.press("o")
        listed = hands.app.screen.query_one(OptionList)
        lines = [str(o.prompt) for o in listed.options]
        assert len(lines) == 3
        listed.highlighted = next(n for n, line in enumerate(lines) if "damaged" in line)
        await hands.press("enter")
        assert hands.name == "Paper"
        assert "2020-01-02-000000.yaml" in "".join(hands.rows())
        await hands.press("escape")
        listed.highlighted = next(n for n, line in enumerate(lines) if line.startswith("2020-01-01"))
        await hands.press("enter")
        assert hands.name == "BenchScreen"
        assert hands.events == list(CREAK)
        assert not hands.app.stops, "the stop was the other case's"
        await hands.press("o", "plus")
        assert hands.name == "OpeningScreen"
        await hands.paste("brake howls")
        await hands.press("enter", "down", "space", "g")
        assert hands.events == [Complaint(text="brake howls"), HOWL]
        assert len(list(folder.glob("*.yaml"))) == 4

    work(doing, *TO_BAR)


# Lessons


def test_a_cause_named_before_the_proof_is_told_why_that_is_too_early():
    """What ends the lesson says first what keeps the bike from being proven, as the lessons in plain lines do."""

    async def doing(hands):
        await hands.press("escape", "l", *["down"] * 3, "enter")
        assert hands.name == "LessonScreen"
        cause = hands.app.screen.way.lesson.cause
        await hands.press("v")
        await hands.paste(KB.name_of(cause))
        await hands.press("enter")
        assert "not all is right" in hands.text()

    work(doing)


def test_where_no_lesson_fits_it_is_told_and_a_bike_can_be_drawn(own_folders):
    """One's own knowledge, which the walkthroughs that ship know nothing of: the line that draws one still works."""
    (own_folders / "small.yaml").write_text(SMALL)

    async def doing(hands):
        await hands.press("escape", "l", "enter")
        assert hands.name == "LessonsScreen"
        [told] = hands.app._notifications
        assert "none that ships fits" in told.message
        assert DRAWN in told.message
        await hands.press("down", "enter")
        assert hands.name == "LessonScreen"

    work(doing, kb=open_knowledge(own_folders / "small.yaml"))


# One's own keys, looks, sizes


def keys_file(text):
    keys_path().parent.mkdir(parents=True)
    keys_path().write_bytes(text if isinstance(text, bytes) else text.encode())


def test_own_keys_take_the_place_of_ours():
    """A file of keys moves undo to another key; the old key does nothing then, and the list of keys knows it."""
    keys_file("undo: f6\nunsure: f5\n")

    async def doing(hands):
        await hands.press("f5")
        assert hands.events[-1] == Unsure(about="brake-type")
        count = len(hands.events)
        await hands.press("z")
        assert len(hands.events) == count
        await hands.press("f6")
        assert hands.events[-1] == Correction(number=count)
        await hands.press("question_mark")
        assert re.search(r"\bf6 +Undo", "\n".join(hands.rows()))

    work(doing, *TO_BAR[:2], size=(120, 40))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("udno: b\n", "udno"),
        ("undo: u\n", "'u'"),
        ("undo: f6\nwhy: f6\n", "'f6'"),
        ("undo: [b\n", "keys.yaml"),
        ("- b\n", "keys.yaml"),
        ("undo: 5\n", "undo"),
        ("undo: ''\n", "keys.yaml:1:7"),
        ("undo: f6\nfix: f6\n", "keys.yaml:2:1"),
        (b"undo: \xff\n", "keys.yaml"),
        ("", "keys.yaml"),
    ],
)
def test_keys_that_cannot_be_are_one_message(text, said):
    """Unknown names, one key for two things, broken YAML and odd bytes: told with the file's name, no application."""
    keys_file(text)
    with pytest.raises(BadKeys, match=re.escape(said)) as told:
        SymptomtreeApp(kb=KB)
    assert "keys.yaml" in str(told.value)


def test_the_way_back_to_a_case_can_be_pasted(monkeypatch, capsys):
    """On leaving, the command that goes on is one that a shell reads, whatever the file is called."""
    monkeypatch.setattr(SymptomtreeApp, "run", lambda app, **_: setattr(app, "left", "my cases/it's; rm.yaml"))
    assert open_app(None, None, "new-mechanic", "dark", True) == 0
    command = capsys.readouterr().out.partition(": ")[2]
    assert shlex.split(command) == ["symptomtree", "--case", "my cases/it's; rm.yaml"]


def test_the_look_changes_with_a_key_and_from_the_palette():
    """Each look comes in turn and the screen says the same in all of them."""

    async def doing(hands):
        said = hands.rows()
        seen = [hands.app.theme]
        for _ in THEMES:
            await hands.press("t")
            seen.append(hands.app.theme)
            assert hands.rows() == said
        assert set(seen) == set(THEMES)
        assert seen[0] == seen[-1]
        await hands.press("ctrl+p")
        await hands.paste("light")
        await hands.pilot.pause(0.5)
        await hands.press("enter")
        await hands.pilot.pause(0.2)
        assert hands.app.theme == "light"

    work(doing, *TO_BAR)


@pytest.mark.parametrize(("words", "done"), [("sheet", "Paper"), ("why this", "Sheet"), ("lessons", "LessonsScreen")])
def test_the_palette_finds_what_the_screens_own_keys_do(words, done):
    """On the bench the palette knows the bench's keys by their names, and what can be gone to from everywhere."""

    async def doing(hands):
        await hands.press("ctrl+p")
        await hands.paste(words)
        await hands.pilot.pause(0.5)
        await hands.press("enter")
        await hands.pilot.pause(0.2)
        assert hands.name == done

    work(doing, *TO_BAR)


def test_resizing_during_a_case_loses_nothing():
    """From wide to tiny and back, on the bench, at a sheet and on the opening: the answer can be given at each size."""

    async def doing(hands):
        for width, height in [(60, 20), (120, 40), (20, 8), (80, 24)]:
            await hands.resize(width, height)
            assert "STOP RIDING" in hands.text()
            count = len(hands.events)
            await hands.press("u")
            assert len(hands.events) > count
        await hands.press("w")
        await hands.resize(40, 12)
        await hands.press("escape", "plus")
        await hands.resize(120, 40)
        assert hands.name == "OpeningScreen"
        await hands.press("escape", "escape")
        assert hands.name == "BenchScreen"

    work(doing, *TO_BAR)


@pytest.mark.parametrize("size", SIZES)
def test_the_question_and_an_answer_are_always_in_sight(size):
    """However long the instructions are, the question and the first answer stand on the screen."""

    async def doing(hands):
        for _ in range(4):
            shown = "\n".join(hands.rows())
            for word in words_of(hands, "#question").split()[:3]:
                assert word in shown
            assert hands.lines("#choices")[0].split()[1] in shown
            assert hands.app.screen.query_one("#choices").region.height > 0
            await hands.press("u")
        await hands.press("f")
        assert "When it is done" in hands.text()
        assert any(re.search(r"1 +done", row) for row in hands.rows())

    work(doing, *TO_BAR, size=size)


# Text is text

HOSTILE = "[red]brake[/red] howls [/b] [@click=app.quit]x[/] [ {0} %s <b> `reboot` " + "w" * 500
OBEYED = " \x1b[31m\x1b]0;title\x07 \x00 \x7f \u202e\u2066\u200f"
"""What a terminal obeys, or what turns the writing."""


def test_text_is_shown_as_text():
    """Whatever stands in a complaint and a note is neither markup nor obeyed, and breaks no screen."""

    async def doing(hands):
        await hands.paste(HOSTILE + OBEYED)
        await hands.press("enter", "down", "space", "g")
        assert hands.name == "BenchScreen"
        assert hands.events[0] == Complaint(text=HOSTILE)
        await tour(hands)

    work(doing)


def test_text_of_a_case_file_is_shown_as_text():
    """The same from a case that someone else wrote."""

    async def doing(hands):
        assert hands.events[0] == Complaint(text=HOSTILE)
        await tour(hands)

    work(doing, Complaint(text=HOSTILE), *TO_BAR[1:], Note(text=HOSTILE))


async def tour(hands):
    await hands.press("m")
    await hands.paste(HOSTILE + OBEYED)
    await hands.press("enter")
    assert hands.events[-1] == Note(text=HOSTILE)
    for key in ("a", "x", "o"):
        await hands.press(key)
        shown = "".join(hands.rows())
        assert not set(shown) & set("\x1b\x07\x00\x7f\u202e\u2066\u200f")
        if key == "a":
            assert "[red]brake[/red] howls [/b] [@click" in shown
        await hands.press("escape")
        assert hands.name == "BenchScreen"
