"""An answer that is not sure: between no evidence at all and the plain answer."""

from collections import defaultdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from symptomtree.cases.model import Answer, Complaint, Context, Correction
from tests.bench_hands import ADVISER

TOLD = [
    Complaint(text="a creak"),
    Context(fact="gears", value="derailleur"),
    Answer(finding="creak-pedalling", grade="yes", complaint=True),
]


def odds(*more):
    """Return the causes' odds; a cause that nothing points to is not listed, so its place is empty."""
    return defaultdict(float, {c.cause: c.probability for c in ADVISER.assess([*TOLD, *more]).causes})


def apart(one, other):
    """Return the largest difference of two cases' odds among the causes that both list."""
    return max(abs(one[c] - other[c]) for c in one.keys() & other.keys())


def test_an_answer_as_good_as_a_coin_changes_nothing():
    assert apart(odds(Answer(finding="noise-with-cranks", grade="yes", sure=0.5)), odds()) < 1e-12


@pytest.mark.parametrize("grade", ["yes", "no"])
def test_a_sure_answer_is_the_plain_one(grade):
    plain = odds(Answer(finding="noise-with-cranks", grade=grade))
    assert apart(odds(Answer(finding="noise-with-cranks", grade=grade, sure=1 - 1e-9)), plain) < 1e-6


def test_it_is_the_mixture_that_bayes_rule_makes():
    """P(cause | soft) = sum over grades of P(cause | grade) L(grade) P(grade) / sum of L(grade) P(grade) (Pearl,
    Probabilistic Reasoning in Intelligent Systems, 1988, 2.3.2, virtual evidence); two soft answers give P(yes)."""
    none, yes, no = odds(), *(odds(Answer(finding="noise-with-cranks", grade=g)) for g in ("yes", "no"))
    cause = max(yes.keys() & no.keys(), key=lambda c: abs(yes[c] - no[c]))
    p = (none[cause] - no[cause]) / (yes[cause] - no[cause])  # P(yes), from the law of total probability
    for sure in (0.6, 0.93):
        soft = odds(Answer(finding="noise-with-cranks", grade="yes", sure=sure))
        share = sure * p / (sure * p + (1 - sure) * (1 - p))
        assert soft[cause] == pytest.approx(share * yes[cause] + (1 - share) * no[cause], abs=1e-9)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.5, 0.999), st.floats(0.5, 0.999))
def test_surer_means_further(one, other):
    less, more = sorted((one, other))
    yes, no = (odds(Answer(finding="noise-with-cranks", grade=g)) for g in ("yes", "no"))
    cause = max(yes.keys() & no.keys(), key=lambda c: yes[c] - no[c])
    soft = [odds(Answer(finding="noise-with-cranks", grade="yes", sure=s))[cause] for s in (less, more)]
    assert soft[0] <= soft[1] + 1e-9


def test_a_correction_by_hand_is_sure():
    soft = Answer(finding="noise-with-cranks", grade="yes", sure=0.6)
    number = len(TOLD) + 1
    assert odds(soft, Correction(number=number, grade="no")) == odds(Answer(finding="noise-with-cranks", grade="no"))
