"""Bearings: sizes beside published tables, life beside worked examples, and what follows from how one feels."""

from math import hypot, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from symptomtree.measuring.bearings import TOOLS
from symptomtree.measuring.bearings.feel import NEW_AT_MOST, RUNS, play_from_rim
from symptomtree.measuring.bearings.life import (
    RELIABILITY,
    axial_factors,
    equivalent_load,
    hours,
    rating_life,
    static_load,
)
from symptomtree.measuring.bearings.sizes import FEW_SIGNS, MADE_TO, SIZES, apart, bore_of_code, matches
from symptomtree.measuring.bearings.which import read_code
from symptomtree.measuring.tool import BadInput, work
from symptomtree.measuring.units import Number

# DIN 625-1, deep groove ball bearings, single row, as tabled in an open library of technical specifications (2013):
# bore, outside, width in mm.
DIN_625 = {
    "625": (5, 16, 5),
    "626": (6, 19, 6),
    "627": (7, 22, 7),
    "608": (8, 22, 7),
    "609": (9, 24, 7),
    "629": (9, 26, 8),
    "6000": (10, 26, 8),
    "16100": (10, 28, 8),
    "6200": (10, 30, 9),
    "6300": (10, 35, 11),
    "6001": (12, 28, 8),
    "16101": (12, 30, 8),
    "6201": (12, 32, 10),
    "6301": (12, 37, 12),
    "16002": (15, 32, 8),
    "6002": (15, 32, 9),
    "6202": (15, 35, 11),
    "6302": (15, 42, 13),
    "16003": (17, 35, 8),
    "6003": (17, 35, 10),
    "6203": (17, 40, 12),
    "6303": (17, 47, 14),
    "16004": (20, 42, 8),
    "6004": (20, 42, 12),
    "6204": (20, 47, 14),
    "6304": (20, 52, 15),
    "16005": (25, 47, 8),
    "6005": (25, 47, 12),
    "6205": (25, 52, 15),
    "6305": (25, 62, 17),
    "16006": (30, 55, 9),
    "6006": (30, 55, 13),
    "6206": (30, 62, 16),
}
# ISO 15, as tabled in a shop's open catalogue of parts (thin sections), and a bearing maker's catalogue (67).
ISO_15 = {
    "6800": (10, 19, 5),
    "6801": (12, 21, 5),
    "6802": (15, 24, 5),
    "6803": (17, 26, 5),
    "6804": (20, 32, 7),
    "6805": (25, 37, 7),
    "6900": (10, 22, 6),
    "6901": (12, 24, 6),
    "6902": (15, 28, 7),
    "6903": (17, 30, 7),
    "6904": (20, 37, 9),
    "6905": (25, 42, 9),
    "6700": (10, 15, 3),
    "6701": (12, 18, 4),
}
# The same, with the codes of another list (618 for 68, 619 for 69; open design library of mechanical parts, 2022).
SMALL = {
    "685": (5, 11, 3),
    "686": (6, 13, 3.5),
    "687": (7, 14, 3.5),
    "688": (8, 16, 4),
    "689": (9, 17, 4),
    "695": (5, 13, 4),
    "696": (6, 15, 5),
    "697": (7, 17, 5),
    "698": (8, 19, 6),
    "699": (9, 20, 6),
    "607": (7, 19, 6),
    "628": (8, 24, 8),
    "635": (5, 19, 6),
}
# Deep groove ball bearings, a design parameter page: common inch series, in inches.
INCH = {
    "R4": (0.25, 0.625, 0.196),
    "R6": (0.375, 0.875, 0.2812),
    "R8": (0.5, 1.125, 0.3125),
    "R10": (0.625, 1.375, 0.3437),
    "R12": (0.75, 1.625, 0.4375),
}


@pytest.mark.parametrize(("code", "measures"), [*DIN_625.items(), *ISO_15.items(), *SMALL.items()])
def test_sizes_are_those_of_published_tables(code, measures):
    assert measures in [size.measures for size in SIZES if size.code == code]


@pytest.mark.parametrize("code", INCH)
def test_inch_sizes_are_those_of_a_published_table(code):
    size = next(s for s in SIZES if s.code == code)
    assert size.measures == pytest.approx([25.4 * inches for inches in INCH[code]], abs=0.01)


