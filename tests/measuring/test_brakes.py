"""Lever, ratio, wear and the disc, beside published examples and reference libraries."""

from datetime import date, timedelta
from math import cos, pi, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from symptomtree.measuring.brakes.disc import first_wave, middle_plane
from symptomtree.measuring.brakes.heat import BOILS, energy_of_descent, energy_of_stop, rise, warmed
from symptomtree.measuring.brakes.lever import bite_share
from symptomtree.measuring.brakes.ratio import area, hydraulic_ratio, lever_ratio
from symptomtree.measuring.brakes.wear import falling_line
from symptomtree.measuring.life import used_up
from symptomtree.measuring.tool import BadInput, Result, work
from symptomtree.measuring.tools import tool_named
from symptomtree.measuring.units import Number

LEVER = {"rest": "60", "bite": "36 36 36"}
HYDRAULIC = {"finger": "75", "inner": "15", "master-piston": "10", "caliper-pistons": "22 22"}
ARMS = {"works-by": "cable", "finger": "72", "inner": "14", "arm-cable": "50", "arm-pad": "50"}
DISC = {"disc-sway": "0 0.1 0.2 0.1 0 -0.1 -0.2 -0.1"}
RIDER = {"rider-mass": "85", "bike-mass": "15", "brake-share": "100 %"}


def measured(tool: str, typed: dict[str, str]) -> Result:
    return work(tool_named(tool), typed)


def value(tool: str, typed: dict[str, str], name: str) -> float:
    found = measured(tool, typed).value(name)
    assert found is not None
    return found.number


def said(tool: str, typed: dict[str, str]) -> str:
    return " ".join(measured(tool, typed).says)


# Published examples


@pytest.mark.parametrize(
    ("finger", "inner", "ratio"),
    [(75, 29, 2.6), (72, 33, 2.2), (72, 14, 5.1), (60, 38, 1.6), (63, 33, 1.9), (63, 14, 4.5)],
)
def test_levers_as_measured_by_a_rider(finger: float, inner: float, ratio: float) -> None:
    """What is the mechanical advantage of mechanical rim brakes and levers, questions and answers, 2020."""
    assert lever_ratio(finger, inner) == pytest.approx(ratio, abs=0.05)


def test_the_ratio_of_a_motorcycles_front_brake() -> None:
    """Choosing a master cylinder, motorcycle forum: 14 mm, four pistons of 30.15 and four of 27 mm make 33.429; with a
    lever of 90 by 25 mm, 120.34."""
    pistons = [30.15] * 4 + [27.0] * 4
    assert hydraulic_ratio(14, pistons) == pytest.approx(33.429, abs=5e-4)
    assert hydraulic_ratio(14, pistons) * lever_ratio(90, 25) == pytest.approx(120.34, abs=0.005)
    typed = {"finger": "90", "inner": "25", "master-piston": "14", "caliper-pistons": " ".join(map(str, pistons))}
    assert value("brake-ratio", typed, "both-ratio") == pytest.approx(120.34, abs=0.005)


def test_the_area_of_a_lever_s_piston() -> None:
    """Understanding hydraulics, car builders' page: a master cylinder of 0.625 in has 0.307 square inches, so 500 psi
    take 153 lbf."""
    assert area([0.625]) == pytest.approx(0.307, abs=5e-4)
    assert area([0.625]) * 500 == pytest.approx(153, abs=0.5)


def test_how_long_pads_last_as_a_textbook_has_it() -> None:
    """Math for automotive technicians, 2019, case study 16: pads of 12 mm have 6 mm after 37,856 miles; down to 2 mm
    they last another 25,236 miles (6309 miles for each mm, rounded)."""
    typed = {"thickness": "12 6", "odometer": "0 mile; 37856 mile", "wear-limit": "2"}
    found = measured("brake-wear", typed).value("km-left")
    assert found is not None
    assert found.also is not None
    assert found.also[0] == pytest.approx(25236, rel=1e-4)


