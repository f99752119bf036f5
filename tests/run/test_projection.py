"""Memory is projected before it is taken: above what a run takes, and not far above."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from affine import Affine
from typer.testing import CliRunner

from hardpan.cli import app
from hardpan.core.errors import SettingsError
from hardpan.core.memory import Memory, MemorySettings
from hardpan.geostat import simulation
from hardpan.geostat.covariance import Covariance, Structure
from hardpan.run import free_memory
from hardpan.run.projection import Sizes, project
from small_paddock import Small

GOOD = Sizes(
    cells=60_000, trend=4, layers=0, sites=100, insertions=300, draws=200, nodes=4000, lattice=4600, soil_types=2,
    options=88, threads=2,
)  # fmt: skip

MEASURE = """
import resource, sys
from datetime import UTC, datetime
from pathlib import Path
from hardpan.outputs.stage import write_outputs
from hardpan.run.chain import prepare, run_paddock
from hardpan.run.config import read_config
from hardpan.run.free_memory import held_bytes
from hardpan.run.manifest import Clock
from hardpan.run.projection import project, sizes_of

config, clock = read_config(Path(sys.argv[1])), Clock(now=datetime.now(UTC))
ready = prepare(config, clock)
projected = held_bytes() + max(sum(stage.values()) for stage in project(sizes_of(ready, config)).values())
write_outputs(run_paddock(config, clock), config.outputs, Path(sys.argv[2]))
status = Path("/proc/self/status")
# what a process inherits at its start is no part of its own peak, but is of what `resource` tells
lines = status.read_text().splitlines() if status.exists() else []
peaks = [line.split()[1] for line in lines if line.startswith("VmHWM")]
peak = int(peaks[0]) if peaks else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(projected, peak * 1024)
"""

CASES = {
    "small": {},
    "many cells": {"surfaces": "draws = 20\ncell_m = 0.4"},
    "many draws": {"surfaces": "draws = 1000\nnode_m = 5"},
    "many options": {"surfaces": "draws = 20\ncell_m = 2\nnode_m = 2", "prescription": "step_mm = 5"},
}


@pytest.mark.slow
@pytest.mark.parametrize("tables", CASES.values(), ids=CASES)
def test_the_peak_of_a_run_lies_under_what_was_projected_and_over_a_third_of_it(tables, tmp_path):
    small = Small(tables={**tables, "outputs": 'formats = ["geojson", "geotiff", "report"]'})
    words = [sys.executable, "-c", MEASURE, str(small.write(tmp_path / "in")), str(tmp_path / "out")]
    told = subprocess.run(words, capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    projected, peak = map(float, told.stdout.split())
    assert peak <= projected <= 3 * peak


def test_a_run_beyond_the_limit_is_refused_by_check_and_run_alike_with_both_figures(tmp_path):
    # a node every 0.1 m: four million of them, each with 200 draws
    tables = {"surfaces": "draws = 200\ncell_m = 0.12\nnode_m = 0.12", "memory": "most_gb = 4"}
    config = str(Small(tables=tables).write(tmp_path / "in"))
    check = CliRunner().invoke(app, ["check", config])
    run = CliRunner().invoke(app, ["run", config, "--out", str(tmp_path / "out")])
    assert (check.exit_code, run.exit_code) == (2, 2)
    assert check.stderr.startswith("hardpan: surfaces.node_m: a run with 200 draws at 2")
    assert "GB of memory; expected at most 4.0 GB, memory.most_gb; choose a wider surfaces.node_m" in check.stderr
    assert len(check.stderr.splitlines()) == 1
    assert run.stderr.partition("would take")[0] == check.stderr.partition("would take")[0]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("larger", "where"),
    [
        (replace(GOOD, cells=GOOD.cells * 100), "cells"),
        (replace(GOOD, nodes=GOOD.nodes * 100), "draws"),
        (replace(GOOD, options=GOOD.options * 1000), "options"),
        (replace(GOOD, sites=600), "sites"),
    ],
)
def test_what_grows_is_what_takes_most(larger, where):
    parts = max(project(larger).values(), key=lambda stage: sum(stage.values()))
    assert max(parts, key=lambda name: parts[name]) == where


def test_eight_thousand_sites_take_hardly_more_than_six_hundred():
    def most(sites):
        return max(sum(stage.values()) for stage in project(replace(GOOD, sites=sites, insertions=sites)).values())

    assert most(8000) < 2 * most(600)


def test_a_raster_of_huge_extent_is_refused_before_it_is_read(tmp_path):
    folder = tmp_path / "in"
    config = Small(tables={"surfaces": 'covariates = ["wide.tif"]', "memory": "most_gb = 1.5"}).write(folder)
    place = Affine(5.0, 0.0, 500_000.0, 0.0, -5.0, 6_600_200.0)
    with rasterio.open(
        folder / "wide.tif", "w", driver="GTiff", width=7500, height=7500, count=1, dtype="uint8", crs="EPSG:32751",
        transform=place, compress="deflate", sparse_ok=True,
    ):  # fmt: skip
        pass
    told = CliRunner().invoke(app, ["check", str(config)])
    assert told.exit_code == 2
    assert told.stderr.startswith("hardpan: wide.tif: a raster of 7500 x 7500 cells would take about")
    assert "expected at most 1.5 GB, memory.most_gb; cut it to the paddock" in told.stderr


def test_a_limit_counts_what_is_held_already():
    memory = Memory(limit_bytes=10e9, why="so it was set", held_bytes=4e9)
    memory.refuse_beyond(6e9, what="it", where="here", do="less")
    with pytest.raises(SettingsError, match=r"would take about 10.1 GB of memory; expected at most 10.0 GB"):
        memory.refuse_beyond(6.1e9, what="it", where="here", do="less")


def test_the_limit_is_a_share_of_what_is_held_and_free_or_what_the_user_says(monkeypatch):
    monkeypatch.setattr(free_memory, "held_bytes", lambda: 10**9)
    monkeypatch.setattr(free_memory, "free_bytes", lambda: 7 * 10**9)
    assert free_memory.memory_of(MemorySettings(share=0.5)).limit_bytes == 4e9
    assert free_memory.memory_of(MemorySettings(most_gb=3)).limit_bytes == 3e9
    # Neighbours that fill the machine must not decide whether a small paddock runs.
    assert free_memory.memory_of(MemorySettings(share=0.01)).limit_bytes == 1e9
    assert free_memory.memory_of(MemorySettings(share=0.01, always_gb=0)).limit_bytes == 8e7


@pytest.mark.parametrize(
    ("line", "root", "names"),
    [
        ("0::/batch/job", "", ("memory.max", "memory.current")),
        ("4:memory:/batch/job", "memory", ("memory.limit_in_bytes", "memory.usage_in_bytes")),
    ],
)
def test_the_limit_of_a_container_or_batch_job_counts(line, root, names, tmp_path, monkeypatch):
    limit, used = names
    job = tmp_path / root / "batch" / "job"
    job.mkdir(parents=True)
    (job / used).write_text("300\n")
    (job / limit).write_text("max\n" if not root else "9223372036854771712\n")
    (job.parent / used).write_text("700\n")
    (job.parent / limit).write_text("1000\n")
    (job.parent / "memory.stat").write_text("anon 600\ninactive_file 50\n")
    lines = free_memory._lines
    own = {"/proc/self/cgroup": [line]}
    monkeypatch.setattr(free_memory, "_CGROUPS", tmp_path)
    monkeypatch.setattr(free_memory, "_lines", lambda path: own.get(str(path)) or lines(path))
    assert min(free_memory._left_in_groups()) == 350
    assert free_memory.free_bytes() == 350


def test_a_torus_never_grows_past_its_limit(monkeypatch):
    long = Covariance(
        structures=(Structure(family="matern52", sill=1.0, length_m=4000.0, ratio=1.0, heading_deg=0.0),),
        micro=0.0,
        noise=0.0,
    )
    shape = np.array([50, 50])
    assert simulation._spectral_root(long, 5.0, shape, 1e-12).size == 160_000
    monkeypatch.setattr(simulation, "MOST_TORUS", 50_000)
    assert simulation._spectral_root(long, 5.0, shape, 1e-12).size == 40_000