def test_a_headset_size_is_that_of_a_sellers_guide():
    """Measure headset bearings, a bearing seller's guide: 30.15 x 41 x 6.5, 36/45."""
    assert any(s.measures == (30.15, 41, 6.5) and s.faces == (36, 45) for s in SIZES)


def test_the_bore_follows_from_the_code():
    """How to determine bearing size (an article): 00 is 10 mm, 01 12, 02 15, 03 17, and from 04 on five times that."""
    assert [bore_of_code(f"60{n:02}") for n in range(7)] == [10, 12, 15, 17, 20, 25, 30]
    assert bore_of_code("61806") == 30
    assert bore_of_code("608") == 8
    for wrong in ("R8", "60", "163110", ""):
        with pytest.raises(ValueError, match="no code"):
            bore_of_code(wrong)


def test_no_two_sizes_are_the_same():
    every = [(s.code, s.measures, s.faces) for s in SIZES]
    assert len(set(every)) == len(every)
    assert all(0 < s.bore < s.outside and s.width > 0 for s in SIZES)


ERRORS = (0.06, 0.04, 0.06)


@settings(max_examples=40)
@given(st.sampled_from(SIZES), st.tuples(*[st.floats(-1.9, 1.9)] * 3))
def test_a_size_is_found_again_within_the_uncertainty_of_the_readings(size, shifts):
    """Three readings off by up to 1.9 standard uncertainties each have a squared misfit under 3 x 1.9^2 = 10.8."""
    read = [Number(m + s * e, e) for m, s, e in zip(size.measures, shifts, ERRORS, strict=True)]
    found = matches(read)
    assert size in [m.size for m in found if m.fits]
    assert [m.misfit for m in found] == sorted(m.misfit for m in found)


@settings(max_examples=40)
@given(st.sampled_from(SIZES), st.floats(0.3, 3), st.integers(0, 2))
def test_a_size_is_not_found_when_a_reading_is_far_off(size, off, which):
    read = [Number(m + off * (n == which), e) for n, (m, e) in enumerate(zip(size.measures, ERRORS, strict=True))]
    assert size not in [m.size for m in matches(read) if m.fits]


@settings(max_examples=40)
@given(st.sampled_from(SIZES), st.floats(0.01, 0.5), st.floats(1, 3))
def test_a_worse_gauge_leaves_no_fewer_sizes_open(size, error, worse):
    def open_with(u):
        return {m.size for m in matches([Number(x, u) for x in size.measures]) if m.fits}

    assert open_with(error) <= open_with(error * worse)


def test_limits_of_the_fit_are_those_of_the_distribution():
    """The quantiles of chi-squared in a general library (SciPy)."""
    assert chi2.ppf(0.99, [1, 2, 3]) == pytest.approx(FEW_SIGNS, abs=0.006)
    assert MADE_TO[2] == pytest.approx(0.12 / 12**0.5, abs=0.006)


def told(tool, **typed):
    return work(TOOLS[tool], {name.replace("_", "-"): text for name, text in typed.items()})


def test_one_size_fits_and_what_is_nearest_is_told_apart():
    """Replacing hub bearings, a wheel workshop's report: 6902 is 15 x 28 x 7 mm."""
    result = told("bearing", bearing_bore="15.02", bearing_outside="27.98", bearing_width="6.95", printed="61902-2RS")
    assert result.value("sizes-that-fit").number == 1
    assert [result.value(f"{n}-named").number for n in ("bore", "outside", "width")] == [15, 28, 7]
    text = " ".join(result.says)
    assert "It is 6902 (15 x 28 x 7 mm)" in text
    assert "What tells them apart is the bore, 15 or 17 mm" in text
    assert "The code 6902 printed on it agrees" in text
    assert "2RS means rubber seals on both sides" in text


def test_inches_and_a_rule_are_taken_too():
    """Replacing external bottom bracket bearings, a how-to: 6805 is 25 x 37 x 7 mm. A rule leaves other sizes open."""
    result = told("bearing", bearing_bore="0.984 in", bearing_outside="1.457 in", bearing_width="0.276 in")
    assert "6805" in result.says[0]
    assert result.value("sizes-that-fit").number == 1
    assert (
        told("bearing", bearing_bore="25 +- 0.5", bearing_outside="37 +- 0.5", bearing_width="7 +- 0.5")
        .value("sizes-that-fit")
        .number
        > 1
    )


