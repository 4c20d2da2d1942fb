"""Facts that the knowledge must hold, each beside where it comes from.

`common practice` marks what the trade simply does. Published figures name title and year (none: undated page).
"""

import pytest

from symptomtree.kb.compile import KnowledgeBase, grade_of, open_knowledge, reading_weights
from symptomtree.kb.model import Fix, Observable, Reading, instructions
from symptomtree.kb.nodes import nearest


@pytest.fixture(scope="module")
def kb() -> KnowledgeBase:
    return open_knowledge()


def reading(kb: KnowledgeBase, finding: str) -> Reading:
    known = kb.findings[finding]
    assert isinstance(known, Observable), nearest(finding, list(kb.findings))
    assert known.reading
    return known.reading


def figure(fix: Fix, what: str) -> str:
    return next(f.value for f in fix.figures if what in f.what)


# ---------------------------------------------------------------------------------------------- common practice


def test_glazed_pads_are_shiny_weak_and_noisy_and_are_freshened(kb: KnowledgeBase) -> None:
    """Common practice: a glazed pad shines, brakes weakly and squeals; breaking the surface freshens it."""
    cause = kb.entries.causes["pads-glazed"]
    assert {"pad-shine", "stopping-power", "brake-noise"} <= set(cause.shows)
    fix = kb.entries.fixes[cause.fixes[0]]
    assert "glazed surface" in fix.name
    assert any("dull" in step for _, step in instructions(fix))


def test_a_creeping_lever_may_be_pistons_that_did_not_follow(kb: KnowledgeBase) -> None:
    """Common practice: a lever that comes ever closer to the bar; advancing the pistons cures it."""
    cause = kb.entries.causes["pistons-not-followed"]
    assert {"lever-crept", "lever-travel"} <= set(cause.shows)
    assert kb.entries.fixes[cause.fixes[0]].name == "Advance the pistons"


def test_the_chain_itself_shows_what_is_out_of_line(kb: KnowledgeBase) -> None:
    """Common practice: a chain run in line with the ring is the straight edge that shows a hanger or mech."""
    check = kb.entries.checks["sight-from-behind"]
    assert any("straight edge" in step for _, step in instructions(check))
    (finding,) = [f for f in check.settles if f == "cage-not-in-line"]
    shows = [c for c in kb.cause_ids if finding in kb.entries.causes[c].shows]
    assert {"bent-hanger", "hanger-bent-far"} <= set(shows)


def test_back_pedalling_shows_a_bent_ring_or_a_damaged_link(kb: KnowledgeBase) -> None:
    """Common practice: turn the cranks backwards and watch the ring wander or a link stand out."""
    settled = {
        finding
        for name, check in kb.entries.checks.items()
        if any("back" in step.lower() for _, step in instructions(check))
        for finding in check.settles
    }
    for cause in ("bent-ring", "damaged-link"):
        assert settled & set(kb.entries.checks[kb.entries.causes[cause].confirm].settles), cause


def test_a_hanger_bent_far_or_bent_before_is_replaced(kb: KnowledgeBase) -> None:
    """Common practice: bending it back again breaks it."""
    cause = kb.entries.causes["hanger-bent-far"]
    assert kb.entries.fixes[cause.fixes[0]].kind == "replace"
    assert "straighten-hanger" not in cause.fixes


def test_drag_of_the_outer_over_the_inner_shows_friction(kb: KnowledgeBase) -> None:
    """Common practice: slide the housing along the cable; a drop of lubricant helps."""
    cause = kb.entries.causes["gear-cable-friction"]
    assert "gear-housing-drag" in kb.entries.checks[cause.confirm].settles
    assert any("one drop of thin oil" in step for _, step in instructions(kb.entries.fixes[cause.fixes[0]]))


# ------------------------------------------------------------------------------------------------ published figures


def test_chain_wear_limits(kb: KnowledgeBase) -> None:
    """0.5 % with eleven and more sprockets, 0.75 % with fewer: riders' thread on when to replace a chain (undated);
    above 1/8 inch in twelve (1.04 %) a new chain will skip on the old sprockets: Bike chain wear (undated tutorial)."""
    assert reading(kb, "chain-wear-eleven").limits["worn"] == 0.5
    ten = reading(kb, "chain-wear-ten")
    assert ten.limits["worn"] == 0.75
    assert ten.limits["far"] == pytest.approx(100 * (1 / 8) / 12, abs=0.05)


def test_a_chain_0_1_inch_longer_over_twelve(kb: KnowledgeBase) -> None:
    """Old and new chain compared at 12 inches (2011): 2/20 inch over 12 is 0.83 %, past every limit for wear."""
    percent = 100 * 0.1 / 12.0
    assert percent == pytest.approx(0.83, abs=0.005)
    grades = kb.grades("chain-wear-ten")
    assert grade_of(reading(kb, "chain-wear-ten"), grades, percent) == "worn"


