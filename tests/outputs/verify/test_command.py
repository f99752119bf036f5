"""`hardpan verify` from the folder of a run: the whole way, and what it refuses in one line."""

import json
import shutil

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from typer.testing import CliRunner

from builders.outputs import CRS
from hardpan.cli import app
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.survey.inputs.earlier import read_earlier

DEPTHS = np.arange(25, 626, 25)


@pytest.fixture(scope="module")
def result(run, tmp_path_factory):
    out = tmp_path_factory.mktemp("run") / "result"
    write_outputs(run, OutputSettings(formats=("geojson",)), out)
    return out


@pytest.fixture
def after(result, tmp_path):
    """Insertions after a pass that broke everything above the tines, with controls in the ground that was left."""
    rng, rows = np.random.default_rng(1), []
    zones = read_earlier(result).zones.set_index("zone").geometry
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    for zone, position, n in ((1, "line", 4), (1, "midway", 4), (2, "line", 4), (3, "control", 4)):
        west, south, east, north = zones[zone].bounds
        places = iter(rng.uniform((west, south), (east, north), (5000, 2)))
        for number in range(n):
            x, y = next(place for place in places if shapely.contains_xy(zones[zone], *place))
            kpa = 800 + 2600 * np.exp(-(((DEPTHS - 280) / 90) ** 2)) + rng.normal(0, 80, DEPTHS.size)
            kpa = kpa if position == "control" else np.where(DEPTHS <= 480, 700.0, kpa)
            longitude, latitude = back.transform(x, y)
            about = {"site": f"{zone}{position}{number}", "position": position, "longitude": longitude}
            cells = dict(zip((f"{depth} mm" for depth in DEPTHS), kpa.round(), strict=True))
            rows.append({**about, "latitude": latitude, **cells})
    pd.DataFrame(rows).to_csv(tmp_path / "after.csv", index=False)
    return write_toml(tmp_path)


def write_toml(folder, more=""):
    text = f'[probes]\nfile = "after.csv"\nresistance_unit = "kPa"\ncrs = "EPSG:4326"\n{more}'
    (folder / "after.toml").write_text(text, encoding="utf-8")
    return folder / "after.toml"


def verify(result, after, out):
    return CliRunner().invoke(app, ["verify", str(result), str(after), "--out", str(out)])


def refused(result, after, out, says):
    told = verify(result, after, out)
    assert told.exit_code == 2, told.output
    assert len(told.stderr.strip().splitlines()) == 1
    assert says in told.stderr
    assert not out.exists()


def test_the_record_of_a_run_is_read_as_it_was_written(result, run):
    earlier = read_earlier(result)
    assert earlier.threshold_kpa == run.pan.threshold_kpa
    assert earlier.zones["zone"].tolist() == run.plan.zones["zone"].tolist()
    assert earlier.zones.geometry.geom_equals_exact(run.plan.zones.geometry.reset_index(drop=True), 0.01).all()
    assert len(earlier.readings) == int(np.isfinite(run.survey.profiles.readings["cone_index_kpa"]).sum())
    assert earlier.zones["foot_mm"].iloc[0] == run.catalog.setups["plain"].foot_width.value


def test_a_pass_that_broke_the_pan_is_told_so_where_both_positions_were_probed(result, after, tmp_path):
    told = verify(result, after, tmp_path / "out")
    assert told.exit_code == 0, told.output
    table = pd.read_csv(tmp_path / "out" / "verify.csv").set_index("zone")
    assert table.loc[1, "verdict"] == "broken"
    assert table.loc[2, "verdict"] == "cannot tell"
    assert "midway" in table.loc[2, "advice"]
    assert told.stdout.startswith("The pan: broken in zone 1;")


def test_a_folder_that_is_no_run_is_refused(after, tmp_path):
    refused(tmp_path / "nowhere", after, tmp_path / "out", "no such folder")
    (tmp_path / "empty").mkdir()
    refused(tmp_path / "empty", after, tmp_path / "out", "holds no run.json")


@pytest.mark.parametrize("change", ["no record", "no readings", "not json", "no zones", "bad shape"])
def test_a_record_that_was_changed_is_refused(result, after, tmp_path, change):
    copy = tmp_path / "copy"
    shutil.copytree(result, copy)
    record = json.loads((copy / "record.json").read_text(encoding="utf-8"))
    if change == "no record":
        (copy / "record.json").unlink()
    elif change == "no readings":
        (copy / "readings.csv").unlink()
    elif change == "not json":
        (copy / "record.json").write_text("{", encoding="utf-8")
    elif change == "no zones":
        del record["zones"]
        (copy / "record.json").write_text(json.dumps(record), encoding="utf-8")
    else:
        record["zones"][0]["geometry"] = "POLYGON((0"
        (copy / "record.json").write_text(json.dumps(record), encoding="utf-8")
    refused(copy, after, tmp_path / "out", "record.json" if change != "no readings" else "readings.csv")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("[verdikt]\nlevel = 0.9\n", "verdikt"),
        ("[verdict]\nlevel = 2\n", "verdict.level"),
        ('positions = "gone.csv"\n', "gone.csv"),
    ],
)
@pytest.mark.usefixtures("after")
def test_settings_that_cannot_be_used_are_refused(result, tmp_path, more, says):
    refused(result, write_toml(tmp_path, more), tmp_path / "out", says)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "after.csv"),
        ("site,position,longitude,latitude\n", "after.csv"),
        ("site,longitude,latitude,25 mm,50 mm\na,0,0,1000,1200\n", "after.csv"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(result, after, tmp_path, text, says):
    (tmp_path / "after.csv").write_text(text, encoding="utf-8")
    refused(result, after, tmp_path / "out", says)


def test_insertions_that_say_no_position_are_refused(result, after, tmp_path):
    table = pd.read_csv(tmp_path / "after.csv").drop(columns="position")
    table["site"] = range(len(table))
    table.to_csv(tmp_path / "after.csv", index=False)
    refused(result, after, tmp_path / "out", "where it stands beside the tines")


def test_a_result_is_not_written_over_the_run(result, after):
    told = verify(result, after, result)
    assert told.exit_code == 2
    assert (result / "record.json").is_file()
