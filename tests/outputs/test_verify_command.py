"""`hardpan verify` from the folder of a run: the whole way, and what it refuses in one line."""

import json
import shutil
import tomllib
from dataclasses import replace

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
from hardpan.records.decision import MachineSettings
from hardpan.survey.inputs.earlier import read_earlier

DEPTHS = np.arange(25, 626, 25)


@pytest.fixture(scope="module")
def result(run, tmp_path_factory):
    out = tmp_path_factory.mktemp("run") / "result"
    settings = {"paddock": {"name": "Invented", "boundary": "b.geojson"}, "probes": {"file": "probes.csv"}}
    run = replace(run, trail=replace(run.trail, settings=settings))
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


@pytest.mark.parametrize(
    "change", ["no record", "no readings", "not json", "no zones", "bad shape", "a point", "no depth", "no spacing"]
)
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
        ripped = next(zone for zone in record["zones"] if zone["depth_mm"] > 0)
        ripped |= {
            "bad shape": {"geometry": "POLYGON((0"}, "a point": {"geometry": "POINT (1 1)"},
            "no depth": {"depth_mm": None}, "no spacing": {"spacing_mm": None},
        }[change]  # fmt: skip
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


def log_of(result, folder):
    """A log of the first zone at its planned depth, all over it; true to the run."""
    zone = read_earlier(result).zones.set_index("zone").loc[1]
    west, south, east, north = zone.geometry.bounds
    rows, width_m = [], float(zone["width_m"])
    for number, y in enumerate(np.arange(south + width_m / 2, north, width_m)):
        x = np.arange(west, east, 3.0)
        rows.append(pd.DataFrame({"x": x if number % 2 == 0 else x[::-1], "y": y}))
    log = pd.concat(rows, ignore_index=True)
    inside = shapely.contains_xy(zone.geometry, log["x"], log["y"])
    log["depth mm"] = np.where(inside, zone["depth_mm"], 0.0)
    log["time"] = np.arange(len(log)) * 1.5
    log["fuel L"] = log["time"] / 3600.0 * 50.0
    log.to_csv(folder / "log.csv", index=False)
    return f'[applied]\nfile = "log.csv"\ncrs = "{pyproj.CRS.from_user_input(CRS).to_string()}"\n'


@pytest.mark.usefixtures("after")
def test_a_log_is_held_beside_the_plan(result, tmp_path):
    told = verify(result, write_toml(tmp_path, log_of(result, tmp_path)), tmp_path / "out")
    assert told.exit_code == 0, told.output
    assert told.stdout.splitlines()[1].startswith("The machine's log: ")
    table = pd.read_csv(tmp_path / "out" / "applied.csv").set_index("zone")
    assert list(table)[:4] == ["kind", "planned_mm", "area_ha", "within_ha"]
    assert table.loc["1", "within_ha"] == pytest.approx(table.loc["1", "area_ha"], rel=0.06)
    assert table.loc["2", "not_worked_ha"] == pytest.approx(table.loc["2", "area_ha"], rel=0.03)
    rules = pd.read_csv(tmp_path / "out" / "cleaning.csv").set_index("rule")["records"]
    assert rules.sum() == len(pd.read_csv(tmp_path / "log.csv"))
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert set(record["inputs_sha256"]) == {"after.csv", "log.csv"}


@pytest.mark.usefixtures("after")
def test_the_lines_for_the_next_run_are_settings_of_its_machine(result, tmp_path):
    verify(result, write_toml(tmp_path, log_of(result, tmp_path)), tmp_path / "out")
    written = tomllib.loads((tmp_path / "out" / "observed.toml").read_text(encoding="utf-8"))
    machine = MachineSettings.model_validate(written["machine"])
    planned = read_earlier(result).zones.set_index("zone").loc[1, "depth_mm"]
    assert machine.observed_depth_mm == pytest.approx(planned, abs=1)
    assert machine.observed_speed_kmh == pytest.approx(7.2, abs=0.1)
    assert machine.observed_fuel_l_per_ha > 0


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("[applied]\n", "applied.file"),
        ('[applied]\nfile = "gone.csv"\n', "gone.csv"),
        ('[applied]\nfile = "after.csv"\nturn_deg = 200\n', "turn_deg"),
        ('[applied]\nfile = "after.csv"\ndepth = "x"\n', "applied.depth"),
        ('[applied]\nfile = "after.toml"\n', "after.toml"),
        ('[applied]\nfile = "."\n', "TASKDATA.XML"),
    ],
)
@pytest.mark.usefixtures("after")
def test_a_log_that_cannot_be_used_is_refused(result, tmp_path, table, says):
    refused(result, write_toml(tmp_path, table), tmp_path / "out", says)


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
