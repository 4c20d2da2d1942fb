"""Dependencies point one way, and a command loads no more than it needs."""

import subprocess
import sys
from pathlib import Path

import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).parents[1]

LOADED = """
import sys
from symptomtree.cli import main
try:
    main(sys.argv[1:])
except SystemExit:
    pass
print(*sys.modules, file=sys.stderr)
"""


def test_the_import_contracts_hold(capsys):
    """No room uses one above it, and nothing but the screens uses the screen library (contracts: pyproject.toml)."""
    broken = lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True, no_logo=True)
    assert not broken, capsys.readouterr().out


@pytest.mark.parametrize("command", ["--version", "vet"])
def test_a_light_command_leaves_the_heavy_libraries_alone(command):
    """What neither reasons nor draws starts at once."""
    ran = subprocess.run([sys.executable, "-c", LOADED, command], capture_output=True, text=True, check=True)
    loaded = set(ran.stderr.split())
    assert "symptomtree.cli" in loaded
    assert not loaded & {"experta", "networkx", "numpy", "textual"}
