"""Measuring in the full-screen application: from the bench and from the list, typed, tapped, clicked and refused."""

from threading import Event

import pytest
from textual.containers import VerticalScroll
from textual.widgets import Input, OptionList

from symptomtree.cases.bikes import bikes_folder, read_bikes
from symptomtree.cases.files import read_case
from symptomtree.cases.model import Answer, Complaint, Context, Measured, Reading
from symptomtree.measuring.bracketing.log import parse_log
from symptomtree.measuring.noise.tones import SQUEAL
from symptomtree.measuring.tool import work as work_out
from symptomtree.measuring.tools import names, tool_named
from symptomtree.plain.card import card_of
from symptomtree.plain.measure import MOST_CHOICES, events_of
from symptomtree.reasoning.turn import Turn, next_turn
from symptomtree.terminal.measure import FormScreen
from tests.bench_hands import KB, words_of, work
from tests.hands import CREAK

pytestmark = pytest.mark.usefixtures("own_folders")
TEN = Context(fact="sprocket-count", value="up-to-ten")
SKIPS = (
    Complaint(text="the chain skips"),
    Answer(finding="skips", grade="hard", complaint=True),
    Context(fact="gears", value="derailleur"),
    TEN,
)


async def at_chain(hands):
    """Put the chain's wear on the bench."""
    hands.app.begin((*CREAK, TEN))
    await hands.settle()
    a = hands.app.keeper.assessment
    check = KB.settled_by["chain-wear-ten"]
    hands.app.screen.refresh_case(card_of(a, Turn("retest", check, ("chain-wear-ten",))))
    await hands.settle()


async def fill(hands, field, words):
    box = hands.app.screen.query_one(f"#{field}", Input)
    box.focus()
    box.value = words
    await hands.pilot.pause(0.2)
    await hands.settle()


def test_what_is_asked_is_worked_out_and_taken_as_the_answer():
    """What was filled in stands in the case, and the number becomes a reading with its uncertainty."""

    async def doing(hands):
        await at_chain(hands)
        assert "r works it out" in words_of(hands, "#question")
        await hands.press("r")
        assert hands.name == "FormScreen"
        await fill(hands, "length", "307.2 mm")
        assert "longer than new" in hands.text()
        await hands.choose_at("#then", "Take it as the answer")
        assert hands.name == "BenchScreen"
        measured, reading = hands.events[-2:]
        assert isinstance(measured, Measured)
        assert (measured.tool, measured.given["length"]) == ("chain-wear", "307.2 mm")
        assert isinstance(reading, Reading)
        assert reading.finding == "chain-wear-ten"
        assert reading.value == pytest.approx((307.2 / 304.8 - 1) * 100)
        assert 0 < reading.error < 0.3
        assert read_case(hands.app.keeper.path, KB).events == hands.events
        await hands.press("z")
        assert not [e for e in hands.counts() if isinstance(e, (Measured, Reading))]

    work(doing)


@pytest.mark.parametrize("typed", ["much", "-3", "30 psi", "[bold]306[/bold]", "\x1b[31m9"])
def test_what_cannot_be_is_told_beside_the_form_and_nothing_is_offered(typed):
    async def doing(hands):
        await at_chain(hands)
        await hands.press("r")
        await fill(hands, "length", typed)
        assert "Length" in hands.text()
        assert "Take it" not in hands.text()
        assert "\x1b" not in hands.text()
        await hands.press("escape")
        assert hands.name == "BenchScreen"
        assert not [e for e in hands.events if isinstance(e, Measured)]

    work(doing)


def test_many_choices_are_listed_when_asked_for():
    """Enter in an empty field lists them, what was typed narrows them down, and the one chosen stands in the field."""
    tool = tool_named("torque")
    field = next(f for f in tool.fields if len(f.choices) > MOST_CHOICES)
    wanted = list(field.choices)[-1]

    async def doing(hands):
        hands.app.push_screen(FormScreen(tool))
        await hands.settle()
        hands.app.screen.query_one(f"#{field.name}", Input).focus()
        await hands.press("enter")
        assert hands.name == "Sheet"
        assert len(hands.lines("OptionList")) == len(field.choices)
        await hands.press("escape", *wanted[:6], "enter")
        if hands.name == "Sheet":
            await hands.choose_in_sheet(wanted)
        assert hands.app.screen.query_one(f"#{field.name}", Input).value == wanted

    work(doing)


