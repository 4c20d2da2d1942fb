"""The browser of the knowledge: reading, searching, following, and taking an edited file into use."""

import asyncio
import shutil

import pytest
from hands import Hands, at_work
from small_knowledge import HERE, SMALL, spoil
from textual.widgets import Input, OptionList, Static

from symptomtree.cases.files import as_yaml
from symptomtree.cases.model import Answer, Case, Context, Correction, FixDone, Known, Note
from symptomtree.cases.refit import refit
from symptomtree.kb.compile import open_knowledge
from symptomtree.kb.load import read
from symptomtree.kb.nodes import Place
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vet import vet
from symptomtree.plain.map import kind_of
from symptomtree.reasoning.graph import KINDS, causal_graph, sources_of
from symptomtree.terminal.app import SymptomtreeApp
from symptomtree.terminal.browser import BrowserScreen
from symptomtree.terminal.entry import described, entry_at, entry_of, excerpt, links, path_of
from symptomtree.terminal.finder import Finder
from symptomtree.terminal.uses import read_cases, uses

SIZES = [(60, 20), (80, 24), (120, 40)]


@pytest.fixture(scope="module")
def kb():
    return open_knowledge()


@pytest.fixture(scope="module")
def graph(kb):
    return causal_graph(kb)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder of small knowledge to edit, and folders of one's own that are empty."""
    for name in ("DATA", "CONFIG", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name.lower()))
    monkeypatch.setattr("symptomtree.terminal.browser.shipped", lambda name: tmp_path / name)  # no walkthroughs
    (tmp_path / "knowledge").mkdir()
    (tmp_path / "knowledge" / "small.yaml").write_text(SMALL)
    return tmp_path / "knowledge"


# What an entry says


def test_every_entry_that_ships_says_its_name_and_its_sources(kb, graph):
    """Nothing in the knowledge is left out of the browser, and no source of a number is hidden."""
    for name in graph:
        lines = list(described(kb, graph, name))
        body = "\n".join(lines)
        assert lines[0] == f"{kind_of(graph, name)} {name}"
        if kind_of(graph, name) != "rule":  # it has no name but what it says
            assert kb.name_of(name) in body, name
        for used in sources_of(entry_of(kb, name)):
            assert kb.entries.sources[used].title.rstrip(".") in body, (name, used)


def test_a_cause_is_told_in_words(kb, graph):
    """Strengths are the words of the scale; what raises it, its check and its fixes are named."""
    body = "\n".join(described(kb, graph, "pads-glazed"))
    entry = kb.entries.causes["pads-glazed"]
    assert entry.mechanism in body
    assert "How common: common; one in 32 " in body  # 1/100 to 1/10 has its geometric middle at 1/31.6
    assert "squeak or worse: very likely, howl: roughly even" in body
    assert "yes: moderate" in body
    for name in (entry.confirm, *entry.fixes, *entry.confused_with):
        assert kb.name_of(name) in body


def test_a_check_says_grades_and_limits_a_fix_its_figures_and_proof_a_rule_its_reasons(folder):
    small = open_knowledge(folder)
    graph = causal_graph(small)
    check = "\n".join(described(small, graph, "look-at-pads"))
    assert "thin from 2 mm; gone from 1 mm on, less is worse" in check
    assert "about 2 minutes" in check
    assert "Tools: lamp" in check
    fix = "\n".join(described(small, graph, "new-pads"))
    assert "pin: 2 to 3 N m (from memory)" in fix
    assert "What must follow:\n  - Rub the pads" in fix
    rule = "\n".join(described(small, graph, "stop-bare"))
    assert "How thick is the lining? none" in rule
    assert "STOP RIDING: There is no lining left." in rule
    rule = "\n".join(described(small, graph, "rims-have-no-pads"))
    assert "below 9 mm" in rule
    assert "done: Rub the pads" in rule
    assert "ruled out:\n  - glazed pads" in rule


def test_links_lead_to_all_neighbours(kb, graph):
    for name in graph:
        found = {node for node, _ in links(graph, name)}
        assert found == {*graph.successors(name), *graph.predecessors(name)}


# Where it stands


