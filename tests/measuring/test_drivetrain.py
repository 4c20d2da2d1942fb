"""The drivetrain's tools against published worked examples and tables, and as readings move."""

from collections.abc import Sequence
from math import cos, pi, radians, sin, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from symptomtree.measuring.drivetrain import TOOLS, chain_length, chain_wear, gears, hanger, indexing
from symptomtree.measuring.tool import BadInput, Result, work
from symptomtree.measuring.units import convert

INCH = 25.4


def run(name: str, **typed: object) -> Result:
    return work(TOOLS[name], {key.replace("_", "-"): str(value) for key, value in typed.items()})


def number(result: Result, name: str) -> float:
    value = result.value(name)
    assert value is not None
    return value.number


def error(result: Result, name: str) -> float:
    value = result.value(name)
    assert value is not None
    return value.error


# Chain wear


@pytest.mark.parametrize(
    ("length", "links", "percent", "within"),
    [
        # Old and new chain compared at 12 inches, a rider's photo page, 2011: 2/20 in longer, 0.83 %
        ("12.1 in", 24, 0.83, 0.005),
        # Drivetrain longevity, a cyclists' association's advice: 24 rivets, 12.12 in (12 and an eighth) is 1 %
        ("12.12 in", 24, 1.0, 0.001),
        ("12 1/8 in", 24, 1.0, 0.05),
        # Measuring chain stretch, independent cycling page: 1/16 in over 12 link pairs is 0.5 %, 1/8 in 1 %
        ("12 1/16 in", 24, 0.5, 0.03),
        # Chain wear gauges are inaccurate, independent technical page, 2004: 0.505 in for 0.5 in is 1 %
        ("12.12 in", 24, (0.505 / 0.5 - 1) * 100, 0.001),
    ],
)
def test_elongation(length: str, links: int, percent: float, within: float) -> None:
    assert number(run("chain-wear", length=length, links=links), "elongation") == pytest.approx(percent, abs=within)


def test_metric_span() -> None:
    """Change the chain, cycling blog, 2015: 21 pins span 254 mm new, and it is to be replaced at 255 mm."""
    assert chain_wear.elongation(254, 20) == pytest.approx(0)
    assert chain_wear.elongation(255, 20) == pytest.approx(0.39, abs=0.005)


def test_a_gauge_face_to_face_on_the_same_side() -> None:
    """On a chain gauge's wear limit, cycling forum: 127.62 mm over the 127.0 mm of ten links is around 0.5 %."""
    assert chain_wear.elongation(127.62, 10) == pytest.approx(0.5, abs=0.02)


def test_gap_between_rollers() -> None:
    """On measuring a chain at full length, cycling forum, 2018: 0.205 in new, 0.235 in after 6000 miles, while the
    chain is still under 0.5 %; so a gauge over ten half links shows more than that too much."""
    new, old = (chain_wear.roller_play(gap * INCH) for gap in (0.205, 0.235))
    assert 0 < new < 0.4
    assert old - new == pytest.approx(0.03 * INCH)
    assert 0.45 - chain_wear.less_roller_play(0.45, 10, old) > 0.5


@given(st.floats(0.0, 2), st.floats(0, 1), st.integers(3, 20))
def test_every_way_to_measure_finds_the_same_chain(worn: float, play: float, pairs: int) -> None:
    """A chain of that wear and play, measured as each gauge does: inside, its rollers give way by the play."""
    links = 2 * pairs
    length = links * chain_wear.PITCH * (1 + worn / 100)
    inside, outside = length - chain_wear.ROLLER + play, length + chain_wear.ROLLER - play
    shown = chain_wear.elongation(inside + chain_wear.ROLLER, links)
    assert chain_wear.elongation(length, links) == pytest.approx(worn, abs=1e-9)
    assert chain_wear.elongation(chain_wear.between_rollers(inside, outside), links) == pytest.approx(worn, abs=1e-9)
    assert chain_wear.less_roller_play(shown, links, play) == pytest.approx(worn, abs=1e-9)


