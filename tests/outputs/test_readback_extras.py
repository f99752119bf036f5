"""KML and GeoParquet that do not say what the plan says stop the run too."""

import pytest

from hardpan.core.errors import HardpanError
from hardpan.outputs.agreement import expected_of
from hardpan.outputs.geodesy import to_display
from hardpan.outputs.kml_gpx import write_kml
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.readback import check_kml, check_parquet


@pytest.fixture
def planned(told):
    return told


def deeper(zones):
    """The first ripped zone 25 mm deeper than planned."""
    first = zones.index[zones["depth_mm"] > 0][0]
    changed = zones.copy()
    changed.loc[first, "depth_mm"] += 25
    return changed


def kml(path, zones):
    shown, _, _ = to_display(zones)
    write_kml(path, shown, dict.fromkeys(zones["zone"], "zone"), depth_colours(zones["depth_mm"]), title="Plan")


def parquet(path, zones):
    zones.to_parquet(path, index=False)


@pytest.mark.parametrize(("write", "check"), [(kml, check_kml), (parquet, check_parquet)])
def test_the_plan_passes_and_another_depth_does_not(planned, tmp_path, write, check):
    write(tmp_path / "a", planned)
    check(tmp_path / "a", expected_of(planned, seed=1))
    write(tmp_path / "b", deeper(planned))
    with pytest.raises(HardpanError, match=r"read back"):
        check(tmp_path / "b", expected_of(planned, seed=1))
