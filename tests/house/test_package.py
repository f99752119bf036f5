"""What is released: one version, a wheel of what a run needs and nothing else, dependencies that are used."""

import ast
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import hardpan

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SHIPPED = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
"""Path in the source tree to path in the wheel."""
IMPORT_NAMES = {"scikit-learn": "sklearn"}
"""Distributions imported under another name."""
OPTIONAL = {"dask", "distributed", "markupsafe", "numba", "pyarrow", "pydantic_core"}
"""Imported where an extra brings it, or with the dependency that needs it."""


def lower_bounds() -> dict[str, str]:
    return dict(requirement.split(">=") for requirement in PROJECT["project"]["dependencies"])


def test_the_version_stands_in_one_place():
    assert "version" not in PROJECT["project"]
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert PROJECT["tool"]["hatch"]["version"]["path"] == "pipeline/hardpan/__init__.py"


def test_a_type_checker_sees_the_public_names_where_they_are_loaded_from():
    tree = ast.parse((ROOT / "pipeline" / "hardpan" / "__init__.py").read_text(encoding="utf-8"))
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module != "typing"]
    seen = {name.name: str(node.module).removeprefix("hardpan.") for node in imports for name in node.names}
    assert seen == hardpan._PUBLIC


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
    season = {"after.toml", "after.csv", "applied.zip", "trial.toml", "yield.csv"}
    assert demo == {path.name for path in config.inputs} | {"demo.toml", "README.md"} | season


@pytest.mark.parametrize("path", SHIPPED)
def test_a_shipped_file_lies_where_the_package_looks_for_it(path):
    assert (ROOT / path).exists()
    assert SHIPPED[path] == f"hardpan/shipped/{path.removeprefix('data/')}"


def test_the_oldest_versions_that_are_tried_are_the_declared_bounds():
    lines = (ROOT / ".ci" / "oldest.txt").read_text(encoding="utf-8").splitlines()
    tried = dict(line.split("==") for line in lines if line and not line.startswith("#"))
    assert tried == lower_bounds()


def test_every_dependency_is_imported_and_every_import_declared():
    modules = [ast.parse(path.read_text(encoding="utf-8")) for path in (ROOT / "pipeline").rglob("*.py")]
    imported = set()
    for node in (node for module in modules for node in ast.walk(module)):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            imported.add(node.module.split(".")[0])
    declared = {IMPORT_NAMES.get(name, name) for name in lower_bounds()}
    assert imported - set(sys.stdlib_module_names) - {"hardpan"} - OPTIONAL == declared


HEAVY = ("bokeh", "jinja2", "matplotlib", "openpyxl", "reportlab", "rich.table", "scipy.stats", "sklearn")
"""Seconds to load; only some runs need them."""


@pytest.mark.parametrize(
    ("module", "light"),
    [
        ("hardpan.cli", ("geopandas", "numpy", "pandas", "scipy", *HEAVY)),
        ("hardpan.run.chain", HEAVY),
        ("hardpan.outputs.stage", HEAVY),
    ],
)
def test_a_heavy_library_is_loaded_where_it_is_used_only(module, light):
    code = f"import sys, {module}; print(*(name for name in {light} if name in sys.modules))"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.split() == []


def test_a_first_survey_loads_nothing_that_only_a_run_needs(tmp_path):
    ring = [[115.02, -31.04], [115.024, -31.04], [115.024, -31.036], [115.02, -31.036], [115.02, -31.04]]
    (tmp_path / "edge.geojson").write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}), encoding="utf-8")
    config = '[paddock]\nname = "bare"\nboundary = "edge.geojson"\n[soil]\ndefault_type = "deep sand"\n'
    (tmp_path / "bare.toml").write_text(config, encoding="utf-8")
    heavy = (
        "bokeh",
        "dask",
        "fiona",
        "hardpan.run.chain",
        "numba",
        "openpyxl",
        "rasterio",
        "reportlab",
        "scipy.stats",
        "sklearn",
    )
    code = (
        "import sys; from hardpan.cli import app; app(sys.argv[1:], standalone_mode=False);"
        f"print('loaded:', *(name for name in {heavy} if name in sys.modules))"
    )
    asked = ["sites", str(tmp_path / "bare.toml"), "--out", str(tmp_path / "out")]
    told = subprocess.run([sys.executable, "-c", code, *asked], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1].split() == ["loaded:"]


def test_a_commit_is_held_to_what_make_lint_runs():
    recipe = (ROOT / "Makefile").read_text(encoding="utf-8").split("\nlint:")[1].split("\n\n")[0]
    linted = {tuple(line.split("$(BIN)/")[1].split()[:2]) for line in recipe.splitlines() if "$(BIN)/" in line}
    hooks = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    entries = [line.split(".venv/bin/")[1].split() for line in hooks.splitlines() if "entry:" in line]
    names = {words[0] for words in entries}
    assert names == {words[0] for words in linted}
    assert [words[1] for words in entries if words[0] == "ruff"] == ["format", "check"]
