"""What is released: one version, a wheel of what a run needs and nothing else, dependencies that are used."""

import tomllib
from pathlib import Path

import pytest

import hardpan

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SHIPPED = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
"""Path in the source tree to path in the wheel."""
IMPORT_OF = {"scikit-learn": "sklearn"}
"""Names of distributions that are imported under another."""
BEHIND = {"affine"}
"""Needed by type or by another dependency's interface."""


def bounds(requirements: list[str]) -> dict[str, str]:
    return {name: bound for name, bound in (requirement.split(">=") for requirement in requirements)}


def test_the_version_stands_in_one_place():
    assert "version" not in PROJECT["project"]
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert PROJECT["tool"]["hatch"]["version"]["path"] == "pipeline/hardpan/__init__.py"


def test_the_citation_names_the_version_and_its_day_as_the_changelog_does():
    lines = (ROOT / "CITATION.cff").read_text(encoding="utf-8").splitlines()
    cited = dict(line.split(": ", 1) for line in lines if line.startswith(("version: ", "date-released: ")))
    assert cited["version"] == hardpan.__version__
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
    assert f"## {cited['version']} - {cited['date-released']}" in changes


def test_the_wheel_ships_what_the_demo_reads_and_no_script():
    demo = {Path(path).name for path in SHIPPED if path.startswith("data/demo/")}
    assert {path for path in SHIPPED if not path.startswith("data/demo/")} == {"configs"}
    assert not list((ROOT / "configs").rglob("*.py"))
    config = hardpan.read_config(ROOT / "data" / "demo" / "demo.toml")
    assert demo == {path.name for path in config.inputs} | {"demo.toml", "README.md"}


@pytest.mark.parametrize("path", SHIPPED)
def test_a_shipped_file_lies_where_the_package_looks_for_it(path):
    assert (ROOT / path).exists()
    assert SHIPPED[path] == f"hardpan/shipped/{path.removeprefix('data/')}"
