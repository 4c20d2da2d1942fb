"""What a noise keeps time with: rates, matching, and recordings made on the computer."""

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from symptomtree.measuring.noise import TOOLS
from symptomtree.measuring.noise.beats import SURE, apart, match, weigh, weights_of_rate
from symptomtree.measuring.noise.rhythm import other_gear
from symptomtree.measuring.noise.turning import Gear, bearing_orders, sources, wheel_rate
from symptomtree.measuring.tool import BadInput, Result, work
from symptomtree.measuring.units import read_number
from tests.bench.rhythm import listen, measure, planned, some_bike, synthesise

TOOL = TOOLS["noise-rhythm"]
RODE = {"cadence": "80", "teeth-front": "42", "teeth-rear": "17", "chain-links": "110"}


def chances(result: Result) -> dict[str, float]:
    return {v.name: v.number for v in result.values if v.name != "rate"}


def tapped(rate: float, number: int, skip: tuple[int, ...] = (), late: float = 0.0) -> str:
    rng = np.random.default_rng(3)
    return " ".join(f"{n / rate + 1 + rng.normal(0, late):.3f}" for n in range(number) if n not in skip)


# Rates


@pytest.mark.parametrize(
    ("typed", "cranks"),
    [
        # "How to use gear roll-out" (bicycle forum): 60 km/h in 52/12, 9.135 m to the turn, is 109.47 a minute.
        ({"speed": "60 km/h", "wheel-circumference": "2108 mm", "teeth-front": "52", "teeth-rear": "12"}, 109.47),
        # "Gear inch calculations explained" (event page): 60 a minute in 39/26 with a 27 inch wheel is 7.22 mph.
        ({"speed": "7.22 mph", "wheel-circumference": "84.82 in", "teeth-front": "39", "teeth-rear": "26"}, 60.0),
    ],
)
def test_gears_as_published(typed: dict[str, str], cranks: float) -> None:
    picture = work(TOOL, typed).picture
    assert picture is not None
    assert f"crank {cranks:.0f}/min" in picture(76, 20)
    front, rear = (float(typed[name]) for name in ("teeth-front", "teeth-rear"))
    found = sources(cranks / 60, cranks / 60 * front / rear, Gear(front, rear))
    wheel = wheel_rate(read_number(typed["speed"], "m/s").value, read_number(typed["wheel-circumference"], "m").value)
    assert next(s.rate for s in found if s.name == "wheel") == pytest.approx(wheel, rel=0.002)


@given(st.floats(0.5, 3), st.integers(20, 56), st.integers(9, 52), st.integers(90, 126), st.integers(9, 16))
def test_all_follow_the_chain(cranks: float, front: int, rear: int, links: int, jockey: int) -> None:
    """As many links pass the ring, the sprocket and the guide wheel, whatever their size."""
    found = {s.name: s.rate for s in sources(cranks, cranks * front / rear, Gear(front, rear, links, jockey))}
    passing = found["chain-teeth"]
    assert found["crank"] * front == pytest.approx(passing)
    assert found["wheel"] * rear == pytest.approx(passing)
    assert found["jockey"] * jockey == pytest.approx(passing)
    assert found["chain-loop"] * links == pytest.approx(passing)
    assert found["pedal-stroke"] == 2 * found["crank"]


# Matching


def test_regular_beats_have_their_rate() -> None:
    rate, error = weigh(np.arange(0.3, 15, 0.62), 15.0, 0.01).best()
    assert rate == pytest.approx(1 / 0.62, abs=3 * error)
    assert error < 0.05


def test_missed_and_strange_beats_and_drift_do_not_hide_it() -> None:
    """A third of the beats is missing, four do not belong, and the rate drifts by 5 %."""
    rng = np.random.default_rng(1)
    phases = np.arange(0.4, 22)
    times = phases / 1.5 * (1 - 0.05 * (phases / 22 - 0.5))
    times = np.delete(times, [3, 4, 8, 12, 13, 17, 20]) + rng.normal(0, 0.02, 15)
    weights = weigh(np.sort(np.append(times, [2.2, 5.1, 9.0, 13.3])), 15.0, 0.01)
    assert weights.best()[0] == pytest.approx(1.5, rel=0.03)


def test_beats_at_random_are_no_rhythm() -> None:
    """The best rhythm explains such beats little better, and mostly worse, than chance."""
    rng = np.random.default_rng(5)
    best = [weigh(np.sort(rng.uniform(0, 15, 15)), 15.0, 0.01).logs.max() for _ in range(20)]
    assert np.median(best) < 3


