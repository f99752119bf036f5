"""Bad input to the whole job: one plain line, exit 2, no output folder touched."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from command_line import tell
from hardpan.core.shipped import shipped
from hardpan.outputs.folder import fresh_folder
from hardpan.outputs.ownership import sealed
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock


def swap(old: str, new: str):
    def change(folder: Path) -> None:
        path = folder / "demo.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")

    return change


def fewer_probes(folder: Path) -> None:
    path = folder / "probes.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([lines[0], lines[1], lines[4]]) + "\n", encoding="utf-8")


def empty_probes(folder: Path) -> None:
    (folder / "probes.csv").write_text("", encoding="utf-8")


def header_only(folder: Path) -> None:
    path = folder / "probes.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")


def far_away(folder: Path) -> None:
    path = folder / "probes.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",123.", ",119."), encoding="utf-8")


BAD = {
    "a missing log": swap('file = "probes.csv"', 'file = "nowhere.csv"'),
    "an unknown key": swap("critical_kpa", "critical_kPa"),
    "a geographic working CRS": swap('crs = "auto"', 'crs = "EPSG:4326"'),
    "a CRS that does not exist": swap('crs = "EPSG:4326"', 'crs = "EPSG:999999"'),
    "metres declared where degrees stand": swap('crs = "EPSG:4326"', 'crs = "EPSG:32751"'),
    "no overlap of probes and boundary": far_away,
    "fewer than three probes": fewer_probes,
    "an empty log": empty_probes,
    "a log with a header only": header_only,
    "a tractor nobody knows": swap('tractor = "tracked-370kw"', 'tractor = "tracked-730kw"'),
    "a negative price": swap("fuel_per_l = 1.75", "fuel_per_l = -1.75"),
    "a soil field that is not there": swap('type_field = "soil_type"', 'type_field = "lithology"'),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_one_plain_line_and_touches_nothing(case, tmp_path, capfd):
    folder = tmp_path / "demo"
    shutil.copytree(shipped("demo"), folder)
    BAD[case](folder)
    before = sorted(path.name for path in tmp_path.iterdir())
    told = tell(capfd, "run", folder / "demo.toml", "--out", tmp_path / "out")
    assert told.returncode == 2, told.stderr
    assert len(told.stderr.strip().splitlines()) == 1
    assert told.stderr.startswith("hardpan: ")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_an_earlier_result_survives_a_failed_run(tmp_path, capfd):
    folder, out = tmp_path / "demo", tmp_path / "out"
    shutil.copytree(shipped("demo"), folder)
    empty_probes(folder)
    with fresh_folder(out) as work:
        (work / "run.json").write_text(json.dumps(sealed({"tool": "hardpan"}, {})), encoding="utf-8")
    before = (out / "run.json").read_bytes()
    told = tell(capfd, "run", folder / "demo.toml", "--out", out)
    assert told.returncode == 2
    assert "probes.csv" in told.stderr
    assert (out / "run.json").read_bytes() == before


def test_exclusions_stay_unripped_under_the_rule_cover_too(tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(shipped("demo"), folder)
    swap('rule = "return"', 'rule = "cover"')(folder)
    config = read_config(folder / "demo.toml")
    coarse = config.surfaces.model_copy(update={"cell_m": 20.0, "draws": 50})
    run = run_paddock(config.model_copy(update={"surfaces": coarse}), Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))
    zones = run.plan.zones
    assert (zones.loc[zones["kind"] == "exclusion", "depth_mm"] == 0).all()
    assert (zones.loc[zones["kind"] == "ground", "depth_mm"] > 0).any()
