"""Whole lists through a real scheduler with workers that are killed, beside the same list worked out here."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from builders.clusters import ROOT, cluster
from builders.farm import contents, statuses, write_list
from hardpan.cli import app

NAMES = ("a", "b", "c")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="sends signals"),
    pytest.mark.slow,
]


def wait_for(path: Path, process: subprocess.Popen[bytes] | None = None) -> None:
    while not path.exists() and (process is None or process.poll() is None):
        time.sleep(0.02)


def farm(path, out, *runner):
    return CliRunner().invoke(app, ["farm", str(path), "--out", str(out), "--runner", *runner])


def call(path, out, address):
    words = [sys.executable, "-m", "hardpan", "farm", str(path), "--out", str(out)]
    words += ["--runner", "dask", "--scheduler", address]
    return subprocess.Popen(words, env={**os.environ, "PYTHONPATH": str(ROOT / "pipeline")})


def test_results_are_those_of_one_process_though_a_worker_and_then_the_caller_are_killed(tmp_path):
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    path = write_list(tmp_path / "in", NAMES)
    here, there = tmp_path / "here", tmp_path / "there"
    with cluster(tmp_path) as running:
        first = running.add_worker("one")
        running.add_worker("two")
        killed = call(path, there, running.address)
        wait_for(there / "a", killed)
        first.send_signal(signal.SIGKILL)  # in the middle of its second paddock
        first.wait()
        wait_for(there / "b", killed)
        killed.send_signal(signal.SIGKILL)
        assert killed.wait() == -signal.SIGKILL
        assert not (there / "farm.csv").exists()
        whole = {name for name in NAMES if (there / name).exists()}
        again = farm(path, there, "dask", "--scheduler", running.address)
    assert again.exit_code == 0, again.stderr
    assert whole <= {name for name, status in statuses(there).items() if status == "kept"}
    assert set(statuses(there)) == set(NAMES)
    told = farm(path, here, "serial")
    assert told.exit_code == 0, told.stderr
    assert contents(there) == contents(here)
    assert not list(there.glob(".*"))