def test_a_reading_close_to_a_limit_is_shared_between_grades(kb: KnowledgeBase) -> None:
    """0.72 % with a gauge of +-0.05: P(true >= 0.75) = 1 - Phi(0.6) = 0.2743.

    Phi(0.6) = 0.7257: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), table 26.1.
    """
    r = reading(kb, "chain-wear-ten")
    weights = reading_weights(r, kb.grades("chain-wear-ten"), 0.72, 0.05, 4)
    assert weights[0] == pytest.approx(0.72575, abs=5e-6)
    assert weights.sum() == pytest.approx(1.0)


def test_a_new_chain_measures_twelve_inches(kb: KnowledgeBase) -> None:
    """Twelve link pairs of half-inch pitch: Measuring chain stretch (undated page), 24 x 12.7 mm = 304.8 mm."""
    assert figure(kb.entries.fixes["replace-chain"], "twelve link pairs").startswith(f"{24 * 12.7:.1f}")


def test_chain_strength(kb: KnowledgeBase) -> None:
    """16 CFR 1512.8, Requirements for drive chain (1978): 8010 N."""
    assert figure(kb.entries.fixes["replace-chain"], "strength") == "8010"


def test_brake_wear_limits(kb: KnowledgeBase) -> None:
    """Pads 0.5 mm: Disc brakes, changing brake pads (undated); discs 1.5 mm: workshop note on rotor wear (undated);
    rim wall 1.0 mm: thread on rim wear (undated). The maker's figure goes first."""
    assert reading(kb, "pad-lining").limits["limit"] == 0.5
    assert reading(kb, "disc-thickness").limits["worn"] == 1.5
    assert reading(kb, "rim-wall").limits["thin"] == 1.0


def test_lever_distance(kb: KnowledgeBase) -> None:
    """16 CFR 1512.5, Requirements for braking system (2011): at most 89 mm from lever to bar."""
    assert figure(kb.entries.fixes["lever-reach-set"], "distance from outside") == "89"


def test_brake_fluid_boiling_points(kb: KnowledgeBase) -> None:
    """49 CFR 571.116: DOT 4 at least 230 degrees C dry and 155 wet (from an explanation of the classes, undated)."""
    assert figure(kb.entries.fixes["fluid-renew"], "boiling points") == "230 and 155"


def test_quick_release_force(kb: KnowledgeBase) -> None:
    """TBIS 15194 clause 4.3.9.5 (2019; the same figure in EN 14766): closing takes at most 200 N."""
    assert figure(kb.entries.fixes["wheel-reseat"], "quick release") == "200"


def test_fluids_are_never_mixed(kb: KnowledgeBase) -> None:
    """All about brake fluid (undated): silicone and glycol fluids must not be mixed; the maker's manual names
    the fluid. Every fix that opens a hydraulic line carries that caution."""
    caution = kb.entries.hazards["brake-fluid"].caution
    assert "never" in caution
    assert "manual" in caution
    opened = [f for f in kb.entries.fixes.values() if any("bleed" in s.lower() for _, s in instructions(f))]
    assert opened
    assert all("brake-fluid" in f.hazards for f in opened)


def test_each_cable_pull_rule_has_its_formula(kb: KnowledgeBase) -> None:
    """Bicycles/Maintenance and Repair/Gear-changing Dimensions (undated textbook): pull per click times ratio is the
    sprocket pitch. 10-speed road: 2.3 mm x 1.7 = 3.91 mm, close to the published 3.95 mm pitch (pull and pitch from
    memory; ratio 1.7: 10- versus 11-speed cassette, 2023)."""
    (told,) = kb.entries.fixes["fit-matching-parts"].figures
    assert "cable pull per click times shift ratio" in f"{told.what} {told.value}"
    assert 2.3 * 1.7 == pytest.approx(3.95, abs=0.05)


def test_every_brake_fix_tells_to_try_the_brake(kb: KnowledgeBase) -> None:
    """Common practice: no bike leaves after brake work before both levers are firm: each fix says so."""
    brake = {"brake"}
    grew = True
    while grew:
        more = {p for p, part in kb.entries.parts.items() if part.inside in brake} - brake
        brake, grew = brake | more, bool(more)
    for cause in kb.cause_ids:
        if kb.entries.causes[cause].part in brake:
            for fix in kb.entries.causes[cause].fixes:
                entry = kb.entries.fixes[fix]
                if entry.kind != "hand-over":
                    assert {"brake-disabled", "ride-test"} & set(entry.hazards), fix
