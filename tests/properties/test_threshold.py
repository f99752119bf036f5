"""A lower threshold calls more ground hard: all else equal it never means less ripping, nor less money."""

from datetime import UTC, datetime

import pytest

from hardpan.core.shipped import shipped
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock

pytestmark = pytest.mark.slow

THRESHOLDS_KPA = (1500.0, 2500.0, 3500.0)
"""Ends and middle of what is published for roots; what two of them differ by is more than the map's error."""


@pytest.fixture(scope="module")
def ripped():
    """Hectares ripped and net return of the demo paddock, coarser than shipped, by threshold."""
    config = read_config(shipped("demo") / "demo.toml")
    surfaces = config.surfaces.model_copy(update={"cell_m": 10.0, "draws": 50})
    found = []
    for kpa in THRESHOLDS_KPA:
        pan = config.pan.model_copy(update={"critical_kpa": kpa})
        at = config.model_copy(update={"pan": pan, "surfaces": surfaces})
        ours = run_paddock(at, Clock(now=datetime(2027, 3, 1, tzinfo=UTC))).ledger.strategies.iloc[0]
        found.append((float(ours["ripped_ha"]), float(ours["net"])))
    return found


def test_hectares_and_net_return_fall_as_the_threshold_rises(ripped):
    hectares, net = zip(*ripped, strict=True)
    assert hectares[0] > hectares[1] > hectares[2] > 0.0
    assert net[0] > net[1] > net[2] > 0.0