def test_the_tool_takes_off_what_a_gauge_adds() -> None:
    gap = chain_wear.PITCH - chain_wear.ROLLER + 0.6
    typed = run("chain-wear", how="gauge", gauge_reading="0.8", links=10, roller_gap=f"{gap} mm", speeds=10)
    assert number(typed, "elongation") == pytest.approx(0.8 - 0.6 / 127 * 100)
    assert number(typed, "roller-play") == pytest.approx(0.6)
    assert any("counts the rollers' play" in said for said in typed.says)
    unknown = run("chain-wear", how="gauge", gauge_reading="0.8", links=10, speeds=10)
    assert error(unknown, "elongation") > 2 * error(typed, "elongation")
    assert unknown.says[0].startswith("Too close to call")
    assert number(run("chain-wear", how="same-side", gauge_reading="0.8"), "elongation") == pytest.approx(0.8)


def test_caliper() -> None:
    result = run("chain-wear", how="caliper", links=10, inside="119.6", outside="134.9", speeds=11)
    assert number(result, "elongation") == pytest.approx((127.25 / 127 - 1) * 100)
    assert number(result, "roller-play") == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("percent", "speeds", "says"),
    [
        (0.3, 11, "Under 0.5 %"),
        (0.62, 12, "Past 0.5 %"),
        (0.62, 10, "Under 0.75 %"),
        (0.9, 11, "Past 0.75 %"),
        (0.88, 9, "Past 0.75 %"),
        (1.2, 8, "Past 1 %"),
        (0.8, 1, "Under 1 %"),
        (0.52, 11, "Too close to call"),
        (0.48, 11, "Too close to call"),
        (0.3, "", "Under 0.5 %"),
        (0.62, "", "Past 0.5 %"),
    ],
)
def test_limits_by_number_of_sprockets(percent: float, speeds: object, says: str) -> None:
    """When should a chain be replaced, owners' discussion: 0.5 % from eleven sprockets on, else 0.75 %."""
    length = 304.8 * (1 + percent / 100)
    assert run("chain-wear", length=f"{length} mm", speeds=speeds).says[0].startswith(says)


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({}, "length", "missing"),
        ({"how": "gauge"}, "gauge-reading", "missing"),
        ({"how": "caliper", "inside": "120"}, "outside", "missing"),
        ({"how": "caliper", "inside": "135", "outside": "119"}, "outside", "119 mm is not more than inside"),
        ({"how": "gauge", "gauge-reading": "0.5", "roller-gap": "4.6"}, "roller-gap", "outside 4.8"),
        ({"length": "306", "speeds": "10.5"}, "speeds", "no whole number"),
        ({"length": "306", "links": "23"}, "links", "not even"),
        ({"length": "306", "links": "22"}, "length", "count the half links"),
        ({"length": "-3"}, "length", "outside"),
        ({"length": "30 psi"}, "length", "pressure"),
    ],
)
def test_chain_wear_refuses(typed: dict[str, str], field: str, says: str) -> None:
    with pytest.raises(BadInput, match=says) as refused:
        work(TOOLS["chain-wear"], typed)
    assert refused.value.field == field


# Chain life


def test_rule_of_three() -> None:
    """0.1 % in 1000 km, then 0.3 % to go: 3000 km; with perfect readings the bounds are that too."""
    result = run("chain-life", first="0.1 +- 0", second="0.2 +- 0", distance="1000 +- 0", speeds=11, days=100)
    assert number(result, "rate") == pytest.approx(0.1)
    for name in ("remaining", "at-least", "at-most"):
        assert number(result, name) == pytest.approx(3000)
    assert number(result, "days") == pytest.approx(300)
    assert number(result, "to-sprockets") == pytest.approx(5500)


def test_the_error_of_what_remains_is_that_of_drawn_readings() -> None:
    draw = np.random.default_rng(3).normal(0, 0.01, (20000, 2))
    first, second = 0.05 + draw[:, 0], 0.35 + draw[:, 1]
    spread = np.std((0.5 - second) / (second - first) * 2000)
    result = run("chain-life", first="0.05 +- 0.01", second="0.35 +- 0.01", distance="2000 +- 0", speeds=12)
    assert error(result, "remaining") == pytest.approx(float(spread), rel=0.05)


def test_hardly_any_wear_gives_no_more_than_a_least() -> None:
    result = run("chain-life", first="0.10", second="0.12", distance="300")
    assert result.value("remaining") is None
    assert result.value("at-most") is None
    assert number(result, "at-least") > 300
    assert "or more are left" in result.says[0]


def test_worn_out_now() -> None:
    result = run("chain-life", second="0.9", distance="4000", speeds=11, chains_before=3)
    assert number(result, "remaining") == 0
    assert result.says[0].startswith("It has reached its limit")
    assert any("sprockets are likely worn" in said for said in result.says)


