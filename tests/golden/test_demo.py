"""The demo paddock, end to end: laws that hold of the whole, whatever the numbers are."""

import json
import re
import shutil
import subprocess
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import after_the_plan
import geopandas as gpd
import harvest
import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio

import hardpan
from builders.pages import METRIC, metric_in
from golden.snapshot import DEMO, differences, from_text, plan_table, snapshot_of, to_text
from hardpan.core.shipped import shipped
from hardpan.outputs.isoxml_reader import read_taskdata
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.summary import headline, zone_summary
from hardpan.records.trial import Method
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.followup import read_after, read_trial_settings, run_trial, verify_run
from hardpan.run.manifest import Clock

NOW = datetime(2027, 3, 1, tzinfo=UTC)
STABLE = ("prescription.geojson", "zones.csv", "tallies.csv", "residuals.csv")
CONTRACT = {
    "prescription.geojson", "prescription_shp.zip", "prescription.gpkg", "surfaces.tif", "zones.csv", "tallies.csv",
    "residuals.csv", "record.json", "readings.csv", "issues.csv", "run.json", "report.html",
}  # fmt: skip
BANDS = (
    "pan_probability", "pan_top_mm", "pan_bottom_mm", "pan_bottom_sd_mm", "peak_kpa", "zone", "depth_mm",
    "breach_probability", "pan_top_sd_mm", "peak_sd_kpa", "clay_depth_mm", "clay_depth_sd_mm",
)  # fmt: skip


def run_into(folder: Path, configuration: Path, now: datetime):
    config = read_config(configuration)
    run = run_paddock(config, Clock(now=now))
    write_outputs(run, config.outputs, folder)
    return run


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "out"
    return run_into(folder, shipped("demo") / "demo.toml", NOW), folder


@pytest.fixture(scope="module")
def zones(demo):
    return gpd.read_file(demo[1] / "prescription.geojson")


def test_every_file_of_the_contract_is_there_and_nothing_beside_the_folder(demo):
    _, folder = demo
    assert {path.name for path in folder.iterdir()} >= CONTRACT
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]


def test_zones_and_exclusions_fill_the_paddock(demo):
    run, folder = demo
    table = pd.read_csv(folder / "zones.csv")
    assert table["area_ha"].sum() == pytest.approx(run.survey.paddock.area_ha, rel=1e-3)


def test_the_areas_are_geodesic(demo, zones):
    geod = pyproj.Geod(ellps="WGS84")
    hectares = sum(abs(geod.geometry_area_perimeter(shape)[0]) for shape in zones.geometry) / 1e4
    assert hectares == pytest.approx(demo[0].survey.paddock.area_ha, rel=1e-3)
    assert zones["area_ha"].sum() == pytest.approx(hectares, rel=1e-3)


def test_every_depth_is_on_the_step_and_within_machine_and_soil(demo, zones):
    run, _ = demo
    ripper, prescription = (
        run.catalog.ripper,
        tomllib.loads((shipped("demo") / "demo.toml").read_text())["prescription"],
    )
    ripped = zones[zones["depth_mm"] > 0]
    assert len(ripped) > 0
    assert (ripped["depth_mm"] % prescription["step_mm"] == 0).all()
    assert ripped["depth_mm"].between(ripper.min_depth.value, ripper.max_depth.value).all()


def test_every_zone_says_why(demo, zones):
    reasons = hardpan.zone_table(demo[0])["reason"]
    assert reasons.str.len().between(20, 400).all()
    assert reasons.is_unique or zones["depth_mm"].duplicated().any()


def test_exclusions_are_left_alone(demo, zones):
    run, _ = demo
    shut = run.survey.paddock.exclusions.to_crs(4326)
    ripped = zones[zones["depth_mm"] > 0].to_crs(run.survey.crs)
    overlap = ripped.overlay(shut.to_crs(run.survey.crs)[["geometry"]], how="intersection")
    assert overlap.area.sum() < 1.0  # m2: rounding of coordinates to 1e-7 degrees