def test_the_heat_of_a_stop_and_of_a_descent() -> None:
    """Maximum brake temperatures, questions and answers, 2017: 100 kg from 10 m/s are 5000 J and 67 degrees in a disc
    of 150 g; 100 m down a slope of 1 in 10 drop 9.95 m, 9751 J (with 9.8 m/s2) and 130 degrees."""
    assert energy_of_stop(100, 10) == 5000
    assert rise(energy_of_stop(100, 10), 0.150 * 500) == pytest.approx(67, abs=0.5)
    assert energy_of_descent(100, 9.95) == pytest.approx(9751, rel=1e-3)
    assert rise(energy_of_descent(100, 9.95), 0.150 * 500) == pytest.approx(130, abs=0.5)
    assert value("rotor-heat", {**RIDER, "speed": "36", "air": "0"}, "peak") == pytest.approx(67, abs=0.5)


@pytest.mark.parametrize(
    ("mass", "speed", "iron", "heat", "warmer"),
    [(750, 24, 15, 450, 32), (750, 23, 15, 450, 29.4), (1200, 30, 4, 500, 270)],
)
def test_the_heat_of_cars_that_stop(mass: float, speed: float, iron: float, heat: float, warmer: float) -> None:
    """School physics: Hot wheels (problem collection); a car of 750 kg (questions and answers, 2018); Thermal energy,
    example 4 (study site)."""
    assert rise(energy_of_stop(mass, speed), iron * heat) == pytest.approx(warmer, abs=0.05)


def test_boiling_points_of_fluids() -> None:
    """49 CFR 571.116, S5.1, as quoted in an oil supplier's explanation of the classes (degrees C, wet and dry)."""
    assert BOILS == {"dot3": (140, 205), "dot4": (155, 230), "dot5.1": (180, 260)}


# Beside reference libraries and definitions


@given(st.lists(st.floats(-1, 1), min_size=6, max_size=24))
def test_the_first_wave_is_that_of_a_fourier_transform(readings: list[float]) -> None:
    found = np.fft.rfft(readings)
    middle, size, crest = first_wave(readings)
    assert middle == pytest.approx(found[0].real / len(readings), abs=1e-9)
    assert size == pytest.approx(4 * abs(found[1]) / len(readings), abs=1e-9)
    if size > 1e-6:
        assert cos(radians(crest) + np.angle(found[1])) == pytest.approx(1, abs=1e-6)


@settings(max_examples=25)
@given(st.floats(0.05, 2), st.floats(0, 359), st.integers(6, 24), st.floats(-3, 3))
def test_a_disc_that_leans_is_no_more_than_its_first_wave(size: float, crest: float, count: int, middle: float) -> None:
    readings = [middle + size / 2 * cos(2 * pi * n / count - radians(crest)) for n in range(count)]
    found = first_wave(readings)
    assert found[:2] == pytest.approx((middle, size))
    assert cos(radians(found[2] - crest)) == pytest.approx(1)
    typed = {"disc-sway": " ".join(f"{r:.6f}" for r in readings)}
    assert value("rotor-runout", typed, "bend") == pytest.approx(0, abs=1e-5)
    assert value("rotor-runout", typed, "run-out") <= size + 1e-5


@given(st.lists(st.floats(1, 3), min_size=3, max_size=5), st.floats(0.01, 0.2))
def test_a_line_is_that_of_a_reference_library(readings: list[float], error: float) -> None:
    at = [0.0, 300.0, 800.0, 1100.0, 2000.0][: len(readings)]
    line = falling_line(at, [Number(r, error) for r in readings])
    fitted, plain = np.polyfit(np.array(at) - at[-1], readings, 1, w=[1 / error] * len(at), cov="unscaled")
    over = float(((np.polyval(fitted, np.array(at) - at[-1]) - readings) ** 2).sum()) / error**2 / (len(at) - 2)
    found = [line.rate.error**2, -line.shared, line.last.error**2]
    assert (-line.rate.value, line.last.value) == pytest.approx(tuple(fitted), rel=1e-6, abs=1e-9)
    assert found == pytest.approx([m * max(1, over) for m in (plain[0, 0], plain[0, 1], plain[1, 1])], rel=1e-6)
    assert line.widened == (over > 1)


