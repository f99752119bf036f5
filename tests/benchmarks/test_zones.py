"""Zoning of a large paddock: 180 ha at 5 m is to take under 3 s."""

import importlib.util
from pathlib import Path

import pytest
import shapely

from hardpan.zones.settings import ZoneSettings
from hardpan.zones.stage import draw_zones


@pytest.mark.parametrize("method", ["kmeans", "mixture", "ward"])
def test_zones_of_180_ha_at_5_m(benchmark, method):
    spec = importlib.util.spec_from_file_location("zones_made", Path(__file__).parents[1] / "zones" / "paddocks.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    duplex = shapely.Polygon([(0, 0), (500, 0), (380, 1200), (0, 1200)])
    pipe = shapely.LineString([(100, 900), (700, 700), (1400, 800)]).buffer(5)
    ground = made.paddock(
        side_m=(1500, 1200), cell_m=5, node_m=20, soils=[("duplex", duplex)], exclusions=[("pipe", pipe)]
    )
    zones = benchmark(
        draw_zones, ground.surfaces, ground.options, ground.survey, made.RIPPER, ZoneSettings(method=method), seed=1
    )
    assert zones.labels.size == 72_000