def test_a_log_is_kept_and_the_next_run_is_added(tmp_path):
    """It is written to a file, and the form goes on from there: only the next run is typed."""
    file = tmp_path / "trail.yaml"

    async def doing(hands):
        hands.app.push_screen(FormScreen(tool_named("bracketing")))
        await hands.settle()
        await fill(hands, "dials", "rebound 0-14 start 7")
        await fill(hands, "runs", "start = 6")
        await hands.choose_at("#then", "Keep the log")
        box = hands.app.screen.query_one(Input)
        box.value = str(file)
        await hands.press("enter")
        assert hands.app.screen.query_one("#log", Input).value == str(file)
        assert not hands.app.screen.query_one("#runs", Input).value
        await fill(hands, "runs", "rebound 5 = 7.5")
        hands.app.screen.query_one("#runs", Input).focus()
        await hands.press("enter")
        await worked_out(hands)
        await hands.choose_at("#then", "Keep the log")
        await hands.press("enter")
        assert len(parse_log(file.read_text()).runs) == 2

    work(doing)


async def worked_out(hands):
    """Wait for what is worked out beside the screen."""
    await hands.app.workers.wait_for_complete()
    await hands.settle()


def test_a_recording_is_worked_out_beside_the_screen(monkeypatch):
    """It is said that it takes a while, keys go on, and what is filled in meanwhile makes the result stale."""
    go_on = Event()

    def slowly(tool, typed):
        go_on.wait(10)
        return work_out(tool, typed)

    monkeypatch.setattr("symptomtree.terminal.measure.work", slowly)

    async def doing(hands):
        screen = FormScreen(tool_named("squeal-tone"))
        go_on.set()
        hands.app.push_screen(screen)
        await hands.settle()
        await fill(hands, "recording", str(SQUEAL))
        assert "Enter works it out" in hands.text()
        go_on.clear()
        await hands.press("enter")
        assert "Working it out" in hands.text()
        await hands.press("2", "0")
        assert screen.query_one("#speed-before", Input).value == "20"
        assert "Enter works it out" in hands.text()
        go_on.set()
        await worked_out(hands)
        assert not screen._result
        await fill(hands, "speed-after", "12")
        await hands.press("enter")
        await worked_out(hands)
        assert screen._result.value("follows-speed")
        assert hands.app.screen.focused is screen.query_one("#then", OptionList)
        await fill(hands, "speed-after", "")
        await hands.press("enter")
        await worked_out(hands)
        assert "Speed-after is missing" in hands.text()

    work(doing)


def test_a_tool_from_the_list_writes_into_the_case():
    async def doing(hands):
        hands.app.begin(CREAK)
        await hands.settle()
        hands.app.action_measure()
        await hands.settle()
        assert hands.name == "ToolsScreen"
        titles = hands.lines("OptionList")
        assert len(titles) > len(names())
        while "Chain wear" not in titles[hands.app.screen.query_one(OptionList).highlighted]:
            await hands.press("down")
        await hands.press("enter")
        await fill(hands, "length", "12 1/16 in")
        await hands.choose_at("#then", "Write it down")
        assert isinstance(hands.events[-1], Measured)
        assert hands.app.keeper.assessment.state.seen.keys() == {"creak-pedalling"}

    work(doing)


def test_what_was_measured_from_the_list_answers_what_would_still_be_asked():
    """Who measures before being asked is not asked again: it counts at once, and the bench goes on from there."""

    async def doing(hands):
        hands.app.begin(SKIPS)
        await hands.settle()
        assert not hands.app.screen._card.measures, "something else is asked"
        await hands.press("r")
        await hands.choose_at("OptionList", "Chain wear")
        await fill(hands, "length", "308.2")
        await hands.choose_at("#then", KB.findings["chain-wear-ten"].ask[:40])
        assert hands.name == "BenchScreen"
        assert [type(e) for e in hands.events[-2:]] == [Measured, Reading]
        a = hands.app.keeper.assessment
        assert a.state.grade("chain-wear-ten") == "far"
        assert words_of(hands, "#question") == card_of(a, next_turn(a)).question

    work(doing)