def test_cassette() -> None:
    assert any("chain number 3" in said for said in run("chain-life", second=0.3, distance=900, chains_before=2).says)
    assert any(
        "two or three chains" in said for said in run("chain-life", second=0.3, distance=900, chains_before=0).says
    )


@given(st.floats(0.2, 0.45), st.floats(0.001, 0.05))
def test_the_more_it_has_worn_the_less_is_left(second: float, more: float) -> None:
    one = run("chain-life", first="0", second=f"{second}", distance=2000, speeds=11)
    two = run("chain-life", first="0", second=f"{second + more}", distance=2000, speeds=11)
    assert number(two, "remaining") < number(one, "remaining")
    assert number(two, "at-least") <= number(one, "at-least")


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"first": "0.5", "second": "0.2", "distance": "900"}, "second"),
        ({"first": "0.1", "distance": "900"}, "second"),
        ({"first": "0.1 +- 0", "second": "0.1 +- 0", "distance": "900"}, "second"),
        ({"second": "0.2", "distance": "0"}, "distance"),
        ({"second": "0.2", "distance": "900 mm"}, "distance"),
        ({"second": "0.4", "distance": "1.500"}, "distance"),  # a point for thousands
    ],
)
def test_chain_life_refuses(typed: dict[str, str], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        work(TOOLS["chain-life"], typed)
    assert refused.value.field == field


# Chain length


@given(st.floats(15, 19), st.integers(28, 52), st.integers(28, 52))
def test_the_tool_is_the_workshop_formula_made_even(stay: float, front: int, rear: int) -> None:
    """Big on big ring and sprocket are of a size, where the formula holds."""
    result = run("chain-length", chainstay=f"{stay} in", rings=front, sprockets=f"11 {rear}")
    published = (2 * stay + front / 4 + rear / 4 + 1) * 2
    assert -0.01 <= number(result, "half-links") - published < 2.5
    assert number(result, "half-links") % 2 == 0


def test_handbook_example() -> None:
    """Multiple-choice question: total number of chain links (examination question bank): 20 teeth on 500 mm, ratio 2,
    centres 550 mm: 45 links. Pitches are that of the example; only their number counts."""
    pitch = 500 * sin(pi / 20)
    assert chain_length.half_links_round(550 / pitch * chain_wear.PITCH, 40, 20) == pytest.approx(45.45, abs=0.1)


@given(st.floats(380, 480), st.integers(20, 56), st.integers(10, 52))
def test_handbook_formula(stay: float, front: int, rear: int) -> None:
    """Roller chain: pitch circle and number of links, engineering handbook formula page."""
    a = stay / chain_wear.PITCH
    handbook = 2 * a + (front + rear) / 2 + (front - rear) ** 2 / (39.6 * a)
    assert chain_length.half_links_round(stay, front, rear) == pytest.approx(handbook, abs=0.04)
    turned_round = chain_length.half_links_round(stay, rear, front)
    assert chain_length.half_links_round(stay, front, rear) == pytest.approx(turned_round)


@pytest.mark.parametrize(("front", "rear"), [(50, 34), (32, 51), (44, 12)])
def test_a_band_round_two_circles_is_as_long(front: int, rear: int) -> None:
    """The convex hull of both pitch circles, drawn as points, by another library; chords differ from arcs a little."""
    turn = np.linspace(0, 2 * pi, 20000)
    radii = [chain_wear.PITCH / 2 / sin(pi / teeth) for teeth in (front, rear)]
    circles = [np.c_[x + r * np.cos(turn), r * np.sin(turn)] for x, r in ((0, radii[0]), (430, radii[1]))]
    hull = ConvexHull(np.concatenate(circles))
    assert chain_length.half_links_round(430, front, rear) * chain_wear.PITCH == pytest.approx(hull.area, rel=2e-3)


@pytest.mark.parametrize(
    ("rings", "sprockets", "teeth"),
    [
        ([53, 39], [11, 28], 31),  # How to buy a rear derailleur, parts retailer's help page
        ([53, 39], [12, 23], 25),  # Rear derailleur features, bicycle shop's page
        ([44, 32, 24], [12, 34], 42),  # Total capacity, bicycle glossary
    ],
)
def test_capacity(rings: Sequence[int], sprockets: Sequence[int], teeth: int) -> None:
    assert chain_length.capacity_needed(rings, sprockets) == teeth


def test_capacity_is_respected() -> None:
    bike = {"chainstay": "420", "rings": "53 39", "sprockets": "11 28"}
    assert any("hangs slack" in said for said in run("chain-length", **bike, mech_capacity=29).says)
    assert any("keep it taut" in said for said in run("chain-length", **bike, mech_capacity=31).says)
    slack = number(run("chain-length", **bike), "slack-small") - number(run("chain-length", **bike), "round-big")
    assert slack < 0


def test_slack_is_half_the_capacity_needed_and_the_link_pair() -> None:
    """Between big on big and small on small the chain round the teeth loses half the sum of the differences."""
    result = run("chain-length", chainstay="430", rings="50 34", sprockets="11 34")
    spare = number(result, "half-links") - number(result, "round-big")
    assert number(result, "slack-small") - spare == pytest.approx(number(result, "capacity-needed") / 2, abs=0.6)


def test_laid_round_by_hand_comes_before_the_formula() -> None:
    bike = {"chainstay": "430", "rings": "34", "sprockets": "11 34"}
    assert number(run("chain-length", **bike, big_to_big=103), "half-links") == 106
    assert any("count again" in said for said in run("chain-length", **bike, big_to_big=110).says)


def test_too_short_is_not_ridden() -> None:
    bike = {"chainstay": "430", "rings": "34", "sprockets": "11 34"}
    count = number(run("chain-length", **bike), "half-links")
    assert any("Do not ride" in c for c in run("chain-length", **bike, links_now=count - 4).cautions)
    fits = run("chain-length", **bike, links_now=count)
    assert not any("Do not ride" in c for c in fits.cautions)
    assert "The chain has that many." in fits.says
    assert any("too many" in said for said in run("chain-length", **bike, links_now=count + 2).says)


def test_growth_is_added_to_what_was_counted_at_rest() -> None:
    """Else a chain counted at rest is too short at full travel, and tears the mech off."""
    bike = {"chainstay": "440", "rings": "32", "sprockets": "10 51", "big_to_big": 112}
    still, moving = run("chain-length", **bike), run("chain-length", **bike, chainstay_growth=18)
    assert (number(still, "half-links"), number(moving, "half-links")) == (114, 118)  # 112 and 2 x 18 / 12.7 more
    assert "full travel takes 2.8 more" in moving.says[0]
    assert "count again" not in moving.says[0]
    assert any("Do not ride" in c for c in run("chain-length", **bike, chainstay_growth=18, links_now=114).cautions)


def test_a_step_that_is_close_is_named() -> None:
    assert (
        "close to the step to 114"
        in run("chain-length", **{**TOOLS["chain-length"].example, "mech-capacity": ""}).says[0]
    )
    assert "close to the step" not in run("chain-length", chainstay=405, rings="53 39", sprockets="11 28").says[0]


def test_growth_of_the_stay_needs_links() -> None:
    bike = {"chainstay": "430", "rings": "32", "sprockets": "10 51"}
    one, two = run("chain-length", **bike), run("chain-length", **bike, chainstay_growth=25.4)
    assert number(two, "round-big") - number(one, "round-big") == pytest.approx(4, abs=0.05)


def test_one_gear_fits_at_the_axle_it_names() -> None:
    result = run("chain-length", gears="one-gear", chainstay="400 +- 0", rings=42, sprockets=16)
    moved = 400 + number(result, "axle-back")
    assert chain_length.half_links_round(moved, 42, 16) == pytest.approx(number(result, "half-links"), abs=0.02)
    assert number(result, "axle-back") >= -0.5


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"gears": "one-gear", "chainstay": "400", "rings": "42", "sprockets": "16 18"}, "sprockets"),
        ({"chainstay": "400", "rings": "42.5", "sprockets": "11 28"}, "rings"),
        ({"chainstay": "40", "rings": "42", "sprockets": "11 28"}, "chainstay"),
        ({"chainstay": "400", "rings": "42", "sprockets": "3 28"}, "sprockets"),
        ({"chainstay": "400", "sprockets": "11 28"}, "rings"),
        ({"chainstay": "400", "rings": "50 34", "sprockets": "28"}, "sprockets"),
        ({"chainstay": "430", "rings": "50 34", "sprockets": "11 34", "links-now": "56"}, "links-now"),  # link pairs
        ({"chainstay": "430", "rings": "50 34", "sprockets": "11 34", "links-now": "109.5"}, "links-now"),
    ],
)
def test_chain_length_refuses(typed: dict[str, str], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        work(TOOLS["chain-length"], typed)
    assert refused.value.field == field


# The hanger


def gaps_of(lean: float, turn: float, radius: float, wobble: float, below: float) -> list[float]:
    """Return what a gauge would show: its arm turned in space about a hanger tilted by two small angles.

    Worked out from vectors, not from the tool's formula. x is forward, y is out of the gears' side, z is up.

    Args:
        lean: how far the lower end leans in, in degrees.
        turn: how far the back edge is turned in, in degrees.
        radius: of the point of the rim, in mm.
        wobble: of that point, in mm; it goes round with it.
        below: how far the hanger's thread lies under the axle, in mm.
    """
    normal = np.array([-tan(radians(turn)), 1, -tan(radians(lean))])  # of the plane that the gauge's end runs in
    found = []
    for clock in (0, 90, 180, 270):
        rim = radius * np.array([sin(radians(clock)), 0, cos(radians(clock))])
        arm = rim - np.array([0, 0, -below])
        plane = -(arm[0] * normal[0] + arm[2] * normal[2]) / normal[1]
        found.append(plane + 40 - wobble)
    return found


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(200, 340), st.floats(-5, 5), st.floats(0, 40))
def test_a_tilted_gauge_in_space(lean: float, turn: float, radius: float, wobble: float, below: float) -> None:
    """Neither the wheel's wobble at that point nor the hanger under the axle shows in what is found."""
    found = hanger.bend(*gaps_of(lean, turn, radius, wobble, below), radius=radius)
    normal = np.array([-tan(radians(turn)), 1, -tan(radians(lean))])
    angle = np.degrees(np.arccos(1 / np.linalg.norm(normal)))
    assert found.angle == pytest.approx(float(angle), abs=1e-4)
    assert (found.lean, found.turn) == (pytest.approx(lean), pytest.approx(turn))
    assert found.closure == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("lean", "turn", "says", "hour"),
    [
        (1, 0, "lower end leans in", "6 o'clock"),  # pushed in from the right: the commonest
        (-1, 0, "lower end leans out", "12 o'clock"),
        (0, 1, "back edge is turned in", "9 o'clock"),
        (0, -1, "front edge is turned in", "3 o'clock"),
        (1, 1, "leans in to the wheel and the back edge", "half past 7"),
    ],
)
def test_direction(lean: float, turn: float, says: str, hour: str) -> None:
    gaps = dict(zip(("gap_12", "gap_3", "gap_6", "gap_9"), gaps_of(lean, turn, 310, 0, 25), strict=True))
    result = run("hanger", **gaps)
    assert any(says in said for said in result.says)
    assert any(f"turn the arm to {hour}" in said for said in result.says)
    assert result.picture is not None
    assert any("#" in line for line in result.picture(76, 20)[1:-1])


