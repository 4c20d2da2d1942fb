"""Stopping distance and what tips a bike over, beside published tables and examples."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from symptomtree.measuring.brakes.stopping import (
    GRAVITY,
    US_DISTANCE,
    US_SPEED,
    braking_distance,
    deceleration_of,
    on_the_level,
    stopping_distance,
    tipping_deceleration,
)
from symptomtree.measuring.tool import BadInput, Result, work
from symptomtree.measuring.tools import tool_named
from symptomtree.measuring.units import convert

STOP = {"speed": "24", "stop-distance": "4.0 4.1 4.0"}
TIPS = {"wheelbase": "1000 mm", "front-load": "40 %", "mass-height": "1000 mm"}

speed = st.floats(1, 30)
rate = st.floats(0.3, 10)


def stopping(**typed: str) -> Result:
    return work(tool_named("stopping"), {name.replace("_", "-"): text for name, text in typed.items()})


def said(typed: dict[str, str]) -> str:
    return " ".join(work(tool_named("stopping"), typed).says)


# Published examples


def test_a_table_of_distances_in_law() -> None:
    """Code annotated 22.1109 (1972), standards for brakes: 9.3, 20.8, 37.0, 58.0 and 83.3 ft from 10 to 30 mph."""
    table = {10: 9.3, 15: 20.8, 20: 37.0, 25: 58.0, 30: 83.3}
    a = deceleration_of(convert(20, "mph", "m/s"), convert(37.0, "ft", "m"))
    for mph, feet in table.items():
        found = convert(braking_distance(convert(mph, "mph", "m/s"), a), "m", "ft")
        assert found == pytest.approx(feet, rel=6e-3)


def test_sight_distance_of_a_bicycle_path() -> None:
    """Characteristics of emerging road and trail users (FHWA-HRT-04-103, 2004): 38.7 m (127 ft) from 20 mph, wet, by
    the highway officials' guide (2.5 s, friction 0.25)."""
    found = stopping_distance(convert(20, "mph", "m/s"), 0.25 * GRAVITY, 2.5)
    assert found == pytest.approx(38.7, abs=0.05)
    assert convert(found, "m", "ft") == pytest.approx(127, abs=0.5)


def test_the_way_while_reacting() -> None:
    """Bicycle brake reaction distance, web page on the same guide: 40 km/h for 2.5 s are 27.78 m."""
    assert stopping_distance(40 / 3.6, 1e9, 2.5) == pytest.approx(27.78, abs=0.005)


@given(st.floats(5, 60), st.floats(0.1, 1), st.floats(-0.05, 0.05))
def test_it_is_the_guide_s_formula(kmh: float, friction: float, grade: float) -> None:
    """Guide for the development of bicycle facilities, 1999, p. 41: V^2 / 254 (f + G), V in km/h."""
    found = braking_distance(kmh / 3.6, GRAVITY * (friction + grade))
    assert found == pytest.approx(kmh**2 / (254 * (friction + grade)), rel=2e-3)


def test_the_shortest_stop_on_dry_asphalt() -> None:
    """Braking distance, bicycle encyclopaedia page in Japanese: 1.8 m and 0.7 s from 20 km/h."""
    a = deceleration_of(20 / 3.6, 1.8)
    assert a == pytest.approx(8.57, abs=0.005)
    assert 20 / 3.6 / a == pytest.approx(0.7, abs=0.06)


def test_what_the_us_requirement_takes() -> None:
    """16 CFR 1512.5 (2011): 15 ft are 4.57 m, and 1512.5 (c) note 3: a gear development of 6.67 m; at 60 turns a minute
    that is 15 mph to the whole number. So half of gravity."""
    assert pytest.approx(4.57, abs=0.005) == US_DISTANCE
    assert convert(6.67, "m/s", "mph") == pytest.approx(convert(US_SPEED, "m/s", "mph"), abs=0.1)
    assert deceleration_of(US_SPEED, US_DISTANCE) / GRAVITY == pytest.approx(0.5, abs=0.005)


def test_tipping_over_downhill() -> None:
    """J. Riel, Maximal braking on a standard bicycle, 2005: 0.7 g on the level are 0.6 g down a slope of 10 %."""
    assert tipping_deceleration(0.7, 1.0) == pytest.approx(0.7 * GRAVITY)
    assert tipping_deceleration(0.7, 1.0, -0.1) / GRAVITY == pytest.approx(0.6, abs=0.005)


# Properties


@given(speed, rate)
def test_distance_and_deceleration_are_each_other_s_inverse(v: float, a: float) -> None:
    assert deceleration_of(v, braking_distance(v, a)) == pytest.approx(a)


@given(speed, rate, st.floats(0, 3), st.floats(1.01, 2))
def test_faster_slower_to_react_and_weaker_take_longer(v: float, a: float, react: float, more: float) -> None:
    way = stopping_distance(v, a, react)
    assert stopping_distance(v * more, a, react) > way
    assert stopping_distance(v, a * more, react) < way
    assert stopping_distance(v, a, react + more) > way
    assert stopping_distance(v, a, 0) == braking_distance(v, a)
    assert braking_distance(v * sqrt(2), a) == pytest.approx(2 * braking_distance(v, a))