def test_places_and_entries_belong_together(kb, graph):
    """Every entry has a place in the files, and that place leads back to it."""
    folder = shipped("knowledge") / "brakes"
    draft = read({p.name: p.read_bytes() for p in folder.glob("*.yaml")}, folder)
    for section in KINDS:
        for name in getattr(draft.entries, section):
            assert entry_at(draft.places, draft.places[path_of(kb, graph, name)]) == name
    finding = draft.places[path_of(kb, graph, "pad-shine")]
    assert (folder / "checks-disc.yaml").read_text().splitlines()[finding.line - 1].strip() == "pad-shine:"
    assert entry_at(draft.places, finding) == "look-at-pad-faces"


def test_an_excerpt_marks_the_column():
    assert list(excerpt("a:\n  b: 1\n  c: 2\n  d: 3\n  e: 4\n", Place("x", 3, 6)))[2:4] == ["    c: 2", "       ^ here"]
    assert list(excerpt("", Place("x", 3, 6))) == []


# Searching


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("pads-glazed", "pads-glazed"),
        ("glazd pads", "pads-glazed"),
        ("bent hnager", "bent-hanger"),
        ("squeal or how", "brake-noise"),  # not typed to its end
        ("only big cogs", "only-big-sprockets"),  # as riders say it
        ("SPONGY lever", "lever-spongy"),
    ],
)
def test_search_forgives(kb, graph, said, wanted):
    assert wanted in Finder(kb, graph).search(said)[:4]


def test_search_of_nothing_and_of_nonsense(kb, graph):
    finder = Finder(kb, graph)
    assert finder.search("") == finder.search("...") == finder.search("qqqqqqq") == []


def test_a_line_says_kind_name_id_and_part(kb, graph):
    assert Finder(kb, graph).line("pads-glazed") == "cause: Glazed pads (pads-glazed, disc pads)"


# Cases


def test_walkthroughs_and_own_cases_of_a_cause(kb, tmp_path):
    """A walkthrough names its cause, a case of one's own the fix that was done; what cannot be read is counted."""
    walk = Case(symptomtree_case=1, title="A walk", known=Known(cause="pads-glazed", also_accept=["bent-hanger"]))
    own = Case(symptomtree_case=1, title="At home", events=[FixDone(fix="pads-freshen")])
    for name, case in (("walk", walk), ("own", own)):
        (tmp_path / f"{name}.yaml").write_text(as_yaml(case))
    (tmp_path / "bad.yaml").write_text("title: [")
    (tmp_path / "odd.yaml").write_text("colour: red")
    cases = read_cases([tmp_path / "walk.yaml"], [tmp_path / f"{n}.yaml" for n in ("own", "bad", "odd", "none")])
    told = "\n".join(uses(kb, "pads-glazed", cases))
    assert "A walk (walk)" in told
    assert "At home (own)" in told
    assert "left out: 3" in told
    assert "an expert would accept it" in "\n".join(uses(kb, "bent-hanger", cases))
    assert "At home" not in "\n".join(uses(kb, "bent-hanger", cases))


def test_a_case_keeps_its_numbers_and_what_was_said(folder):
    """What the knowledge does not know becomes a note; a correction of it does too."""
    small = open_knowledge(folder)
    events = [
        Context(fact="weather", value="snow"),
        Answer(finding="squeal", grade="loud"),
        Answer(finding="gone-away", grade="yes"),
        Correction(number=3, grade="no"),
        Correction(number=2, grade="some"),
    ]
    case, strange = refit(Case(symptomtree_case=1, title="t", events=events, known=Known(cause="rust")), small)
    assert [type(e) for e in case.events] == [Note, Answer, Note, Note, Correction]
    assert "fact weather, value snow" in case.events[0].text
    assert len(strange) == 4
    assert case.known is None
    assert refit(Case(symptomtree_case=1, title="t", events=events[1:2]), small)[1] == ()


# On the screen


class Reader(Hands):
    """Someone at the browser: they wait until files are read, too."""

    async def settle(self):
        await super().settle()
        if self.app.workers:
            await self.app.workers.wait_for_complete()
            await super().settle()

    async def open(self):
        self.app.action_browse()
        await self.settle()

    async def read(self, said):
        self.app.screen.query_one("#words", Input).value = said
        await self.press("enter", "enter")

    def shown(self, where):
        return str(self.app.screen.query_one(where, Static).content)


