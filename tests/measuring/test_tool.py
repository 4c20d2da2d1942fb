"""Units, the uncertainty that is carried through, and what can be typed wrong."""

from contextlib import suppress
from dataclasses import replace
from math import isclose, sqrt

import pytest
import scipy.constants as constants
from hypothesis import given
from hypothesis import strategies as st

from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, said, spread_of, work
from symptomtree.measuring.tools import FAMILIES, NoSuchTool, names, tool_named
from symptomtree.measuring.units import _UNITS, NotANumber, convert, measures, read_number, unit_of

SIGNS = sorted(_UNITS)

# A general reference library (SciPy, after CODATA and NIST SP 811) beside each factor that is not a plain power of ten.
LIBRARY = {
    "in": constants.inch,
    "ft": constants.foot,
    "ft/s2": constants.foot,
    "bar": constants.bar,
    "psi": constants.psi,
    "lb": constants.pound,
    "kgf": constants.kgf,
    "lbf": constants.lbf,
    "lb/in": constants.lbf / constants.inch,
    "in-lb": constants.lbf * constants.inch,
    "ft-lb": constants.lbf * constants.foot,
    "km/h": constants.kmh,
    "mph": constants.mph,
    "mile": constants.mile,
    "deg": constants.degree,
    "day": constants.day,
    "min": constants.minute,
    "h": constants.hour,
    "Wh": constants.hour,
}


@pytest.mark.parametrize("sign", LIBRARY)
def test_units_are_those_of_a_reference_library(sign):
    assert _UNITS[sign][1] == pytest.approx(LIBRARY[sign], rel=1e-12)


def test_units_are_those_of_a_published_table():
    """NIST Special Publication 811 (2008), appendix B.8, as printed: psi 6.894 757 kPa; in lbf 0.112 984 8 N m;
    lbf 4.448 222 N; mile an hour 0.447 04 m/s."""
    assert convert(1, "psi", "kPa") == pytest.approx(6.894757, abs=5e-7)
    assert convert(1, "in-lb", "Nm") == pytest.approx(0.1129848, abs=5e-8)
    assert convert(1, "lbf", "N") == pytest.approx(4.448222, abs=5e-7)
    assert convert(1, "mph", "m/s") == pytest.approx(0.44704, abs=1e-12)


def test_temperatures_are_those_of_a_published_table():
    """NIST Special Publication 811 (2008), appendix B.8: t/degC = (t/degF - 32)/1.8; a difference of 1.8 degF is one
    of 1 degC."""
    assert convert(212, "degF", "degC") == pytest.approx(100, abs=1e-9)
    assert convert(-40, "degC", "degF") == pytest.approx(-40, abs=1e-9)
    number = read_number("68 °F +- 1.8", "degC")
    assert (number.value, number.error) == (pytest.approx(20), pytest.approx(1))
    assert read_number("-5 C", "degC", 2).error == 2


@given(st.sampled_from(SIGNS), st.sampled_from(SIGNS), st.floats(-1e6, 1e6))
def test_a_unit_there_and_back_is_the_same_number(one, other, value):
    if measures(one) == measures(other):
        assert convert(convert(value, one, other), other, one) == pytest.approx(value, rel=1e-12, abs=1e-12)
    else:
        with pytest.raises(ValueError, match="is a"):
            convert(value, one, other)


@pytest.mark.parametrize(
    ("typed", "unit", "value", "error"),
    [
        ("1.6", "mm", 1.6, 0.2),
        ("1,6 mm", "mm", 1.6, 0.2),
        ("2 in", "mm", 50.8, 0.2),
        ('2"', "mm", 50.8, 0.2),
        ("1 1/16 in", "mm", 26.9875, 0.2),
        ("1/16 inch", "mm", 1.5875, 0.2),
        ("30 psi", "bar", 2.0684, 0.2),
        ("30PSI", "bar", 2.0684, 0.2),
        ("72 +- 3", "mm", 72.0, 3.0),
        ("1 in ± 1 mm", "mm", 25.4, 1.0),
        ("2 in +/- 0.5", "mm", 50.8, 12.7),
        ("90 rpm", "Hz", 1.5, 0.2),
        ("-0.5", "mm", -0.5, 0.2),
        ("150 lbs", "kg", 68.0389, 0.2),
        ("1e3", "", 1000.0, 0.2),
        (".5 mm", "mm", 0.5, 0.2),
        ("-,5+-.1", "mm", -0.5, 0.1),
    ],
)
def test_numbers_are_read_as_people_type_them(typed, unit, value, error):
    number = read_number(typed, unit, 0.2)
    assert number.value == pytest.approx(value, rel=1e-4)
    assert number.error == pytest.approx(error, rel=1e-4)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("much", "is no number; type one like 12.5 mm"),
        ("", "is no number"),
        ("3 psi", "'psi' is a pressure; give it in mm or cm or m or in"),
        ("3 furlong", "'furlong' is no unit known here"),
        ("1/0 in", "divides by nothing"),
        ("1e999", "too large"),
        ("1e308 m", "too large"),
        ("3 mm 4", "'mm 4' is no unit known here"),
    ],
)
def test_what_is_no_number_is_told_in_a_sentence(typed, message):
    with pytest.raises(NotANumber, match=message.replace("(", r"\(")):
        read_number(typed, "mm")


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    with suppress(NotANumber):
        assert read_number(text, "bar", 0.1).error >= 0