def test_when_several_fit_it_says_what_to_look_at():
    result = told("bearing", bearing_bore="40", bearing_outside="52", bearing_width="7")
    assert result.value("sizes-that-fit").number == 2
    assert any("look at the faces, 36/45° or 45/45°" in line for line in result.says)
    assert (
        told("bearing", bearing_bore="40", bearing_outside="52", bearing_width="7", bearing_faces="45-45")
        .says[0]
        .startswith("It is 40 x 52 x 7 mm, faces 45/45°")
    )


def test_sloped_faces_leave_only_headset_bearings():
    """A bore of 30 and an outside of 42 mm are also those of 6806, whose edges are square."""
    readings = {"bearing_bore": "30.08 +- 0.1", "bearing_outside": "41.9 +- 0.2"}
    assert "6806" in told("bearing", **readings).says[0]
    assert "6806" not in told("bearing", **readings, bearing_faces="sloped").says[0]
    assert told("bearing", **readings, bearing_faces="square").says[0].startswith("It is 6806")


def test_two_readings_do_and_the_third_is_asked_for():
    result = told("bearing", bearing_bore="15", bearing_outside="24")
    assert result.value("sizes-that-fit").number == 2
    assert any("look at the width, 5 or 7 mm" in line for line in result.says)
    assert any(line.startswith("Measure the width too") for line in result.says)


def test_none_fits_is_said_with_what_is_nearest():
    result = told("bearing", bearing_bore="14", bearing_outside="33", bearing_width="9")
    assert result.value("sizes-that-fit").number == 0
    assert result.value("off-most").number == pytest.approx(1)
    assert result.says[0].startswith("None of the")
    assert "6002" in result.says[0]
    faces = told("bearing", bearing_bore="40", bearing_outside="52", bearing_width="7", bearing_faces="square")
    assert "the faces differ" in faces.says[0]


def test_a_code_alone_and_one_that_the_readings_contradict():
    assert told("bearing", printed="6903 ZZ").value("outside-named").number == 30
    unknown = told("bearing", printed="6408")
    assert unknown.value("bore-named").number == 40
    assert "not among the sizes here" in unknown.says[0]
    wrong = told("bearing", bearing_bore="15", bearing_outside="28", bearing_width="7", printed="6903")
    assert any("which the readings do not" in line for line in wrong.says)
    other = told("bearing", bearing_bore="15", bearing_outside="28", bearing_width="7", printed="6408")
    assert any("go by the measures" in line for line in other.says)


def test_codes_are_read_as_they_are_printed():
    assert read_code("61902-2RS C3") == (
        "6902",
        ["2RS means rubber seals on both sides.", "C3 means more play inside than usual from new."],
    )
    assert read_code("61902-2RS1")[1] == ["2RS means rubber seals on both sides."]
    assert read_code("mr17287")[0] == "17287"
    assert read_code("R8-ZZ")[0] == "R8"
    assert apart(SIZES[0], SIZES[0]) == "what is printed on them"


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({}, "bearing-bore", "two of bore, outside and width are needed"),
        ({"bearing-bore": "15"}, "bearing-bore", "two of bore, outside and width are needed"),
        ({"bearing-bore": "28", "bearing-outside": "15"}, "bearing-bore", "swapped"),
        ({"printed": "no number"}, "printed", "has no bearing code in it"),
        ({"printed": "R99"}, "printed", "not among the sizes here; measure"),
        ({"bearing-bore": "-5"}, "bearing-bore", "outside 2 to 80 mm"),
        ({"bearing-bore": "1 psi"}, "bearing-bore", "'psi' is a pressure"),
    ],
)
def test_what_cannot_be_a_bearing_is_refused(typed, field, message):
    with pytest.raises(BadInput, match=message) as refused:
        work(TOOLS["bearing"], typed)
    assert refused.value.field == field


# How it feels


@given(st.floats(0.1, 20), st.floats(20, 150), st.floats(100, 350))
def test_rim_play_is_the_tilt_that_the_bearings_allow(rim, spacing, radius):
    """Geometry, the other way round: with play c in both bearings the hub tilts by c / spacing to either side."""
    c = play_from_rim(rim, spacing, radius)
    assert 2 * radius * c / spacing == pytest.approx(rim)
    assert play_from_rim(2 * rim, spacing, radius) == pytest.approx(2 * c)


def test_play_of_a_new_bearing_is_within_the_standard():
    """ISO 5753-1:2009, group 3, bores over 18 to 30 mm: 0.013 to 0.028 mm; group N: 0.005 to 0.020 mm."""
    assert 0.028 <= NEW_AT_MOST < 0.035


