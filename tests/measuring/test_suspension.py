"""Sag, coils, use of the travel and bounces against published figures, and what must hold of any of them."""

from itertools import pairwise
from math import exp, log, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import argrelmax, impulse, lti
from scipy.stats import norm, poisson

from symptomtree.measuring.suspension import TOOLS
from symptomtree.measuring.suspension.bounce import damping_ratio, decrement, decrement_of, natural_frequency
from symptomtree.measuring.suspension.coil_spring import coil_force, rate_for, sag_on, shock_load, wheel_rate
from symptomtree.measuring.suspension.sag import doubted, leverage_of, share_below
from symptomtree.measuring.suspension.travel_use import chance_above, rate_between
from symptomtree.measuring.tool import BadInput, Result, work
from symptomtree.measuring.tools import tool_named
from symptomtree.measuring.units import convert


def _works(tool: str, typed: str) -> Result:
    return work(TOOLS[tool], dict(part.split("=", 1) for part in typed.split(", ")))


def _gives(tool: str, typed: str, value: str) -> float:
    found = _works(tool, typed).value(value)
    assert found
    return found.number


# Published figures.


def test_leverage_as_published() -> None:
    # Garage files: leverage ratios (mountain bike magazine, 2018): 90 mm of travel on a stroke of 42.5 mm is "2.1".
    assert leverage_of(90, 42.5) == pytest.approx(2.1, abs=0.05)


@pytest.mark.parametrize(
    ("rate", "inches", "pounds"),
    [
        # Mastering the math: how to calculate spring rates (vehicle shock article, undated): 4.25 in of 150 lb/in.
        (150, 4.25, 637.5),
        # How to accurately calculate what spring rate you need (mountain bike news site, 2022): 400 lb/in.
        (400, 1, 400),
        (400, 2, 800),
    ],
)
def test_coil_force_as_published(rate: float, inches: float, pounds: float) -> None:
    force = coil_force(convert(rate, "lb/in", "N/mm"), convert(inches, "in", "mm"), 0)
    assert convert(force, "N", "lbf") == pytest.approx(pounds)


@pytest.mark.parametrize(
    ("rate", "spring_by_wheel", "at_wheel"),
    # Worked examples of two engineering pages on the rate at the wheel (undated): motion ratio 0.75.
    [(300, 0.75, 168.75), (50, 0.75, 28.1)],
)
def test_wheel_rate_as_published(rate: float, spring_by_wheel: float, at_wheel: float) -> None:
    assert wheel_rate(rate, 1 / spring_by_wheel) == pytest.approx(at_wheel, rel=2e-3)


@pytest.mark.parametrize(
    ("deflection", "frequency"),
    [
        # Natural frequency of free longitudinal vibrations, given static deflection (formula page, undated).
        (72.0, 1.8578),
        (36.0, 2.6273),
        (100.8, 1.5701),
        # A school problem collection (undated): 1 kg stretches a spring by 1.5 cm, g = 9.81.
        (15.0, 4.0701),
        # The same law's table in mechanical engineering texts: 0.4985 / sqrt(metres).
        (10.0, 4.985),
        (20.0, 3.525),
        (50.0, 2.229),
    ],
)
def test_natural_frequency_as_published(deflection: float, frequency: float) -> None:
    assert natural_frequency(deflection) == pytest.approx(frequency, rel=5e-4)


def test_decrement_of_a_motorcycle_as_published() -> None:
    # Rao, Mechanical Vibrations (5th ed. 2011; the edition from memory), example 2.14, shock absorber for a motorcycle:
    # a fourth is left after half a swing; decrement 2.7726, damping 0.4037; damped period 2 s, so 3.4338 rad/s without
    # damping.
    fall = decrement((4, 1), half=True)
    assert fall == pytest.approx(2.7726, abs=5e-5)
    assert damping_ratio(fall) == pytest.approx(0.4037, abs=5e-5)
    assert pi / sqrt(1 - damping_ratio(fall) ** 2) == pytest.approx(3.4338, abs=2e-4)


def test_damping_of_three_springs_as_published() -> None:
    # A theory of machines problem (textbook solution site, undated): 8 kg, 5.4 N/mm, 40 N at 1 m/s: damping 0.096.
    ratio = 40 / (2 * sqrt(5400 * 8))
    assert ratio == pytest.approx(0.096, abs=5e-4)
    assert damping_ratio(decrement_of(ratio)) == pytest.approx(ratio)


