"""Promises of the project as a whole: its commands stand in the README, its files stay one idea, its words its own."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

from viewer.cli import COMMANDS

ROOT = Path(__file__).parents[2]
PACKAGES = ("mesh_tools", "mechanics", "casework", "viewer", "demo_meshes")


def test_readme_says_the_two_commands_and_every_users_command():
    text = (ROOT / "README.md").read_text("utf-8")
    assert '    pip install ".[figures]" && bowtrue demo\n' in text
    assert '    pip install ".[test]" && pytest\n' in text
    for name in COMMANDS:
        assert f"bowtrue {name}" in text, name


def test_every_link_and_picture_of_the_pages_exists():
    for page in (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))):
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text("utf-8")):
            assert target.startswith("http") or (page.parent / target).exists(), f"{page.name}: {target}"


def test_files_stay_one_idea():
    long = {}
    for package in (*PACKAGES, "tests", "benchmarks"):
        for path in (ROOT / package).rglob("*.py"):
            lines = len(path.read_text("utf-8").splitlines())
            if lines > 500:
                long[str(path.relative_to(ROOT))] = lines
    assert not long


@pytest.mark.parametrize("package", [p for p in PACKAGES if p != "viewer"])
def test_nothing_below_the_command_line_prints(package: str):
    for path in (ROOT / package).rglob("*.py"):
        if path.name not in ("generate.py", "invented.py"):  # commands of their own
            calls = [n.func for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
            assert not [f for f in calls if isinstance(f, ast.Name) and f.id == "print"], path


def test_every_dependency_has_a_floor():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert all(">=" in line for line in project["dependencies"])
