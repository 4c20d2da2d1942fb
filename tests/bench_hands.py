"""What the tests of the screens share: the knowledge that ships, and ways to a certain point of a case."""

import asyncio
from functools import cache

from textual.widgets import Static

from symptomtree.cases.files import write_case
from symptomtree.cases.model import (
    Answer,
    Complaint,
    Context,
    Unsure,
)
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.keeper import cases_folder
from symptomtree.reasoning.assess import Adviser
from symptomtree.terminal.app import SymptomtreeApp
from tests.hands import at_work, case_of

KB = open_knowledge()
ADVISER = Adviser(KB)

HOWL = Answer(finding="brake-noise", grade="howl", complaint=True)
SIZES = [(60, 20), (80, 24), (120, 40)]


def work(doing, *told, size=(80, 24), kb=KB, **opened):
    """Work an application: a new case, or one of the user's folder in which things were told already."""

    async def run():
        app = SymptomtreeApp(kb=kb, **opened)
        if kb is KB:
            app.adviser = ADVISER  # its rules are built once for all tests
        async with at_work(app, size) as hands:
            await doing(hands)

    if told:
        opened["case"] = cases_folder() / "told.yaml"
        opened["case"].parent.mkdir(parents=True, exist_ok=True)
        write_case(opened["case"], case_of(*told))
    asyncio.run(run())


@cache
def at_pad_lining():
    """Return what was told when the check that measures the pads comes next."""
    told = [Complaint(text="x"), HOWL, Context(fact="brake-type", value="hydraulic-disc")]
    while (step := ADVISER.assess(told).steps[0]).name != "look-at-pads-in-place":
        assert step.doing != "hand-over"
        told += [Unsure(about=step.name), *(Unsure(about=f) for f in step.settles)]
    return tuple(told)


def words_of(hands, where):
    return " ".join(str(hands.app.screen.query_one(where, Static).content).split())
