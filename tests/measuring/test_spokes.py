"""Spokes: tension from pitch, balance of the sides, length; and the true of the rim they hold."""

from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from symptomtree.measuring.tool import BadInput, work
from symptomtree.measuring.wheels.rim_true import WHEEL_TRUE, fit, most_left, turns
from symptomtree.measuring.wheels.spoke_length import SPOKE_LENGTH, spoke_length
from symptomtree.measuring.wheels.spokes import DENSITY, ENDS, SPOKE_TENSION, YOUNG, pitch_of, tension_of, tension_ratio

# Tension from pitch


def test_pitch_of_a_published_spoke():
    """Spokes tension using frequency (cycling forum, December 2025): a steel spoke of 2 mm and 279 mm, as a beam, rings
    at about 360 Hz at 100 kgf."""
    assert pitch_of(980.665, 279, 2.0) == pytest.approx(360, rel=0.005)


def test_advised_pitches_are_one_stress():
    """Allen, Check spoke tension by ear (1987, 1997), table for plain spokes: length in mm and note, from F sharp above
    middle C (370 Hz) a semitone a row. He advises one tension for a gauge, so the table must give one; a
    semitone is 12 % of tension."""
    lengths = [308, 292, 276, 262, 248, 236, 224, 212, 201, 191, 181, 172, 163, 156, 147]
    tensions = [float(tension_of(369.99 * 2 ** (n / 12), mm, 2.0)) for n, mm in enumerate(lengths)]
    assert tensions == pytest.approx([float(np.mean(tensions))] * len(lengths), rel=0.07)
    assert 1000 < np.mean(tensions) < 1500


def test_an_octave_and_a_minor_third():
    """Allen, Why correct musical pitch depends on spoke length and not on thickness (1997): an octave up is four
    times the tension, 1.2 times the pitch more than 1.4 times; two gauges at one stress ring alike."""
    low = tension_of(300, 290, 2.0)
    assert tension_of(600, 290, 2.0) / low == pytest.approx(4, rel=0.03)
    assert tension_of(360, 290, 2.0) / low == pytest.approx(1.44, rel=0.02)
    assert tension_of(300, 290, 1.5) / low == pytest.approx((1.5 / 2.0) ** 2, rel=0.02)


def beam_pitch(tension: float, length: float, diameter: float, clamped: bool) -> float:
    """The lowest note of a beam under tension, by finite differences: no formula of the project in it."""
    n, span, wide = 200, length / 1000, diameter / 1000
    step = span / (n + 1)
    second = (np.diag(np.full(n, -2.0)) + np.diag(np.ones(n - 1), 1) + np.diag(np.ones(n - 1), -1)) / step**2
    fourth = second @ second
    if clamped:  # the point behind the end mirrors the one before it, instead of being its negative
        fourth[0, 0] += 2 / step**4
        fourth[-1, -1] += 2 / step**4
    force = YOUNG * pi / 64 * wide**4 * fourth - tension * second
    return sqrt(float(np.linalg.eigvalsh(force)[0]) / (DENSITY * pi / 4 * wide**2)) / (2 * pi)


@pytest.mark.parametrize(("tension", "length", "diameter"), [(1000, 280, 2.0), (500, 180, 1.5), (60, 290, 2.3)])
def test_pitch_is_that_of_a_beam_solved_another_way(tension, length, diameter):
    assert pitch_of(tension, length, diameter) == pytest.approx(beam_pitch(tension, length, diameter, False), rel=1e-3)


def test_what_clamped_ends_would_do_is_what_is_said():
    read = float(tension_of(beam_pitch(1000, 280, 2.0, True), 280, 2.0))
    assert read == pytest.approx(1200, abs=15)
    assert 1000 < read < 1000 * (1 + 2 * ENDS + 0.02)