def test_bounds_from_several_readings_hold_as_often_as_they_say() -> None:
    at, error, rate = np.array([0.0, 400.0, 900.0, 1500.0]), 0.1, 0.001
    truth = (2.9 - 1500 * rate - 0.5) / rate
    draw = np.random.default_rng(5).normal(0, error, (3000, 4))
    found = []
    for noise in draw:
        line = falling_line(list(at), [Number(2.9 - rate * x + n, error) for x, n in zip(at, noise, strict=True)])
        found.append(used_up(Number(line.last.value - 0.5, line.last.error), line.rate, line.shared))
    # One in twenty each by the gauge alone; where the readings scatter more, the bounds are wider and hold more often.
    assert 0.02 < np.mean([truth < f.least for f in found]) < 0.055
    assert 0.02 < np.mean([truth > f.most for f in found]) < 0.055


# Properties


@given(st.floats(20, 120), st.floats(0, 1), st.floats(0, 1))
def test_a_lever_goes_further_the_closer_to_the_bar_it_bites(rest: float, one: float, other: float) -> None:
    near, far = sorted((one, other))
    assert 0 <= bite_share(rest, far * rest) <= bite_share(rest, near * rest) <= 100
    assert bite_share(rest, rest) == 0
    assert bite_share(rest, 0) == 100


@settings(max_examples=25)
@given(st.floats(60, 150), st.floats(5, 60), st.floats(6, 12), st.floats(12, 30))
def test_what_a_brake_gains_in_force_it_loses_in_travel(
    finger: float, inner: float, master: float, piston: float
) -> None:
    typed = {"finger": f"{finger}", "inner": f"{inner}", "master-piston": f"{master}", "pad-gap": "0.5"}
    fixed = measured("brake-ratio", {**typed, "caliper-pistons": f"{piston} {piston}"})
    sliding = measured("brake-ratio", {**typed, "caliper-pistons": f"{piston}", "caliper": "sliding"})
    for result in (fixed, sliding):
        both, travel, pad = (result.value(n).number for n in ("both-ratio", "travel-to-touch", "pad-ratio"))  # type: ignore[union-attr]
        assert both * 0.5 == pytest.approx(travel)
        assert pad == pytest.approx(both / 2)
        assert both == pytest.approx(finger / inner * 2 * piston**2 / master**2)


@given(st.lists(st.floats(1.5, 2), min_size=8, max_size=8))
def test_a_flat_disc_of_uneven_thickness_does_not_sway(thickness: list[float]) -> None:
    mean = sum(thickness) / 8
    face = [(t - mean) / 2 for t in thickness]
    assert middle_plane(face, thickness) == pytest.approx([0] * 8, abs=1e-12)


@given(st.floats(10, 1000), st.floats(30, 500), st.floats(10, 300), st.floats(1, 5000), st.floats(1.01, 3))
def test_heat_between_its_limits(power: float, capacity: float, cooling: float, time: float, more: float) -> None:
    found = warmed(power, capacity, cooling, time)
    assert 0 < found <= min(rise(power * time, capacity), power * cooling / capacity) * (1 + 1e-9)
    assert warmed(power, capacity * more, cooling, time) < found
    assert warmed(power, capacity, cooling, time * more) >= found
    # One time constant: 63.2 % (Incropera and others, Fundamentals of heat and mass transfer, 6th ed. 2007, 5.1).
    assert warmed(power, capacity, cooling, cooling) == pytest.approx(0.632 * power * cooling / capacity, rel=1e-3)


@settings(max_examples=25)
@given(st.floats(1, 3), st.floats(0.05, 0.9), st.integers(50, 3000))
def test_the_thinner_it_was_read_the_less_is_left(first: float, share: float, run: int) -> None:
    def left(now: float) -> float:
        return value("brake-wear", {"thickness": f"{first + 0.6} {now}", "odometer": f"0 {run}"}, "km-left")

    thick, thin = 0.5 + first * max(share, 0.1), 0.5 + first * max(share, 0.1) * 0.8
    assert left(thin) < left(thick)