@settings(max_examples=15, deadline=None)
@given(st.floats(0.5, 4), st.floats(1.1, 1.9))
def test_a_faster_bike_is_the_same_bike(rate: float, times: float) -> None:
    """All rates times something: the likeliest rate goes with it."""
    beats = np.arange(0.2, 12, 1 / rate)
    slow, fast = weigh(beats, 12.0, 0.0), weigh(beats / times, 12 / times, 0.0)
    assert fast.best()[0] / slow.best()[0] == pytest.approx(times, rel=0.04)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.3, 100), st.floats(0.005, 0.1))
def test_chances_are_shares(rate: float, doubt: float) -> None:
    may = sources(1.3, 1.3 * 42 / 17, Gear(42, 17, 110))
    found = match(weights_of_rate(rate, 0.03 * rate), may, doubt)
    assert sum(found.values()) == pytest.approx(1)
    assert min(found.values()) >= 0


def test_a_counted_rate_by_bayes_rule() -> None:
    """Two sources at the same rate share it as their odds were before; the arithmetic by hand."""
    may = [s for s in sources(1.0, 1.0, Gear(34, 34, 110)) if s.name in ("crank", "wheel")]
    found = match(weights_of_rate(1.0, 0.01), may, 0.02)
    assert found["crank"] / found["wheel"] == pytest.approx(may[0].usual / may[1].usual)


def test_nothing_is_ruled_out_for_good() -> None:
    """A rate a thousand standard uncertainties away leaves a source what is left of a model that may be wrong."""
    found = match(weights_of_rate(50.0, 0.01), sources(1.0, 2.3, Gear(42, 18, 110)), 0.01)
    assert 1e-4 < found["crank"] < 0.005


# The tool


@pytest.mark.parametrize(
    ("rate", "number", "skip", "source"),
    [
        (80 / 60, 16, (5, 9), "crank"),
        (160 / 60, 30, (4, 11, 12), "pedal-stroke"),
        (80 / 60 * 42 / 110, 8, (), "chain-loop"),
        (80 / 60 * 42 / 17, 30, (7,), "wheel"),
    ],
)
def test_taps(rate: float, number: int, skip: tuple[int, ...], source: str) -> None:
    result = work(TOOL, {**RODE, "taps": tapped(rate, number, skip, 0.02)})
    assert chances(result)[source] > SURE
    found = result.value("rate")
    assert found is not None
    assert abs(found.number - 60 * rate) < 3 * found.error
    assert found.also is not None
    assert "keeps time with" in result.says[0]


def test_in_time_with_the_cranks_is_once_or_twice_a_turn() -> None:
    found = chances(work(TOOL, {**RODE, "beat-rate": "160"}))
    assert found["with-cranks"] == pytest.approx(found["crank"] + found["pedal-stroke"])
    assert found["with-cranks"] > SURE


def test_a_rate_of_its_own_is_none_of_these() -> None:
    result = work(TOOL, {**RODE, "beat-rate": "112 +- 1"})
    assert chances(result)["none"] > SURE
    assert "nothing in the list" in result.says[0]


def test_cannot_tell_and_what_would() -> None:
    """In 34/17 a wheel turns twice in a turn of the cranks, just as often as a foot pushes."""
    typed = {"cadence": "80", "teeth-front": "34", "teeth-rear": "17", "beat-rate": "160"}
    result = work(TOOL, typed)
    assert max(chances(result)[name] for name in ("pedal-stroke", "wheel")) < SURE
    said = " ".join(result.says)
    assert said.startswith("Cannot tell")
    assert "19 teeth" in said
    assert "Stop pedalling" in said
    assert chances(work(TOOL, {**typed, "coasting": "goes-on"}))["wheel"] > SURE
    assert chances(work(TOOL, {**typed, "coasting": "stops"}))["wheel"] < 0.3
    assert work(TOOL, {**typed, "teeth-rear": "19"}).says[0].startswith("It keeps time")


def test_what_was_tried_is_not_asked_for_again_and_what_does_not_fit_is_told() -> None:
    """A wheel may stop with the pedals one time in five, but nothing at the cranks goes on without them."""
    typed = {"cadence": "80", "teeth-front": "34", "teeth-rear": "17", "beat-rate": "160", "coasting": "stops"}
    said = " ".join(work(TOOL, typed).says)
    assert said.startswith("Cannot tell")
    assert "Stop pedalling" not in said
    assert "19 teeth" in said
    assert "does not fit" in " ".join(work(TOOL, {**RODE, "beat-rate": "80", "coasting": "goes-on"}).says)
    assert "does not fit" not in " ".join(work(TOOL, {**RODE, "beat-rate": "80", "coasting": "stops"}).says)


