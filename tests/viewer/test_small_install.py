"""Without the optional libraries: numbers and report still come, and what is missing is named with its extra."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from viewer.extras import BROUGHT_BY, lacking, told

ROOT = Path(__file__).resolve().parents[2]
HIDING = """
import sys

class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {hidden!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)

sys.meta_path.insert(0, Hidden())
import importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, package=None: None if name.split(".")[0] in {hidden!r} else real(name, package)
from viewer.cli import main
sys.exit(main({words!r}))
"""


def small(*words, hidden=tuple(BROUGHT_BY)):
    """Run the command in a process in which the libraries of every extra cannot be imported."""
    return subprocess.run([sys.executable, "-c", HIDING.format(hidden=set(hidden), words=list(words))],
                          capture_output=True, text=True, check=False)  # fmt: skip


def test_a_plan_without_the_drawing_libraries_gives_numbers_and_report(tmp_path):
    done = small("plan", str(ROOT / "demo_meshes" / "case.toml"), "--out", str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert "pip install 'bowtrue[figures]'" in done.stdout
    assert json.loads((tmp_path / "plan.json").read_text("utf-8"))["sides"]
    assert "not a medical device" in (tmp_path / "report.html").read_text("utf-8")
    assert not list(tmp_path.glob("*.png"))


def test_a_researcher_needs_no_extra_for_the_centre_and_is_told_for_the_rest(tmp_path):
    molar = str(ROOT / "demo_meshes" / "molar_26.stl")
    done = small("centre", molar, "--tooth", "26", "--axes", "LPS", "--csv", str(tmp_path / "c.csv"))
    assert done.returncode == 0, done.stderr
    assert "thin_layer" in (tmp_path / "c.csv").read_text("utf-8")
    drawn = small("centre", molar, "--tooth", "26", "--axes", "LPS", "--out", str(tmp_path / "c"))
    assert drawn.returncode == 2
    assert drawn.stderr.count("\n") == 1
    assert "pip install 'bowtrue[figures]'" in drawn.stderr
    assert not (tmp_path / "c").exists()


def test_every_optional_library_is_brought_by_the_extra_it_names():
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    names = {"skimage": "scikit-image", "vtk": "pyvista"}
    for module, extra in BROUGHT_BY.items():
        wanted = " ".join(extras[extra]) + " ".join(extras["figures"] if extra == "page" else [])
        assert names.get(module, module) in wanted, module


def test_words_for_what_is_missing():
    assert (
        told("pyvista.core") == "this needs pyvista, which is not installed: pip install 'bowtrue[figures]'."
    )
    assert "install bowtrue again" in told("numpy")
    assert lacking("numpy", "no_such_library") == ["no_such_library"]


@pytest.mark.parametrize("command", ["plan", "centre", "look", "study", "register"])
def test_help_needs_no_extra(command):
    done = small(command, "--help")
    assert done.returncode == 0, done.stderr