def test_the_symptom_of_the_magazine() -> None:
    """Derailleur alignment, urban cycling magazine, issue 32: gauge just at the rim on both sides: it is in line."""
    assert run("hanger", gap_12=0, gap_3=0, gap_6=0, gap_9=0).says[0].startswith("In line")


@pytest.mark.parametrize(
    ("upright", "speeds", "says"),
    [
        (2, 8, "In line"),
        (6, 8, "Bent:"),
        (3.6, 8, "Too close"),
        (4.2, 11, "Bent:"),
        (0.5, 12, "In line"),
        (25, 10, "Bent far"),
    ],
)
def test_tolerance(upright: float, speeds: int, says: str) -> None:
    result = run("hanger", gap_12=upright, gap_3=0, gap_6=0, gap_9=0, speeds=speeds)
    assert result.says[0].startswith(says)
    assert number(result, "difference") == pytest.approx(upright)
    assert error(result, "difference") == pytest.approx(0.5 * 2**0.5)


@pytest.mark.parametrize(("upright", "bends"), [(1.5, False), (2.5, True), (20, False)])
def test_only_what_is_bent_and_not_far_is_straightened(upright: float, bends: bool) -> None:
    result = run("hanger", gap_12=upright, gap_3=upright / 2, gap_6=0, gap_9=upright / 2, speeds=12)
    assert any(said.startswith("To straighten") for said in result.says) is bends
    assert any("leans in to the wheel" in said for said in result.says)