def test_torsional_pendulum_as_published() -> None:
    # A vibration problem on a physics forum (2009): 13 % are left after 99 swings or 100; ln(100/13) = 2.04 in all.
    assert decrement((100, 13)) == pytest.approx(2.04, abs=5e-3)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # A statistics program's answer page (2013) by Garwood's method, 90 %: 25 counted, 17.38 to 34.92.
        (25, 17.38, 34.92),
        # Hanley and Lippman-Hand, JAMA 249 (1983), the rule of three: none seen, at most 3 (exactly 2.996).
        (0, 0, 2.996),
    ],
)
def test_rate_from_a_count_as_published(count: int, low: float, high: float) -> None:
    assert rate_between(count, 1) == pytest.approx((low, high), abs=5e-3)


@pytest.mark.parametrize("ratio", [0.05, 0.2, 0.4])
def test_damping_from_a_simulated_bounce(ratio: float) -> None:
    # SciPy's linear systems, an independent way to the heights.
    at, height = impulse(lti([1], [1, 2 * ratio, 1]), T=np.linspace(0, 40, 40001))
    assert at[-1] == 40
    tops = height[argrelmax(height)[0]][:3]
    assert damping_ratio(decrement(tops)) == pytest.approx(ratio, rel=1e-3)


# What must hold.

_some = st.floats(1, 500)


@given(force=st.floats(50, 5000), sag=st.floats(1, 60), preload=st.floats(0, 10))
def test_coil_there_and_back(force: float, sag: float, preload: float) -> None:
    rate = rate_for(force, sag, preload)
    assert coil_force(rate, sag, preload) == pytest.approx(force)
    assert sag_on(rate, force, preload) == pytest.approx(sag, abs=1e-9)
    assert sag_on(rate * 1.1, force, preload) < sag


@given(rate=_some, travel=_some, leverage=st.floats(1, 4))
def test_work_at_wheel_and_spring_is_the_same(rate: float, travel: float, leverage: float) -> None:
    assert wheel_rate(rate, leverage) * travel**2 == pytest.approx(rate * (travel / leverage) ** 2)


@given(mass=st.floats(10, 200), leverage=st.floats(1, 4), rate=_some)
def test_load_and_rate_agree_on_the_sag(mass: float, leverage: float, rate: float) -> None:
    at_shock = sag_on(rate, shock_load(mass, leverage), 0)
    at_wheel = sag_on(wheel_rate(rate, leverage), shock_load(mass, 1), 0)
    assert at_wheel == pytest.approx(at_shock * leverage)


@given(ratio=st.floats(0.01, 0.95), first=_some, swings=st.integers(1, 6), half=st.booleans())
def test_decrement_there_and_back_at_any_scale(ratio: float, first: float, swings: int, half: bool) -> None:
    fall = decrement_of(ratio)
    heights = [first * exp(-fall * n / (2 if half else 1)) for n in range(swings + 1)]
    assert damping_ratio(decrement(heights, half)) == pytest.approx(ratio, rel=1e-6)


@given(deflection=st.floats(1, 300))
def test_four_times_the_sag_is_half_the_frequency(deflection: float) -> None:
    assert natural_frequency(4 * deflection) == pytest.approx(natural_frequency(deflection) / 2)


@given(count=st.integers(0, 60), runs=st.integers(1, 20))
def test_rate_lies_within_its_limits(count: int, runs: int) -> None:
    low, high = rate_between(count, runs)
    assert low <= count / runs < high
    assert rate_between(count + 1, runs) > (low, high)


@settings(max_examples=30)
@given(st.lists(st.floats(20, 45), min_size=3, max_size=6))
def test_order_and_unit_of_sag_readings_do_not_matter(readings: list[float]) -> None:
    forth = _gives("sag", f"travel=150 mm, sag={';'.join(map(str, readings))}", "sag-percent")
    back = ";".join(f"{x / 25.4} in" for x in reversed(readings))
    assert _gives("sag", f"travel={150 / 25.4} in, sag={back}", "sag-percent") == pytest.approx(forth)


