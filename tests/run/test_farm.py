"""Whole lists of paddocks, from the command line."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from typer.testing import CliRunner

from builders.farm import DEFAULTS, PLAN, contents, rows, statuses, write_list
from hardpan.cli import app
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import digests
from hardpan.run import farm as farm_command
from hardpan.run import farm_job
from hardpan.survey.inputs.earlier import read_paddock_result

ALONE = ("--runner", "serial")


def farm(file, out, *more):
    return CliRunner().invoke(app, ["farm", str(file), "--out", str(out), *(more or ALONE)])


@pytest.fixture(scope="module")
def worked(tmp_path_factory):
    """A list of three of which the second fails, worked through."""
    folder = tmp_path_factory.mktemp("farm")
    path = write_list(folder, ["north", "broken", "south"], DEFAULTS + PLAN)
    (folder / "broken" / "probes.csv").write_text("no,table\n")
    return path, folder / "out", farm(path, folder / "out")


def test_one_failure_stops_no_other_and_is_told_with_its_place(worked):
    _, out, told = worked
    assert told.exit_code == 3
    assert statuses(out) == {"north": "done", "broken": "failed", "south": "done"}
    assert told.stderr.startswith("hardpan: farm.toml, paddock 2: broken failed: probes.csv: ")
    assert len(told.stderr.strip().splitlines()) == 1
    assert rows(out)["broken"]["reason"] in told.stderr
    assert not (out / "broken").exists()
    assert rows(out)["north"]["config"] == "north/paddock.toml"


def test_the_sums_of_all_are_those_of_the_paddocks_folders(worked):
    _, out, _ = worked
    table = pd.read_csv(out / "tallies.csv").set_index(["paddock", "item"])
    alone = {name: pd.read_csv(out / name / "tallies.csv", dtype={"zone": str}) for name in ("north", "south")}
    for name, lines in alone.items():
        totals = lines[lines["zone"] == "total"].set_index("item")
        same = ["quantity", "amount", "low", "high"]
        assert table.loc[name].loc[totals.index, same].equals(totals[same])
    net = table.loc[("all paddocks", "net return")]
    assert net["amount"] == pytest.approx(sum(table.loc[(name, "net return"), "amount"] for name in alone))
    assert net["amount"] > 0.0
    for name in alone:
        assert float(rows(out)[name]["net"]) == table.loc[(name, "net return"), "amount"]


def test_the_season_has_days_for_all_hours_and_no_more_than_a_day_has(worked):
    _, out, _ = worked
    season = pd.read_csv(out / "season.csv")
    assert list(season.columns) == ["day", "machine", "paddock", "hours", "why", "chance"]
    hours = {name: float(row["hours"]) for name, row in rows(out).items() if row["hours"]}
    assert season.groupby("paddock")["hours"].sum().to_dict() == pytest.approx(hours, abs=1e-9)
    assert season.groupby(["day", "machine"])["hours"].sum().max() <= 10.0
    assert season["day"].between("2027-03-01", "2027-03-05").all()


def test_the_zones_of_all_lie_where_each_paddock_says(worked):
    _, out, _ = worked
    zones = gpd.read_file(out / "farm.gpkg", layer="zones")
    assert set(zones["paddock"]) == {"north", "south"}
    for name in ("north", "south"):
        alone = gpd.read_file(out / name / "prescription.geojson").sort_values("zone")
        here = zones[zones["paddock"] == name].sort_values("zone")
        assert here[["zone", "depth_mm"]].to_numpy().tolist() == alone[["zone", "depth_mm"]].to_numpy().tolist()
        apart = shapely.area(shapely.symmetric_difference(here.geometry.to_numpy(), alone.geometry.to_numpy()))
        assert apart.sum() < 1e-3 * shapely.area(alone.geometry.to_numpy()).sum()


def test_the_page_lists_what_was_worked_out_and_what_failed(worked):
    _, out, _ = worked
    page = (out / "season.html").read_text(encoding="utf-8")
    for told in (
        "north",
        "south",
        "broken",
        "farm.toml, paddock 2",
        "<svg",
        "Day by day",
        "not fit, or not allowed",
        "The years after",
    ):
        assert told in page
    assert not any(f'{name}="http' in page for name in ("src", "href"))


def test_the_result_of_a_paddock_is_that_of_a_run_of_its_own(worked, tmp_path):
    path, out, _ = worked
    config = path.parent / "north" / "paddock.toml"
    text = config.read_text()
    config.write_text(text + '\n[outputs]\nformats = ["geojson"]\n')
    told = CliRunner().invoke(app, ["run", str(config), "--out", str(tmp_path / "alone")])
    config.write_text(text)
    assert told.exit_code == 0, told.stderr
    assert contents(tmp_path / "alone") == contents(out / "north")


def test_a_second_call_keeps_what_is_finished_and_works_out_what_changed(worked):
    path, out, _ = worked
    before = contents(out)
    again = farm(path, out)
    assert statuses(out) == {"north": "kept", "broken": "failed", "south": "kept"}
    assert contents(out)["north/zones.csv"] == before["north/zones.csv"]
    config = path.parent / "south" / "paddock.toml"
    config.write_text(config.read_text().replace("draws = 20", "draws = 25"))
    (path.parent / "broken" / "probes.csv").write_bytes((path.parent / "north" / "probes.csv").read_bytes())
    mended = farm(path, out)
    assert (again.exit_code, mended.exit_code) == (3, 0), mended.stderr
    assert statuses(out) == {"north": "kept", "broken": "done", "south": "done"}


def test_an_earlier_result_is_read_once_and_one_that_lacks_what_is_summed_is_worked_out_anew(tmp_path, monkeypatch):
    path, out, read = write_list(tmp_path, ["north"]), tmp_path / "out", []
    assert farm(path, out).exit_code == 0

    def counted(folder):
        read.append(folder.name)
        return read_paddock_result(folder)

    monkeypatch.setattr(farm_command, "read_paddock_result", counted)
    assert farm(path, out).exit_code == 0
    assert (statuses(out), read) == ({"north": "kept"}, ["north"])
    record, manifest = (json.loads((out / "north" / name).read_bytes()) for name in ("record.json", "run.json"))
    del record["totals"], manifest["clock"]["seal_sha256"]
    (out / "north" / "record.json").write_text(json.dumps(record))
    write_document(out / "north" / "run.json", manifest, digests(out / "north"))
    assert farm(path, out).exit_code == 0
    assert statuses(out) == {"north": "done"}


def test_a_dry_run_says_what_would_be_done_and_writes_nothing(tmp_path):
    path = write_list(tmp_path, ["north"])
    told = farm(path, tmp_path / "out", *ALONE, "--dry-run")
    assert told.exit_code == 0
    assert "north" in told.stdout
    assert "GB" in told.stdout
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("words", [("--runner", "serial", "--scheduler", "tcp://127.0.0.1:1"), ("--runner", "best")])
def test_an_option_that_cannot_be_is_told_before_anything_is_written(tmp_path, words):
    told = farm(write_list(tmp_path, ["north"]), tmp_path / "out", *words)
    assert told.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_a_list_with_a_missing_configuration_writes_nothing(tmp_path):
    path = write_list(tmp_path, ["north"])
    (tmp_path / "north" / "paddock.toml").unlink()
    told = farm(path, tmp_path / "out")
    assert told.exit_code == 2
    assert len(told.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_a_full_disk_fails_the_paddocks_it_meets_and_leaves_no_half_of_them(tmp_path, monkeypatch):
    path = write_list(tmp_path, ["north", "south"])
    write, full = farm_job.write_outputs, []

    def fill(run, settings, folder):
        if folder.name == "north" and not full:
            full.append(folder)
            from hardpan.outputs import stage

            def no_space(*_):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(stage, "write_record", no_space)
                return write(run, settings, folder)
        return write(run, settings, folder)

    monkeypatch.setattr(farm_job, "write_outputs", fill)
    told = farm(path, tmp_path / "out")
    assert told.exit_code == 3
    assert "No space left on device" in told.stderr
    assert statuses(tmp_path / "out") == {"north": "failed", "south": "done"}
    assert not list((tmp_path / "out").glob(".*"))
    assert not (tmp_path / "out" / "north").exists()
    assert farm(path, tmp_path / "out").exit_code == 0
    assert statuses(tmp_path / "out") == {"north": "done", "south": "kept"}


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_a_killed_call_leaves_whole_results_and_the_next_one_goes_on(tmp_path):
    names = ["a", "b", "c"]
    path, out = write_list(tmp_path, names), tmp_path / "out"
    command = [sys.executable, "-m", "hardpan", "farm", str(path), "--out", str(out), *ALONE]
    process = subprocess.Popen(command, env={**os.environ, "PYTHONPATH": str(Path(farm_job.__file__).parents[2])})
    while process.poll() is None and not (out / "a" / "run.json").exists():
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    whole = {name for name in names if (out / name).exists()}
    assert "a" in whole
    assert not (out / "farm.csv").exists()
    assert farm(path, out).exit_code == 0
    assert {name for name, status in statuses(out).items() if status == "kept"} == whole
    assert not list(out.glob(".*"))