@given(st.floats(50, 2000), st.floats(100, 320), st.floats(1.4, 2.3))
def test_pitch_and_tension_are_each_other_s_inverse(tension, length, diameter):
    assert tension_of(pitch_of(tension, length, diameter), length, diameter) == pytest.approx(tension, rel=1e-9)


@given(st.floats(200, 800), st.floats(1, 100), st.floats(150, 300))
def test_a_higher_note_is_more_tension(pitch, more, length):
    assert tension_of(pitch + more, length, 2.0) > tension_of(pitch, length, 2.0)


def test_balance_of_a_published_hub():
    """How do you determine that difference in tension between the sides (wheel builders' forum, 24 March 2023):
    flanges at 32 and 16 mm, spokes of 287.6 and 285.6 mm: the left has about 0.5 of the right."""
    assert tension_ratio(32, 16, 287.6, 285.6) == pytest.approx(0.5, abs=0.005)


@given(st.floats(10, 50), st.floats(10, 50))
def test_balance_changes_sides_with_the_hub(left, right):
    assert tension_ratio(left, right) * tension_ratio(right, left) == pytest.approx(1)
    assert (tension_ratio(left, right) < 1) == (left > right)


WHEEL = {"free-length": "280", "spoke-diameter": "1.8"}
EVEN = {"pitch-left": "300 301 299 300", "pitch-right": "400 399 401 400"}


def test_the_slack_spoke_is_named():
    result = work(SPOKE_TENSION, {**WHEEL, **EVEN, "pitch-left": "300 300 230 300"})
    assert "left 3" in " ".join(result.says)
    assert "slacker" in " ".join(result.says)
    assert result.value("tension-spread").number > 30
    assert result.says[0].startswith("Over 20 %")


def test_an_even_wheel_is_left_alone():
    result = work(SPOKE_TENSION, {**WHEEL, **EVEN, "flange-left": "35", "flange-right": "19.7"})
    assert "leave the spokes" in " ".join(result.says)
    assert "balanced as the flanges ask for" in " ".join(result.says)
    assert result.value("balance").number == pytest.approx(56, abs=0.5)


def test_a_spoke_alone_tells_nothing_of_evenness():
    result = work(SPOKE_TENSION, {**WHEEL, "pitch-left": "300", "pitch-right": "400"})
    assert result.value("tension-spread") is None
    assert not any("mean of its side" in line for line in result.says)


def test_near_the_limit_it_is_open():
    pitch = " ".join([f"{pitch_of(1150, 280, 1.8):.1f}"] * 3)
    says = work(SPOKE_TENSION, {**WHEEL, "pitch-right": pitch}).says
    assert any("Too close to call" in line and "1177" in line for line in says)


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({}, "", "give the pitch of the spokes of one side, or both"),
        ({"pitch-left": "60", "free-length": "60", "spoke-diameter": "3.2"}, "pitch-left", "slack spoke"),
        ({**EVEN, "flange-left": "35"}, "", "belong together"),
        ({"pitch-left": "300 600 301"}, "pitch-left", "as an overtone does"),
        ({**EVEN, "pitch-left": "300 kgf"}, "pitch-left", "'kgf' is a force"),
    ],
)
def test_what_cannot_be_is_refused(typed, field, message):
    with pytest.raises(BadInput, match=message) as told:
        work(SPOKE_TENSION, {**WHEEL, **typed})
    assert told.value.field == field


# Spoke length


@pytest.mark.parametrize(
    ("erd", "flange", "offset", "hole", "crossings", "each", "length"),
    [
        # Spoke length calculation (workshop page): 36 spokes, 3 crossings
        (555, 58, 39, 2.6, 3, 18, 265.8),
        # Bicycle forum, May 2010: a rear wheel with 36 spokes and 3 crossings, holes of 2 mm, left and right
        (536, 44.0, 35.30, 2.0, 3, 18, 259.11),
        (536, 45.0, 22.10, 2.0, 3, 18, 257.44),
    ],
)
def test_length_of_published_spokes(erd, flange, offset, hole, crossings, each, length):
    assert spoke_length(erd, flange, offset, hole, crossings, each) == pytest.approx(length, abs=0.06)


