"""The full-screen application, worked by keys, mouse and pasted words: each way through a case, at several sizes."""

import asyncio
import re
import shlex
from functools import cache

import pytest
from textual.widgets import Input, OptionList, Static

from symptomtree.cases.files import BadCase, read_case, write_case
from symptomtree.cases.model import (
    BESIDES,
    Answer,
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
from symptomtree.plain.card import card_of
from symptomtree.plain.keeper import cases_folder
from symptomtree.reasoning.assess import Adviser
from symptomtree.reasoning.turn import Turn
from symptomtree.terminal.app import SymptomtreeApp, open_app
from symptomtree.terminal.bicycle import MASK, Bicycle
from symptomtree.terminal.keys import BadKeys, keys_path
from symptomtree.terminal.look import THEMES
from symptomtree.terminal.parts import KeyLine, StopLine
from tests.hands import CREAK, TO_BAR, at_work, case_of, draw_less

KB = open_knowledge()
ADVISER = Adviser(KB)

HOWL = Answer(finding="brake-noise", grade="howl", complaint=True)
SIZES = [(60, 20), (80, 24), (120, 40)]


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    """Nothing is read from or written to the folders of whoever runs the tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    draw_less(monkeypatch)
    return tmp_path


def work(doing, *told, size=(80, 24), **opened):
    """Work an application: a new case, or one of the user's folder in which things were told already."""

    async def run():
        app = SymptomtreeApp(kb=KB, **opened)
        app.adviser = ADVISER  # its rules are built once for all tests
        async with at_work(app, size) as hands:
            await doing(hands)

    if told:
        opened["case"] = cases_folder() / "told.yaml"
        opened["case"].parent.mkdir(parents=True, exist_ok=True)
        write_case(opened["case"], case_of(*told))
    asyncio.run(run())


@cache
def at_pad_lining():
    """Return what was told when the check that measures the pads comes next."""
    told = [Complaint(text="x"), HOWL, Context(fact="brake-type", value="hydraulic-disc")]
    while (step := ADVISER.assess(told).steps[0]).name != "look-at-pads-in-place":
        assert step.doing != "hand-over"
        told += [Unsure(about=step.name), *(Unsure(about=f) for f in step.settles)]
    return tuple(told)


def words_of(hands, where):
    return " ".join(str(hands.app.screen.query_one(where, Static).content).split())


# Saying what is wrong


def test_a_complaint_in_words_counts_as_far_as_it_is_ticked():
    """The words are kept as they were said; of what they may mean only the ticked line becomes evidence."""

    async def doing(hands):
        await hands.paste("my back brake howls and the lever comes to the bar")
        await hands.press("enter", "down", "down", "space")
        ticked = [line for line in hands.lines("#found") if line.startswith("[x]")]
        assert len(ticked) == 1
        await hands.press("g")
        assert hands.name == "BenchScreen"
        assert hands.events == [Complaint(text="my back brake howls and the lever comes to the bar"), HOWL]
        assert read_case(hands.app.keeper.path, KB).events == hands.events

    work(doing)


def test_nothing_ticked_goes_nowhere():
    """Without a tick there is no case and no file, whatever was typed; a tick taken back counts as none."""

    async def doing(hands):
        await hands.paste("brake howls")
        await hands.press("enter", "g")
        assert hands.name == "OpeningScreen"
        await hands.press("down", "space", "space", "g")
        assert hands.name == "OpeningScreen"
        assert not cases_folder().exists()
        await hands.press("escape", "escape")
        assert hands.name == "OpeningScreen"

    work(doing)


@pytest.mark.parametrize("by", ["keys", "mouse"])
def test_the_drawing_shows_what_can_be_noticed_there(by):
    """The brakes are chosen on the drawing by arrows or by a click: what a rider notices of a brake can be ticked."""

    async def doing(hands):
        if by == "keys":
            hands.app.screen.query_one(Bicycle).focus()
            await hands.press("right", "right", "enter")
        else:
            row = next(n for n, line in enumerate(MASK) if "kkk" in line)
            await hands.click(Bicycle, (1 + MASK[row].index("kkk"), row))
        assert hands.lines("#found")
        assert all("(brakes)" in line for line in hands.lines("#found"))
        await hands.press("down", "space", "g")
        assert hands.name == "BenchScreen"
        [answer] = hands.events
        assert answer.complaint
        assert "brake" in KB.entries.symptoms[answer.finding].part

    work(doing)


def test_two_grades_of_one_symptom_exclude_each_other():
    """Of a squeak and a howl the one that was ticked later stands, on the screen and in the case."""

    async def doing(hands):
        hands.app.screen.query_one(Bicycle).focus()
        await hands.press("right", "right", "enter")
        name = KB.name_of("brake-noise")
        places = [n for n, line in enumerate(hands.lines("#found")) if name in line]
        assert len(places) == len(KB.grades("brake-noise")) - 1 >= 2
        box = hands.app.screen.query_one("#found", OptionList)
        for place in (places[-1], places[0]):
            box.highlighted = place
            await hands.press("space")
        assert [line[:3] for n, line in enumerate(hands.lines("#found")) if n in places] == ["[x]", "[ ]"]
        await hands.press("g")
        assert hands.events == [Answer(finding="brake-noise", grade=KB.grades("brake-noise")[1], complaint=True)]

    work(doing)


def test_something_else_is_wrong_too():
    """`+` hears a second complaint of the same bike; Escape goes back without one."""

    async def doing(hands):
        before = list(hands.events)
        await hands.press("plus", "escape", "escape")
        assert hands.name == "BenchScreen"
        assert hands.events == before
        await hands.press("plus")
        await hands.paste("chain skips")
        await hands.press("enter", "down", "space", "g")
        assert hands.name == "BenchScreen"
        assert hands.events[: len(before)] == before
        assert hands.events[len(before)] == Complaint(text="chain skips")
        assert hands.events[-1].complaint

    work(doing, *TO_BAR)


# Answering


@pytest.mark.parametrize("by", ["digit", "arrows", "mouse"])
def test_an_answer_by_digit_by_arrows_and_by_mouse(by):
    """The second answer to 'which brake?' is the same however it is chosen, and it is on disk at once."""

    async def doing(hands):
        question = words_of(hands, "#question")
        if by == "digit":
            await hands.press("2")
        elif by == "arrows":
            await hands.press("down", "enter")
        else:
            box = hands.app.screen.query_one("#choices")
            first = hands.lines("#choices")[0]
            await hands.click("#choices", (2, -(-len(first) // box.content_size.width)))
        assert hands.events[-1] == Context(fact="brake-type", value=list(KB.entries.facts["brake-type"].values)[1])
        assert words_of(hands, "#question") != question
        assert read_case(hands.app.keeper.path, KB).events == hands.events

    work(doing, *TO_BAR[:2])


def test_the_keys_stand_in_one_line_and_can_be_clicked():
    """A click on a key does what the key does; the line follows where the focus is, and keeps to the screen."""

    async def doing(hands):
        await hands.press("1")
        before = len(hands.events)
        line = hands.rows()[-1]
        assert line.startswith(" ? Keys  u Not sure  s Leave out  z Undo")
        await hands.click(KeyLine, (line.index("Undo"), 0))
        assert len(hands.events) > before
        assert hands.counts() == list(TO_BAR)
        await hands.click(KeyLine, (line.index("Why"), 0))
        assert hands.name == "Sheet"
        assert hands.rows()[-1].lstrip().startswith("esc Back")
        await hands.press("escape")
        await hands.press("plus")  # in a field for words, letters are no keys
        assert "Undo" not in hands.rows()[-1]

    work(doing, *TO_BAR)


def test_what_the_answers_come_to_is_worked_out_while_nothing_is_pressed():
    """It is what would follow anyway, and it holds for the next answer only."""

    async def doing(hands):
        keeper, first = hands.app.keeper, hands.app.screen._card.choices[0].events
        for _ in range(100):
            await asyncio.sleep(0.05)
            if keeper.foresees(*first):
                break
        foreseen = keeper.after(*first)
        await hands.press("1")
        assert keeper.assessment is foreseen
        fresh = ADVISER.assess(keeper.events, hands.app.profile)
        assert (fresh.causes, fresh.steps, fresh.stops) == (foreseen.causes, foreseen.steps, foreseen.stops)
        assert not keeper.foresees(*first)

    work(doing, *TO_BAR)


def test_a_digit_without_an_answer_changes_nothing():
    """9 where there are three answers is said to be no answer."""

    async def doing(hands):
        before = list(hands.events)
        await hands.press("9")
        assert hands.events == before
        assert "9" in words_of(hands, "#told")

    work(doing, *TO_BAR[:2])


@pytest.mark.parametrize(
    ("typed", "value", "error"), [("1.6", 1.6, None), (",6 mm", 0.6, None), ("0.4 +- 0.1", 0.4, 0.1)]
)
def test_a_reading_is_typed_where_a_number_is_asked_for(typed, value, error):
    """The first sign begins the number; a unit, a comma and the gauge's own uncertainty are understood."""

    async def doing(hands):
        await hands.press(*typed[:3])
        await hands.paste(typed[3:])
        await hands.press("enter")
        assert hands.events[-1] == Reading(finding="pad-lining", value=value, error=error)

    work(doing, *at_pad_lining())


def test_a_reading_that_cannot_be_is_told_and_not_taken():
    """Another unit, a number out of its span and words are named; a look without a gauge still answers."""

    async def doing(hands):
        before = list(hands.events)
        field = hands.app.screen.query_one("#reading", Input)
        for typed, said in (("2 inch", "inch"), ("300", "300"), ("1e999", "1e999"), ("thin", "thin"), ("", "")):
            await hands.click("#reading")
            await hands.press("end", "ctrl+u")
            await hands.paste(typed)
            await hands.press("enter")
            assert hands.events == before, typed
            assert said in words_of(hands, "#told")
            assert hands.app.screen.query_one("#told").display
        field.clear()
        await hands.press("escape")
        await hands.choose("hardly any lining")
        assert hands.events[-1] == Answer(finding="pad-lining", grade="limit")

    work(doing, *at_pad_lining())


def test_not_sure_and_leaving_out_go_on_without():
    """Neither is asked again; a fix that is left out is written down as such and not proposed again."""

    async def doing(hands):
        asked = words_of(hands, "#question")
        await hands.press("u")
        assert hands.events[-1] == Unsure(about="brake-type")
        assert words_of(hands, "#question") != asked
        count = len(hands.events)
        await hands.press("s")
        assert all(isinstance(e, Unsure) for e in hands.events[count:])
        assert len(hands.events) > count
        await hands.press("f")
        fix = hands.app.keeper.assessment.fixes[0].fix
        await hands.press("u")
        assert not isinstance(hands.events[-1], LeftOut), "of a fix one cannot be unsure"
        await hands.press("s")
        assert hands.events[-1] == LeftOut(about=fix)

    work(doing, *TO_BAR[:2])


def test_undo_takes_everything_back_and_the_file_keeps_every_event():
    """Through answers, doubts, a fix and a note, back to what is wrong; nothing counts any more, nothing is lost."""

    async def doing(hands):
        await hands.press("1", "u", "2", "f", "1", "m")
        await hands.paste("wet all week")
        await hands.press("enter")
        assert any(isinstance(e, FixDone) for e in hands.events)
        told = list(hands.events)
        for _ in range(len(told)):
            if hands.name == "BenchScreen":
                await hands.press("z")
        assert hands.name == "OpeningScreen"
        assert hands.counts() == [TO_BAR[0], Note(text="wet all week")], "words alone are no evidence"
        assert not hands.app.stops
        saved = read_case(hands.app.keeper.path, KB).events
        assert saved[: len(told)] == told
        assert all(isinstance(e, Correction) for e in saved[len(told) :])
        await hands.paste("brake howls")
        await hands.press("enter", "down", "space", "g")
        assert hands.name == "BenchScreen"
        assert HOWL in hands.counts()

    work(doing, *TO_BAR[:2])


def test_an_answer_is_put_right_and_another_taken_back():
    """From the list of answers: another grade, another value, or as if it had never been said."""

    async def doing(hands):
        await hands.press("a", "down", "enter")
        await hands.choose_in_sheet(KB.findings["lever-travel"].grades["long"])
        assert hands.events[-1] == Correction(number=2, grade="long")
        assert not hands.app.stops, "the stop rested on that answer"
        await hands.press("a", "down", "down", "enter")
        await hands.choose_in_sheet(KB.entries.facts["brake-type"].values["rim"])
        assert hands.events[-1] == Correction(number=3, value="rim")
        await hands.press("a", "down", "down", "enter", "end", "enter")
        assert hands.events[-1] == Correction(number=3)
        assert hands.name == "BenchScreen"
        assert "brake-type" not in hands.app.keeper.assessment.facts

    work(doing, *TO_BAR)


# Asking back


def test_asking_back_changes_nothing():
    """Why, what if, why this cause, why not that step, the keys, the answers and the sheet tell, and write nothing."""

    async def doing(hands):
        before, saved = list(hands.events), hands.app.keeper.path.read_bytes()
        at = hands.app.keeper.assessment
        question = words_of(hands, "#question")
        for keys, shown in (("w", "Sheet"), ("i", "Sheet"), ("?", "Sheet"), ("x", "Paper"), ("a", "Sheet")):
            await hands.press(keys)
            assert hands.name == shown
            assert len(hands.text()) > 100
            await hands.press("escape")
            assert hands.name == "BenchScreen"
        for keys, shown in (("c", "Paper"), ("n", "Sheet")):
            await hands.press(keys, "enter")
            assert hands.name == shown
            await hands.press("escape", "escape")
        assert words_of(hands, "#question") == question
        assert hands.events == before
        assert hands.app.keeper.assessment is at
        assert hands.app.keeper.path.read_bytes() == saved

    work(doing, *TO_BAR)


def test_why_a_cause_tells_its_mechanism_its_evidence_and_its_odds():
    """The likeliest cause says how it works, what speaks for it, and its probability as the assessment has it."""

    async def doing(hands):
        first = hands.app.keeper.assessment.causes[0]
        await hands.press("c", "enter")
        said = hands.text()
        assert KB.name_of(first.cause) in said
        assert f"{first.probability:.0%}" in said
        assert " ".join(KB.entries.causes[first.cause].mechanism.split()[:5]) in said
        assert KB.findings["lever-travel"].ask in said

    work(doing, *TO_BAR, size=(120, 40))


def test_what_if_shows_each_answer_and_its_causes():
    """For each answer the likeliest causes stand as they would be after it."""

    async def doing(hands):
        a = hands.app.keeper.assessment
        then = ADVISER.assess((*a.events, Context(fact="brake-type", value="rim")), a.profile).causes[0]
        await hands.press("i")
        said = hands.text()
        assert KB.name_of(then.cause) in said
        assert f"{then.probability:.0%}" in said

    work(doing, *TO_BAR[:2], size=(120, 40))


# Fixing, proof, the end


def test_a_fix_that_does_not_help_and_one_that_does():
    """Steps are ticked off; a symptom that is still there after the fix keeps the search going, gone it closes the job.

    What came up besides is told before the end, and the job can be closed without it.
    """
    besides = Answer(finding="chain-looks", grade=KB.grades("chain-looks")[1]) if "chain-looks" in KB.findings else None

    async def doing(hands):
        keeper = hands.app.keeper
        await hands.press("f")
        fix = keeper.assessment.fixes[0].fix
        ticks = hands.app.screen.query_one("#ticks")
        ticks.focus()
        await hands.press("down", "space")
        assert sum(line.startswith("[x]") for line in hands.lines("#ticks")) == 1
        assert not any(isinstance(e, FixDone) for e in hands.events), "a ticked step is no finished fix"
        await hands.choose("done")
        assert hands.events[-1] == FixDone(fix=fix)
        assert keeper.assessment.stage == "retest"
        await retest(hands, still=True)
        assert keeper.assessment.stage == "search"
        assert hands.name == "BenchScreen"
        await hands.press("f", "1")
        await retest(hands, still=False)
        assert keeper.assessment.stage == "done"
        if besides:
            assert keeper.assessment.besides
            assert "came up" in words_of(hands, "#title")
            await hands.press("1")
            assert hands.events[-1] == LeftOut(about=BESIDES)
        assert not hands.lines("#choices"), "there is nothing left to answer"
        assert "not been asked" not in words_of(hands, "#about")

    work(doing, *CREAK, *([besides] if besides else []))


@pytest.mark.parametrize("size", SIZES)
def test_a_caution_is_seen_with_its_step_and_cannot_be_ticked(size):
    """Going down and up through the steps, each stands below its cautions, in sight; only steps are ticked."""

    async def doing(hands):
        a, screen = hands.app.keeper.assessment, hands.app.screen
        card = card_of(a, Turn("fix", "brake-bleed"))
        assert sum(bool(cautions) for cautions, _ in card.steps) > 1
        screen.refresh_case(card)
        await hands.settle()
        screen.query_one("#ticks").focus()
        count = len(card.steps)
        for key, n in [*(("down", n) for n in range(count)), *(("up", n) for n in range(count - 2, -1, -1))]:
            await hands.press(key)
            rows = [row.split("│")[0].strip() for row in hands.rows()]
            at = [y for y, row in enumerate(rows) if row.startswith(f"[ ] {n + 1}. ")]
            assert at, (key, n, rows)
            above = " ".join(rows[: at[0]])
            for caution in card.steps[n][0]:
                assert f"Caution: {' '.join(caution.split()[:3])}" in above, (key, n, rows)
        await hands.press(*["space", "down"] * count)
        lines = hands.lines("#ticks")
        assert [line[:6] for line in lines if line[0] == "["] == [f"[x] {n}." for n in range(1, count + 1)]
        told = [f"Caution: {caution}" for cautions, _ in card.steps for caution in cautions]
        assert [line for line in lines if line[0] != "["] == told
        for y, row in enumerate(hands.rows()):
            if row.startswith(" Caution:"):
                hands.send_click(3, y)
                await hands.settle()
        assert hands.lines("#ticks") == lines

    work(doing, HOWL, size=size)


async def retest(hands, still):
    """Answer what is due after a fix: the complaint as told, all else as it should be."""
    asks = {f.ask: name for name, f in KB.findings.items()}
    while hands.app.keeper.assessment.stage == "retest" or hands.app.keeper.assessment.follow:
        finding = asks.get(words_of(hands, "#question"))
        if finding is None:  # another fix pays first, or is due
            await hands.press("s")
            continue
        worst = still and finding == "creak-pedalling"
        await hands.choose(list(KB.findings[finding].grades.values())[1 if worst else 0])


def test_the_whole_case_is_worked_with_digits_and_ends():
    """Whatever is answered (always the first answer), a case comes to an end; then the sheet tells all of it."""

    async def doing(hands):
        for _ in range(80):
            if hands.name != "BenchScreen" or not hands.app.screen.query_one("#choices", OptionList).option_count:
                break
            if hands.app.screen.query_one("#reading").display:
                await hands.press("enter")
            else:
                await hands.press("1")
        if hands.name == "BenchScreen":
            await hands.press("x")
        assert hands.name == "Paper"
        assert "Found" in hands.text()
        assert read_case(hands.app.keeper.path, KB).events == hands.events

    work(doing, *CREAK)


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