@pytest.mark.parametrize(
    ("runs", "grade", "words"),
    [
        ("smooth", 0, "leave it alone"),
        ("drag", 0, "its own seals"),
        ("dry", 1, "never packed full"),
        ("gritty", 1, "from its inner edge"),
        ("notchy", 2, "Replace it"),
        ("seized", 2, "Replace it"),
    ],
)
def test_how_it_turns_decides(runs, grade, words):
    """Common practice."""
    result = told("bearing-feel", bearing_runs=runs)
    assert result.value("bearing-grade").number == grade
    assert words in result.says[0]
    assert result.value("play-in-bearing") is None
    assert any("not pressed out" in line for line in result.cautions)


@pytest.mark.parametrize(
    ("play", "grade", "words"),
    [("0", 0, "No more play than a new"), ("0.06 +- 0.01", 0, "it wears"), ("0.2", 2, "worn-out bearing")],
)
def test_play_decides_as_well(play, grade, words):
    result = told("bearing-feel", bearing_of="linkage", bearing_runs="smooth", bearing_play=play)
    assert words in result.says[0]
    assert result.value("bearing-grade").number == grade


def test_play_near_a_limit_is_too_close_to_call():
    result = told("bearing-feel", bearing_runs="smooth", bearing_play="0.09 +- 0.02")
    assert result.says[0].startswith("Too close to call")
    assert "dial gauge" in result.says[0]
    assert result.value("has-play").number > 0.99


@settings(max_examples=40)
@given(st.floats(0, 5), st.floats(0.01, 1), st.floats(20, 150), st.floats(0, 5), st.floats(100, 350), st.floats(0, 9))
def test_uncertainty_of_play_from_the_rim_is_that_of_the_guide(rim, u_rim, spacing, u_spacing, radius, u_radius):
    """JCGM 100:2008, 5.1.2: the partial derivatives of rim * spacing / (2 radius), in quadrature."""
    typed = {"rim_play": f"{rim} +- {u_rim}", "bearing_spacing": f"{spacing} +- {u_spacing}"}
    result = told("bearing-feel", bearing_runs="smooth", rim_radius=f"{radius} +- {u_radius}", **typed)
    terms = (u_rim * spacing / (2 * radius), rim * u_spacing / (2 * radius), rim * spacing * u_radius / (2 * radius**2))
    assert result.value("play-in-bearing").error == pytest.approx(hypot(*terms))
    assert 0 <= result.value("has-play").number <= 1


@pytest.mark.parametrize(("play", "share"), [("0 +- 0.01", 0.001), ("0.03 +- 0.01", 0.5), ("0.05 +- 0.01", 0.977)])
def test_how_likely_there_is_play_is_that_of_a_normal_distribution(play, share):
    """JCGM 106:2012, 7.2: Phi(-3), Phi(0) and Phi(2) of any table of the normal distribution."""
    assert told("bearing-feel", bearing_runs="smooth", bearing_play=play).value("has-play").number == share


def test_much_play_is_not_cleaned_away():
    result = told("bearing-feel", bearing_runs="gritty", rim_play="2", bearing_spacing="60")
    assert result.value("play-in-bearing").number == pytest.approx(0.2)
    assert any(line.startswith("Cleaning takes no play away") for line in result.says)
    assert not any("never packed" in line for line in result.says)


def test_a_bearing_with_play_is_not_left_alone_because_it_turns_well():
    for play in ("0.06", "0.2"):
        says = told("bearing-feel", bearing_runs="smooth", bearing_play=play).says
        assert not any("leave it alone" in line.lower() for line in says)
    assert any("leave it alone" in line for line in told("bearing-feel", bearing_runs="smooth", bearing_play="0").says)


def test_play_that_no_bearing_has_is_refused():
    with pytest.raises(BadInput, match="axle is closed") as refused:
        told("bearing-feel", bearing_runs="smooth", rim_play="50", bearing_spacing="200", rim_radius="80")
    assert refused.value.field == "rim-play"


def test_rim_play_needs_the_distance_of_the_bearings():
    with pytest.raises(BadInput, match="bearing-spacing is missing") as refused:
        told("bearing-feel", bearing_runs="smooth", rim_play="2")
    assert refused.value.field == "bearing-spacing"


