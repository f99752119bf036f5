"""All that is wrong with a configuration and its files is told in one pass."""

import pytest
from typer.testing import CliRunner

from hardpan.cli import app
from small_paddock import Small


def refused(command, path, tmp_path):
    words = [command, str(path)] + (["--out", str(tmp_path / "out")] if command == "run" else [])
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
