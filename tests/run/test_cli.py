"""The command line as a user meets it; in a process of its own where its start, or what it loads, matters."""

import os
import re
import shutil
import subprocess
import sys

import pytest

from command_line import tell
from hardpan.core.shipped import shipped
from small_paddock import Small

MODULE = [sys.executable, "-m", "hardpan"]


def hardpan(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*MODULE, *map(str, words)], capture_output=True, text=True, check=False)


def test_help_lists_the_commands():
    told = hardpan("--help")
    assert told.returncode == 0
    for command in ("run", "demo", "check", "new"):
        assert command in told.stdout


@pytest.mark.parametrize("command", ["run", "demo"])
def test_files_that_are_read_back_wrong_can_be_kept(command, capfd):
    told = tell(capfd, command, "--help")
    assert "--keep" in told.stdout
    assert "OUT.unchecked" in " ".join(told.stdout.split())


def test_help_does_not_load_the_heavy_libraries():
    code = (
        "import sys, contextlib\nfrom hardpan.cli import app\n"
        "with contextlib.suppress(SystemExit): app(['--help'])\n"
        "sys.exit(','.join({'numpy', 'pandas', 'geopandas', 'scipy', 'matplotlib', 'bokeh'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert told.stderr in {"\n", ""}


def test_new_writes_a_template_that_check_can_read_up_to_its_missing_files(tmp_path, capfd):
    assert tell(capfd, "new", tmp_path).returncode == 0
    told = tell(capfd, "check", tmp_path / "paddock.toml")
    assert told.returncode == 2
    lines = told.stderr.strip().splitlines()
    assert len(lines) == 2
    assert "no such file for the boundary" in lines[0]
    assert "no such file for the probe readings" in lines[1]


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


STAGES = ("survey", "pan", "surfaces", "options", "zones", "prescription", "costs", "outputs")


def test_verbose_logs_what_each_stage_does_and_nothing_is_said_without_it(tmp_path, capfd):
    config = Small().write(tmp_path / "in")
    quiet, told = (tell(capfd, "run", config, "--out", tmp_path / str(flag), *flag) for flag in ((), ("--verbose",)))
    said, again = ([line for line in of.stdout.splitlines() if str(tmp_path) not in line] for of in (quiet, told))
    assert (quiet.returncode, quiet.stderr, said) == (0, "", again)
    lines = [line.split(" ", 1)[1] for line in told.stderr.splitlines()]
    for stage in STAGES:
        assert any(line.startswith(f"hardpan.{stage}.stage: ") and re.search(r"\d", line) for line in lines), stage
    for stage in set(STAGES) - {"pan"}:
        assert any(re.fullmatch(rf"hardpan.run.manifest: {stage} done in [\d.]+ s", line) for line in lines), stage


KILLED = (
    "import os, signal, sys; from pathlib import Path; from hardpan.outputs.folder import fresh_folder\n"
    "with fresh_folder(Path(sys.argv[1])): os.kill(os.getpid(), signal.SIGKILL)"
)


@pytest.mark.skipif(os.name != "posix", reason="there are no such locks elsewhere")
@pytest.mark.parametrize("words", ["check {}/no.toml", "run no.toml --out {}/other", "demo --out {}/theirs"])
@pytest.mark.parametrize("here", [True, False])
def test_what_a_killed_run_left_is_cleared_by_the_next_command(tmp_path, words, here, capfd, monkeypatch):
    """By any command run there, or with its configuration or result there, even one that then refuses."""
    place = tmp_path if here else tmp_path / "season"
    subprocess.run([sys.executable, "-c", KILLED, str(place / "result")], check=False)
    (place / "theirs").mkdir()
    (place / "theirs" / "notes.txt").write_text("mine")
    assert len(list(place.glob(".result.*.part"))) == 1
    monkeypatch.chdir(tmp_path)
    told = tell(capfd, *(word.format(place) for word in words.split()))
    assert told.returncode == 2
    assert sorted(path.name for path in place.iterdir()) == ["theirs"]


def test_the_folder_of_the_inputs_and_those_above_it_are_refused_before_any_work(tmp_path, capfd):
    shutil.copytree(shipped("demo"), tmp_path / "farm" / "paddock")
    config = tmp_path / "farm" / "paddock" / "demo.toml"
    before = sorted(tmp_path.rglob("*"))
    for place in (config.parent, config.parent.parent):
        told = tell(capfd, "run", config, "--out", place)
        assert told.returncode == 2
        assert "holds demo.toml, which this run reads" in told.stderr
        assert len(told.stderr.strip().splitlines()) == 1
    assert sorted(tmp_path.rglob("*")) == before