def test_the_keys_lead_from_field_to_field_and_to_what_can_be_done():
    async def doing(hands):
        await at_chain(hands)
        await hands.press("r", *"306.9", "enter")
        while hands.app.focused.id != "then":
            await hands.press("enter")
        await hands.press("enter")
        assert isinstance(hands.events[-1], Reading)

    work(doing)


@pytest.mark.parametrize("part", range(3))
def test_every_form_works_its_example_out(part):
    """In each of three sizes a third of the tools: its picture stands whole on the screen."""
    sizes = [(60, 20), (80, 24), (130, 40)]

    async def doing(hands):
        for name in names()[part::3]:
            tool = tool_named(name)
            if any(f.kind == "file" and tool.example.get(f.name) for f in tool.fields):
                continue
            hands.app.push_screen(FormScreen(tool))
            await hands.settle()
            for field, words in tool.example.items():
                hands.app.screen.query_one(f"#{field}", Input).value = words
            hands.app.screen._work_out()
            await hands.settle()
            assert hands.app.screen._result, name
            can = [o.id for o in hands.app.screen.query_one("#then", OptionList).options]
            result = hands.app.screen._result
            assert can == [*["log"] * bool(result.log), *["picture"] * bool(result.picture), "sources"]
            if "picture" in can:
                await hands.choose_at("#then", "picture")
                assert hands.name == "Paper"
                assert not hands.app.screen.query_one(VerticalScroll).show_vertical_scrollbar
                await hands.press("escape")
            await hands.press("escape")

    work(doing, size=sizes[part])


def test_a_bikes_figures_are_typed_once():
    """What stays true of a bike stands in the next form, in the bike's file, and in the next case; readings do not."""
    tool = next(t for t in map(tool_named, names()) if any(f.lasting for f in t.fields))
    given = dict(tool.example)
    lasting = {f.name: given[f.name] for f in tool.fields if f.lasting and given.get(f.name)}
    now = [f.name for f in tool.fields if not f.lasting and given.get(f.name) and not f.usual]

    async def first(hands):
        hands.app.begin((*CREAK, *events_of(KB, None, work_out(tool, given))))
        await hands.settle()
        await hands.press("b")
        await hands.paste("the red one")
        await hands.press("enter")
        assert [b.figures for b in read_bikes(bikes_folder())[0]] == [lasting]

    async def then(hands):
        hands.app.bike = read_bikes(bikes_folder())[0][0]
        await hands.paste("a creak on every hill")
        await hands.press("enter", "down", "space", "g")
        hands.app.push_screen(FormScreen(tool))
        await hands.settle()
        shown = {i.id: i.value for i in hands.app.screen.query(Input)}
        assert shown.items() >= lasting.items()
        assert not any(shown[name] for name in now)

    work(first)
    work(then)


def test_an_empty_form_is_left_by_no_letter():
    """Before there is a result, going through the fields leads to fields only: a letter is never a key that leaves."""

    async def doing(hands):
        hands.app.push_screen(FormScreen(tool_named("chain-wear")))
        await hands.settle()
        for _ in range(len(hands.app.screen.query(Input)) + 1):
            await hands.press("shift+tab")
            assert isinstance(hands.app.focused, Input)

    work(doing)


@pytest.mark.parametrize("size", [(60, 20), (130, 40)])
def test_the_field_that_is_filled_in_stays_in_sight(size):
    """Arrows go from field to field, and neither a result nor a message takes the field off the screen."""

    async def doing(hands):
        hands.app.push_screen(FormScreen(tool_named("chain-wear")))
        await hands.settle()
        fields = list(hands.app.screen.query(Input))
        await fill(hands, "length", "306.5")
        fields[0].focus()
        await hands.pilot.pause(0.2)
        for field in fields[1:]:
            await hands.press("down")
            assert hands.app.focused is field
            await hands.pilot.pause(0.2)
            assert field.region in hands.app.screen.query_one("#form").region, field.id
        await hands.press("up")
        assert hands.app.focused is fields[-2]
        await fill(hands, "speeds", "x")
        await fill(hands, "speeds", "10")
        assert hands.app.screen._result
        await hands.pilot.pause(0.2)
        assert hands.app.screen.query_one("#then").size.height, "what can be done is offered again after a slip"
        assert hands.app.focused.region in hands.app.screen.query_one("#form").region

    work(doing, size=size)
