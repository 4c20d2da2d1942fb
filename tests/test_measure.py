"""`symptomtree measure`: listed, described, given, asked for line by line, as JSON, and refused in a sentence."""

import json

import pytest

from symptomtree.cases.model import Answer, Measured, Reading
from symptomtree.cli import main
from symptomtree.kb.compile import open_knowledge
from symptomtree.measuring.bracketing.log import parse_log
from symptomtree.measuring.tool import work
from symptomtree.measuring.tools import names, tool_named
from symptomtree.plain.card import Card
from symptomtree.plain.measure import events_of, filled_in, lasting_figures

KB = open_knowledge()
MORE = {"stroke": "60 mm", "leverage": "2.5"}  # the rear end's, where a tool's example is the front end
LINKED = {name: known for name, known in KB.findings.items() if known.measure}


def run(capsys, *words):
    code = main(["measure", *words])
    return code, *capsys.readouterr()


def test_without_a_name_all_tools_are_listed(capsys):
    code, out, _ = run(capsys)
    assert code == 0
    assert all(f"\n  {name} " in f"\n{out}" for name in names())


@pytest.mark.parametrize("name", names())
def test_a_name_alone_says_what_the_tool_needs_and_its_example_runs(capsys, name):
    code, out, _ = run(capsys, name)
    tool = tool_named(name)
    assert code == 0
    assert all(f.name in out for f in tool.fields)
    assert "Sources:" in out
    code, out, _ = run(capsys, name, *(f"{field}={value}" for field, value in tool.example.items()))
    assert code == 0
    assert out.strip()


def test_what_came_out_is_plain_data(capsys):
    """The same numbers as on the screen, flags before or after the readings."""
    for words in (("chain-wear", "--json", "length=307 mm"), ("--json", "chain-wear", "length=307 mm")):
        code, out, _ = run(capsys, *words)
        assert code == 0
        found = json.loads(out)
        assert found["given"]["length"] == "307 mm"
        wear = found["values"]["elongation"]
        assert wear["value"] == pytest.approx((307 / 304.8 - 1) * 100)
        assert wear["unit"] == "%"
        assert wear["error"] > 0
        assert found["sources"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["chain-waer"], "did you mean chain-wear?"),
        (["chain-wear", "306 mm"], "is no FIELD=VALUE; the fields are"),
        (["chain-wear", "size=3"], "has no field 'size'"),
        (["chain-wear", "length=3 psi"], "is a pressure"),
        (["chain-wear", "length=\x1b[31m"], "is no number"),
    ],
)
def test_what_is_wrong_is_one_sentence_on_the_error_stream(capsys, words, says):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert says in err
    assert len(err.splitlines()) == 1
    assert "\x1b" not in err


def test_a_log_is_kept_and_gone_on_with(capsys, tmp_path):
    """A file for each bike and trail: what was typed goes there, and the next run is added to it."""
    file = tmp_path / "logs" / "red-bike-home-trail.yaml"
    code, _, _ = run(capsys, "bracketing", "dials=rebound 0-14 start 7", "runs=start = 6", "--keep", str(file))
    assert code == 0
    code, out, _ = run(capsys, "bracketing", "--keep", str(file), f"log={file}", "runs=rebound 5 = 7.5", "--json")
    assert code == 0
    assert json.loads(out)["given"]["log"] == str(file)
    assert len(parse_log(file.read_text()).runs) == 2


def test_a_log_is_never_written_over_another_file(capsys, tmp_path):
    file = tmp_path / "letter.txt"
    file.write_text("Dear")
    runs = ["dials=rebound 0-14 start 7", "runs=start = 6"]
    for words, says in (
        (["bracketing", *runs, "--keep", str(file)], "is there already and is no log"),
        (["bracketing", *runs, "--keep", str(file / "log.yaml")], "cannot be written"),
        (["chain-wear", "length=307", "--keep", str(tmp_path / "new")], "keeps no log"),
    ):
        code, _, err = run(capsys, *words)
        assert code == 2
        assert says in err
    assert file.read_text() == "Dear"
    assert [f.name for f in tmp_path.iterdir()] == ["letter.txt"]


# In a case


def test_findings_of_many_areas_are_worked_out():
    """Each family has its place in the knowledge."""
    tools = {known.measure.tool for known in LINKED.values()}
    assert len(tools) >= 5


@pytest.mark.parametrize("finding", LINKED)
def test_a_result_becomes_evidence_for_what_is_asked(finding):
    """Where the example gives the value: a reading in the knowledge's unit, or an answer as sure as the share."""
    known = LINKED[finding]
    tool = tool_named(known.measure.tool)
    more = {name: text for name, text in MORE.items() if any(f.name == name for f in tool.fields)}
    result = work(tool, {**tool.example, **more, **known.measure.given})
    events = events_of(KB, Card("", measures=((finding, known.measure),)), result)
    assert isinstance(events[0], Measured)
    assert events[0].given == result.given
    values = [result.value(name) for name in known.measure.values]
    if None in values:
        assert len(events) == 1
        return
    share = sum(v.number for v in values)
    if getattr(known, "reading", None):
        assert events[1] == Reading(finding=finding, value=share, error=values[0].error or None)
    else:
        normal, worst = known.grades
        assert isinstance(events[1], Answer)
        assert events[1].grade == (worst if share >= 0.5 else normal)
        assert events[1].sure == pytest.approx(min(max(share, 1 - share), 0.99))


def test_what_counts_as_a_probability_is_shown_as_one():
    """Where a finding has no reading, the tool's values are how likely its worst grade is."""
    for known in LINKED.values():
        gives = {g.name: g for g in tool_named(known.measure.tool).gives}
        for value in known.measure.values:
            assert gives[value].chance == (not getattr(known, "reading", None)), (known.measure.tool, value)


def test_only_what_stays_true_of_the_bike_is_carried_over():
    tool = tool_named("tyre-pressure")
    told = events_of(KB, None, work(tool, {**tool.example, "pressure": "3 bar"}))
    kept = lasting_figures(told)
    lasting = [f.name for f in tool.fields if f.lasting and f.name in tool.example]
    assert kept.items() >= {name: tool.example[name] for name in lasting}.items()
    assert "rider-mass" in kept
    assert "pressure" not in kept
    assert filled_in(tool_named("rotor-heat"), told) == {n: kept[n] for n in ("rider-mass", "bike-mass")}
