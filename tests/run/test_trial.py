"""The command: files of the contract, a run's strips through to the next plan, and errors a user can cause."""

import json
import re
import tomllib

import geopandas as gpd
import pandas as pd
import pytest
from typer.testing import CliRunner

from builders.trials import points, strips, write
from hardpan.cli import app
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from small_paddock import SOUTH_M, WEST_M, Small

FILES = {"trial.csv", "cleaning.csv", "response.toml", "trial.html", "run.json"}
COLUMNS = ["group", "effect", "low", "high", "level", "method", "df", "points", "strips"]


def hardpan(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_a_trial_writes_the_files_of_the_contract(tmp_path):
    table = strips(pairs=4, zones=2)
    out = tmp_path / "out"
    done = hardpan("trial", write(tmp_path, table, points(table)), "--out", out)
    assert done.exit_code == 0, done.output
    assert {path.name for path in out.iterdir()} == FILES
    effects = pd.read_csv(out / "trial.csv", dtype={"group": str})
    assert effects.columns.tolist() == COLUMNS
    assert set(effects["group"]) == {"all", "1", "2"}
    assert {"spatial", "paired"} <= set(effects["method"])
    assert pd.read_csv(out / "cleaning.csv").columns.tolist() == ["rule", "points"]
    assert tomllib.loads((out / "response.toml").read_text()) == {}  # no run is named: nothing is learned of soil types
    record = json.loads((out / "run.json").read_text())
    assert record["settings"]["points"] == "yield.csv"
    assert "Ripping gave" in done.output


def test_the_same_trial_gives_the_same_bytes(tmp_path):
    table = strips()
    path = write(tmp_path, table, points(table))
    for out in ("one", "two"):
        assert hardpan("trial", path, "--out", tmp_path / out).exit_code == 0
    for name in ("trial.csv", "cleaning.csv", "response.toml"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_the_page_stands_alone(tmp_path):
    table = strips()
    assert hardpan("trial", write(tmp_path, table, points(table)), "--out", tmp_path / "out").exit_code == 0
    page = (tmp_path / "out" / "trial.html").read_text()
    assert not re.search(r"(src|href)=\"(?!#)", page)
    assert "url(http" not in page
    assert "<script" not in page
    assert "90 % interval" in page


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory):
    """A run of a small paddock of deep sand, with strips of its ripped zone as if it had laid them out."""
    folder = tmp_path_factory.mktemp("season")
    configuration = Small(tables={"prices": "grain_per_t = 450", "outputs": 'formats = ["geojson"]'}).write(folder)
    run = folder / "run"
    assert hardpan("run", configuration, "--out", run).exit_code == 0
    zones = pd.read_csv(run / "zones.csv")
    zone = zones[zones["depth_mm"] > 0].iloc[0]
    table = strips(pairs=5, wide_m=12.0, long_m=150.0, depths=(float(zone["depth_mm"]),)).assign(
        zone=int(zone["zone"]), soil_type=zone["soil_type"]
    )
    laid = gpd.GeoDataFrame(
        table.drop(columns="geometry"),
        geometry=gpd.GeoSeries(table["geometry"]).translate(WEST_M + 20, SOUTH_M + 20),
        crs="EPSG:32751",
    )
    laid.to_crs(4326).to_file(run / "strips.geojson", driver="GeoJSON")
    return folder, configuration, table


def harvest_of(laid_out, name, effect, **asked):
    folder, _, table = laid_out
    rows = points(table, effect=effect, noise=0.15, strip_sd=0.03)
    rows = rows.assign(x_m=rows["x_m"] + WEST_M + 20, y_m=rows["y_m"] + SOUTH_M + 20)
    rows[["x_m", "y_m", "value"]].to_csv(folder / f"{name}.csv", index=False)
    lines = {"run": "run", "points": f"{name}.csv", "crs": "EPSG:32751", "yield_unit": "t/ha", "clean": False} | asked
    path = folder / f"{name}.toml"
    text = "\n".join(f"{key} = {json.dumps(value)}" for key, value in lines.items())
    path.write_text(f'[trial]\n{text}\n[trial.columns]\nx = "x_m"\ny = "y_m"\n')
    out = folder / name
    done = hardpan("trial", path, "--out", out)
    assert done.exit_code == 0, done.output
    return out, json.loads((out / "run.json").read_text()), done.output


def test_a_harvest_above_what_was_expected_raises_the_response_and_one_below_lowers_it(laid_out):
    prior = read_catalog(read_config(laid_out[1])).soils["deep sand"].first_year_gain.value
    found = {}
    for name, effect in (("good", 0.5), ("bad", 0.0)):
        out, record, _ = harvest_of(laid_out, name, effect, season="usual")
        learned = tomllib.loads((out / "response.toml").read_text())["soil"]["types"]["deep sand"]["first_year_gain"]
        assert learned["low"] <= learned["value"] <= learned["high"]
        found[name] = learned["value"], record["payback"][0]["paid"], record["payback"][0]["net_per_ha"]
    assert found["bad"][0] < prior < found["good"][0]
    assert found["bad"][1] < found["good"][1]
    assert found["bad"][2] < found["good"][2]


def test_one_harvest_of_an_unknown_season_says_less_than_one_of_a_known_season(laid_out):
    """No gain can be a dry finish, or poor ground: where the season is known to have been usual, it is the ground."""
    widths = {}
    for kind in ("unknown", "usual"):
        _, record, _ = harvest_of(laid_out, f"of_{kind}", 0.05, season=kind)
        row = record["response"][0]
        widths[kind] = row["high"] - row["low"]
    assert widths["usual"] < widths["unknown"]


def test_the_next_configuration_takes_the_response_in(laid_out):
    out, record, _ = harvest_of(laid_out, "next", 0.4)
    folder, configuration, _ = laid_out
    text = configuration.read_text().replace("[soil]", f'[soil]\nresponse = "{out.name}/response.toml"')
    following = folder / "following.toml"
    following.write_text(text)
    gain = read_catalog(read_config(following)).soils["deep sand"].first_year_gain
    assert gain.value == pytest.approx(record["response"][0]["value"], abs=1e-3)
    assert gain.source == "user"
    own = folder / "own.toml"
    own.write_text(text + '\n[soil.types."deep sand"]\nfirst_year_gain = 0.9\n')
    assert read_catalog(read_config(own)).soils["deep sand"].first_year_gain.value == 0.9
    said = [[issue.place for issue in remarks_of(one) if issue.code == "own-gain-first"] for one in (following, own)]
    assert said == [[], ["deep sand"]]


def remarks_of(configuration):
    config = read_config(configuration)
    return read_inputs(config, read_catalog(config))[0].issues


def test_a_dry_finish_is_not_taken_for_a_poor_soil(laid_out):
    """A loss in a season that is known to have ended dry says little of the others."""
    _, dry, _ = harvest_of(laid_out, "dry", -0.1, season="dry finish")
    _, usual, _ = harvest_of(laid_out, "usual_loss", -0.1, season="usual")
    assert dry["response"][0]["value"] > usual["response"][0]["value"]


def test_bushels_are_those_of_the_crop_of_the_run(laid_out):
    out, record, _ = harvest_of(laid_out, "bushels", 0.5, yield_unit="bu/ac")
    assert record["unit"] == "t/ha"
    assert pd.read_csv(out / "trial.csv")["effect"].iloc[0] == pytest.approx(0.5 * 0.06725, rel=0.5)


def test_a_harvest_beyond_all_that_was_expected_teaches_nothing_and_says_so(laid_out):
    out, record, _ = harvest_of(laid_out, "beyond", 4.0, season="usual")
    assert record["issues"] == ["harvest-unexpected"]
    assert tomllib.loads((out / "response.toml").read_text()) == {}
    assert "lies far outside" in (out / "response.toml").read_text()
    assert record["payback"] == []


def broken(tmp_path, **asked):
    table = strips()
    return write(tmp_path, table, points(table), **asked)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"strips": None}, "either run or strips"),
        ({"run": "nowhere", "strips": None}, "holds no run.json"),
        ({"strips": "none.geojson"}, "no such file for the strips"),
        ({"points": "none.csv"}, "no such file for the harvest"),
        ({"yield_unit": "stones"}, "yield_unit"),
        ({"crs": "EPSG:999999"}, "strips.geojson"),
        ({"crop": "wheet", "yield_unit": "bu/ac"}, "wheat"),
        ({"colour": "blue"}, "unknown key"),
    ],
)
def test_what_a_user_can_get_wrong_is_one_line_and_nothing_written(tmp_path, asked, says):
    done = hardpan("trial", broken(tmp_path, **asked), "--out", tmp_path / "out")
    assert done.exit_code == 2
    told = done.stderr.strip()
    assert says in told
    assert "\n" not in told
    assert not (tmp_path / "out").exists()


def test_a_run_without_strips_says_so(laid_out, tmp_path):
    folder, configuration, _ = laid_out
    assert hardpan("run", configuration, "--out", tmp_path / "bare").exit_code == 0
    (tmp_path / "trial.toml").write_text(
        f'[trial]\nrun = "bare"\npoints = "{folder / "bad.csv"}"\ncrs = "EPSG:32751"\nyield_unit = "t/ha"\n'
    )
    done = hardpan("trial", tmp_path / "trial.toml", "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "laid out no strips" in done.stderr


def test_a_response_file_that_holds_anything_else_is_refused(tmp_path):
    path = Small().write(tmp_path)
    (tmp_path / "response.toml").write_text("[prices]\ngrain_per_t = 1000\n")
    path.write_text(path.read_text().replace("[soil]", '[soil]\nresponse = "response.toml"'))
    done = hardpan("check", path)
    assert done.exit_code == 2
    assert "holds more than soil types" in done.stderr