def test_the_raster_carries_its_bands_and_agrees_with_the_zones(demo, zones):
    with rasterio.open(demo[1] / "surfaces.tif") as raster:
        assert raster.descriptions == BANDS
        assert np.isnan(raster.nodata)
        depth = raster.read(BANDS.index("depth_mm") + 1)
        probability = raster.read(1)
        cell_ha = abs(raster.transform.a * raster.transform.e) / 1e4
    inside = np.isfinite(depth)
    assert np.nanmin(probability) >= 0
    assert np.nanmax(probability) <= 1
    ripped = zones.loc[zones["depth_mm"] > 0, "area_ha"].sum()
    assert np.count_nonzero(depth[inside] > 0) * cell_ha == pytest.approx(ripped, rel=0.02)


def test_the_tallies_add_up_to_the_cent(demo):
    tallies = pd.read_csv(demo[1] / "tallies.csv", dtype={"zone": str})
    parts = tallies[tallies["zone"] != "total"].groupby("item")["amount"].sum().round(2)
    total = tallies[tallies["zone"] == "total"].set_index("item")["amount"].round(2)
    pd.testing.assert_series_equal(parts.sort_index(), total.sort_index(), check_names=False, atol=0.005, rtol=0)


def test_the_task_grid_keeps_the_limit_and_a_lost_position_lifts_the_tines(demo):
    rip = read_taskdata(demo[1] / "taskdata.zip")[0]
    assert max(rip.cells.shape) <= 250
    assert (rip.default, rip.lost, rip.outside) == (0, 0, 0)  # a water pipe is buried there


def test_the_provenance_names_inputs_versions_and_seed(demo):
    manifest = json.loads((demo[1] / "run.json").read_text(encoding="utf-8"))
    text = json.dumps(manifest)
    assert "probes.csv" in text
    assert "boundary.geojson" in text
    assert str(shipped("demo").parent) not in text


