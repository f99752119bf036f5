"""Two results of one paddock through the whole command, and the parts of the comparison."""

import json
import re
import shutil

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from hardpan.cli import app
from hardpan.compare.differences import NORMAL_95, bottom_difference, error_correlation, find_maps
from hardpan.compare.stage import compare, find_causes, why
from hardpan.records.past import PastRun, What
from hardpan.survey.inputs.results import read_result
from small_paddock import Small

COLUMNS = ["what", "where", "before", "after", "change", "low", "high", "cause"]
FORMATS = {"outputs": 'formats = ["geojson", "geotiff", "geopackage"]'}


def hardpan(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Folders of three results: one, the same again, and one at another price of grain and another threshold."""
    folder = tmp_path_factory.mktemp("results")
    prices = {"prices": "grain_per_t = 600"} | FORMATS
    for name, paddock in (
        ("one", Small(tables=prices)),
        ("same", Small(tables=prices)),
        ("other", Small(threshold_kpa=3200.0, tables={"prices": "grain_per_t = 800"} | FORMATS)),
    ):
        done = hardpan("run", paddock.write(folder / f"{name}-files"), "--out", folder / name)
        assert done.exit_code == 0, done.output
    return folder


def compared(results, before, after, out):
    done = hardpan("compare", results / before, results / after, "--out", out)
    assert done.exit_code == 0, done.output
    return pd.read_csv(out / "compare.csv"), done.output


def test_two_equal_results_differ_in_nothing(results, tmp_path):
    table, told = compared(results, "one", "same", tmp_path / "out")
    assert table.columns.tolist() == COLUMNS
    assert table.empty
    assert "Nothing changed" in told
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"compare.csv", "compare.html", "run.json"}


def test_a_file_changed_since_its_run_is_told(results, tmp_path):
    shutil.copytree(results / "same", tmp_path / "edited")
    table = tmp_path / "edited" / "zones.csv"
    table.write_text(table.read_text() + "\n")
    assert (
        f"edited: {table.name} changed since it was written"
        in compared(tmp_path, "edited", "edited", tmp_path / "out")[1]
    )
    assert "changed since" not in compared(results, "one", "same", tmp_path / "plain")[1]


def test_what_was_put_in_differently_is_named_beside_what_came_of_it(results, tmp_path):
    table, told = compared(results, "one", "other", tmp_path / "out")
    causes = table[table["what"] == "setting"]["where"].tolist()
    assert causes == ["pan.critical_kpa", "prices.grain_per_t"]
    assert table.set_index("where").loc["prices.grain_per_t", ["before", "after"]].tolist() == [
        "600 money/t",
        "800 money/t",
    ]
    changes = table.set_index("where")["cause"]
    assert (changes[["net return", "benefit", "breach_probability"]] == "pan.critical_kpa; prices.grain_per_t").all()
    assert (changes[["pan_top_mm", "pan_bottom_mm"]] == "pan.critical_kpa").all()  # no price draws a map
    assert "pan.critical_kpa" in told


def test_changes_are_after_less_before_and_lie_in_their_range(results, tmp_path):
    table, _ = compared(results, "one", "other", tmp_path / "out")
    numbers = table[table["change"].notna()]
    assert numbers["change"].to_numpy() == pytest.approx(
        numbers["after"].astype(float).to_numpy() - numbers["before"].astype(float).to_numpy(), abs=2e-4
    )
    ranged = table[table["low"].notna()]
    assert ((ranged["low"] < ranged["change"]) & (ranged["change"] < ranged["high"])).all()
    assert "pan_bottom_mm" in set(ranged["where"])


def test_turned_round_every_change_has_the_other_sign(results, tmp_path):
    there, _ = compared(results, "one", "other", tmp_path / "there")
    back, _ = compared(results, "other", "one", tmp_path / "back")
    moved = there["what"] == What.MOVED  # ground whose depth changed is the same from either side
    assert back.loc[~moved, "change"].to_numpy() == pytest.approx(-there.loc[~moved, "change"].to_numpy(), nan_ok=True)


def test_money_is_that_of_the_two_tallies(results, tmp_path):
    table, _ = compared(results, "one", "other", tmp_path / "out")
    row = table[table["where"] == "net return"].iloc[0]
    for column, name in (("before", "one"), ("after", "other")):
        tallies = pd.read_csv(results / name / "tallies.csv", dtype={"zone": str})
        total = tallies[(tallies["zone"] == "total") & (tallies["item"] == "net return")]["amount"].iloc[0]
        assert float(row[column]) == pytest.approx(total)


def test_results_in_folders_of_one_name_are_told_apart_by_those_above(results, tmp_path):
    for season, name in (("2026", "one"), ("2027", "other")):
        shutil.copytree(results / name, tmp_path / season / "result")
    compared(tmp_path, "2026/result", "2027/result", tmp_path / "out")
    assert "2026/result and 2027/result compared" in (tmp_path / "out" / "compare.html").read_text()


def test_the_page_has_both_maps_and_stands_alone(results, tmp_path):
    compared(results, "one", "other", tmp_path / "out")
    page = (tmp_path / "out" / "compare.html").read_text()
    assert page.count("<svg viewBox") >= 3
    assert ">6\u00a0%</td>" in page  # the chance of getting through rises from 0.94 to 1
    assert "<script" not in page
    assert not re.search(r"(src|href)=\"(?!#|data:)", page)


def test_an_input_that_changed_is_named_by_its_file(results):
    one, same = read_result(results / "one"), read_result(results / "same")
    document = json.loads(json.dumps(same.document))
    document["inputs_sha256"]["probes.csv"] = "0" * 64
    document["version"] = "9.9"
    found = list(
        find_causes(one, PastRun(**{name: getattr(same, name) for name in PastRun.__slots__} | {"document": document}))
    )
    assert [(what, where) for what, where, *_ in found] == [(What.VERSION, "hardpan"), (What.INPUT, "probes.csv")]


def test_a_change_is_put_down_to_what_can_have_made_it():
    causes = [
        (What.VERSION, "hardpan", "1", "2"),
        (What.INPUT, "probes.csv", "a", "b"),
        *(
            (What.SETTING, name, 1, 2)
            for name in ("surfaces.cell_m", "machine.tractor", "outputs.units", "paddock.name")
        ),
    ]
    assert why(causes, What.MAP, "pan_bottom_mm") == "hardpan; probes.csv; surfaces.cell_m"
    assert why(causes, What.MAP, "breach_probability") == "hardpan; probes.csv; surfaces.cell_m; machine.tractor"
    assert why(causes, What.MONEY, "cost") == "hardpan; probes.csv; surfaces.cell_m; machine.tractor"


def past(run, **changed):
    return PastRun(**{name: getattr(run, name) for name in PastRun.__slots__} | changed)


def forecasts(z, *, variable="bottom", first=0):
    """Residuals of insertions, each in its own standard deviation of 30 mm."""
    numbers = range(first, first + len(z))
    return pd.DataFrame(
        {"variable": variable, "site": [f"S{k // 2}" for k in numbers], "insertion": [f"I{k}" for k in numbers],
         "x_m": [10.0 * k for k in numbers], "y_m": 0.0, "residual": 30.0 * np.asarray(z), "sd": 30.0}
    )  # fmt: skip


@pytest.mark.parametrize("r", [0.0, 0.6])
def test_a_cell_counts_as_changed_where_it_differs_by_more_than_both_maps_know(results, r):
    """Errors that go together leave less of them in the difference: s^2 + s^2 - 2 r s s."""
    one = read_result(results / "one")
    maps = dict(one.maps)
    sd = np.sqrt(2.0 - 2.0 * r) * maps["pan_bottom_sd_mm"]
    step = np.where(np.arange(maps["pan_bottom_mm"].shape[1]) % 2, 1.5, 1.8) * sd  # within and beyond 1.645
    maps["pan_bottom_mm"] = maps["pan_bottom_mm"] + step
    first = np.tile([1.0, -1.0, 1.0, -1.0], 10)
    second = r * first + np.sqrt(1.0 - r**2) * np.tile([1.0, 1.0, -1.0, -1.0], 10)  # the correlation is r, exactly
    before = past(one, residuals=forecasts(first))
    other = past(one, maps=maps, residuals=forecasts(second))
    assert error_correlation(before, other) == pytest.approx(r)
    _, clear = bottom_difference(before, other)
    inside = np.isfinite(one.maps["pan_bottom_mm"])
    odd = np.broadcast_to(np.arange(inside.shape[1]) % 2 == 1, inside.shape)
    assert np.isnan(clear[inside & odd]).all()
    assert np.isfinite(clear[inside & ~odd]).all()


def test_readings_at_other_places_tell_no_correlation_of_the_errors(results):
    one, z = read_result(results / "one"), np.tile([1.0, -1.0], 20)
    before = past(one, residuals=forecasts(z))
    assert error_correlation(before, past(one, residuals=forecasts(z, first=100))) == 0.0
    assert error_correlation(before, past(one, residuals=forecasts(z[:10]))) == 0.0  # too few
    assert error_correlation(before, past(one, residuals=forecasts(-z))) == 0.0  # never counted as opposed
    assert error_correlation(before, before) == pytest.approx(1.0)


def test_a_run_writes_how_sure_the_mean_of_its_map_is_and_the_mean_of_cells_is_surer_than_a_cell(results):
    one = read_result(results / "one")
    assert set(one.mean_sd) == {"pan_probability", "pan_top_mm", "pan_bottom_mm", "peak_kpa"}
    assert 0 < one.mean_sd["pan_bottom_mm"] < np.nanmean(one.maps["pan_bottom_sd_mm"])
    maps = one.maps | {"pan_bottom_mm": one.maps["pan_bottom_mm"] + 10.0}
    nothing = forecasts([])
    (row,) = find_maps(past(one, residuals=nothing), past(one, maps=maps, residuals=nothing))
    assert row[:2] == (What.MAP, "pan_bottom_mm")
    assert row[3] - row[2] == pytest.approx(10.0)
    half = NORMAL_95 * np.sqrt(2.0) * one.mean_sd["pan_bottom_mm"]
    assert row[4:] == (pytest.approx(10.0 - half), pytest.approx(10.0 + half))


def test_a_result_without_residuals_or_means_is_compared_as_if_it_shared_nothing(results, tmp_path):
    """As results of earlier versions are; beside it two whose errors go together by 0.8."""
    for folder in ("one", "other", "older"):
        shutil.copytree(results / folder.replace("older", "one"), tmp_path / folder)
    first = np.tile([1.0, -1.0, 1.0, -1.0], 10)
    second = 0.8 * first + 0.6 * np.tile([1.0, 1.0, -1.0, -1.0], 10)
    for folder, z in (("one", first), ("other", second)):
        forecasts(z).to_csv(tmp_path / folder / "residuals.csv", index=False)
    (tmp_path / "older" / "residuals.csv").unlink()
    record = json.loads((tmp_path / "older" / "record.json").read_text())
    del record["mean_sd"]
    (tmp_path / "older" / "record.json").write_text(json.dumps(record))
    wide, _ = compared(tmp_path, "older", "other", tmp_path / "wide")
    narrow, _ = compared(tmp_path, "one", "other", tmp_path / "narrow")
    assert "as if the errors of the two maps had nothing in common" in (tmp_path / "wide/compare.html").read_text()
    assert "their correlation is 0.80 at" in (tmp_path / "narrow/compare.html").read_text()
    of = [table.set_index("where").loc["pan_bottom_mm"] for table in (wide, narrow)]
    assert of[0]["high"] - of[0]["low"] > 2.0 * (of[1]["high"] - of[1]["low"])


def test_money_of_paired_draws_ranges_as_far_as_the_differences_of_the_draws(results):
    """Two results that differ by a hundred in every draw differ by a hundred for sure."""
    one = read_result(results / "one")
    returns = np.random.default_rng(1).normal(5000.0, 2000.0, 20)
    tallies = one.tallies.copy()
    net = (tallies["zone"] == "total") & (tallies["item"] == "net return")
    tallies.loc[net, ["amount", "low", "high"]] += 100.0
    first = past(one, draws={"net return": returns})
    second = past(one, draws={"net return": returns + 100.0}, tallies=tallies)
    found = compare(first, second, currency="AUD")
    row = found.rows.set_index("where").loc["net return"]
    assert found.paired
    assert row[["change", "low", "high"]].tolist() == pytest.approx([100.0] * 3)
    other = json.loads(json.dumps(one.document))
    other["inputs_sha256"]["probes.csv"] = "0" * 64
    apart = compare(first, past(second, document=other), currency="AUD")
    row = apart.rows.set_index("where").loc["net return"]
    assert not apart.paired
    assert row["low"] < 0 < row["high"]


def test_results_of_different_ground_are_refused(results, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    shutil.copytree(results / "one", elsewhere)
    document = json.loads((elsewhere / "prescription.geojson").read_text())
    for feature in document["features"]:
        feature["geometry"] = json.loads(
            re.sub(r"\[(1\d\d\.\d+),", lambda match: f"[{float(match[1]) + 0.1:.7f},", json.dumps(feature["geometry"]))
        )
    (elsewhere / "prescription.geojson").write_text(json.dumps(document))
    done = hardpan("compare", results / "one", elsewhere, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "different ground" in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("other", "says"), [("nowhere", "no such folder"), ("one-files", "holds no run.json")])
def test_a_folder_without_a_result_is_refused(results, tmp_path, other, says):
    done = hardpan("compare", results / "one", results / other, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert says in done.stderr
    assert "\n" not in done.stderr.strip()
    assert not (tmp_path / "out").exists()


def json_of(name, change):
    """A change of one JSON file of a result."""

    def done(folder):
        document = json.loads((folder / name).read_text())
        change(document)
        (folder / name).write_text(json.dumps(document))

    return done


def cut(name, size):
    return lambda folder: (folder / name).write_bytes((folder / name).read_bytes()[:size])


DAMAGE = {
    "settings are a list": json_of("run.json", lambda run: run.update(settings=[1])),
    "no paddock": json_of("run.json", lambda run: run["settings"].pop("paddock")),
    "prices are a number": json_of("run.json", lambda run: run["settings"].update(prices=3)),
    "digests are a list": json_of("run.json", lambda run: run.update(inputs_sha256=["a"])),
    "no version": json_of("run.json", lambda run: run.pop("version")),
    "a CRS nobody knows": json_of("run.json", lambda run: run.update(working_crs="EPSG:none")),
    "half a raster": cut("surfaces.tif", 900),
    "a raster cut to nothing": cut("surfaces.tif", 0),
    "half a GeoPackage": cut("prescription.gpkg", 40),
    "no amounts": lambda folder: (folder / "tallies.csv").write_text("zone,item\n"),
    "residuals without their columns": cut("residuals.csv", 20),
    "draws of another number": json_of("record.json", lambda record: record["totals"]["net return"].update(own="1 2")),
    "means that are a list": json_of("record.json", lambda record: record.update(mean_sd=[1])),
    "a zone without a depth": json_of(
        "prescription.geojson", lambda plan: plan["features"][0]["properties"].update(depth_mm=None)
    ),
    "a depth in words": json_of(
        "prescription.geojson", lambda plan: plan["features"][0]["properties"].update(depth_mm="deep")
    ),
    "a zone without a place": json_of("prescription.geojson", lambda plan: plan["features"][0].update(geometry=None)),
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE.keys())
def test_a_damaged_result_is_refused_in_one_line(results, tmp_path, damage):
    damaged = tmp_path / "damaged"
    shutil.copytree(results / "same", damaged)
    damage(damaged)
    done = hardpan("compare", results / "one", damaged, "--out", tmp_path / "out")
    assert done.exit_code == 2, done.output
    assert str(damaged) in done.stderr
    assert "\n" not in done.stderr.strip()
    assert {path.name for path in tmp_path.iterdir()} == {"damaged"}


def test_a_result_is_not_overwritten_by_its_comparison(results):
    done = hardpan("compare", results / "one", results / "same", "--out", results / "one")
    assert done.exit_code == 2
    assert (results / "one" / "zones.csv").is_file()
