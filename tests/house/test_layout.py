"""The house is in order: layout, names, sizes, and documents in step with the code."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {
    ".ci", ".gitattributes", ".gitignore", ".pre-commit-config.yaml", "CHANGELOG.md",
    "CITATION.cff", "DEVELOPERS.md", "LICENSE", "Makefile",
    "README.md", "configs", "constraints.txt", "data", "notebooks", "pipeline", "pyproject.toml", "tests",
}  # fmt: skip
SOURCES = sorted((ROOT / "pipeline" / "hardpan").rglob("*.py"))


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def test_nothing_stands_at_the_top_level_beyond_the_plan():
    assert {name.split("/")[0] for name in tracked()} <= TOP


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_file_of_the_package_stays_readable(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 300


def test_no_room_has_an_attic():
    assert not {path.stem for path in SOURCES} & {
        "utils",
        "util",
        "helpers",
        "helper",
        "common",
        "misc",
        "manager",
        "data",
    }


def test_only_the_command_line_prints():
    printing = re.compile(r"^\s*(print\(|typer\.echo|sys\.exit)", re.MULTILINE)
    assert [path.name for path in SOURCES if printing.search(path.read_text(encoding="utf-8"))] == [
        "cli.py",
        "terminal.py",
    ]


def test_no_document_or_lock_names_a_package_index():
    hosts = re.compile(r"https?://[\w.]*(pypi|pythonhosted|npmjs|debian)\b|--index-url|--extra-index", re.IGNORECASE)
    texts = [
        ROOT / name for name in tracked() if name.endswith((".md", ".toml", ".txt", ".py", ".cff", "run", "Makefile"))
    ]
    named = [path for path in texts if path != Path(__file__) and hosts.search(path.read_text(encoding="utf-8"))]
    assert named == []


@pytest.mark.parametrize("command", ["make demo", "make test"])
def test_the_readme_gives_the_two_commands(command):
    assert command in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_constraints_pin_versions_only():
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert all(re.fullmatch(r"#.*|[\w.\-]+==[\w.+!]+", line) for line in lines)
