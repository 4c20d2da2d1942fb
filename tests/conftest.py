"""What all tests share."""

from pathlib import Path

import pytest
from hypothesis import settings

from symptomtree.kb.compile import open_knowledge
from symptomtree.reasoning.assess import Adviser

# The same examples on every run, and no time limit for one: a busy machine must not turn a law red.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def adviser() -> Adviser:
    """Return an adviser with the knowledge that ships."""
    return Adviser(open_knowledge())


@pytest.fixture
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Nothing is read from or written to the folders of whoever runs the tests, and screens are drawn when read."""
    from tests.hands import draw_less  # noqa: PLC0415 - only the screens' tests need the screen library

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    draw_less(monkeypatch)
    return tmp_path
