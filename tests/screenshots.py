"""Draws the pictures of the README: a case, a fix and a debrief.

    python -m tests.screenshots

The pictures name no fonts to fetch, so they show the same everywhere.
"""

import asyncio
import os
import re
import tempfile
from pathlib import Path

from symptomtree.cases.model import Answer, Context
from symptomtree.kb.compile import open_knowledge
from symptomtree.lessons.lesson import Action
from symptomtree.lessons.library import lesson_named
from symptomtree.lessons.progress import Progress
from symptomtree.terminal.app import SymptomtreeApp

FOLDER = Path(__file__).parent / "screens"
SIZE = (104, 32)
CASE = (
    Context(fact="brake-type", value="hydraulic-disc"),
    Answer(finding="brake-noise", grade="howl", complaint=True),
    Answer(finding="lever-travel", grade="to-bar", complaint=True),
    *(Answer(finding=f, grade="dry") for f in ("wet-lever", "wet-hose", "wet-caliper")),
)


def keep(app: SymptomtreeApp, name: str) -> None:
    """Write what is on the screen."""
    picture = re.sub(
        r"<!--.*?-->|@font-face \{.*?\}\s*", "", app.export_screenshot(title="symptomtree"), flags=re.DOTALL
    )
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / f"{name}.svg").write_text(picture, encoding="utf-8")


async def draw() -> None:
    """Work a case to a fix, and a lesson to its debrief."""
    kb = open_knowledge()
    app = SymptomtreeApp(kb=kb)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        app.begin(CASE)
        await pilot.pause()
        keep(app, "case")
        app.keeper.add(*(Answer(finding=f, grade=g) for f, g in SEEN.items()))
        app.back_to_case()
        await pilot.pause()
        await pilot.press("f")
        await pilot.pause()
        keep(app, "fix")
    app = SymptomtreeApp(kb=kb)
    async with app.run_test(size=SIZE) as pilot:
        from symptomtree.terminal.lessons import LessonScreen  # noqa: PLC0415 - after the application

        lesson = lesson_named(kb, "brakes-squeal-in-the-drizzle")
        screen = LessonScreen(lesson, Progress(symptomtree_learner=1, name="me"))
        app.push_screen(screen)
        await pilot.pause()
        for doing, name in WAY:
            screen._do(Action(doing, name))
            await pilot.pause()
        screen._conclude(lesson.cause)
        await pilot.pause()
        keep(app, "debrief")


WAY = (
    ("check", "look-at-blocks"),
    ("fix", "leave-wet-alone"),
    ("ask", "brake-noise"),
    ("ask", "noise-only-wet"),
)
SEEN = {"disc-sway": "straight", "disc-gap": "even", "pad-gap": "wide"}

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"XDG_DATA_HOME": folder, "XDG_CONFIG_HOME": folder}
        asyncio.run(draw())
