"""What the main screens say, row by row, against stored text; and whether each look can be read.

The screens are of the small knowledge, so that they change when a screen changes and not when the knowledge grows.
After a change that is meant: `STORE_SCREENS=1 pytest tests/test_terminal_screens.py`, then read the difference.
"""

import asyncio
import os
from pathlib import Path

import pytest
from small_knowledge import SMALL
from textual._context import visible_screen_stack

from symptomtree.cases.files import write_case
from symptomtree.cases.model import Answer, Complaint, Context
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.keeper import cases_folder
from symptomtree.terminal.app import SymptomtreeApp
from tests.hands import at_work, case_of

STORED = Path(__file__).parent / "screens"
SQUEALS = (Complaint(text="it squeals [b]and[/b] screams"), Answer(finding="squeal", grade="loud", complaint=True))
STOPPED = (*SQUEALS, Context(fact="kind", value="disc"), Answer(finding="lining", grade="gone"))
SCREENS = [
    # name, size, look, what was told, keys
    ("opening", (80, 24), "dark", (), []),
    ("opening-narrow", (60, 20), "plain", (), []),
    ("bench-narrow", (60, 20), "dark", STOPPED, []),
    ("bench", (80, 24), "light", STOPPED, []),
    ("bench-wide", (120, 40), "plain", STOPPED, []),
    ("bench-plain", (80, 24), "plain", SQUEALS + STOPPED[2:3], []),
    ("fix", (80, 24), "dark", STOPPED, ["f"]),
    ("fix-narrow", (60, 20), "light", STOPPED, ["f"]),
    ("sheet", (80, 24), "light", STOPPED, ["x"]),
    ("stops", (80, 24), "dark", STOPPED, ["exclamation_mark"]),
    ("cases", (80, 24), "dark", STOPPED, ["o"]),
    ("cause-wide", (120, 40), "dark", STOPPED, ["c", "enter"]),
]
READABLE = 4.5
"""The contrast that text needs: Web Content Accessibility Guidelines 2.1 (W3C, 2018), criterion 1.4.3."""


@pytest.fixture
def opened(tmp_path, monkeypatch):
    """Return a function that shows a screen and returns what another function makes of it."""
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    folder = tmp_path / "knowledge"
    folder.mkdir()
    (folder / "small.yaml").write_text(SMALL)
    kb = open_knowledge(folder)

    def show(size, look, told, keys, seen):
        case = cases_folder() / "2020-02-20-200220.yaml" if told else None
        if case:
            case.parent.mkdir(parents=True)
            write_case(case, case_of(*told))

        async def run():
            app = SymptomtreeApp(kb=kb, case=case, look=look)
            async with at_work(app, size) as hands:
                await hands.press(*keys)
                return seen(hands)

        return asyncio.run(run())

    return show


@pytest.mark.parametrize(("name", "size", "look", "told", "keys"), SCREENS, ids=[s[0] for s in SCREENS])
def test_a_screen_says_what_it_said(opened, name, size, look, told, keys):
    """Each row is the stored one."""
    rows = opened(size, look, told, keys, lambda hands: hands.rows())
    assert len(rows) == size[1]
    text = "\n".join(rows) + "\n"
    if os.environ.get("STORE_SCREENS"):
        (STORED / f"{name}.txt").write_text(text, encoding="utf-8")
    assert text == (STORED / f"{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("look", ["dark", "light"])
@pytest.mark.parametrize("keys", [["f"], ["plus"]], ids=["fix", "opening"])
def test_each_word_can_be_read(opened, look, keys):
    """Every word stands out from its ground as much as the guideline asks; of what is switched off it asks nothing."""
    faint = opened((80, 24), look, STOPPED, keys, too_faint)
    assert not faint, faint


def too_faint(hands):
    """Return the words on the screen whose contrast is below what text needs."""
    visible_screen_stack.set(hands.app._background_screens)
    off = [widget.region for widget in hands.app.screen.query("*:disabled")]
    out = []
    for y, strip in enumerate(hands.app.screen._compositor.render_strips()):
        x = 0
        for segment in strip:
            at, x = (x, y), x + segment.cell_length
            if any(region.contains(*at) for region in off):
                continue
            style = segment.style
            if not any(sign.isalnum() for sign in segment.text) or style is None or not (style.color and style.bgcolor):
                continue
            ink, ground = (luminance(c.get_truecolor()) for c in (style.color, style.bgcolor))
            ratio = (max(ink, ground) + 0.05) / (min(ink, ground) + 0.05)
            if ratio < READABLE:
                out.append((y, segment.text.strip(), round(ratio, 1)))
    return out


def luminance(colour):
    """Return the relative luminance of an sRGB colour, as the guideline defines it."""
    parts = [c / 255 for c in colour]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
