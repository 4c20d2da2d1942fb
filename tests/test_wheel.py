"""What is installed from the wheel is whole: it works away from the checkout."""

import os
import shlex
import subprocess
import sys
import sysconfig
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

from symptomtree.kb.compile import open_knowledge
from symptomtree.kb.kept import kept_name

ROOT = Path(__file__).parents[1]
SHIPPED = ("knowledge", "walkthroughs")


def run(*command: str | Path, **options) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(c) for c in command], check=False, capture_output=True, text=True, timeout=120, **options
    )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built from the source distribution, which is built from the tree."""
    folder = tmp_path_factory.mktemp("dist")
    built = run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, ROOT)
    assert built.returncode == 0, built.stdout + built.stderr
    return next(folder.glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """Run a program of a fresh environment that holds the wheel, from another folder and with another home."""
    place = tmp_path_factory.mktemp("installed")
    venv.create(place / "env", symlinks=True)
    python = place / "env" / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-index", "--no-deps"]
    done = run(*pip, wheel)
    assert done.returncode == 0, done.stderr
    # The dependencies come from this environment. A folder named in a .pth file has its own .pth files left alone,
    # so an editable symptomtree of this environment stays out of reach.
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").stdout.strip())
    (packages / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")

    elsewhere = place / "elsewhere"
    elsewhere.mkdir()
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "XDG_"))}

    def program(name: str, *arguments: str, **options) -> subprocess.CompletedProcess[str]:
        home = {"HOME": str(place), "PATH": f"{python.parent}:{kept['PATH']}"}
        return run(python.parent / name, *arguments, cwd=elsewhere, env=kept | home, **options)

    return program


def test_the_wheel_carries_the_data(wheel):
    """Every shipped file of the tree is in the wheel, byte for byte, and nothing else is."""
    with zipfile.ZipFile(wheel) as archive:
        carried = {
            name.removeprefix("symptomtree/_shipped/"): archive.read(name)
            for name in archive.namelist()
            if name.startswith("symptomtree/_shipped/")
        }
        assert "symptomtree/py.typed" in archive.namelist()
    in_tree = {
        p.relative_to(ROOT).as_posix(): p.read_bytes() for f in SHIPPED for p in (ROOT / f).rglob("*") if p.is_file()
    }
    assert {name.split("/")[0] for name in in_tree} == set(SHIPPED)
    assert {name: carried[name] for name in in_tree} == in_tree
    (vetted,) = carried.keys() - in_tree.keys()
    assert vetted == f"vetted/{kept_name(open_knowledge().digest)}"


def test_the_wheel_is_what_runs(installed):
    """The code and its data come from the fresh environment, not from the checkout."""
    told = "import symptomtree, symptomtree.kb.shipped as s; print(symptomtree.__file__, s.shipped('walkthroughs'))"
    ran = installed("python", "-c", told)
    assert ran.returncode == 0, ran.stderr
    for path in ran.stdout.split():
        assert "site-packages/symptomtree" in path
        assert not Path(path).is_relative_to(sys.prefix)
        assert not Path(path).is_relative_to(ROOT)
        assert Path(path).exists()


def test_the_installed_program_tells_its_version(installed):
    """It is the one in pyproject.toml."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert installed("symptomtree", "--version").stdout == f"symptomtree {project['version']}\n"


def test_the_installed_knowledge_is_sound(installed):
    """`vet` finds the shipped knowledge by itself, and nothing wrong with it."""
    ran = installed("symptomtree", "vet")
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_installed_program_does_its_job(installed):
    """`ask` through a pipe goes from a complaint to a likely cause, keeps the case and goes on with it."""
    asked = installed("symptomtree", "ask", input="the rim brakes squeal when I brake\nall\nstop\n")
    assert asked.returncode == 0, asked.stderr
    assert "Most likely so far" in asked.stdout
    *_, how_to_go_on = asked.stdout.splitlines()
    resumed = installed(*shlex.split(how_to_go_on), input="stop\n")
    assert resumed.returncode == 0, resumed.stderr
    assert "Most likely so far" in resumed.stdout


def test_the_installed_program_need_not_vet_at_its_first_start(installed):
    """The wheel brings the vetted entries, so nothing is written to a cache."""
    asked = "import symptomtree.kb.compile as c, sys; c.open_knowledge(); print('symptomtree.kb.vet' in sys.modules)"
    ran = installed("python", "-c", asked)
    assert ran.stdout == "False\n", ran.stderr