@settings(max_examples=30)
@given(st.sampled_from(list(RUNS)), st.floats(0, 0.5), st.floats(0, 0.5))
def test_more_play_never_makes_the_grade_better(runs, one, more):
    grades = [
        told("bearing-feel", bearing_runs=runs, bearing_play=f"{p:.4f}").value("bearing-grade").number
        for p in (one, one + more)
    ]
    assert grades[0] <= grades[1]


# Life


def test_life_is_that_of_a_worked_example():
    """Bearing life worked example, an engineering formula page: C 30 kN, P 5 kN, 1500 a minute: 216 million turns,
    2400 hours; half the load gives eight times the life."""
    assert rating_life(30, 5) == pytest.approx(216)
    assert hours(rating_life(30, 5), 1500) == pytest.approx(2400)
    assert rating_life(30, 2.5) == pytest.approx(8 * 216)
    result = told("bearing-life", dynamic_rating="30", radial_load="5000", turns="1500")
    assert result.value("life-turns").number == pytest.approx(216)
    assert result.value("life-hours").number == pytest.approx(2400)


def test_equivalent_load_is_that_of_a_worked_example():
    """Solved textbook problems, rolling-contact bearings: the outer ring turns, Fr 7 kN, Fa 3 kN, C0 34 kN; Y between
    the lines is 1.5346, taken as 1.53, and Fe 9.294 kN."""
    assert axial_factors(0.088)[1] == pytest.approx(1.5346, abs=5e-5)
    assert axial_factors(0.088)[0] == pytest.approx(0.29, abs=0.01)
    assert equivalent_load(7, 3, 34, outer_turns=True) == pytest.approx(9.294, rel=0.002)


def test_half_of_the_bearings_last_about_five_times_as_long():
    """Weibull with the slope 10/9 of ball bearings (ISO 281:2007; a bearing maker's page says five)."""
    assert (log(2) / log(1 / 0.9)) ** (9 / 10) == pytest.approx(5, rel=0.1)


@given(st.floats(0.1, 100), st.floats(0.1, 100), st.floats(1.01, 10))
def test_life_falls_with_load_and_rises_with_rating(rating, load, more):
    assert rating_life(rating, load * more) < rating_life(rating, load) < rating_life(rating * more, load)
    assert rating_life(rating * more, load * more) == pytest.approx(rating_life(rating, load))


@given(st.floats(0, 100), st.floats(0, 100), st.floats(10, 200))
def test_equivalent_loads_are_at_least_the_radial_load(radial, axial, static):
    assert equivalent_load(radial, axial, static) >= radial
    assert equivalent_load(radial, axial, static, outer_turns=True) >= 1.2 * radial
    assert static_load(radial, axial) >= radial
    assert equivalent_load(radial, 0, static) == radial


@given(st.floats(0.001, 1), st.floats(1.0, 3))
def test_axial_factors_go_one_way(share, more):
    (e, y), (e_more, y_more) = axial_factors(share), axial_factors(share * more)
    assert e_more >= e
    assert y_more <= y


def test_surer_is_shorter():
    """ISO 281:2007, table 12."""
    factors = list(RELIABILITY.values())
    assert factors == sorted(factors, reverse=True)
    lives = [
        told("bearing-life", dynamic_rating="5", radial_load="500", reliability=name).value("life-turns").number
        for name in RELIABILITY
    ]
    assert lives == pytest.approx([1000 * f for f in factors])


def test_a_heavy_load_is_warned_of():
    result = told("bearing-life", dynamic_rating="1", static_rating="0.5", radial_load="800")
    assert "dents the rings" in result.says[0]
    assert any("over half the dynamic rating" in line for line in result.says)
    assert not any("over half" in line for line in told("bearing-life", dynamic_rating="9", radial_load="100").says)


def test_distance_is_turns_times_circumference():
    result = told("bearing-life", dynamic_rating="5", radial_load="500", wheel_circumference="2 m")
    assert result.value("life-distance").number == pytest.approx(1000 * 2000)  # 1000 million turns of 2 m


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"dynamic_rating": "5", "radial_load": "0"}, "radial-load"),
        ({"dynamic_rating": "5", "radial_load": "5", "axial_load": "5"}, "static-rating"),
        ({"dynamic_rating": "0", "radial_load": "5"}, "dynamic-rating"),
    ],
)
def test_a_load_that_cannot_be_is_refused(typed, field):
    with pytest.raises(BadInput) as refused:
        told("bearing-life", **typed)
    assert refused.value.field == field