def reading(folder, doing, size=(80, 24), events=()):
    """Open the browser over some knowledge and do something there."""

    async def run():
        app = SymptomtreeApp(knowledge=folder)
        async with at_work(app, size) as hands:
            reader = Reader(app, hands.pilot)
            if events:
                app.begin(events)
            await reader.open()
            await doing(reader)
        return app

    return asyncio.run(run())


@pytest.mark.parametrize("size", SIZES)
def test_links_are_followed_and_back_goes_the_same_way(folder, size):
    async def doing(r):
        await r.read("glazd")
        assert r.shown("#title") == "glazed pads"
        line = next(n for n, text in enumerate(r.lines("#links")) if "fix rub-pads" in text)
        await r.press(*["down"] * line, "enter")
        assert r.shown("#title") == "Rub the pads"
        line2 = next(n for n, text in enumerate(r.lines("#links")) if "symptom squeal" in text)
        await r.press(*["down"] * line2, "enter")
        assert r.shown("#title") == "squeal"
        await r.press("escape")
        assert r.shown("#title") == "Rub the pads"
        await r.press("escape")
        assert r.shown("#title") == "glazed pads"
        assert r.app.screen.query_one("#links", OptionList).highlighted == line
        await r.press("escape")
        assert r.app.focused.id == "found"
        await r.press("escape")
        assert not isinstance(r.app.screen, BrowserScreen)

    reading(folder, doing, size)


def test_a_click_does_what_a_key_does(folder):
    async def doing(r):
        r.app.screen.query_one("#words", Input).value = "glazed"
        await r.press("enter")
        await r.click("#found", (5, 0))
        assert r.shown("#title") == "glazed pads"
        await r.click("#links", (5, 1))
        assert r.shown("#title") != "glazed pads"

    reading(folder, doing)


def test_the_place_is_shown_and_copied(folder):
    line = SMALL.splitlines().index("  glazed:") + 1

    async def doing(r):
        await r.read("glazed")
        assert r.shown("#where") == f"{folder}/small.yaml:{line}:3"
        await r.press("y")
        assert r.app.clipboard == f"{folder}/small.yaml:{line}:3"

    reading(folder, doing)


def test_cases_of_ones_own_are_told_with_the_entry(folder, tmp_path):
    kept = tmp_path / "data" / "symptomtree" / "cases"
    kept.mkdir(parents=True)
    (kept / "one.yaml").write_text(as_yaml(Case(symptomtree_case=1, title="At home", events=[FixDone(fix="rub-pads")])))
    (kept / "two.yaml").write_text("no case")

    async def doing(r):
        await r.read("glazed")
        assert "At home (one)" in r.shown("#entry")
        assert "left out: 1" in r.shown("#entry")

    reading(folder, doing)


def test_knowledge_without_causes_is_not_taken(folder):
    async def doing(r):
        before = r.app.kb
        (folder / "small.yaml").write_text("causes: {}")
        await r.press("tab", "r")
        assert "no causes" in r.shown("#said")
        assert r.app.kb is before

    reading(folder, doing)


def test_text_of_the_knowledge_is_no_markup(folder):
    (folder / "small.yaml").write_text(SMALL.replace("name: glazed pads", "name: 'glazed [/b] [red]pads'"))

    async def doing(r):
        await r.read("glazed")
        assert r.shown("#title") == "glazed [/b] [red]pads"

    reading(folder, doing)


def test_a_broken_file_is_told_with_its_place_and_the_old_stays(folder):
    broken, place = spoil(("glazed:", "common: common", f"{HERE}common: comon"))
    file = folder / "small.yaml"

    async def doing(r):
        before = r.app.kb
        await r.read("glazed")
        file.write_text(broken)
        await r.press("r")
        assert r.app.kb is before
        assert "stays in use" in r.shown("#said")
        (message,) = r.lines("#found")
        assert message.startswith(f"{file}:{place}: K302 'comon'")
        await r.press("enter")
        assert "comon" in r.shown("#title")
        assert "^ here" in r.shown("#entry")
        assert "cause glazed" in r.shown("#entry")
        assert r.shown("#where") == f"{file}:{place}"

    reading(folder, doing)