def test_readings_that_no_plane_has() -> None:
    says = run("hanger", gap_12=0, gap_3=9, gap_6=0, gap_9=0).says
    assert any("same point of the rim" in said for said in says)
    assert not any("To straighten" in said for said in says)


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20))
def test_any_zero_will_do_and_a_quarter_turn_turns_the_answer(a: float, b: float, zero: float) -> None:
    one = hanger.bend(a, b, 0, 0, 300)
    moved = hanger.bend(a + zero, b + zero, zero, zero, 300)
    assert moved.angle == pytest.approx(one.angle, abs=1e-9)
    turned = hanger.bend(0, a, b, 0, 300)
    assert turned.angle == pytest.approx(one.angle)
    if one.angle > 0.01:
        assert (turned.toward - one.toward) % 360 == pytest.approx(90)


def test_hanger_refuses() -> None:
    with pytest.raises(BadInput, match="gap-9 is missing"):
        run("hanger", gap_12=0, gap_3=9, gap_6=0)
    with pytest.raises(BadInput, match="outside"):
        run("hanger", gap_12=0, gap_3=9, gap_6=0, gap_9=0, rim_radius="31 cm", speeds=99)


# Indexing

COMPONENTS = [
    # Bicycle drivetrain components: cable pull, ratio and pitch, table on a cycling page; a row for each kind
    (3.2, 1.72, 5.5),
    (2.9, 1.72, 5.0),
    (2.8, 1.72, 4.8),
    (2.5, 1.72, 4.35),
    (3.5, 1.12, 3.95),
    (3.4, 1.12, 3.75),
    (3.2, 1.12, 3.55),
    (3.55, 1.12, 4.05),
    (2.3, 1.72, 3.95),
    (2.65, 1.5, 3.95),
    (2.5, 1.5, 3.75),
    (4.5, 1.12, 5.0),
    (4.3, 1.12, 4.8),
    (3.9, 1.12, 4.35),
    (3.0, 1.35, 4.05),
    (3.5, 1.12, 3.9),
    (2.9, 1.35, 3.9),
    (3.25, 1.12, 3.65),
]