def test_balls_between_cup_and_cone_press_at_an_angle() -> None:
    """Harris, Rolling Bearing Analysis, 2001, chapter 8: the outer ring's order is balls / 2 (1 - k cos(angle))."""
    hub = {"bearing-balls": "9", "ball-diameter": "6.35", "bearing-pitch": "20"}
    wheel = 80 * 42 / 17
    for angle, rate in ((0, 4.5 * (1 - 0.3175) * wheel), (40, 4.5 * (1 - 0.3175 * 0.766044) * wheel)):
        result = work(TOOL, {**RODE, **hub, "jockey-teeth": "0", "beat-rate": f"{rate}", "contact-angle": f"{angle}"})
        told = chances(result)
        assert max(told, key=told.__getitem__) == "bearing-outer"


def test_cadence_and_speed_are_of_one_ride() -> None:
    """80 a minute in 42/17 with 2.1 m are 24.9 km/h."""
    typed = {**RODE, "beat-rate": "80", "wheel-circumference": "2.1 m"}
    assert work(TOOL, {**typed, "speed": "25"}).says
    with pytest.raises(BadInput, match="make 25 km/h, not 60") as error:
        work(TOOL, {**typed, "speed": "60"})
    assert error.value.field == "speed"


def test_less_sure_of_the_cadence_less_sure_of_the_source() -> None:
    """Crank and wheel are 8 % apart in 36/33."""
    typed = {"teeth-front": "36", "teeth-rear": "33", "beat-rate": "80 +- 0.5"}
    sharp, blunt = (chances(work(TOOL, {**typed, "cadence": f"80 +- {e}"}))["crank"] for e in (1, 8))
    assert sharp > SURE > blunt


def test_coasting_within_the_taps() -> None:
    """Taps that go on after the pedals stopped are of the wheel, though pushes came as often."""
    typed = {"cadence": "80", "teeth-front": "34", "teeth-rear": "17", "coast-from": "11"}
    goes_on = work(TOOL, {**typed, "taps": tapped(160 / 60, 40)})
    assert chances(goes_on)["wheel"] > SURE
    with pytest.raises(BadInput, match="coast-from"):
        work(TOOL, {**typed, "taps": tapped(160 / 60, 20)})


def test_rolling_needs_speed_and_knows_no_cranks() -> None:
    typed = {"pedalling": "no", "speed": "18", "wheel-circumference": "2100", "spokes": "32"}
    found = chances(work(TOOL, {**typed, "beat-rate": "143"}))
    assert found["wheel"] > SURE
    assert "crank" not in found
    assert chances(work(TOOL, {**typed, "beat-rate": f"{143 * 32}"}))["spokes"] > SURE


def test_speed_in_place_of_cadence() -> None:
    """25 km/h is 15.5 mph; with 42/17 and 2.1 m that is 80.3 turns of the cranks a minute."""
    for speed in ("25 km/h", "15.534 mph"):
        typed = {"speed": speed, "wheel-circumference": "2.1 m", "teeth-front": "42", "teeth-rear": "17"}
        assert chances(work(TOOL, {**typed, "beat-rate": "80"}))["crank"] > SURE


def test_a_bearing_that_is_described_is_among_them() -> None:
    """Nine balls of 1/4 inch on 25.5 mm, in a hub: its cage turns 0.62 times in a turn of the wheel."""
    bearing = {"bearing-balls": "9", "ball-diameter": "1/4 in", "bearing-pitch": "25.5"}
    wheel = 80 * 42 / 17
    found = chances(work(TOOL, {**RODE, **bearing, "beat-rate": f"{wheel * (1 + 6.35 / 25.5) / 2}"}))
    assert found["bearing-cage"] > SURE


def test_before_anything_is_recorded_it_says_whether_the_gear_is_good() -> None:
    assert "good one" in work(TOOL, RODE).says[0]
    said = " ".join(work(TOOL, {**RODE, "teeth-rear": "21"}).says)
    assert "pedal-stroke and wheel" in said
    assert "teeth at the back" in said