def test_nothing_in_a_file_ends_the_browser(folder):
    """Whatever stands in the files is told; messages about what was never in use can be opened too."""
    contents = [b"", b"causes: [", b"\xff\xfe", b"a: *b", b"causes: {glazed: {}}", b"[" * 5000, b"- 1"]

    async def doing(r):
        for content in contents:
            (folder / "small.yaml").write_bytes(content)
            await r.press("tab" if r.app.focused.id == "words" else "j", "r")
            assert isinstance(r.app.screen, BrowserScreen), content
            assert any("small.yaml:" in line for line in r.lines("#found")), content
            await r.press("enter", "y")
            assert r.app.clipboard.startswith(f"{folder}/small.yaml:"), content

    reading(folder, doing)


def test_what_shape_breaks_comes_first(folder):
    """An entry that cannot be built may be why others do not fit."""
    text = SMALL.replace("common: common", "common: comon").replace("    works: likely\n", "")

    async def doing(r):
        (folder / "small.yaml").write_text(text)
        await r.press("tab", "r")
        codes = [line.split(": ")[1].split()[0] for line in r.lines("#found")]
        assert codes == sorted(codes, key=lambda c: c[:2])
        assert codes[0] == "K105"
        assert "K302" in codes

    reading(folder, doing)


def test_a_folder_that_is_gone_is_told(folder):
    async def doing(r):
        await r.read("glazed")
        shutil.rmtree(folder)
        await r.press("r")
        assert "no such folder" in r.shown("#said")
        assert r.shown("#title") == "glazed pads"

    reading(folder, doing)


def test_a_good_edit_is_taken_and_the_case_goes_on(folder):
    """The page that is open, the matcher and the case all go on with what the file says now."""
    told = [Answer(finding="squeal", grade="loud", complaint=True)]

    async def doing(r):
        assert r.app.tutor.kb is r.app.kb
        await r.read("glazed")
        (folder / "small.yaml").write_text(SMALL.replace("name: glazed pads", "name: pads like glass"))
        await r.press("r")
        assert "in use from now on" in r.shown("#said")
        assert r.shown("#title") == "pads like glass"
        await r.press("r")
        assert "Nothing has changed" in r.shown("#said")
        path = r.app.keeper.path
        await r.press("escape", "escape")
        assert r.app.keeper.events == told
        assert r.app.keeper.path == path
        assert "pads like glass" in r.shown("#causes")

    app = reading(folder, doing, events=told)
    assert app.adviser.knowledge is app.kb
    assert app.tutor.kb is app.kb  # lessons too
    assert not vet(read({"small.yaml": (folder / "small.yaml").read_bytes()}))


def test_an_answer_that_fits_no_more_is_told_and_nothing_is_lost(folder):
    """The case goes on in a new file with a note; the old file keeps the answer."""
    told = [Answer(finding="squeal", grade="loud", complaint=True), Context(fact="weather", value="wet")]
    text = SMALL.replace("wet: wet}", "soaked: wet}").replace("wet: 0.3", "soaked: 0.3").replace("{wet:", "{soaked:")

    async def doing(r):
        path = r.app.keeper.path
        (folder / "small.yaml").write_text(text)
        await r.press("tab", "r")
        assert "in use from now on" in r.shown("#said"), r.lines("#found")
        assert [type(e) for e in r.app.keeper.events] == [Answer, Note]
        assert r.app.keeper.path != path
        assert "value: wet" in path.read_text()
        assert any("event 2" in note.message and str(path) in note.message for note in r.app._notifications)
        await r.press("escape")
        assert r.app.keeper.assessment.knowledge is r.app.kb

    reading(folder, doing, events=told)


def test_words_that_were_typed_before_stay(folder):
    async def doing(r):
        await r.press("escape")
        r.app.screen.query_one("#words", Input).value = "it squeals"
        await r.open()
        (folder / "small.yaml").write_text(SMALL + "# an edit\n")
        await r.press("tab", "r", "escape")
        assert r.app.screen.query_one("#words", Input).value == "it squeals"

    reading(folder, doing)


def test_a_reason_not_to_ride_stands_over_the_browser(folder):
    async def doing(r):
        assert r.app.stops
        assert r.app.screen.query_one("StopLine").display

    told = [Context(fact="kind", value="disc"), Answer(finding="lining", grade="gone", complaint=True)]
    reading(folder, doing, events=told)
