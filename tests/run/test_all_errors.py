"""All that is wrong with a configuration and its files is told in one pass."""

import pytest
from typer.testing import CliRunner

from hardpan.cli import app
from small_paddock import Small


def refused(command, path, tmp_path):
    words = [command, str(path)] + ([] if command == "check" else ["--out", str(tmp_path / "out")])
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 2
    assert not (tmp_path / "out").exists()
    return result.stderr.strip().splitlines()


@pytest.mark.parametrize("command", ["check", "run"])
def test_every_wrong_key_of_a_configuration_is_one_line_of_a_list(tmp_path, command):
    tables = {"pan": "critical_kp = 2000\nslice_mm = -1", "zones": "counts = 3"}
    lines = refused(command, Small(tables=tables).write(tmp_path / "in"), tmp_path)
    assert len(lines) == 3
    assert all(line.startswith("hardpan: paddock.toml: ") for line in lines)
    assert all(any(key in line for line in lines) for key in ("pan.critical_kp", "pan.slice_mm", "zones.counts"))


@pytest.mark.parametrize("command", ["check", "run"])
def test_missing_files_and_unknown_names_are_told_together(tmp_path, command):
    tables = {"machine": 'tractor = "trackd-370kw"', "soil": 'polygons = "nowhere.gpkg"', "probes": 'file = "gone.csv"'}
    lines = refused(command, Small(tables=tables).write(tmp_path / "in"), tmp_path)
    assert len(lines) == 3
    assert "did you mean 'tracked-370kw'" in lines[0]
    assert "no such file for the probe readings" in lines[1]
    assert "no such file for the soil polygons" in lines[2]


@pytest.mark.parametrize("command", ["check", "run", "sites"])
def test_a_wrong_key_does_not_hide_what_is_wrong_with_the_files(tmp_path, command):
    tables = {"zones": "counts = 3", "soil": 'polygons = "nowhere.gpkg"', "machine": 'tractor = "trackd-370kw"'}
    lines = refused(command, Small(tables=tables).write(tmp_path / "in"), tmp_path)
    assert len(lines) == 3
    assert "zones.counts" in lines[0]
    assert "did you mean 'tracked-370kw'" in lines[1]
    assert "no such file for the soil polygons" in lines[2]


def test_files_of_a_table_with_a_wrong_key_are_looked_for_but_not_interpreted(tmp_path):
    """The unit is stated under a misspelt key: that nobody states it would be no news."""
    path = Small(tables={"paddock": 'exclusions = "gone.geojson"'}).write(tmp_path / "in")
    text = path.read_text().replace("resistance_unit", "resistence_unit").replace("boundary.geo", "bounds.geo")
    path.write_text(text)
    lines = refused("check", path, tmp_path)
    assert len(lines) == 3
    assert "did you mean 'resistance_unit'" in lines[0]
    assert "no such file for the boundary" in lines[1]
    assert "no such file for the exclusions" in lines[2]


@pytest.mark.parametrize("boundary", ["missing", "damaged", "a point"])
def test_a_broken_boundary_does_not_hide_what_is_wrong_with_the_other_files(tmp_path, boundary):
    tables = {
        "soil": 'polygons = "boundary2.geojson"\ntype_field = "texture"\ncores = "cores.csv"',
        "sites": 'tramlines = "gone.gpkg"',
        "surfaces": 'covariates = ["boundary2.geojson"]',
    }
    path = Small(tables=tables).write(tmp_path / "in")
    folder = path.parent
    (folder / "boundary2.geojson").write_text((folder / "boundary.geojson").read_text())
    (folder / "cores.csv").write_text("a,b\n1,2\n")
    (folder / "probes.csv").write_text((folder / "probes.csv").read_text().replace(" mm", ""))
    if boundary == "missing":
        (folder / "boundary.geojson").unlink()
    elif boundary == "damaged":
        (folder / "boundary.geojson").write_text("{")
    else:
        point = '{"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [120, -31]}}'
        (folder / "boundary.geojson").write_text(point)
    lines = refused("check", path, tmp_path)
    assert len(lines) == 6, lines
    told = ("boundary", "depth", "soil", "cores", "raster", "gone.gpkg")
    assert [word for word, line in zip(told, lines, strict=True) if word not in line] == []


def test_a_wrong_unit_and_an_unknown_crs_of_one_table_are_two_lines(tmp_path):
    path = Small().write(tmp_path / "in")
    text = path.read_text().replace('resistance_unit = "kPa"\n', "").replace('crs = "EPSG:32751"', "")
    path.write_text(text)
    lines = refused("check", path, tmp_path)
    assert len(lines) == 2
    assert "positions state no CRS" in lines[0]
    assert "unit of resistance is stated nowhere" in lines[1]


def test_a_missing_response_file_does_not_hide_a_wrong_key(tmp_path):
    tables = {"soil": 'response = "gone.toml"', "zones": "counts = 3"}
    lines = refused("check", Small(tables=tables).write(tmp_path / "in"), tmp_path)
    assert len(lines) == 2
    assert "gone.toml" in lines[0]
    assert "zones.counts" in lines[1]
