"""A survey over pad A, in which any input can be replaced by an awkward one."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from hardpan.records.survey import Survey
from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.survey.stage import read_survey

ROOT = Path(__file__).parents[2]
FOLDER = Path(__file__).with_name("files")


@dataclass(frozen=True)
class PadA:
    """Reads a survey of pad A; `probes`, `paddock`, `soil`, `grid` replace settings of the control set."""

    soil_types: dict

    def read(self, probes=None, paddock=None, soil=None, grid=None) -> Survey:
        return read_survey(
            PaddockSettings(**{"name": "pad A", "boundary": FOLDER / "00_control_boundary.geojson"} | (paddock or {})),
            ProbeSettings(**{"file": FOLDER / "00_control_good.csv"} | (probes or {})),
            SoilSettings(**{"default_type": "deep sand"} | (soil or {})),
            GridSettings(**{"cell_m": 5.0} | (grid or {})),
            self.soil_types,
        )


@pytest.fixture(scope="session")
def pad_a() -> PadA:
    config = read_config(ROOT / "data" / "demo" / "demo.toml")
    return PadA(read_catalog(config).soils)
