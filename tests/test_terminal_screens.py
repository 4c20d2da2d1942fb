"""What the screens say and how they look, cell by cell, against stored text; and whether each look can be read.

The screens are of the small knowledge, so that they change when a screen changes and not when the knowledge grows.
After a change that is meant: `STORE_SCREENS=1 pytest tests/test_terminal_screens.py`, then read the difference.
"""

import asyncio
import os
from inspect import isawaitable
from pathlib import Path
from string import ascii_letters

import pytest
from rich.style import Style
from small_knowledge import SMALL
from textual._context import visible_screen_stack
from textual.widgets import Input

from symptomtree.cases.files import write_case
from symptomtree.cases.model import Answer, Complaint, Context
from symptomtree.kb.compile import open_knowledge
from symptomtree.plain.keeper import cases_folder
from symptomtree.terminal.app import SymptomtreeApp
from symptomtree.terminal.look import THEMES
from tests.hands import at_work, case_of

STORED = Path(__file__).parent / "screens"
SQUEALS = (Complaint(text="it squeals [b]and[/b] screams"), Answer(finding="squeal", grade="loud", complaint=True))
STOPPED = (*SQUEALS, Context(fact="kind", value="disc"), Answer(finding="lining", grade="gone"))
SCREENS = [
    # name, size, look, what was told, keys
    ("bench-plain", (80, 24), "plain", SQUEALS + STOPPED[2:3], []),
    ("sheet", (80, 24), "light", STOPPED, ["x"]),
    ("stops", (80, 24), "dark", STOPPED, ["exclamation_mark"]),
    ("cases", (80, 24), "dark", STOPPED, ["o"]),
    ("cause-wide", (120, 40), "dark", STOPPED, ["c", "enter"]),
]
MAIN = [("opening", (), []), ("bench", STOPPED, []), ("fix", STOPPED, ["f"])]
SIZES = [(60, 20), (80, 24), (120, 40)]
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
                out = seen(hands)
                return await out if isawaitable(out) else out

        return asyncio.run(run())

    return show


@pytest.mark.parametrize(("name", "size", "look", "told", "keys"), SCREENS, ids=[s[0] for s in SCREENS])
def test_a_screen_says_what_it_said(opened, name, size, look, told, keys):
    """Each row is the stored one."""
    rows = opened(size, look, told, keys, lambda hands: hands.rows())
    assert len(rows) == size[1]
    assert stored(name, rows) == rows


@pytest.mark.parametrize(("name", "told", "keys"), MAIN, ids=[m[0] for m in MAIN])
def test_a_main_screen_looks_as_it_looked(opened, name, told, keys):
    """In each size and each look: what stands in every cell, in which ink, on which ground."""

    async def seen(hands):
        for field in hands.app.screen.query(Input):
            field.cursor_blink = False
        for size in SIZES:
            await hands.resize(*size)
            picture, before = [], []
            for look in THEMES:
                hands.app.theme = look
                await hands.settle()
                rows = hands.rows()
                assert len(rows) == size[1]
                picture += [f"Look: {look}", *(rows if rows != before else ["(the same signs)"]), "", *inks(hands), ""]
                before = rows
            pictures["x".join(map(str, size))] = picture

    pictures = {}
    opened(SIZES[1], "dark", told, keys, seen)
    for size, picture in pictures.items():
        assert stored(f"{name}-{size}", picture) == picture


def stored(name, rows):
    """Return the rows that are stored under a name, after storing these if that is asked for."""
    file = STORED / f"{name}.txt"
    if os.environ.get("STORE_SCREENS"):
        file.write_text("".join(f"{row}\n" for row in rows), encoding="utf-8")
    return file.read_text(encoding="utf-8").splitlines()


def inks(hands):
    """Return the screen with a letter for each cell's style, and what the letters stand for."""
    visible_screen_stack.set(hands.app._background_screens)
    letters = {}
    rows = []
    for strip in hands.app.screen._compositor.render_strips():
        row = ""
        for segment in strip:
            style = segment.style or Style()
            kind = str(style.without_color + Style(color=style.color, bgcolor=style.bgcolor))
            row += letters.setdefault(kind, ascii_letters[len(letters)]) * segment.cell_length
        rows.append(row)
    return [*rows, *(f"{letter}: {kind}" for kind, letter in letters.items())]


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