def test_every_way_to_write_a_unit_leads_to_it():
    for sign, (_, _, ways) in _UNITS.items():
        for way in (sign, *ways):
            if way:
                assert unit_of(way) == sign
                assert unit_of(f" {way.upper()} ") == sign


def area(width: float, height: float) -> Outcome:
    if width + height > 100:
        raise BadInput("too large together")
    return Outcome(values={"area": width * height, "sum": width + height})


BOX = Tool(
    name="box",
    title="A box",
    about="Measure both sides.",
    fields=(
        Field(name="width", ask="How wide?", unit="mm", least=0, most=90, error=0.1),
        Field(name="height", ask="How high?", unit="mm", least=0, error=0.2, usual="10"),
        Field(name="readings", ask="Any more?", kind="numbers", unit="mm", needed=False),
        Field(name="kind", ask="Of what?", kind="choice", choices={"wood": "of wood"}, usual="wood"),
        Field(name="notes", ask="Notes?", kind="lines", needed=False),
    ),
    run=lambda width, height, readings, kind, notes: area(width, height),
    gives=(Gives(name="area", words="it covers"), Gives(name="sum", words="round half", unit="mm", also="in")),
    sources=("from memory",),
    example={"width": "20"},
)


@given(st.floats(1, 40), st.floats(1, 40), st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_uncertainty_of_a_product_and_a_sum_is_that_of_the_guide(width, height, a, b):
    """JCGM 100:2008, 5.1.2 with 5.1.3: u(xy)^2 = (y u(x))^2 + (x u(y))^2, u(x + y)^2 = u(x)^2 + u(y)^2."""
    result = work(BOX, {"width": f"{width} +- {a}", "height": f"{height} +- {b}"})
    assert result.value("area").error == pytest.approx(sqrt((height * a) ** 2 + (width * b) ** 2), rel=1e-9)
    assert result.value("sum").error == pytest.approx(sqrt(a**2 + b**2), rel=1e-9)
    assert result.value("sum").also[0] == pytest.approx((width + height) / 25.4, rel=1e-12)


def test_the_worked_example_of_the_guide():
    """JCGM 100:2008, H.1 (calibration of an end gauge), table H.1, its first-order terms: 25, 9.7, 2.9 and 16.6 nm
    in quadrature make 32 nm."""
    terms = {"a": 25.0, "b": 9.7, "c": 2.9, "d": 16.6}
    gauge = Tool(
        name="gauge",
        title="",
        about="",
        fields=[Field(name=n, ask="", error=u) for n, u in terms.items()],
        run=lambda a, b, c, d: Outcome(values={"length": a + b + c + d}),
        gives=[Gives(name="length", words="length")],
        sources=[],
        example={},
    )
    assert work(gauge, dict.fromkeys(terms, "0")).value("length").error == pytest.approx(32, abs=0.5)


def test_a_spread_is_that_of_the_guide():
    """JCGM 100:2008, 4.4.3 and table 1: twenty readings of a temperature, mean 100.14, u = 0.33 (s = 1.49)."""
    readings = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
    readings += [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    assert sum(readings) / 20 == pytest.approx(100.145, abs=0.006)
    assert spread_of(readings) == pytest.approx(0.33, abs=0.005)
    assert spread_of([5.0]) == 0


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [
        ("31 33 30", [(31, 0), (33, 0), (30, 0)]),
        ("31 mm 3.3 cm  -1 in", [(31, 0), (33, 0), (-25.4, 0)]),
        ("31 +- 1 33 mm ±  2 30", [(31, 1), (33, 2), (30, 0)]),
        ("1 1/2 in; 30 mm", [(38.1, 0), (30, 0)]),
        ("31\n33", [(31, 0), (33, 0)]),
    ],
)
def test_several_numbers_in_one_field(typed, numbers):
    many = Field(name="many", ask="", kind="numbers", unit="mm", with_error=True)
    read = []
    tool = replace(BOX, fields=[many], run=lambda many: read.extend(many) or Outcome())
    work(tool, {"many": typed})
    assert [(n.value, n.error) for n in read] == [pytest.approx(n) for n in numbers]


def test_at_the_edge_of_what_can_be_the_uncertainty_is_one_sided():
    result = work(BOX, {"width": "89.95", "height": "10"})
    assert isclose(result.value("sum").error, sqrt((0.1 / 2) ** 2 + (0.2 / 2) ** 2), rel_tol=0.02)


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({}, "width", "width is missing: How wide?"),
        ({"width": "-1"}, "width", "-1 mm is outside 0 to 90 mm"),
        ({"width": "1", "height": "-2"}, "height", "-2 mm cannot be; it is not less than 0 mm"),
        ({"width": "80", "height": "30"}, "", "too large together"),
        ({"width": "8", "kind": "stone"}, "kind", "'stone' is none of wood"),
        ({"width": "8", "depth": "1"}, "", "has no field 'depth'; it has width, height"),
        ({"width": "8", "readings": "1 2 x"}, "readings", "'x' is no unit"),
    ],
)
def test_a_wrong_input_names_its_field(typed, field, message):
    with pytest.raises(BadInput) as told:
        work(BOX, typed)
    assert message in str(told.value)
    assert told.value.field == field


