"""How what was filled in arrives at a tool's function."""

from math import sqrt

import pytest

from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, work
from symptomtree.measuring.units import Number


def test_a_number_may_arrive_with_its_uncertainty() -> None:
    """Then the function reckons with it, and it is not carried through a second time."""
    seen = []

    def run(cadence: Number, teeth: float) -> Outcome:
        seen.append((cadence, teeth))
        return Outcome(values={"links": cadence.value * teeth}, errors={"links": 7.0})

    tool = Tool(
        name="links",
        title="Links a minute",
        about="Count.",
        fields=(Field(name="cadence", ask="How fast?", unit="per min", with_error=True), Field(name="teeth", ask="?")),
        run=run,
        gives=(Gives(name="links", words="links a minute"),),
        sources=("from memory",),
        example={"cadence": "80", "teeth": "40"},
    )
    found = work(tool, {"cadence": "80 +- 2", "teeth": "40"}).value("links")
    assert seen == [(Number(80.0, 2.0), 40.0)]
    assert found is not None
    assert (found.number, found.error) == (3200.0, 7.0)


def test_what_is_counted_is_whole() -> None:
    tool = Tool(
        name="teeth",
        title="Teeth",
        about="Count.",
        fields=(Field(name="rings", ask="How many?", kind="numbers", whole=True),),
        run=lambda rings: Outcome(values={"teeth": sum(rings)}),
        gives=(Gives(name="teeth", words="teeth"),),
        sources=("from memory",),
        example={"rings": "50 34"},
    )
    found = work(tool, {"rings": "50 34"}).value("teeth")
    assert found is not None
    assert found.number == 84
    with pytest.raises(BadInput, match=r"rings: 34\.5 is no whole number; count again") as refused:
        work(tool, {"rings": "50 34.5"})
    assert refused.value.field == "rings"


def test_an_uncertainty_that_reaches_where_the_formula_breaks_is_one_sided() -> None:
    tool = Tool(
        name="share",
        title="A share",
        about="Divide.",
        fields=(Field(name="part", ask="?", least=0.5), Field(name="whole", ask="?", least=0.5)),
        run=lambda part, whole: Outcome(values={"share": part / whole, "root": part**0.5 + sqrt(whole)}),
        gives=(Gives(name="share", words="share"), Gives(name="root", words="roots")),
        sources=("from memory",),
        example={"part": "1", "whole": "2"},
    )
    found = work(tool, {"part": "1", "whole": "2 +- 2"})
    share = found.value("share")
    assert share is not None
    assert share.error == pytest.approx((1 / 2 - 1 / 4) / 2)
    root = work(tool, {"part": "1", "whole": "2 +- 3"}).value("root")
    assert root is not None
    assert root.error == pytest.approx((sqrt(5) - sqrt(2)) / 2)