# What it says


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "first half"),
        ({"bite": "20 21 20"}, "Long lever"),
        ({"bite": "30 30 31"}, "Too close to call"),
        ({"held": "1"}, "do not ride it"),
        ({"held": "8"}, "before the next ride"),
        ({"held": "20"}, "stays a finger's breadth"),
        ({}, "squeeze it as hard as you can"),
        ({"pumped": "44 45"}, "air in the system"),
        ({"pumped": "44 45", "brake-type": "rim"}, "which a cable alone does not do"),
        ({"pumped": "36 36"}, "Pumping changes nothing"),
        ({"pumped": "25 26"}, "Do not ride it"),
        ({"bite": "44 36 41"}, "wanders"),
        ({"bite": "20 20", "brake-type": "drum"}, "worn linings"),
    ],
)
def test_the_lever(typed: dict[str, str], words: str) -> None:
    assert words in said("lever-travel", {**LEVER, **typed})


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"thickness": "1.6"}, "With two readings or more"),
        ({"thickness": "0.2"}, "worn out"),
        ({"thickness": "0.5 +- 0.001", "wear-limit": "0.5"}, "worn out"),
        ({"thickness": "0.55"}, "Too close to call"),
        ({"thickness": "1.6", "brake-part": "disc"}, "1.5, 1.52 or 1.55"),
        ({"thickness": "1.6", "wear-limit": "1.2"}, "the one you gave"),
        ({"thickness": "1.2 1.19", "odometer": "0 50"}, "hardly differ"),
        ({"thickness": "3 2.2 2.1 1", "odometer": "0 500 1000 1500"}, "bounds were widened"),
        ({"thickness": "3 0.4", "odometer": "0 500"}, "nothing is left"),
        ({"thickness": "3 2", "dates": "2026-01-01, 2026-03-02"}, "days (nine times"),
    ],
)
def test_the_wear(typed: dict[str, str], words: str) -> None:
    assert words in said("brake-wear", typed)


def test_what_is_left_has_the_uncertainty_of_the_guide() -> None:
    """JCGM 100:2008, 5.1.2, for (b - limit) / (a - b) x 500 with a = 3, b = 2 and limit = 0.5, each good to 0.1."""
    found = measured("brake-wear", {"thickness": "3 2", "odometer": "0 500"}).value("km-left")
    assert found is not None
    assert found.number == pytest.approx(750)
    assert found.error == pytest.approx(500 * 0.1 * ((1 + 1.5) ** 2 + 1.5**2) ** 0.5)


@pytest.mark.parametrize(
    ("tool", "typed", "name", "least", "most"),
    [
        ("lever-travel", {**LEVER, "held": "25"}, "no-finger", 0, 0.01),
        ("lever-travel", {**LEVER, "held": "3"}, "no-finger", 0.99, 1),
        ("lever-travel", {**LEVER, "held": "12.7"}, "no-finger", 0.49, 0.51),
        ("lever-travel", {**LEVER, "pumped": "44"}, "pumps-up", 0.99, 1),
        ("lever-travel", {**LEVER, "pumped": "36"}, "pumps-up", 0, 0.01),
        ("rotor-runout", DISC, "sways", 0.99, 1),
        ("rotor-runout", {**DISC, "pad-gap": "0.2 +- 0"}, "sways", 0.45, 0.55),
        ("rotor-runout", {**DISC, "pad-gap": "0.4"}, "sways", 0, 0.01),
    ],
)
def test_how_likely_a_finding_is(tool: str, typed: dict[str, str], name: str, least: float, most: float) -> None:
    assert least <= value(tool, typed, name) <= most


def test_dates_are_days() -> None:
    start = date(2026, 1, 30)
    days = " ".join((start + timedelta(days=n)).isoformat() for n in (0, 60))
    assert value("brake-wear", {"thickness": "3 2", "dates": days}, "day-left") == pytest.approx(90)


@pytest.mark.parametrize(
    ("arm", "words"),
    [
        ("30", "Under 4"),
        ("50", "Between 4 and 6"),
        ("90", "Between 6 and 12"),
        ("150", "Over 12"),
        ("41", "Too close to call"),
    ],
)
def test_arms_of_a_rim_brake(arm: str, words: str) -> None:
    assert words in said("brake-ratio", {**ARMS, "arm-cable": arm})


def test_a_linear_pull_brake_with_its_own_lever_is_no_mismatch() -> None:
    """Lever 75 by 29 mm, made for linear-pull brakes (questions and answers, 2020); arms 102 by 27 mm (from memory)."""
    own = {"works-by": "cable", "finger": "75", "inner": "29", "arm-cable": "102", "arm-pad": "27"}
    assert "usual with linear-pull" in said("brake-ratio", own)
    assert "pulls little cable" in said("brake-ratio", {**own, "finger": "72", "inner": "14"})


