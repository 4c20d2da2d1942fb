"""A verdict is told with its uncertainty: JCGM 106:2012 (conformity assessment), conformance probability."""

from dataclasses import replace
from math import nextafter

import pytest
from scipy.stats import norm

from symptomtree.measuring.tool import TOO_CLOSE, Chance, Field, Gives, Outcome, Tool, Verdict, work

_TOOL = Tool(
    name="worn",
    title="How far something is worn",
    about="Read it.",
    fields=(Field(name="wear", ask="How far?", unit="mm", error=0.1),),
    run=lambda wear: Outcome(
        values={"wear": wear},
        verdicts=[
            Verdict(
                value="wear", limits=(1, 2), says=("It stays.", "Replace it.", "It was late."), closer="Read again."
            )
        ],
        says=("Wear is wear.",),
    ),
    gives=(Gives(name="wear", words="worn by", unit="mm"),),
    sources=("from memory",),
    example={"wear": "0.5"},
)


def test_the_limit_is_one_in_twenty() -> None:
    assert norm.sf(TOO_CLOSE) == pytest.approx(0.05, abs=5e-5)


@pytest.mark.parametrize(
    ("typed", "holds"),
    [("0.5", "It stays."), ("1.5", "Replace it."), ("2.5", "It was late."), ("1 +- 0", "Replace it.")],
)
def test_clear_of_the_limits(typed: str, holds: str) -> None:
    assert work(_TOOL, {"wear": typed}).says == (holds, "Wear is wear.")


@pytest.mark.parametrize(("typed", "limit", "holds"), [("0.9", "1 mm", "It stays."), ("2.1", "2 mm", "It was late.")])
def test_too_close_to_call(typed: str, limit: str, holds: str) -> None:
    open_still, as_read, *rest = work(_TOOL, {"wear": typed}).says
    assert open_still.startswith("Too close to call")
    assert limit in open_still
    assert open_still.endswith("Read again.")
    assert as_read.endswith(holds)
    assert rest == ["Wear is wear."]


def test_a_limit_that_may_be_just_reached_is_shown_as_it_is() -> None:
    tool = replace(
        _TOOL,
        run=lambda wear: Outcome(
            values={"wear": wear},
            verdicts=[Verdict(value="wear", limits=(nextafter(0, 1),), says=("Worn.", "It stays."), closer="Again.")],
        ),
    )
    open_still, as_read = work(tool, {"wear": "0"}).says
    assert "either side of 0 mm" in open_still
    assert as_read.endswith("Worn.")


def test_a_better_gauge_calls_it() -> None:
    assert work(_TOOL, {"wear": "0.9 +- 0.02"}).says[0] == "It stays."


@pytest.mark.parametrize(("typed", "low", "high"), [("1.1", 1, 2), ("0.9", 1, float("inf")), ("0.9", float("-inf"), 1)])
def test_a_chance_is_that_of_the_normal_distribution(typed: str, low: float, high: float) -> None:
    tool = Tool(
        name="worn",
        title="How far something is worn",
        about="Read it.",
        fields=_TOOL.fields,
        run=lambda wear: Outcome(values={"wear": wear}, chances=[Chance(name="over", of="wear", low=low, high=high)]),
        gives=(*_TOOL.gives, Gives(name="over", words="how likely it is worn")),
        sources=("from memory",),
        example={"wear": "0.5"},
    )
    found = work(tool, {"wear": typed}).value("over")
    assert found is not None
    assert found.number == pytest.approx(norm.cdf(high, float(typed), 0.1) - norm.cdf(low, float(typed), 0.1))
    sure = work(tool, {"wear": f"{typed} +- 0"}).value("over")
    assert sure is not None
    assert sure.number == float(low <= float(typed) < high)
