"""What is left to run, with its bounds: Fieller's theorem (Journal of the Royal Statistical Society B 16, 1954)."""

from math import inf, sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from symptomtree.measuring.life import left
from symptomtree.measuring.tool import TOO_CLOSE
from symptomtree.measuring.units import Number

wear = st.floats(0, 1)
error = st.floats(0.001, 0.2)


@pytest.mark.parametrize(("second", "error"), [(0.4, 0.02), (0.4, 0.07), (0.2, 0.07), (0.1, 0.07), (0.7, 0.07)])
def test_the_truth_lies_beyond_each_bound_in_one_case_of_twenty(second: float, error: float) -> None:
    """The bounds' definition, on readings drawn with their uncertainty; 0.7 leaves hardly any room."""
    draw = np.random.default_rng(7).normal(0, error, (4000, 2))
    truth = (0.75 - second) / second * 1000
    found = [left(Number(a, error), Number(second + b, error), 1000, 0.75) for a, b in draw]
    assert np.mean([truth < f.least for f in found]) == pytest.approx(0.05, abs=0.011)
    assert np.mean([truth > f.most for f in found]) == pytest.approx(0.05, abs=0.011)


@given(wear, wear, error, error)
def test_a_bound_is_where_room_and_wear_differ_by_as_much_as_is_likely(
    f: float, s: float, e1: float, e2: float
) -> None:
    found = left(Number(f, e1), Number(s, e2), 1, 1.2)
    assert found.least <= found.likeliest <= found.most or s < f
    for ratio in (found.least, found.most):
        if 1e-6 < ratio < inf:
            apart = (1.2 - s) - ratio * (s - f)
            spread = sqrt(e2**2 * (1 + ratio) ** 2 + e1**2 * ratio**2)
            assert abs(apart) == pytest.approx(TOO_CLOSE * spread, rel=1e-6, abs=1e-9)


@given(wear, wear, st.floats(10, 5000))
def test_without_uncertainty_it_is_the_rule_of_three(f: float, s: float, run: float) -> None:
    assume(s - f > 1e-3)
    found = left(Number(f), Number(s), run, 1.0)
    assert found.likeliest == pytest.approx((1 - s) / (s - f) * run)
    assert found.least == pytest.approx(found.likeliest)
    assert found.most == pytest.approx(found.likeliest)


def test_ends() -> None:
    assert left(Number(0.5, 0.01), Number(0.8, 0.01), 1000, 0.75) == (0, 0, 0)
    still = left(Number(0.1, 0.05), Number(0.1, 0.05), 1000, 0.75)
    assert still.likeliest == still.most == inf
    assert still.least > 0
    assert left(Number(0.1), Number(0.1), 1000, 0.75).least == inf
