"""Two thousand random sequences of keys and clicks: nothing breaks, and a reason not to ride is always in sight.

What must be in sight is worked out from the case's events by `trials.naive`, which reads the rules without the engine.
"""

import asyncio
import random

import pytest
from small_knowledge import SMALL

from symptomtree.cases.files import read_case, write_case
from symptomtree.cases.model import Answer, Complaint, Context
from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.state import in_force
from symptomtree.terminal.app import SymptomtreeApp
from symptomtree.terminal.keys import KEYS
from symptomtree.trials.naive import stops
from tests.hands import at_work, case_of, draw_less

SESSIONS, SEQUENCES = 20, 100
LONGEST = 3
SQUEALS = (Complaint(text="it squeals"), Answer(finding="squeal", grade="loud", complaint=True))
STOPPED = (*SQUEALS, Context(fact="kind", value="disc"), Answer(finding="lining", grade="gone"))
BINDINGS = [key for key, _, _ in KEYS.values()]
ANSWERS = [*"123456789", "enter", "space"]
MOVES = ["up", "down", "left", "right", "tab", "shift+tab", "pageup", "pagedown", "end", "escape", "backspace"]
OTHERS = [*"abcdefghijklmnopqrstuvwxyz0.,-[]?!+", "ctrl+p", "f1", "delete", "ctrl+c", "ctrl+q", "ctrl+z"]
KINDS = [BINDINGS, ANSWERS, ANSWERS, MOVES, MOVES, OTHERS, ["click"]]


@pytest.fixture
def small(tmp_path, monkeypatch):
    """Small knowledge, folders of its own, no way out, and no drawing but where the test looks."""
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(SymptomtreeApp, "exit", lambda *_, **__: None)
    draw_less(monkeypatch)
    folder = tmp_path / "knowledge"
    folder.mkdir()
    (folder / "small.yaml").write_text(SMALL)
    return open_knowledge(folder)


@pytest.mark.parametrize("told", [SQUEALS, STOPPED], ids=["free", "stopped"])
@pytest.mark.parametrize("session", range(SESSIONS // 2))
def test_random_keys_break_nothing_and_hide_no_stop(small, tmp_path, told, session):
    """After each sequence, typed ahead in one go: what the rules stop is said on the screen, and the file is whole."""
    asyncio.run(one_session(small, tmp_path / "case.yaml", told, random.Random(session)))


async def one_session(kb, path, told, chance):
    write_case(path, case_of(*told))
    app = SymptomtreeApp(kb=kb, knowledge=path.parent / "knowledge", case=path)
    done = []
    async with at_work(app, (60, 20) if chance.random() < 0.8 else (120, 40)) as hands:
        for _ in range(SEQUENCES):
            done.append([chance.choice(chance.choice(KINDS)) for _ in range(chance.randint(1, LONGEST))])
            for key in done[-1]:
                if key == "click":
                    hands.send_click(chance.randrange(app.size.width), chance.randrange(app.size.height))
                else:
                    hands.send(key)
            await hands.settle()
            assert app.is_running, done
            reasons = standing(app)
            if reasons and not reasons <= said(hands):
                await hands.pilot.pause(0.2)  # what was chosen in the palette is drawn a little later
                assert standing(app) <= said(hands), (done, hands.rows())
    if app.has_case:
        assert read_case(app.keeper.path, kb).events == app.keeper.events


def standing(app):
    """Return the reasons not to ride that the rules give for the events in force."""
    if not app.has_case:
        return set()
    rules = stops(app.kb, [e for _, e in in_force(app.keeper.events)])
    return {app.kb.entries.rules[rule].stop_riding.because for rule in rules}


def said(hands):
    """Return which reasons not to ride stand at the top of the screen; of several the first stands for all."""
    top = " ".join(" ".join(hands.rows()[:4]).split())
    reasons = [rule.stop_riding.because for rule in hands.app.kb.entries.rules.values() if rule.stop_riding]
    return {because for because in reasons if because in top and "STOP RIDING" in top}
