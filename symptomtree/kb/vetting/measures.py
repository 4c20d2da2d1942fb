"""Do the tools that findings name exist, and do they give what is wanted?"""

from collections.abc import Iterator

from symptomtree.kb.model import Measure, Observable, Symptom
from symptomtree.kb.nodes import Problem, nearest
from symptomtree.kb.vetting.desk import Desk
from symptomtree.measuring.tools import NoSuchTool, names, tool_named


def measures_fit(desk: Desk) -> Iterator[Problem]:
    """A tool that a finding names is there, gives what is named, and in the unit of the finding's reading."""
    for name, symptom in desk.entries.symptoms.items():
        if symptom.measure:
            yield from _measure(desk, symptom, symptom.measure, "symptoms", name, "measure")
    for name, check in desk.entries.checks.items():
        for finding, known in check.settles.items():
            if known.measure:
                yield from _measure(desk, known, known.measure, "checks", name, "settles", finding, "measure")


def fixes_name_tools(desk: Desk) -> Iterator[Problem]:
    """The tools that a fix is worked out with are there."""
    known = names()
    for name, fix in desk.entries.fixes.items():
        for n, tool in enumerate(fix.measure_with):
            if tool not in known:
                text = f"no tool {tool!r}{nearest(tool, known)}"
                yield desk.problem("K329", text, "fixes", name, "measure-with", n)


def _measure(desk: Desk, finding: Symptom | Observable, measure: Measure, *path: str | int) -> Iterator[Problem]:
    try:
        tool = tool_named(measure.tool)
    except NoSuchTool as error:
        yield desk.problem("K329", str(error), *path, "tool")
        return
    fields, gives = [f.name for f in tool.fields], {g.name: g.unit for g in tool.gives}
    for name in measure.given:
        if name not in fields:
            text = f"{tool.name} has no field {name!r}{nearest(name, fields)}"
            yield desk.problem("K329", text, *path, "given", name)
    reading = finding.reading if isinstance(finding, Observable) else None
    unit = reading.unit if reading else ""
    if reading and len(measure.values) > 1:
        yield desk.problem("K329", "a reading is one number: name one value", *path, "values")
    if not reading and len(finding.grades) > 2:
        yield desk.problem("K329", "a share tells two grades apart, this finding has more", *path, "values")
    for n, value in enumerate(measure.values):
        if value not in gives:
            text = f"{tool.name} gives no {value!r}{nearest(value, list(gives))}"
            yield desk.problem("K329", text, *path, "values", n)
        elif gives[value] != unit:
            text = f"{value} is in {gives[value] or 'plain numbers'}, the finding needs {unit or 'a share from 0 to 1'}"
            yield desk.problem("K329", text, *path, "values", n)