@pytest.mark.slow
def test_a_second_run_of_another_day_with_shuffled_rows_and_one_thread_gives_the_same_bytes(demo, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(shipped("demo"), copy)
    probes = (copy / "probes.csv").read_text(encoding="utf-8").splitlines()
    shuffled = [probes[0], *np.random.default_rng(0).permutation(probes[1:])]
    (copy / "probes.csv").write_text("\n".join(shuffled) + "\n", encoding="utf-8")
    text = (copy / "demo.toml").read_text(encoding="utf-8")
    (copy / "demo.toml").write_text(text.replace("[surfaces]\n", "[surfaces]\nthreads = 1\n"), encoding="utf-8")
    run_into(tmp_path / "again", copy / "demo.toml", datetime(2028, 1, 1, tzinfo=UTC))
    for name in STABLE:
        assert (tmp_path / "again" / name).read_bytes() == (demo[1] / name).read_bytes(), name


@pytest.fixture(scope="module")
def us(demo, tmp_path_factory):
    """Outputs and settings of the demo for readers of US units."""
    settings, folder = OutputSettings(formats=("report", "job-card"), units="us"), tmp_path_factory.mktemp("us") / "out"
    write_outputs(demo[0], settings, folder)
    return settings, folder


def test_a_report_for_us_readers_has_no_metric_unit(us):
    source = (us[1] / "report.html").read_text(encoding="utf-8")
    assert metric_in(source) == []
    scripts = re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', source, re.DOTALL)
    assert len(scripts) == 2
    texts = [text for script in scripts for text in texts_of(json.loads(script))]
    assert [text for text in texts if METRIC.search(text)] == []


def texts_of(plain):
    """Texts that JSON holds, but for long ones without a blank, which are packed arrays."""
    if isinstance(plain, str):
        yield from [plain] if " " in plain or len(plain) < 20 else []
    elif isinstance(plain, dict | list):
        for one in plain.values() if isinstance(plain, dict) else plain:
            yield from texts_of(one)


def test_tallies_and_terminal_for_us_readers_have_no_metric_unit(demo, us):
    settings, folder = us
    tallies = pd.read_csv(folder / "tallies.csv")
    said = [*tallies["unit"].unique(), headline(demo[0], settings)]
    headings, rows = zone_summary(demo[0], settings)
    assert [text for text in (*said, *headings, *(cell for row in rows for cell in row)) if METRIC.search(text)] == []
    metric = pd.read_csv(demo[1] / "tallies.csv")
    acres = metric.loc[metric["item"] == "area", "quantity"] * 10_000 / (43_560 * 0.3048**2)
    assert tallies.loc[tallies["item"] == "area", "quantity"].to_numpy() == pytest.approx(acres.to_numpy(), abs=0.002)
    assert (tallies["amount"] == metric["amount"]).all()
    paid = tallies[tallies["unit"] == "gal"]
    assert (paid["quantity"] * paid["price"]).to_numpy() == pytest.approx(paid["amount"].to_numpy(), rel=1e-3)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_a_card_for_us_operators_has_no_metric_unit(us):
    card = subprocess.run(["pdftotext", us[1] / "job-card.pdf", "-"], capture_output=True, text=True, check=True)
    assert METRIC.findall(card.stdout) == []


def test_the_season_after_finds_the_zone_that_was_worked_too_shallow(demo):
    """The season is made for the plan of the demo: `data/demo/after_the_plan.py RESULT` renews it with the plan."""
    found = verify_run(demo[1], read_after(shipped("demo") / "after.toml"), Clock(now=NOW))
    zones, planned = found.found.zones, demo[0].plan.zones.set_index("zone")["depth_mm"]
    short = {zone.zone: planned[zone.zone] - zone.reached["line"].value for zone in zones}
    assert short.pop(max(short)) == pytest.approx(after_the_plan.SHALLOW_MM, abs=25)
    assert all(abs(mm) < 25 for mm in short.values())
    logged = found.applied.zones.set_index("zone")
    worked = logged.loc[[str(zone.zone) for zone in zones]]
    assert worked["shallow_ha"].idxmax() == str(max(planned.index[planned > 0]))
    assert worked["shallow_ha"].max() > 0.9 * worked.loc[worked["shallow_ha"].idxmax(), "area_ha"]
    assert logged.loc["all", "within_ha"] + worked["shallow_ha"].max() > 0.9 * logged.loc["all", "area_ha"]
    # tines begin to move 1.5 s after a border, and take less than a second
    assert found.applied.lag.seconds == pytest.approx(1.75, abs=0.5)


def test_the_harvest_of_the_strips_shows_the_gains_it_was_made_with(demo):
    asked = read_trial_settings(shipped("demo") / "trial.toml", run=demo[1])
    found = run_trial(asked, Clock(now=NOW)).result
    assert found.delay_s == harvest.DELAY_S
    rows = found.effects[(found.effects["method"] == Method.SPATIAL) & (found.effects["group"] != "all")]
    soil = demo[0].plan.zones.set_index("zone")["soil_type"]
    true = np.array([harvest.GAIN_T_HA[soil[int(zone)]] for zone in rows["group"]])
    assert set(soil[rows["group"].astype(int)]) == {"deep sand", "sand over clay", "gravelly sand"}
    assert rows["effect"].to_numpy() == pytest.approx(true, abs=0.1)  # an eighth of the largest: 7 % of the yield
    prior, learned = (found.response.set_index("soil_type")[name] for name in ("prior", "value"))
    assert learned["gravelly sand"] < 0.5 * prior["gravelly sand"]


def test_the_headline_is_the_one_of_the_record(demo):
    manifest = json.loads((demo[1] / "run.json").read_text(encoding="utf-8"))
    assert manifest["headline"] == hardpan.headline(demo[0])
    assert list(hardpan.zone_table(demo[0])["reason"]) == list(pd.read_csv(demo[1] / "zones.csv")["reason"])


@pytest.fixture(scope="module")
def reviewed():
    return from_text(snapshot_of(DEMO).read_text(encoding="utf-8"))


def test_the_plan_is_the_one_that_was_reviewed(demo, reviewed):
    """Where the change is meant: `make snapshot`, look at the difference, and say in the commit why it is right."""
    assert differences(reviewed, plan_table(demo[0])) == []


@pytest.mark.parametrize("shift_mm", [-25, 25])
def test_a_depth_that_moves_by_one_step_in_any_zone_is_noticed(demo, reviewed, shift_mm):
    table = plan_table(demo[0])
    for row in table.index[table["depth_mm"] > 0]:
        moved = table.assign(depth_mm=table["depth_mm"] + shift_mm * (table.index == row))
        (told,) = differences(reviewed, moved)
        assert told.startswith(f"zone {table['zone'][row]}: depth_mm")


def test_the_reviewed_text_is_the_one_the_command_writes(reviewed):
    assert to_text(reviewed, DEMO, "AUD") == snapshot_of(DEMO).read_text(encoding="utf-8")


def _numbers(text: str) -> list[float]:
    return [
        float(number.replace(",", "").replace("\u2212", "-"))
        for number in re.findall(r"[-\u2212]?\d[\d,]*\.?\d*", text)
    ]


def test_what_report_card_tables_and_headline_print_adds_up(demo):
    run, folder = demo
    zones, lines = pd.read_csv(folder / "zones.csv"), pd.read_csv(folder / "tallies.csv")
    headline = json.loads((folder / "run.json").read_text(encoding="utf-8"))["headline"]
    ripped_ha, paddock_ha = _numbers(headline.split(" in ")[0])
    left_ha = _numbers(headline.split("leave ")[1])[0]
    hours, litres = _numbers(headline.split("$/ha, ")[1].split(";")[0])[::3]
    total = lines[lines["zone"] == "total"].set_index("item")
    each = lines[lines["zone"] != "total"]
    for item, sums in each.groupby("item"):
        assert round(sums["quantity"].sum(), 3) == total["quantity"][item], item
        assert round(sums["amount"].sum(), 2) == total["amount"][item], item
    assert (ripped_ha, hours, litres) == (
        round(total["quantity"]["cost"], 1), round(total["quantity"]["hours"], 1), round(total["quantity"]["fuel"]),
    )  # fmt: skip
    net = each[each["item"] == "net return"].set_index("zone")["price"]
    planned = zones.set_index(zones["zone"].astype(str))["net_per_ha"]
    assert np.allclose(net, planned[net.index], atol=0.011)

    text = (folder / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    rows = re.findall(r"([\d,.]+) h, ([\d,]+) L; chance of getting", text)
    assert round(sum(_numbers(hour)[0] for hour, _ in rows), 1) == hours
    assert sum(_numbers(litre)[0] for _, litre in rows) == litres
    titles = re.findall(r"Zone \d+: (\S+)[^<]*?, ([\d.]+) ha, ", text)
    by_zone = dict.fromkeys(("leave", "ripped"), 0.0)
    for worked, area in dict.fromkeys((name, area) for name, area in titles):
        by_zone["leave" if worked == "leave" else "ripped"] += float(area)
    assert round(by_zone["ripped"], 1) == ripped_ha
    assert round(by_zone["leave"], 1) == left_ha
    cost = re.search(r"The cost of (\d+) \$/ha is (.*?)\. Owning", text)
    assert sum(float(part) for part in re.findall(r"(\d+) \$/ha", cost.group(2))) == float(cost.group(1))
    assert f"The cost of {total['price']['cost']:.0f}" in cost.group(0)
    machine = run.plan.machine.set_index(run.plan.machine["zone"].astype(str))
    for item, rate in (("hours", "hours_per_ha"), ("fuel", "fuel_l_per_ha")):
        taken = each[each["item"] == item].set_index("zone")["quantity"]
        area = zones.set_index(zones["zone"].astype(str))["area_ha"][taken.index]
        assert np.allclose(machine[rate][taken.index] * area, taken, rtol=1e-3), item
    assert paddock_ha == round(zones["area_ha"].sum(), 1)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_rows_of_the_job_card_add_up_to_its_last_one(demo):
    _, folder = demo
    card = folder / "job-card.pdf"
    front = subprocess.run(["pdftotext", "-layout", "-l", "1", card, "-"], capture_output=True, text=True, check=True)
    rows = re.findall(r"([\d.]+) ha +([\d.]+) h +([\d,]+) L", front.stdout.replace("\u00a0", " "))
    *zones, total = [[_numbers(cell)[0] for cell in row] for row in rows]
    assert len(zones) > 1
    assert np.round(np.sum(zones, axis=0), 1).tolist() == total
