"""Every file is there, whole, and the same each time."""

from pathlib import Path

import pytest

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.records.evidence import PaddockRun


@pytest.fixture
def settings() -> OutputSettings:
    return OutputSettings()


def test_every_file_of_the_contract_is_written(run: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    written = write_outputs(run, settings, tmp_path / "out")
    assert {path.name for path in written} >= {
        "prescription.geojson", "prescription_shp.zip", "prescription.gpkg", "surfaces.tif", "zones.csv",
        "tallies.csv", "issues.csv", "report.html", "run.json",
    }  # fmt: skip
    assert all(path.is_file() for path in written)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_same_run_gives_the_same_bytes(run: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    first, second = (write_outputs(run, settings, tmp_path / name) for name in ("a", "b"))
    steady = [k for k, path in enumerate(first) if path.suffix in {".geojson", ".csv"}]
    assert len(steady) == 4
    assert all(first[k].read_bytes() == second[k].read_bytes() for k in steady)


def test_a_plan_with_nothing_to_rip_is_written(unripped: PaddockRun, settings: OutputSettings, tmp_path: Path) -> None:
    assert write_outputs(unripped, settings, tmp_path / "out")
