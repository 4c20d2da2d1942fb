"""The full-screen application: a case worked by keys, mouse and pasted words, at several sizes."""

import asyncio

import pytest
from textual.widgets import Input, OptionList

from symptomtree.cases.files import read_case
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
from symptomtree.plain.card import card_of
from symptomtree.plain.keeper import cases_folder
from symptomtree.reasoning.turn import Turn
from symptomtree.terminal.bicycle import AREAS, LARGE, SMALL, Bicycle
from symptomtree.terminal.keys import KEYS
from symptomtree.terminal.parts import KeyLine
from tests.bench_hands import ADVISER, HOWL, KB, SIZES, at_pad_lining, words_of, work
from tests.hands import CREAK, TO_BAR

pytestmark = pytest.mark.usefixtures("own_folders")

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


@pytest.mark.parametrize("drawing", [LARGE, SMALL], ids=["large", "small"])
def test_each_area_has_a_place_on_each_drawing(drawing):
    """Every sign has its letter, and no row is longer than another."""
    assert len({len(row) for row in (*drawing.picture, *drawing.mask)}) == 1
    assert len(drawing.picture) == len(drawing.mask)
    assert set("".join(drawing.mask)) == {" ", *AREAS}


@pytest.mark.parametrize("size", [*SIZES, (80, 20)])
@pytest.mark.parametrize("by", ["keys", "mouse"])
def test_the_drawing_shows_what_can_be_noticed_there(by, size):
    """The brakes are chosen on the drawing by arrows or by a click: what a rider notices of a brake can be ticked."""

    async def doing(hands):
        if by == "keys":
            hands.app.screen.query_one(Bicycle).focus()
            await hands.press("right", "right", "enter")
        else:
            mask = (SMALL if size[0] < 76 or size[1] < 22 else LARGE).mask
            row = next(n for n, line in enumerate(mask) if "kk" in line)
            await hands.click(Bicycle, (1 + mask[row].index("kk"), row))
        assert hands.lines("#found")
        assert all("(brakes)" in line for line in hands.lines("#found"))
        await hands.press("down", "space", "g")
        assert hands.name == "BenchScreen"
        [answer] = hands.events
        assert answer.complaint
        assert "brake" in KB.entries.symptoms[answer.finding].part

    work(doing, size=size)


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


def test_no_key_is_cut_off_at_the_edge():
    """Narrow or wide, and after a change of size, the last key that is shown has its whole name."""

    async def doing(hands):
        names = [label for _, label, _ in KEYS.values()]
        for width in (60, 80, 97, 120, 70):
            await hands.pilot.resize_terminal(width, 24)
            await hands.settle()
            line = hands.rows()[-1].rstrip()
            assert any(line.endswith(f" {name}") for name in names), line
            assert len(line) > width - 24, "as many as have room"

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


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("keys", [(), ("tab",)], ids=["at the answers", "elsewhere"])
def test_a_reading_is_pasted_wherever_one_is(size, keys):
    """As copied from elsewhere, with its line's end; the field need not have the focus."""

    async def doing(hands):
        await hands.press(*keys)
        await hands.paste("1.6 mm\n")
        assert hands.app.screen.query_one("#reading", Input).value == "1.6 mm"
        await hands.press("enter")
        assert hands.events[-1] == Reading(finding="pad-lining", value=1.6)

    work(doing, *at_pad_lining(), size=size)


def test_a_paste_where_no_number_is_asked_for_changes_nothing():
    """Not even when it is an answer's number."""

    async def doing(hands):
        before = list(hands.events)
        await hands.paste("1\n")
        assert hands.events == before

    work(doing, *TO_BAR[:2])


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


def test_an_answer_keeps_its_number():
    """Putting one right, or taking one back, moves no other; what is answered after that takes the next number."""

    async def doing(hands):
        async def listed():
            await hands.press("a")
            lines = {line.partition(". ")[0]: line.partition(". ")[2] for line in hands.lines("OptionList")}
            await hands.press("escape")
            return lines

        first = await listed()
        assert list(first) == ["1", "2", "3"]
        await hands.press("a", "down", "enter")
        await hands.choose_in_sheet(KB.findings["lever-travel"].grades["long"])
        assert list(await listed()) == ["1", "2", "3"]
        await hands.press("u")
        more = await listed()
        assert list(more) == ["1", "2", "3", "4"]
        await hands.press("a", "down", "down", "enter", "end", "enter")
        assert await listed() == {n: line for n, line in more.items() if n != "3"}
        await hands.press("u")
        assert list(await listed()) == ["1", "2", "4", "5"]

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
        assert "a new case" in words_of(hands, "#about"), "and what can be done now is said"
        assert not words_of(hands, "#steps"), "what is in order is not handed over"
        await hands.press("1")
        assert "a new case" in words_of(hands, "#told")
        assert "not been asked" not in words_of(hands, "#about")

    work(doing, *CREAK, *([besides] if besides else []))


@pytest.mark.parametrize("size", SIZES)
def test_that_there_is_more_to_read_is_said(size):
    """Where cautions and steps have no room on the screen, it says which key shows the rest; else it says nothing."""

    async def doing(hands):
        a, screen = hands.app.keeper.assessment, hands.app.screen
        for turn in (Turn("fix", "brake-bleed"), Turn("retest", "brake-noise", ("brake-noise",))):
            screen.refresh_case(card_of(a, turn))
            await hands.settle()
            await hands.pilot.pause(0.1)
            more = bool(screen.query_one("#read").max_scroll_y)
            assert more or turn.name != "brake-bleed"
            assert any("Page Down" in row for row in hands.rows()) == more
        await hands.pilot.resize_terminal(200, 60)
        await hands.pilot.pause(0.1)
        assert not any("Page Down" in row for row in hands.rows())

    work(doing, HOWL, size=size)


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


def test_a_retest_says_what_was_done_and_what_it_was_like_and_what_it_came_to():
    """Who comes back from the ride sees the work and the earlier answer; still there, it is said that it goes on."""

    async def doing(hands):
        keeper = hands.app.keeper
        await hands.press("f")
        fix = keeper.assessment.fixes[0].fix
        await hands.choose("done")
        while keeper.assessment.due and words_of(hands, "#question") != KB.findings["creak-pedalling"].ask:
            await hands.press("1")
        about = words_of(hands, "#about")
        assert f"The work was: {KB.name_of(fix)}." in about
        before = KB.findings["creak-pedalling"].grades[CREAK[-1].grade]
        assert f"Before it: {KB.findings['creak-pedalling'].ask} {before}" in about
        await hands.press("2")
        while keeper.assessment.stage == "retest":
            await hands.press("1")
        assert keeper.assessment.stage == "search"
        assert words_of(hands, "#told") == "It is not all gone, so the search goes on."
        await hands.press("1")
        assert not hands.app.screen.query_one("#told").display

    work(doing, *CREAK)


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