@given(st.floats(450, 620), st.floats(30, 110), st.floats(10, 45))
def test_length_without_and_with_crossings(erd, flange, offset):
    flat = spoke_length(erd, flange, 0, 2.6, 0, 16)
    assert flat == pytest.approx((erd - flange) / 2 - 1.3)
    rising = [spoke_length(erd, flange, offset, 2.6, n, 16) for n in range(5)]
    assert rising == sorted(rising)
    assert rising[0] > flat


BUILD = {"erd": "600", "spokes": "32", "flange-diameter": "44", "flange-left": "35", "flange-right": "20"}


def test_both_sides_and_a_rim_with_its_holes_off_centre():
    plain = work(SPOKE_LENGTH, BUILD)
    assert plain.value("length-left").number == pytest.approx(spoke_length(600, 44, 35, 2.6, 3, 16), abs=0.01)
    assert plain.value("length-right").number < plain.value("length-left").number
    moved = work(SPOKE_LENGTH, {**BUILD, "rim-offset": "2.5"})
    assert moved.value("balance-expected").number > plain.value("balance-expected").number
    other = work(SPOKE_LENGTH, {**BUILD, "crossings-right": "0", "flange-diameter-right": "50"})
    assert other.value("length-right").number < 280
    assert "a number of spokes divided by nine" in " ".join(work(SPOKE_LENGTH, {**BUILD, "crossings": "4"}).says)


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({"spokes": "31"}, "spokes", "cannot be shared by two sides"),
        ({"crossings": "2.5"}, "crossings", "whole"),
        ({"crossings": "5", "spokes": "20"}, "crossings", "pass behind the hub; at most 3"),
        ({"crossings-right": "5", "spokes": "20"}, "crossings-right", "pass behind the hub"),
        ({"erd": "150", "flange-diameter": "200"}, "erd", "are the two swapped"),
        ({"rim-offset": "9", "flange-left": "8"}, "rim-offset", "look at its sign"),
    ],
)
def test_a_wheel_that_cannot_be_built_is_refused(typed, field, message):
    with pytest.raises(BadInput, match=message) as told:
        work(SPOKE_LENGTH, {**BUILD, **typed})
    assert told.value.field == field


# True


def test_waves_of_a_published_example():
    """Grewal, Higher Engineering Mathematics, harmonic analysis (from memory): 1.0 1.4 1.9 1.7 1.5 1.2 at every 60
    degrees is 1.45 - 0.37 cos x + 0.17 sin x - 0.10 cos 2x - 0.06 sin 2x + ..."""
    rim = fit(np.radians(np.arange(0, 360, 60)), np.array([1.0, 1.4, 1.9, 1.7, 1.5, 1.2]), 0.001)
    assert rim.parts == pytest.approx([1.45, -0.37, 0.17, -0.10, -0.06], abs=0.005)
    assert rim.size(1) == pytest.approx(2 * sqrt(0.367**2 + 0.173**2), abs=0.002)


def test_waves_are_those_of_the_fourier_transform():
    """numpy.fft as the reference library."""
    read = np.random.default_rng(3).normal(0, 0.5, 15)
    rim = fit(np.arange(15) * 2 * pi / 15, read, 1e-6)
    found = np.fft.rfft(read) / 15
    assert rim.parts[0] == pytest.approx(found[0].real)
    assert rim.parts[1::2] == pytest.approx(2 * found[1:].real)
    assert rim.parts[2::2] == pytest.approx(-2 * found[1:].imag)