@given(st.integers(24, 54), st.integers(10, 51))
def test_a_proposed_gear_parts_them(front: int, rear: int) -> None:
    cranks, doubt = 1.25, 0.02
    new = other_gear(Gear(front, rear, 112), cranks, doubt, ("crank", "wheel"))
    if new:
        found = {s.name: s for s in sources(cranks, cranks * front / new, Gear(front, new, 112))}
        assert apart(found["crank"], found["wheel"], doubt) >= 4


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({**RODE, "taps": "1 2 3"}, "taps", "too few"),
        ({**RODE, "taps": "1 2 2 3 4"}, "taps", "in order"),
        ({**RODE, "taps": "1 2 3 4", "beat-rate": "80"}, "beat-rate", "one noise"),
        ({"cadence": "80", "teeth-front": "42", "beat-rate": "80"}, "teeth-rear", "count the teeth"),
        ({"cadence": "80", "teeth-rear": "17", "beat-rate": "80"}, "teeth-front", "count the teeth"),
        ({"teeth-front": "42", "teeth-rear": "17", "beat-rate": "80"}, "cadence", "is missing"),
        ({"pedalling": "no", "beat-rate": "80"}, "speed", "is missing"),
        ({"pedalling": "no", "speed": "20", "beat-rate": "80"}, "wheel-circumference", "roll the wheel"),
        ({**RODE, "beat-rate": "80", "bearing-balls": "9"}, "ball-diameter", "is missing"),
        (
            {**RODE, "beat-rate": "80", "bearing-balls": "30", "ball-diameter": "6", "bearing-pitch": "25"},
            "bearing-balls",
            "do not fit",
        ),
        ({**RODE, "beat-rate": "80", "coast-from": "3"}, "coast-from", "must lie within"),
        ({**RODE, "cadence": "-3", "beat-rate": "80"}, "cadence", "outside"),
        ({**RODE, "recording": "no-such-file.wav"}, "recording", "cannot be opened"),
    ],
)
def test_refusals(typed: dict[str, str], field: str, words: str) -> None:
    with pytest.raises(BadInput, match=words) as told:
        work(TOOL, typed)
    assert told.value.field == field
    assert "\n" not in str(told.value)


def test_pictures_fit() -> None:
    rng = np.random.default_rng(8)
    with tempfile.TemporaryDirectory() as folder:
        _, recorded = listen(synthesise(rng, planned(some_bike(rng))), Path(folder) / "noise.wav")
    bearing = {"bearing-balls": "9", "ball-diameter": "6.35", "bearing-pitch": "25.5", "spokes": "32"}
    for result in (recorded, work(TOOL, TOOL.example), work(TOOL, {**RODE, **bearing, "beat-rate": "80"})):
        assert result.picture is not None
        lines = result.picture(76, 20)
        assert len(lines) <= 20
        assert max(map(len, lines)) <= 76
        assert any("crank" in line for line in lines)


# Recordings


def test_forty_recordings() -> None:
    """A small run of the measure (python -m tests.bench.rhythm): nothing is guessed wrong, and little left open."""
    counts = measure(40, plan=True)
    for kinds in counts.values():
        assert not any(count for (_, kind), count in kinds.items() if kind == "wrong")
    right = {name: sum(c for (_, kind), c in kinds.items() if kind == "right") for name, kinds in counts.items()}
    assert right["one recording"] >= 36
    assert right["as the tool then says"] >= 38


# Bearings


@pytest.mark.parametrize(
    ("balls", "ball", "pitch", "cage", "outer", "inner", "twice_ball"),
    [
        # Case Western Reserve University Bearing Data Center, "Bearing Information": drive end 6205, fan end 6203, in
        # inches and turns of the shaft; it gives the ball's knocks, two in each of its turns.
        (9, 0.3126, 1.537, 0.39828, 3.5848, 5.4152, 4.7135),
        (8, 0.2656, 1.122, 0.3817, 3.0530, 4.9469, 3.9874),
    ],
)
def test_bearing_orders_as_published(
    balls: int, ball: float, pitch: float, cage: float, outer: float, inner: float, twice_ball: float
) -> None:
    found = bearing_orders(balls, ball, pitch)
    assert found["cage"] == pytest.approx(cage, rel=3e-4)
    assert found["outer"] == pytest.approx(outer, rel=3e-4)
    assert found["inner"] == pytest.approx(inner, rel=3e-4)
    assert 2 * found["ball"] == pytest.approx(twice_ball, rel=3e-4)


def test_bearing_with_the_outside_turning() -> None:
    """A rapid guide to interpreting a spectrum (handbook of a vibration meter, page C-6): about 0.4 of the shaft's
    turns for the cage when the inside turns, 0.6 when the outside does; the rings' rates are the same in both."""
    inside, outside = (bearing_orders(9, 7.94, 39.04, outer_turns=o) for o in (False, True))
    assert inside["cage"] == pytest.approx(0.4, rel=0.2)
    assert outside["cage"] == pytest.approx(0.6, rel=0.2)
    assert inside["outer"] == outside["outer"]
    assert inside["inner"] == outside["inner"]


@given(st.integers(5, 20), st.floats(2, 9), st.floats(20, 60), st.floats(0, 45))
def test_bearing_laws(balls: int, ball: float, pitch: float, angle: float) -> None:
    """In a turn as many balls pass a spot on one ring and on the other together as there are (Randall, Antoni 2011)."""
    found = bearing_orders(balls, ball, pitch, angle)
    assert found["outer"] + found["inner"] == pytest.approx(balls)
    assert found["outer"] == pytest.approx(balls * found["cage"])
    assert found["cage"] + bearing_orders(balls, ball, pitch, angle, True)["cage"] == pytest.approx(1)