@given(limit=st.floats(-5, 5), number=st.floats(-5, 5), error=st.floats(0.1, 5))
def test_share_below_a_limit(limit: float, number: float, error: float) -> None:
    assert share_below(limit, number, error) == pytest.approx(norm.cdf(limit, number, error), abs=1e-9)


@pytest.mark.parametrize(("number", "share"), [(1, 1), (2, 0), (3, 0)])
def test_share_below_a_limit_without_doubt(number: float, share: float) -> None:
    assert share_below(2, number, 0) == share


def test_doubt_of_a_product() -> None:
    values, errors = doubted(lambda a, b: {"area": a * b}, {"a": 3, "b": 4}, {"a": 0.1, "b": 0.2})
    assert values["area"] == 12
    assert errors["area"] == pytest.approx(sqrt(0.4**2 + 0.6**2))


# The tools.


@pytest.mark.parametrize("name", TOOLS)
def test_examples_run_and_fit_the_screen(name: str) -> None:
    result = work(tool_named(name), TOOLS[name].example)
    assert result.says
    assert result.values
    assert result.picture
    for width, height in ((76, 20), (40, 10)):
        lines = result.picture(width, height)
        assert len(lines) <= height
        assert max(map(len, lines)) <= width


@pytest.mark.parametrize("name", TOOLS)
def test_nothing_is_called_safe(name: str) -> None:
    result = work(TOOLS[name], TOOLS[name].example)
    assert "safe" not in " ".join((*result.says, *result.cautions, TOOLS[name].about)).casefold()


@pytest.mark.parametrize(
    ("typed", "starts"),
    [
        ("end=front, travel=150 mm, sag=30 31 30", "The sag is right"),
        ("end=front, travel=150 mm, sag=44 45 44", "Too much sag"),
        ("end=front, travel=150 mm, sag=15 15 16", "Too little sag"),
        ("end=front, travel=150 mm, sag=34 35 33", "Too close to call"),
        ("end=rear, stroke=60 mm, sag=16.5 16.5 16.5 16.5 16.5 16.5", "The sag is right"),
        ("end=rear, stroke=60 mm, sag=21 21 21", "Too much sag"),
        ("end=rear, stroke=60 mm, sag=21 21 21, sag-target=35", "The sag is right"),
        ("end=rear, travel=150, leverage=2.5, sag=12 12 12", "Too little sag"),
    ],
)
def test_sag_verdict(typed: str, starts: str) -> None:
    assert _works("sag", typed).says[0].startswith(starts)


def test_more_readings_leave_less_doubt() -> None:
    doubts = [_works("sag", f"travel=150, sag={r}").values[0].error for r in ("30", "30 33", "30 33 30 33 30 33")]
    assert all(more > fewer for more, fewer in pairwise(doubts))


@pytest.mark.parametrize(
    ("readings", "part"), [("30", "take three"), ("30 31", "take three"), ("20 31 40", "lie far apart")]
)
def test_sag_says_when_readings_are_few_or_wild(readings: str, part: str) -> None:
    assert part in " ".join(_works("sag", f"travel=150, sag={readings}").says)


def test_sag_at_the_wheel() -> None:
    assert _gives("sag", "end=rear, stroke=60, travel=150, sag=18 18 18", "wheel-sag") == pytest.approx(45)
    assert _gives("sag", "end=rear, stroke=60, travel=150, sag=18 18 18", "leverage") == pytest.approx(2.5)


def test_coil_from_the_one_that_is_in() -> None:
    # 70 N/mm at 23 + 1 mm holds what a harder one must hold at 16.5 + 1 mm.
    typed = "stroke=60, spring-rate=70, sag=23 23 23"
    assert _gives("coil-rate", typed, "spring-rate-new") == pytest.approx(70 * 24 / 17.5)
    assert "A harder one" in _works("coil-rate", typed).says[0]


def test_coil_in_pounds_is_the_same_coil() -> None:
    metric = _gives("coil-rate", "stroke=60, spring-rate=70, sag=21 21 21", "spring-rate-new")
    inch = f"stroke=60, spring-rate={convert(70, 'N/mm', 'lb/in')} lb/in, sag=21 21 21"
    assert _gives("coil-rate", inch, "spring-rate-new") == pytest.approx(metric)


