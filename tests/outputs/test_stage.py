"""Every file is there, whole, and the same each time."""

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from hardpan.core.errors import HardpanError, ReadBackError
from hardpan.outputs import stage
from hardpan.outputs.geojson import write_geojson
from hardpan.outputs.isoxml_reader import read_taskdata
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import depth_without_position, write_outputs
from hardpan.records.advice import Verdict
from hardpan.records.evidence import PaddockRun

ZONES = pd.DataFrame({"depth_mm": [450, 300, 0]})


@pytest.fixture
def settings() -> OutputSettings:
    return OutputSettings()


def test_every_file_of_the_contract_is_written(run: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    written = write_outputs(run, settings, tmp_path / "out")
    assert {path.name for path in written} == {
        "prescription.geojson", "prescription_shp.zip", "prescription.gpkg", "surfaces.tif", "zones.csv",
        "tallies.csv", "residuals.csv", "issues.csv", "report.html", "run.json", "taskdata.zip", "job-card.pdf",
        "record.json", "readings.csv",
    }  # fmt: skip
    assert all(path.is_file() for path in written)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_same_run_gives_the_same_bytes(run: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    first, second = (write_outputs(run, settings, tmp_path / name) for name in ("a", "b"))
    steady = [k for k, path in enumerate(first) if path.suffix in {".geojson", ".csv"}]
    assert len(steady) == 6
    assert all(first[k].read_bytes() == second[k].read_bytes() for k in steady)


def test_a_file_that_says_another_depth_leaves_all_files_unchecked_where_asked_to(
    run: PaddockRun, settings: OutputSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def write_wrong(path: Path, zones: gpd.GeoDataFrame, name: str) -> None:
        write_geojson(path, zones.assign(depth_mm=zones["depth_mm"].replace(450, 475)), name)

    monkeypatch.setattr(stage, "write_geojson", write_wrong)
    with pytest.raises(ReadBackError, match=r"it holds zone 2 \(475 mm\); expected zone 2 \(450 mm\) as planned"):
        write_outputs(run, settings, tmp_path / "out", keep=True)
    assert [path.name for path in tmp_path.iterdir()] == ["out.unchecked"]
    kept = {path.name for path in (tmp_path / "out.unchecked").iterdir()}
    assert {"prescription.geojson", "prescription_shp.zip", "taskdata.zip", "surfaces.tif", "UNCHECKED.txt"} < kept
    assert "run.json" not in kept


def test_a_plan_with_nothing_to_rip_is_written(unripped: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    assert write_outputs(unripped, settings, tmp_path / "out")


def test_only_what_was_asked_for_is_written_besides_the_tables(run: PaddockRun, tmp_path: Path) -> None:
    written = write_outputs(run, OutputSettings(formats=("kml",)), tmp_path / "out")
    names = ["issues.csv", "prescription.kml", "readings.csv", "record.json", "residuals.csv", "run.json"]
    names += ["tallies.csv", "zones.csv"]
    assert [path.name for path in written] == names


@pytest.mark.parametrize("force", [False, True])
def test_files_for_the_display_of_a_plan_too_wet_to_drive_are_written_by_force_only(
    run: PaddockRun, tmp_path: Path, *, force: bool
) -> None:
    wet = replace(run, plan=replace(run.plan, moisture=run.plan.moisture.assign(verdict=Verdict.TOO_WET)))
    formats = ("geojson", "shapefile", "isoxml", "job-card", "report")
    names = {path.name for path in write_outputs(wet, OutputSettings(formats=formats, force=force), tmp_path / "out")}
    assert {"prescription_shp.zip", "taskdata.zip"} & names == (
        {"prescription_shp.zip", "taskdata.zip"} if force else set()
    )
    assert {"prescription.geojson", "job-card.pdf", "report.html"} <= names
    issues = pd.read_csv(tmp_path / "out" / "issues.csv").set_index("code")
    assert ("not written: wait" in issues.loc["too-wet", "done"]) is not force


@pytest.mark.parametrize("name", ["..", "/", "con", "a/b\\c:d*e?", "\x00", " ", "x" * 10_000])
def test_a_name_that_makes_no_valid_file_name_does_no_harm(run: PaddockRun, tmp_path: Path, name: str) -> None:
    paddock = replace(run.survey.paddock, name=name)
    named = replace(run, survey=replace(run.survey, paddock=paddock))
    formats = ("geojson", "shapefile", "geopackage", "isoxml", "kml", "job-card")
    written = write_outputs(named, OutputSettings(formats=formats), tmp_path / "out")
    assert len(written) == 13
    assert all(path.parent == tmp_path / "out" and path.is_file() for path in written)


def test_twenty_thousand_vertices_are_written_and_the_simplification_told(run: PaddockRun, tmp_path: Path) -> None:
    table = run.plan.zones
    coast = shapely.segmentize(table.geometry.array, 0.15)
    assert shapely.get_num_coordinates(coast).sum() > 20_000
    fine = replace(run, plan=replace(run.plan, zones=table.set_geometry(gpd.GeoSeries(coast, crs=table.crs))))
    settings = OutputSettings(formats=("geojson", "shapefile", "geopackage", "isoxml", "geotiff"))
    write_outputs(fine, settings, tmp_path / "out")
    issues = pd.read_csv(tmp_path / "out" / "issues.csv")
    assert "display-simplified" in set(issues["code"])
    display = gpd.read_file(tmp_path / "out" / "prescription_shp.zip")
    assert shapely.get_num_coordinates(display.geometry.array).sum() <= settings.max_vertices
    whole = gpd.read_file(tmp_path / "out" / "prescription.geojson")
    assert shapely.get_num_coordinates(whole.geometry.array).sum() > 20_000


def test_a_failure_in_the_last_file_leaves_the_earlier_result(
    run: PaddockRun, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_outputs(run, OutputSettings(formats=("geojson",)), tmp_path / "out")
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("hardpan.outputs.stage.write_manifest", fail)
    with pytest.raises(HardpanError, match="No space left on device"):
        write_outputs(run, OutputSettings(), tmp_path / "out")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_order_of_the_zones_changes_nothing(run: PaddockRun, tmp_path: Path) -> None:
    turned = replace(run, plan=replace(run.plan, zones=run.plan.zones.iloc[::-1]))
    settings = OutputSettings(formats=("geojson", "isoxml"))
    first = write_outputs(run, settings, tmp_path / "a")
    second = write_outputs(turned, settings, tmp_path / "b")
    for one, other in zip(first, second, strict=True):
        if one.name != "run.json":
            assert one.read_bytes() == other.read_bytes(), one.name


@pytest.mark.parametrize(("buried", "lost_mm"), [(True, 0), (False, 300)])
@pytest.mark.parametrize("shape", ["grid2", "grid1", "polygons"])
def test_a_lost_position_lifts_the_tines_where_something_may_be_buried(
    run: PaddockRun, tmp_path: Path, buried: bool, lost_mm: int, shape: str
) -> None:
    paddock = run.survey.paddock
    paddock = replace(paddock, exclusions=paddock.exclusions.assign(buried=buried))
    settings = OutputSettings(formats=("isoxml", "report"), isoxml_shape=shape)
    write_outputs(replace(run, survey=replace(run.survey, paddock=paddock)), settings, tmp_path / "out")
    rip = read_taskdata(tmp_path / "out" / "taskdata.zip")[0]
    assert (rip.default, rip.lost, rip.outside) == (lost_mm, lost_mm, 0)
    told = "go to 30" if lost_mm else "lift the tines, as services may be buried near"
    assert f"the task data tells the machine to {told}" in (tmp_path / "out" / "report.html").read_text()


def test_a_result_is_replaced_by_the_next_and_never_with_a_note_beside_it(run: PaddockRun, tmp_path: Path) -> None:
    out, settings = tmp_path / "out", OutputSettings()
    write_outputs(run, settings, out)
    write_outputs(run, OutputSettings(formats=("geojson",)), out)
    assert not (out / "report.html").exists()
    (out / "notes.txt").write_text("mine")
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    with pytest.raises(HardpanError, match=r"holds notes\.txt"):
        write_outputs(run, settings, out)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def exclusions(*buried: bool) -> pd.DataFrame:
    return pd.DataFrame({"buried": pd.Series(buried, dtype=bool)})


def test_tines_come_up_where_anything_is_buried():
    assert depth_without_position(ZONES, exclusions(False, True)) == 0


def test_with_nothing_buried_it_is_the_shallowest_planned_depth():
    assert depth_without_position(ZONES, exclusions()) == 300
    assert depth_without_position(ZONES, exclusions(False)) == 300


def test_with_nothing_to_rip_the_tines_stay_up():
    assert depth_without_position(ZONES.assign(depth_mm=0), exclusions()) == 0