@pytest.mark.parametrize(("pull", "ratio", "pitch"), COMPONENTS)
def test_shifting_equation(pull: float, ratio: float, pitch: float) -> None:
    """Gear-changing dimensions, open textbook: cable pull times shift ratio is the pitch of the sprockets."""
    assert indexing.movement(pull, ratio) == pytest.approx(pitch, rel=0.02)


@pytest.mark.parametrize(
    ("speeds", "pull", "ratio"), [(8, 2.8, 1.72), (9, 2.5, 1.72), (10, 2.3, 1.72), (9, 3.9, 1.12), (12, 3.2, 1.12)]
)
def test_what_belongs_together_fits(speeds: int, pull: float, ratio: float) -> None:
    result = run("index", speeds=speeds, cable_pull=f"{pull} +- 0.005", ratio=f"{ratio} +- 0.003")
    assert number(result, "worst") < indexing.FITS
    assert not any("do not go together over" in said for said in result.says)


@pytest.mark.parametrize(
    ("speeds", "pull", "ratio"), [(9, 2.3, 1.72), (10, 2.3, 1.12), (8, 2.5, 1.72), (10, 2.8, 1.72)]
)
def test_mixed_parts_do_not(speeds: int, pull: float, ratio: float) -> None:
    result = run("index", speeds=speeds, cable_pull=f"{pull} +- 0.01", ratio=f"{ratio} +- 0.005")
    assert any("do not go together" in said for said in result.says)
    assert any("It adds up" in said for said in result.says)
    assert result.picture is not None
    assert any(line.startswith(">") and line.endswith("no") for line in result.picture(76, 20))


@given(st.integers(3, 12), st.floats(2.5, 6), st.floats(2.5, 6))
def test_an_even_error_adds_up_and_half_of_it_is_left_in_the_middle(sprockets: int, move: float, pitch: float) -> None:
    off = indexing.off_each([move] * (sprockets - 1), pitch)
    assert len(off) == sprockets
    assert max(map(abs, off)) == pytest.approx(abs(move - pitch) * (sprockets - 1) / 2, abs=1e-9)
    assert max(off) == pytest.approx(-min(off), abs=1e-9)