@pytest.mark.parametrize(
    ("typed", "part"),
    [
        ("stroke=60, spring-rate=90, sag=10 10 10", "too hard"),
        ("stroke=60, spring-rate=80, sag=16.5 16.5 16.5", "will do"),
        ("stroke=60, spring-rate=80, sag=25 25 24", "too soft"),
        ("stroke=60, spring-rate=450 lb/in, sag=20 20 21", "Too close to call"),
        ("stroke=60, spring-rate=450 lb/in, rider-mass=80, leverage=2.5", "Measure the sag that it gives"),
    ],
)
def test_what_is_said_of_the_coil_that_is_in(typed: str, part: str) -> None:
    assert part in _works("coil-rate", typed).says[0]


def test_more_mass_or_leverage_wants_a_harder_coil() -> None:
    rates = [
        _gives("coil-rate", f"stroke=60, travel={travel}, rider-mass={mass}", "spring-rate-new")
        for travel, mass in ((140, 70), (140, 80), (160, 80))
    ]
    assert all(softer < harder for softer, harder in pairwise(rates))


def test_much_preload_brings_a_caution() -> None:
    many = _works("coil-rate", "stroke=60, travel=150, rider-mass=80, preload-turns=4").cautions
    assert any("coil solid" in caution for caution in many)


@pytest.mark.parametrize(
    ("typed", "part"),
    [
        ("used=150 150 150, bottomed=3 3 3", "one volume reducer more"),
        ("used=150 150 150, bottomed=3 3 3, spring=coil", "a harder coil"),
        ("used=150 150 150, bottomed=3 3 3, feel=harsh", "faster rebound"),
        ("used=150 150 150, bottomed=3 3 3, sag=50 50 50", "Sag first"),
        ("used=150 150 150, bottomed=3 3 3, sag=15 15 15", "a little less air"),
        ("used=120 122 118, bottomed=0 0 0", "one volume reducer fewer"),
        ("used=120 122 118, bottomed=0 0 0, reducers=0", "no reducer is in"),
        ("used=120 122 118, bottomed=0 0 0, spring=coil", "a softer coil"),
        ("used=120 122 118, bottomed=0 0 0, feel=soft", "does not fit"),
        ("used=120, bottomed=0", "at least 3 runs"),
        ("used=134 135 134, bottomed=0 0 0", "Too close to call whether"),
        ("used=150 150 150, bottomed=2 2 0", "Too close to call: between"),
        ("used=149 150 150, bottomed=0 1 0", "leave everything"),
        ("used=149 150 150, bottomed=0 1 0, feel=harsh", "less compression"),
        ("used=149 150 150, bottomed=0 1 0, feel=soft", "more low-speed compression"),
    ],
)
def test_one_change_is_proposed(typed: str, part: str) -> None:
    says = _works("travel-use", f"travel=150, {typed}").says
    assert part in says[0]
    leave = ("does not fit", "at least 3 runs", "Too close to call", "leave everything")
    assert any("Only this one thing" in said for said in says) == (not any(words in says[0] for words in leave))


def test_an_end_short_of_the_travel_does_not_fit() -> None:
    says = _works("travel-use", "travel=150, used=120 118 122, bottomed=3 3 3, sag=30 31 29").says
    assert "It hit an end at 81 % of the travel" in says[0]
    assert len(says) == 1


@pytest.mark.parametrize(("readings", "far"), [("30 31 29", False), ("75 76 75", True), ("5 5 6", True)])
def test_sag_that_no_spring_is_set_to(readings: str, far: bool) -> None:
    says = _works("sag", f"travel=150, sag={readings}").says
    assert any("so far off" in said for said in says) == far


@pytest.mark.parametrize(
    ("heights", "part"), [("40 30 22", "swings on"), ("40 5", "settles"), ("100 0.5", "Too close")]
)
def test_bounce_verdict(heights: str, part: str) -> None:
    assert part in _works("bounce", f"heights={heights}").says[0]


def test_bounce_without_sag_has_no_frequency() -> None:
    assert _works("bounce", "heights=40 10").value("natural-frequency") is None
    assert _gives("bounce", "heights=40 10, sag=20, leverage=2.5", "natural-frequency") == pytest.approx(
        2.229, abs=1e-3
    )