@pytest.mark.parametrize(
    ("number", "error", "shown"),
    [
        (1.23456, 0.012345, "1.235 ± 0.012 mm"),
        (1234.5, 67.0, "1234 ± 67 mm"),
        (12345, 670, "12340 ± 670 mm"),
        (2.5, 0, "2.5 mm"),
    ],
)
def test_a_number_has_as_many_digits_as_its_uncertainty_leaves(number, error, shown):
    assert said(number, error, "mm") == shown


@pytest.mark.parametrize(
    ("chance", "shown"),
    [(0, "0%"), (0.0002778, "under 1%"), (0.01, "1%"), (0.974, "97%"), (0.9932, "over 99%"), (1, "100%")],
)
def test_a_probability_is_shown_in_whole_percent(chance, shown):
    tool = replace(
        BOX,
        run=lambda **_: Outcome(values={"held": chance}),
        gives=(Gives(name="held", words="how likely it holds", chance=True),),
    )
    assert [v.shown for v in work(tool, BOX.example).values] == [f"how likely it holds: {shown}"]


# What holds for every tool


@pytest.fixture(params=names())
def tool(request):
    return tool_named(request.param)


def test_a_tool_is_whole(tool):
    assert tool.title
    assert tool.about.endswith(".")
    assert tool.sources
    assert all(f.ask.endswith("?") for f in tool.fields)
    assert len({f.name for f in tool.fields}) == len(tool.fields)
    for f in tool.fields:
        assert not f.unit or measures(f.unit)
        assert (f.kind == "choice") == bool(f.choices)
        assert not f.usual or f.kind != "choice" or f.usual in f.choices
    for g in tool.gives:
        assert not g.also or measures(g.also) == measures(g.unit)


def test_its_example_works(tool):
    result = work(tool, tool.example)
    assert result.says
    assert all(line.endswith((".", "?", ":")) for line in result.says), result.says
    assert not any("safe" in line for line in result.says)


def test_its_picture_fits_and_needs_no_colour(tool):
    result = work(tool, tool.example)
    for width, height in ((76, 20), (50, 14), (40, 12)):
        rows = list(result.picture(width, height)) if result.picture else []
        assert len(rows) <= height
        assert all(len(row) <= width for row in rows)
        assert all(row.isprintable() for row in rows)


def test_the_same_name_asks_for_the_same_kind_of_thing():
    """A figure of the bike is typed once, so a name means one thing in all tools."""
    kinds = {}
    for name in names():
        for f in tool_named(name).fields:
            what = (f.kind, measures(f.unit))
            assert kinds.setdefault(f.name, what) == what, (name, f.name)


def test_a_name_that_is_wrong_is_told_with_the_nearest():
    first = names()[0]
    with pytest.raises(NoSuchTool, match=f"did you mean {first}"):
        tool_named(first + "x")
    with pytest.raises(NoSuchTool, match="symptomtree measure"):
        tool_named("?")
    assert all(tools for _, tools in FAMILIES.values())