@pytest.mark.parametrize(
    ("pull", "says"),
    [
        ("3.6", "from the first sprocket to the last it is 1.6 mm"),  # half way is after 12 clicks; there are 10
        ("4.2", "half way to the wrong one after 3 clicks"),
        ("0.5", "half way to the wrong one after 1 click."),
    ],
)
def test_an_error_adds_up_over_the_clicks_that_there_are(pull: str, says: str) -> None:
    assert any(says in said for said in run("index", speeds=11, cable_pull=pull, ratio="1.1").says)


def test_uncertainty_where_nothing_is_out() -> None:
    """The worst is an absolute value; at nothing it is as uncertain as the movement, not certain."""
    result = run("index", speeds=9, cable_pull="2.5 +- 0.1", ratio="1.74 +- 0", sprocket_pitch="4.35 +- 0")
    assert number(result, "worst") == pytest.approx(0, abs=1e-9)
    assert error(result, "worst") == pytest.approx(0.1 * 1.74 * 8 / 2)


def test_the_odd_click_is_named() -> None:
    moves = "3.9 4 3.9 2.9 4 4.1 3.9 3.9 4"
    result = run("index", speeds=10, moves=moves)
    assert any(said.startswith("Click 4 is the odd one") for said in result.says)
    assert result.picture is not None
    assert len(result.picture(76, 20)) == 10
    assert indexing.odd_click([3.9, 4.0, 4.1, 3.9, 4.0]) is None
    assert indexing.odd_click([3, 5, 4]) is None


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"speeds": "10", "moves": "4 4 4"}, "moves"),
        ({"speeds": "10", "ratio": "1.7"}, "cable-pull"),
        ({"speeds": "10", "cable-pull": "2.3"}, "ratio"),
        ({"speeds": "5", "cable-pull": "2.3", "ratio": "1.7"}, "sprocket-pitch"),
        ({"speeds": "9.5", "cable-pull": "2.3", "ratio": "1.7"}, "speeds"),
        ({"speeds": "9", "cable-pull": "2.3 V", "ratio": "1.7"}, "cable-pull"),
    ],
)
def test_index_refuses(typed: dict[str, str], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        work(TOOLS["index"], typed)
    assert refused.value.field == field


# Gears


def test_gear_inches_rollout_and_speed() -> None:
    """Gear inch calculations explained, cycling event page: 39 by 26, 27 in wheel, 60 a minute: 40.5 in, 127.23 in,
    7.22 mph."""
    around = 27 * pi * INCH
    result = run("gear", teeth_front=39, teeth_rear=26, wheel_circumference=f"{around} mm", cadence=60)
    assert number(result, "gear-inches") == pytest.approx(40.5)
    assert number(result, "development") * 1000 / INCH == pytest.approx(127.23, abs=0.01)
    speed = result.value("speed")
    assert speed is not None
    assert speed.also is not None
    assert speed.also[0] == pytest.approx(7.22, abs=0.01)


SPROCKETS = (12, 13, 14, 15, 16, 17, 19, 21, 23, 25)


@pytest.mark.parametrize(
    ("ring", "printed"),
    # Gearing part 2: chainrings, gear ratios and steps, cycling blog, 2013; its 27 in wheel
    [
        (39, (87.8, 81, 75.2, 70.2, 65.8, 61.9, 55.4, 50.1, 45.8, 42.1)),
        (53, (119.3, 110.1, 102.2, 95.4, 89.4, 84.2, 75.3, 68.1, 62.2, 57.2)),
    ],
)
def test_gear_inch_table(ring: int, printed: Sequence[float]) -> None:
    for sprocket, inches in zip(SPROCKETS, printed, strict=True):
        assert gears.gear_inches(ring, sprocket, 27) == pytest.approx(inches, abs=0.06)


def test_speed_from_radii() -> None:
    """Finding angular speed, mathematics help forum: radii 4 in and 2 in, wheel 13 in, 40 a minute: 80 a minute at the
    wheel, 6.19 mph."""
    speed = gears.speed_at(40, 20, 2 * pi * 13 * INCH, 40)
    assert convert(speed, "km/h", "mph") == pytest.approx(6.19, abs=0.005)


@given(st.integers(20, 60), st.integers(9, 52), st.floats(800, 2400), st.floats(20, 150))
def test_gear_relations(front: int, rear: int, around: float, cadence: float) -> None:
    speed = gears.speed_at(front, rear, around, cadence)
    assert gears.development(front, rear, around) == pytest.approx(pi * gears.gear_inches(front, rear, around / pi))
    assert gears.speed_at(front, rear, around, 2 * cadence) == pytest.approx(2 * speed)
    assert gears.speed_at(front, rear + 1, around, cadence) < speed


@pytest.mark.parametrize(
    ("front", "field"), [("50.5", "teeth-front"), ("500", "teeth-front"), ("-50", "teeth-front"), ("", "teeth-front")]
)
def test_gear_refuses(front: str, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        work(TOOLS["gear"], {"teeth-front": front, "teeth-rear": "25", "wheel-circumference": "2100"})
    assert refused.value.field == field


# Chain line


def test_single_speed() -> None:
    """On chain line, a fixed-gear forum: tube 30 mm and 27.5 mm to the teeth; 120 mm between the ends and 17.5 mm: both
    42.5 mm."""
    assert gears.front_line(30, [27.5]) == 42.5
    assert gears.rear_line(120, [17.5]) == 42.5
    result = run("chain-line", tube_width=30, tube_to_rings=27.5, dropout_width=120, dropout_to_sprockets=17.5)
    assert number(result, "off") == 0
    assert result.says[0].startswith("In line")


def test_each_sprocket_of_ten() -> None:
    """Chainline, cycling blog, 2012: 130 mm, smallest sprocket 3.8 mm in from the end, 3.95 mm apart: 61.2 mm down to
    25.65 mm."""
    printed = (61.2, 57.25, 53.3, 49.35, 45.4, 41.45, 37.5, 33.55, 29.6, 25.65)
    for n, line in enumerate(printed):
        assert gears.rear_line(130, [3.8 + 3.95 * n]) == pytest.approx(line)
    assert gears.rear_line(130, [3.8, 3.8 + 9 * 3.95]) == pytest.approx(sum(printed) / 10)


def test_hub_flange_method_agrees() -> None:
    """Help with chain line, cycling forum: 78 mm from the far flange, flanges 65 mm apart: 45.5 mm."""
    width = 120.0
    left_flange = (width - 65) / 2
    assert gears.rear_line(width, [width - left_flange - 78]) == pytest.approx(45.5)


@pytest.mark.parametrize(
    ("off", "one", "says"),
    [
        (0, True, "In line"),
        (3.5, True, "Out of line, which some"),
        (-3.5, True, "Out of line, which some"),
        (8, True, "Out of line: see"),
        (-8, True, "Out of line: see"),
        (2, True, "Too close"),
        (1.5, False, "In line"),
        (3, False, "Too close"),
        (4.5, False, "Out of line: see"),
        (9, False, "Out of line: see"),
    ],
)
def test_how_far_off(off: float, one: bool, says: str) -> None:
    """On the chain line of a single speed, cycling forum, 2012: under 2 mm is better, some accept 5 mm."""
    sprockets = 17.5 if one else "3.5 31.5"
    result = run(
        "chain-line", tube_width=30, tube_to_rings=27.5 + off, dropout_width=120, dropout_to_sprockets=sprockets
    )
    assert result.says[0].startswith(says)


@pytest.mark.parametrize(("off", "inwards", "outwards"), [(0, 0, 0), (6, 0, 1), (-6, 1, 0), (3, 0, 0.5)])
def test_how_likely_it_is_out(off: float, inwards: float, outwards: float) -> None:
    result = run("chain-line", tube_width=30, tube_to_rings=27.5 + off, dropout_width=120, dropout_to_sprockets=17.5)
    assert number(result, "ring-in") == pytest.approx(inwards, abs=0.001)
    assert number(result, "ring-out") == pytest.approx(outwards, abs=0.001)


def test_slant_of_the_crossed_gear() -> None:
    result = run(
        "chain-line",
        tube_width=30,
        tube_to_rings="24 32",
        dropout_width=130,
        dropout_to_sprockets="4 39",
        chainstay=410,
    )
    assert number(result, "slant") == pytest.approx(np.degrees(np.arctan(22 / 410)))


def test_chain_line_refuses() -> None:
    with pytest.raises(BadInput, match="left of the middle"):
        run("chain-line", tube_width=30, tube_to_rings=27, dropout_width=100, dropout_to_sprockets=60)
    with pytest.raises(BadInput, match="outside"):
        run("chain-line", tube_width=30, tube_to_rings=27, dropout_width=12, dropout_to_sprockets=17)