def test_a_quarter_left_after_a_swing() -> None:
    assert _gives("bounce", "heights=40 10", "overshoot") == pytest.approx(50)
    assert _gives("bounce", "heights=40 10", "decrement") == pytest.approx(log(4))


@pytest.mark.parametrize(
    ("tool", "typed", "value", "least", "most"),
    [
        ("bounce", "heights=40 30 22", "swings-on", 0.99, 1),
        ("bounce", "heights=40 6 1", "swings-on", 0, 0.1),
        ("bounce", "heights=40 6 1", "creeps-back", 0, 0.01),
        ("bounce", "heights=40 10 +- 0", "creeps-back", 0, 0.01),
        ("travel-use", "travel=150, used=150 150 150, bottomed=3 3 3", "too-easy", 0.98, 1),
        ("travel-use", "travel=150, used=150 150 150, bottomed=0 1 0", "too-easy", 0, 0.15),
        ("travel-use", "travel=150, used=150 150 150, bottomed=0 1 0", "never-full", 0, 0),
        ("travel-use", "travel=150, used=120 122 121, bottomed=0 0 0", "never-full", 0.99, 1),
        ("travel-use", "travel=150 +- 0, used=135 +- 1, bottomed=0 0 0", "never-full", 0.49, 0.51),
    ],
)
def test_shares_that_a_finding_can_take(tool: str, typed: str, value: str, least: float, most: float) -> None:
    assert least <= _gives(tool, typed, value) <= most


@given(count=st.integers(1, 40), runs=st.integers(1, 10), rate=st.floats(0.1, 5))
def test_chance_lies_between_those_of_the_exact_limits(count: int, runs: int, rate: float) -> None:
    # SciPy's Poisson distribution: of seeing at most one fewer, and at most as many, at just that rate.
    fewer, many = poisson.cdf(count - 1, rate * runs), poisson.cdf(count, rate * runs)
    assert fewer <= chance_above(rate, count, runs) <= many


@pytest.mark.parametrize(
    ("tool", "typed", "field", "part"),
    [
        ("sag", "end=front, sag=30", "travel", "travel is missing"),
        ("sag", "end=rear, sag=15", "stroke", "stroke is missing"),
        ("sag", "end=rear, travel=150, sag=15", "stroke", "or the wheel's travel and the leverage"),
        ("sag", "end=rear, travel=150, stroke=60, leverage=2, sag=15", "travel", "is not stroke 60 mm times"),
        ("sag", "travel=100, sag=100", "sag", "is all of the 100 mm"),
        ("sag", "travel=100, sag=0 0", "sag", "nothing moved"),
        ("sag", "travel=100, sag=-3", "sag", "outside 0 to 200"),
        ("sag", "travel=100, sag=3kg", "sag", "is a mass"),
        ("sag", "travel=100, sag=;", "sag", "sag is missing"),
        ("coil-rate", "stroke=60", "rider-mass", "rider-mass is missing"),
        ("coil-rate", "stroke=60, rider-mass=80", "leverage", "leverage is missing"),
        ("coil-rate", "stroke=60, rider-mass=80, leverage=2.5, sag=16 16 17", "spring-rate", "leave the sag out"),
        ("travel-use", "travel=150, used=150, bottomed=1.5", "bottomed", "no whole number"),
        ("travel-use", "travel=150, used=0 0 0, bottomed=0 0 0", "used", "nothing moved"),
        ("travel-use", "travel=150, used=20 21 22, bottomed=0 0 0, sag=30 31 29", "used", "less than the sag"),
        ("travel-use", "travel=150, used=150 150, bottomed=1 1 1", "used", "2 readings for 3 runs"),
        ("travel-use", "travel=150, used=170, bottomed=1", "used", "more than the 150 mm"),
        ("bounce", "heights=40", "heights", "two or more"),
        ("bounce", "heights=40 45", "heights", "do not get smaller"),
        ("bounce", "heights=40 20, sag=0", "sag", "nothing moved"),
    ],
)
def test_refusals(tool: str, typed: str, field: str, part: str) -> None:
    with pytest.raises(BadInput, match=part) as caught:
        _works(tool, typed)
    assert caught.value.field == field
