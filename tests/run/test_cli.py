"""The command line as a user meets it: in a process of its own."""

import subprocess
import sys
from pathlib import Path

import pytest

MODULE = [sys.executable, "-m", "hardpan"]


def hardpan(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*MODULE, *map(str, words)], capture_output=True, text=True, check=False, cwd=cwd)


def test_help_lists_the_commands():
    told = hardpan("--help")
    assert told.returncode == 0
    for command in ("run", "demo", "check", "new"):
        assert command in told.stdout


def test_help_does_not_load_the_heavy_libraries():
    code = (
        "import sys, contextlib\nfrom hardpan.cli import app\n"
        "with contextlib.suppress(SystemExit): app(['--help'])\n"
        "sys.exit(','.join({'numpy', 'pandas', 'geopandas', 'scipy', 'matplotlib', 'bokeh'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert told.stderr in {"\n", ""}


def test_new_writes_a_template_that_check_can_read_up_to_its_missing_files(tmp_path):
    assert hardpan("new", tmp_path).returncode == 0
    told = hardpan("check", tmp_path / "paddock.toml")
    assert told.returncode == 2
    assert "boundary.geojson" in told.stderr
    assert len(told.stderr.strip().splitlines()) == 1


def test_a_missing_configuration_is_one_line_and_exit_code_2(tmp_path):
    told = hardpan("run", tmp_path / "no.toml", "--out", tmp_path / "out")
    assert (told.returncode, told.stdout) == (2, "")
    assert told.stderr.startswith("hardpan: ")
    assert len(told.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("flag", [[], ["--verbose"]])
def test_the_traceback_shows_only_when_asked_for(tmp_path, flag):
    told = hardpan("check", tmp_path / "no.toml", *flag)
    assert ("Traceback" in told.stderr) == bool(flag)