def test_a_gap_that_is_not_well_known_leaves_the_verdict_open() -> None:
    """Run-out 0.4 mm, good to 0.02; both gaps 0.5, good to 0.1 by a feeler, or 0.01 when it is known well."""
    assert "Too close to call" in said("rotor-runout", {**DISC, "pad-gap": "0.25"})
    assert "can run free" in said("rotor-runout", {**DISC, "pad-gap": "0.25 +- 0.005"})


def test_a_disc_bent_far_is_not_told_to_be_straightened() -> None:
    told = said("rotor-runout", {"disc-sway": "0 0 0 1.5 0 0 0 0"})
    assert "It is bent, most at 135 degrees" in told
    assert "rather a new disc" in told
    assert "straighten there" not in told


def test_nothing_left_of_a_sum_is_no_bend() -> None:
    found = measured("rotor-runout", {"disc-sway": "0.1 0.1 0.1 0.1 0.1 0.1 0.1 +- 0 0.1"}).value("bend")
    assert found is not None
    assert found.number == 0


def test_a_limit_that_is_not_the_maker_s_is_called_usual() -> None:
    assert "Over the usual limit of 1.5 mm" in said("brake-wear", {"thickness": "1.7", "brake-part": "disc"})
    theirs = {"thickness": "1.9", "brake-part": "disc", "wear-limit": "1.8"}
    assert "Over its limit of 1.8 mm" in said("brake-wear", theirs)
    assert "either side of 0 mm" in said("brake-wear", {"thickness": "0.2", "brake-part": "block"})


def test_a_ratio_from_travels_alone() -> None:
    typed = {"works-by": "travel", "finger-travel": "15", "pad-travel": "1.5"}
    assert value("brake-ratio", typed, "pad-ratio") == pytest.approx(5)
    assert measured("brake-ratio", typed).value("travel-to-touch") is None


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "leans as a whole"),
        ({"disc-sway": "0 0 0 0.5 0 0 0 0"}, "It is bent, most at 135 degrees"),
        ({"disc-sway": "0 0.1 0.2 0.1 0.4 -0.1 -0.2 -0.1"}, "both leans and is bent"),
        ({"disc-sway": "0 0.01 0.02 0.01 0 0 0 0"}, "can run free"),
        ({"pad-gap": "0.05"}, "gaps on both sides together"),
        ({"pad-gap": "0.6"}, "can run free"),
        ({"disc-sway": "0 0.5 1 0.5 0 -0.5 -1 -0.5"}, "rather a new disc"),
        ({"disc-sway": "0 0.1 0.2 0.2 0.29 0.1 0 0"}, "Too close to call"),
        ({"disc-thicknesses": "1.8 1.8 1.7 1.7 1.8 1.8 1.8 1.8"}, "the brake can pulse"),
        ({"disc-thicknesses": "1.8 1.8 1.8 1.8 1.8 1.8 1.8 1.8"}, "less than cars' discs"),
        ({"disc-thicknesses": "1.8 1.8 1.8 1.4 1.8 1.8 1.8 1.8"}, "Compare the thinnest, 1.4 mm"),
        ({}, "Measure the thickness at the same places"),
    ],
)
def test_the_disc(typed: dict[str, str], words: str) -> None:
    assert words in said("rotor-runout", {**DISC, **typed})


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"speed": "20", "fluid": "dot4", "cooling": "60 +- 1"}, "old fluid too"),
        ({"drop": "300", "descent-time": "20", "fluid": "dot3", "cooling": "60 +- 1"}, "More than new fluid"),
        ({"drop": "300", "descent-time": "23", "fluid": "dot4", "cooling": "60 +- 1"}, "More than old fluid"),
        ({"drop": "300", "descent-time": "20", "fluid": "mineral", "cooling": "60 +- 1"}, "More than the fluid boils"),
        ({"speed": "20", "fluid": "mineral", "boiling": "280"}, "this heat alone does not boil"),
        ({"speed": "20", "boiling": "280"}, "this heat alone does not boil"),
        ({"drop": "500", "descent-time": "10"}, "pads fade"),
        ({"speed": "30", "material": "aluminium", "disc-mass": "450 g"}, "raises the tyre's pressure"),
        ({"speed": "30"}, "Orientation only"),
    ],
)
def test_the_heat(typed: dict[str, str], words: str) -> None:
    assert words in said("rotor-heat", {**RIDER, **typed})


