"""Do the tools that findings name exist, and do they give what is wanted?"""

from collections.abc import Iterator

from symptomtree.kb.model import Measure
from symptomtree.kb.nodes import Problem, nearest
from symptomtree.kb.vetting.desk import Desk
from symptomtree.measuring.tools import NoSuchTool, tool_named


def measures_fit(desk: Desk) -> Iterator[Problem]:
    """A tool that a finding names is there, gives what is named, and in the unit of the finding's reading."""
    for name, symptom in desk.entries.symptoms.items():
        yield from _measure(desk, symptom.measure, "", "symptoms", name)
    for name, check in desk.entries.checks.items():
        for finding, observable in check.settles.items():
            unit = observable.reading.unit if observable.reading else ""
            yield from _measure(desk, observable.measure, unit, "checks", name, "settles", finding)


def _measure(desk: Desk, measure: Measure | None, unit: str, *path: str | int) -> Iterator[Problem]:
    if not measure:
        return
    try:
        tool = tool_named(measure.tool)
    except NoSuchTool as error:
        yield desk.problem("K329", str(error), *path, "measure", "tool")
        return
    fields = [f.name for f in tool.fields]
    for name in measure.given:
        if name not in fields:
            yield desk.problem(
                "K329", f"{tool.name} has no field {name!r}{nearest(name, fields)}", *path, "measure", "given", name
            )
    gives = {g.name: g.unit for g in tool.gives}
    if unit and len(measure.values) > 1:
        yield desk.problem("K329", "a reading is one number: name one value", *path, "measure", "values")
    for n, value in enumerate(measure.values):
        if value not in gives:
            text = f"{tool.name} gives no {value!r}{nearest(value, list(gives))}"
            yield desk.problem("K329", text, *path, "measure", "values", n)
        elif gives[value] != unit:
            text = f"{value} is in {gives[value] or 'plain numbers'}, the finding needs {unit or 'a share from 0 to 1'}"
            yield desk.problem("K329", text, *path, "measure", "values", n)