@pytest.mark.parametrize(("free", "most"), [(1, 3.841), (2, 5.991), (10, 18.307), (30, 43.773)])
def test_what_may_be_left_over_is_that_of_a_table(free, most):
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4 (upper critical values of chi-squared, 0.05)."""
    assert most_left(free) == pytest.approx(most, rel=0.03)


def test_no_more_waves_than_the_readings_tell():
    angle = np.arange(32) * 2 * pi / 32
    draw = np.random.default_rng(5)
    waves = [fit(angle, 0.5 * np.cos(2 * angle) + draw.normal(0, 0.1, 32), 0.1).waves for _ in range(100)]
    assert waves.count(2) >= 90


def test_the_true_run_out_is_within_its_uncertainty():
    angle = np.arange(32) * 2 * pi / 32
    draw = np.random.default_rng(9)
    rims = [fit(angle, 0.4 * np.cos(2 * angle - 1) + draw.normal(0, 0.1, 32), 0.1).runout() for _ in range(200)]
    assert np.mean([abs(found - 0.8) < 2 * doubt for found, doubt in rims]) > 0.9


def rim_with(spoke: int, spokes: int, first: int, turn: float) -> tuple[list[float], list[float]]:
    """Read a true rim of which one spoke was turned: a bump towards its side and inwards, as a beam on springs gives
    it, e^-x (cos x + sin x) (Hetenyi, Beams on elastic foundation, 1946), x a spoke and a half long."""
    apart = np.abs((np.arange(1, spokes + 1) - spoke + spokes / 2) % spokes - spokes / 2) / 1.5
    bump = turn * np.exp(-apart) * (np.cos(apart) + np.sin(apart))
    side = first if spoke % 2 else -first
    return list(side * bump), list(-0.3 * bump)


@settings(max_examples=50)
@given(st.integers(1, 32), st.sampled_from([1, -1]), st.sampled_from([1.0, -1.0]), st.booleans())
def test_the_spoke_that_was_turned_is_named_first(spoke, first, turn, hop):
    sideways, outwards = rim_with(spoke, 32, first, turn)
    typed = {"sideways": " ".join(f"{v:.2f}" for v in sideways), "spokes": "32"}
    typed["first-side"] = "right" if first > 0 else "left"
    if hop:
        typed["outwards"] = " ".join(f"{v:.2f}" for v in outwards)
    result = work(WHEEL_TRUE, typed)
    told = next(line for line in result.says if line.startswith("First:"))
    side = "right" if (first if spoke % 2 else -first) > 0 else "left"
    assert told.startswith(f"First: spoke {spoke} ({side}) {'looser' if turn > 0 else 'tighter'}")


@given(st.lists(st.floats(-2, 2), min_size=4, max_size=40))
def test_a_mirrored_wheel_wants_the_same_turns(lean):
    side = np.where(np.arange(len(lean)) % 2 == 0, 1, -1)
    there = np.array(lean)
    assert turns(there, 0 * there, side) == pytest.approx(turns(-there, 0 * there, -side))


def true(**typed: str):
    return work(WHEEL_TRUE, {"spokes": "32", "first-side": "right", **typed})


def test_a_bent_rim_is_not_pulled_straight():
    says = true(sideways="0 2 5 8 10 8 5 2 0 -2 -4 -6 -7 -6 -4 -2").says
    assert "qualified workshop" in says[0]
    assert not any("First:" in line or "true the wheel" in line for line in says)


def test_a_true_wheel_is_left_alone():
    result = true(sideways="1 1 1 1 1 1 1 1", outwards="0 0 0 0 0 0 0 0")
    assert result.value("lateral-runout").number == pytest.approx(0, abs=1e-9)
    assert result.value("lateral-middle").number == pytest.approx(1)
    assert any("No spoke wants turning" in line for line in result.says)


@pytest.mark.parametrize(
    ("wave", "name", "sign"),
    [(1, "sideways", "axle is straight"), (2, "sideways", "bent like a saddle"), (1, "outwards", "runs off centre")],
)
def test_a_single_wave_is_a_sign(wave, name, sign):
    readings = " ".join(f"{np.cos(wave * 2 * pi * n / 16):.2f}" for n in range(16))
    flat = " ".join(["0"] * 16)
    assert any(sign in line for line in true(**{"sideways": flat, "outwards": flat, name: readings}).says)


def test_few_places_leave_the_spoke_open():
    """Every second spoke finds a spoke turned by enough to move the rim 0.8 mm, every fourth does not."""
    found = {}
    for step in (2, 4):
        draw, hits = np.random.default_rng(1), 0
        for spoke in range(1, 33):
            at = np.arange(0, 32, step)
            lean = np.array(rim_with(spoke, 32, 1, 0.8)[0])[at] + draw.normal(0, 0.05, len(at))
            rim = fit(2 * pi * at / 32, lean, 0.05)
            wanted = turns(rim.at(2 * pi * np.arange(32) / 32) - rim.parts[0], np.zeros(32), np.tile([1, -1], 16))
            hits += int(np.argmax(np.abs(wanted))) + 1 == spoke
        found[step] = hits / 32
    assert found[2] > 0.95
    assert found[4] < 0.7
    assert any("every second spoke or more" in line for line in true(sideways="0 .1 .3 1.2 .3 0 -.1 0").says)
    assert not any("every second spoke or more" in line for line in true(sideways=" ".join(["0"] * 16)).says)


def test_a_single_bump_is_no_single_wave():
    result = true(sideways="0 .1 .3 1.2 .3 0 -.1 0", outwards="0 0 0 .3+-.05 0 0 0 0")
    assert not any("once a turn" in line for line in result.says)
    assert abs(result.value("radial-runout").number - 0.3) < 1.645 * result.value("radial-runout").error


@pytest.mark.parametrize("error", [0.05, 0.1, 0.2])
def test_one_high_place_is_not_lost_among_good_ones(error):
    """A bump of 0.9 mm at one of sixteen places: with card and rule it may not come out as a true rim."""
    bump = " ".join(f"{v}+-{error}" for v in (0, 0, 0, 0.9, *[0] * 12))
    runout = true(sideways=bump).value("lateral-runout")
    assert runout.number > 0.3
    assert abs(runout.number - 0.9) < 1.645 * runout.error


@pytest.mark.parametrize(("kind", "limit"), [("racing", "0.6"), ("other", "0.8")])
def test_limits_are_those_of_the_standard(kind, limit):
    """TBIS 15194:2019, 4.3.9.1, table 22."""
    readings = " ".join(f"{np.cos(2 * pi * n / 16):.2f}" for n in range(16))
    says = true(**{"sideways": readings, "wheel-kind": kind}).says
    assert says[0].startswith(f"Sideways: over {limit} mm")


def test_places_may_be_uneven():
    at = [1, 3, 6, 10, 14, 17, 20, 26, 30]
    readings = " ".join(f"{np.cos(2 * pi * (n - 1) / 32):.3f}+-0.01" for n in at)
    result = true(sideways=readings, places=" ".join(map(str, at)))
    assert result.value("lateral-runout").number == pytest.approx(2, abs=0.03)


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({"sideways": "0 1 0 1"}, "sideways", "fewer than 5 places"),
        ({"sideways": "0 1 0 1 0 1", "outwards": "0 1"}, "outwards", "read both at the same places"),
        ({"sideways": "0 1 0 1 0 1", "places": "1 5"}, "places", "2 for 6 readings"),
        ({"sideways": "0 1 0 1 0 1", "places": "1 5 9 13 17 40"}, "places", "no spoke 40 among 32"),
        ({"sideways": "0 1 0 1 0 1", "spokes": "33"}, "spokes", "shared by two sides"),
        ({"sideways": "0 1 0 1 0 1", "spokes": "32.5"}, "spokes", "whole"),
    ],
)
def test_readings_that_cannot_be_are_refused(typed, field, message):
    with pytest.raises(BadInput, match=message) as told:
        true(**typed)
    assert told.value.field == field
