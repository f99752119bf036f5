"""Zoning of a large paddock: 180 ha at 5 m is to take under 3 s."""

import pytest
import shapely

from builders import zones as made
from hardpan.zones.settings import ZoneSettings


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_zones_of_180_ha_at_5_m(benchmark, method):
    duplex = shapely.Polygon([(0, 0), (500, 0), (380, 1200), (0, 1200)])
    pipe = shapely.LineString([(100, 900), (700, 700), (1400, 800)]).buffer(5)
    ground = made.paddock(
        side_m=(1500, 1200), cell_m=5, node_m=20, soils=[("duplex", duplex)], exclusions=[("pipe", pipe)]
    )
    zones = benchmark(made.zone, ground, ZoneSettings(method=method))
    assert zones.labels.size == 72_000
