"""How what was filled in arrives at a tool's function."""

from symptomtree.measuring.tool import Field, Gives, Outcome, Tool, work
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