@pytest.mark.parametrize(
    "name", ["lever-travel", "brake-wear", "brake-ratio", "stopping", "rotor-runout", "rotor-heat"]
)
def test_nothing_is_called_safe_and_riding_on_is_warned_of(name: str) -> None:
    tool = tool_named(name)
    result = work(tool, tool.example)
    assert "safe" not in " ".join((*result.says, *result.cautions)).casefold()
    assert result.cautions


# What cannot be


@pytest.mark.parametrize(
    ("tool", "typed", "field", "message"),
    [
        ("lever-travel", {**LEVER, "bite": "70"}, "bite", "further from the bar than the lever let go"),
        ("lever-travel", {**LEVER, "held": "45"}, "held", "were the two swapped"),
        ("lever-travel", {"rest": "60"}, "bite", "bite is missing"),
        ("lever-travel", {**LEVER, "rest": "5"}, "rest", "outside 15 to 150 mm"),
        ("lever-travel", {**LEVER, "rest": "5 bar"}, "rest", "is a pressure"),
        ("brake-wear", {"thickness": "1 2", "odometer": "0 500"}, "thickness", "grows from reading to reading"),
        ("brake-wear", {"thickness": "2 1", "odometer": "500"}, "odometer", "1 for 2 readings"),
        ("brake-wear", {"thickness": "2 1", "odometer": "500 200"}, "odometer", "must rise"),
        ("brake-wear", {"thickness": "2 1", "dates": "2026-05-01 2026-05-01"}, "dates", "must rise"),
        ("brake-wear", {"thickness": "2 1", "dates": "1.5.2026 2026-06-01"}, "dates", "'1.5.2026' is no date"),
        ("brake-wear", {"thickness": "-1"}, "thickness", "outside 0 to 20 mm"),
        ("brake-ratio", {**HYDRAULIC, "caliper-pistons": ""}, "caliper-pistons", "every piston"),
        ("brake-ratio", {**HYDRAULIC, "master-piston": ""}, "master-piston", "missing"),
        ("brake-ratio", {**HYDRAULIC, "finger": ""}, "finger", "missing"),
        ("brake-ratio", {**HYDRAULIC, "inner": ""}, "inner", "missing"),
        ("brake-ratio", {**ARMS, "arm-cable": ""}, "arm-cable", "missing"),
        ("brake-ratio", {**ARMS, "arm-pad": ""}, "arm-pad", "missing"),
        ("brake-ratio", {"works-by": "travel", "pad-travel": "1"}, "finger-travel", "missing"),
        ("brake-ratio", {"works-by": "travel", "finger-travel": "9"}, "pad-travel", "missing"),
        ("rotor-runout", {"disc-sway": "0 0.1 0"}, "disc-sway", "too few"),
        ("rotor-runout", {**DISC, "disc-thicknesses": "1.8"}, "disc-thicknesses", "1, but 8 of the sway"),
        ("rotor-heat", RIDER, "speed", "speed is missing"),
        ("rotor-heat", {**RIDER, "drop": "100"}, "descent-time", "descent-time is missing"),
        ("rotor-heat", {**RIDER, "speed": "30", "descent-time": "10"}, "drop", "drop is missing"),
        ("rotor-heat", {**RIDER, "drop": "4000", "descent-time": "2"}, "descent-time", "a fall, not a ride"),
        ("brake-ratio", {**HYDRAULIC, "inner": "80"}, "inner", "were the two swapped"),
        ("brake-ratio", {**HYDRAULIC, "master-piston": "25"}, "master-piston", "were the two swapped"),
        ("brake-ratio", {"works-by": "travel", "finger-travel": "2", "pad-travel": "20"}, "pad-travel", "swapped"),
        ("rotor-heat", {**RIDER, "speed": "30", "fluid": "water"}, "fluid", "'water' is none of"),
    ],
)
def test_what_cannot_be_is_told_in_a_sentence(tool: str, typed: dict[str, str], field: str, message: str) -> None:
    with pytest.raises(BadInput) as told:
        measured(tool, typed)
    assert message in str(told.value)
    assert told.value.field == field
