"""Dependencies point one way, and a command loads no more than it needs."""

import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import grimp
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


@pytest.mark.parametrize(("command", "heavy"), [("--version", {"numpy"}), ("vet", set()), ("measure", {"scipy"})])
def test_a_light_command_leaves_the_heavy_libraries_alone(command, heavy):
    """What neither reasons nor draws starts at once."""
    ran = subprocess.run([sys.executable, "-c", LOADED, command], capture_output=True, text=True, check=True)
    loaded = set(ran.stderr.split())
    assert "symptomtree.cli" in loaded
    assert not loaded & {"experta", "networkx", "textual", *heavy}


def test_what_is_imported_is_declared():
    """A library that only the tests bring along would be missing for everyone else."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = project["dependencies"] + [r for extra in extras if extra != "test" for r in extras[extra]]
    declared = {re.match(r"[\w.-]+", requirement).group().lower() for requirement in wanted}
    modules = grimp.build_graph("symptomtree", include_external_packages=True, cache_dir=None).modules
    imported = {module.split(".")[0] for module in modules} - sys.stdlib_module_names - {"symptomtree"}
    provided_by = packages_distributions()
    undeclared = {m for m in imported if not {m, *(d.lower() for d in provided_by.get(m, []))} & declared}
    assert not undeclared


def test_what_the_build_loads_is_what_it_asks_for():
    """The wheel's build vets the knowledge in an environment of its own, which holds only what `requires` names."""
    vetting = "import sys\nfrom symptomtree.cli import main\nassert main(['vet']) == 0\nprint(*sys.modules)"
    ran = subprocess.run([sys.executable, "-c", vetting], capture_output=True, text=True, check=True, cwd=ROOT)
    loaded = {name.partition(".")[0] for name in ran.stdout.split()}
    provided_by = packages_distributions()
    owners = {owner.lower() for name in loaded for owner in provided_by.get(name, ())}
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text())["build-system"]["requires"]
    optional = {
        "symptomtree",
        "setuptools",
        "pip",
        "typing_extensions",
        "typing-extensions",
    }  # used where they are there
    assert owners - optional <= {re.split(r"[<>=]", line)[0].lower() for line in asked}