@given(st.floats(15, 40), st.floats(1, 8))
def test_another_speed_is_corrected_as_the_standard_has_it(kmh: float, a: float) -> None:
    """EN 14766:2005, 4.6.7.5.1.9: S_c = (V_s / V_m)^2 S_m."""
    way = braking_distance(kmh / 3.6, a)
    found = stopping(speed=f"{kmh}", stop_distance=f"{way}").value("us-distance")
    assert found is not None
    assert found.number == pytest.approx((US_SPEED * 3.6 / kmh) ** 2 * way)


@given(rate, st.floats(0.001, 0.2))
def test_brakes_do_more_than_is_seen_downhill_and_less_uphill(a: float, slope: float) -> None:
    assert on_the_level(a, slope) < on_the_level(a, 0) == a < on_the_level(a, -slope)
    assert on_the_level(a, slope) + on_the_level(a, -slope) == pytest.approx(2 * a)


@given(st.floats(300, 1500), st.floats(500, 1500), st.floats(1.01, 2))
def test_further_back_and_lower_tips_later(behind: float, height: float, more: float) -> None:
    a = tipping_deceleration(behind, height)
    assert tipping_deceleration(behind * more, height) > a
    assert tipping_deceleration(behind, height * more) < a


def test_the_same_stop_in_feet_and_miles() -> None:
    metric = stopping(speed="24.14016", stop_distance="4.572 m").value("us-distance")
    feet = stopping(speed="15 mph", stop_distance="15 ft").value("us-distance")
    assert metric is not None
    assert feet is not None
    assert feet.number == pytest.approx(metric.number)
    assert feet.also is not None
    assert feet.also[0] == pytest.approx(15)


# What it says


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"speed": "24 +- 0.1"}, "Shorter than 15 ft"),
        ({"stop-distance": "8 8.1 8"}, "Longer than 15 ft"),
        ({"stop-distance": "4.5 4.6 4.4"}, "Too close to call"),
        ({}, "says nothing of cracks"),
        ({"speed": "18", "stop-distance": "2.2"}, "reckoned over from 18 km/h"),
        ({"wet-distance": "6 6.1"}, "as the European standards for bicycles ask"),
        ({"wet-distance": "20 20.5"}, "needs more than 5 m from 16 km/h"),
        ({"wet-distance": "6 6.1"}, "more than half of the dry force"),
        ({"wet-distance": "14 14.5"}, "less than half of the dry force"),
        ({"wet-distance": "3.9"}, "were the two swapped"),
        ({"stop-distance": "3", **TIPS}, "This stop was harder than that"),
        ({"brakes": "rear"}, "about 65 %"),
        (TIPS, "The rear wheel lifts at about 5.9 m/s2 (0.60 g)"),
    ],
)
def test_a_stop(typed: dict[str, str], words: str) -> None:
    assert words in said({**STOP, **typed})


def test_one_brake_alone_is_not_held_against_a_limit_for_both() -> None:
    assert "15 ft" not in said({**STOP, "brakes": "front"})


def test_a_reckoned_stop_is_no_verdict() -> None:
    assert "15 ft" not in said({"speed": "24", "deceleration": "5"})
    assert "a measured stop tells" in said({"speed": "24", "deceleration": "16.4 ft/s2"})


def test_downhill_it_runs_further_with_the_same_brakes() -> None:
    level, down = (stopping(speed="24", deceleration="4", slope=s).value("with-reaction") for s in ("0", "-8"))
    assert level is not None
    assert down is not None
    assert down.number > level.number


# What cannot be


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({"speed": "24"}, "stop-distance", "measure a stop"),
        ({**STOP, "deceleration": "4"}, "deceleration", "not both"),
        ({**STOP, "stop-distance": "1.5"}, "stop-distance", "which no bicycle's brakes do"),
        ({**STOP, "stop-distance": "250", "slope": "20"}, "stop-distance", "which no bicycle's brakes do"),
        ({**STOP, "wet-distance": "1"}, "wet-distance", "which no bicycle's brakes do"),
        ({"speed": "24", "deceleration": "0.5", "slope": "-10"}, "slope", "do not stop the bike at all"),
        ({**STOP, "wheelbase": "1000"}, "front-load", "go together"),
        ({**TIPS, "speed": "24", "front-load": "80 %", "slope": "-25"}, "slope", "tips over unbraked"),
        ({**STOP, "speed": "24 kg"}, "speed", "is a mass"),
        ({**STOP, "speed": "-3"}, "speed", "outside 3 to 120"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(typed: dict[str, str], field: str, message: str) -> None:
    with pytest.raises(BadInput) as told:
        work(tool_named("stopping"), typed)
    assert message in str(told.value)
    assert told.value.field == field
