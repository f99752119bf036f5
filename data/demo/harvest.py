"""The invented harvest after the pass: what a yield monitor logged where the check strips lie, with a monitor's faults.

`after_the_plan.py` calls it for the plan in a folder that `hardpan run` wrote. Each strip is cut in one pass along its
middle, which begins and ends in the crop beyond its ends.
"""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from generate import CRS, Floats, boundary, smooth_field, soil_map

SEED = 20264
YIELD_T_HA = {"deep sand": 2.1, "sand over clay": 2.6, "gravelly sand": 2.3, "sandy loam": 2.9}
"""Mean of unripped ground."""
GAIN_T_HA = {"deep sand": 0.70, "sand over clay": 0.35, "gravelly sand": 0.15, "sandy loam": 0.0}
"""What ripped ground yields more: much on the sand, little on the gravel."""
FIELD_T_HA = {120.0: 0.22, 28.0: 0.18}
"""Standard deviation of the yield's fields by their length, m."""
NOISE_T_HA = 0.10
HEADLAND_M, HEADLAND_SHARE = 25.0, 0.8
"""Where machines turn less is left standing."""
SWATH_M, SPEED_MS, EVERY_S = 12.0, 1.6, 2.0
BEYOND_M = 140.0
"""Ground cut before and after a strip."""
DELAY_S, SMEAR_S = 11.0, 2.5
"""Grain comes so long after it was cut, and mixed with what was cut so many seconds before and after."""
TURN_S = 45.0
SPIKES = 0.008
"""Share of points at which the sensor jumps."""


class Ground:
    """Yield of every place, t/ha, as the plan left the ground."""

    def __init__(self, zones: list[dict], rng: np.random.Generator) -> None:
        """Take zones of record.json, strips and exclusions among them."""
        shapes = [shapely.from_wkt(zone["geometry"]) for zone in zones]
        worked = [shape for zone, shape in zip(zones, shapes, strict=True) if zone["depth_mm"] > 0]
        self._ripped = shapely.union_all(worked)
        self._inner = boundary().buffer(-HEADLAND_M)
        self._soils = soil_map()
        self._fields = [(sd, smooth_field(rng, length)) for length, sd in FIELD_T_HA.items()]
        shapely.prepare([self._ripped, self._inner])

    def yield_at(self, x_m: Floats, y_m: Floats) -> Floats:
        """Yield at places in UTM zone 51 south."""
        points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(x_m, y_m), crs=CRS)
        soil = points.sjoin_nearest(self._soils, how="left")["soil_type"]
        soil = soil[~soil.index.duplicated()]
        told = soil.map(YIELD_T_HA).to_numpy() + sum(sd * at(x_m, y_m) for sd, at in self._fields)
        told = told + soil.map(GAIN_T_HA).to_numpy() * shapely.contains_xy(self._ripped, x_m, y_m)
        return np.asarray(told * np.where(shapely.contains_xy(self._inner, x_m, y_m), 1.0, HEADLAND_SHARE))


def passes(strips: gpd.GeoDataFrame) -> list[Floats]:
    """Start and end, (2, 2), of the pass along each strip, up one and down the next."""
    found = []
    for shape, heading_deg in zip(strips.geometry, strips["heading_deg"], strict=True):
        way = np.array([np.sin(np.radians(heading_deg)), np.cos(np.radians(heading_deg))])
        reach_m = np.ptp(shapely.get_coordinates(shape) @ way) / 2 + BEYOND_M
        middle = np.array(shape.centroid.coords[0])
        line = shapely.intersection(shapely.LineString([middle - reach_m * way, middle + reach_m * way]), boundary())
        ends = shapely.get_coordinates(line)[[0, -1]]
        found.append(ends if len(found) % 2 else ends[::-1])
    return found


def monitored(ends: Floats, ground: Ground, rng: np.random.Generator) -> pd.DataFrame:
    """One pass as logged: late, smeared, filling at its start, with a spike here and there."""
    length_m = float(np.hypot(*(ends[1] - ends[0])))
    way = (ends[1] - ends[0]) / length_m
    second = np.arange(0.0, length_m / SPEED_MS)
    cut = ground.yield_at(*(ends[0] + SPEED_MS * second[:, None] * way).T)
    around_s = np.arange(-4.0, 5.0)
    kernel = np.exp(-0.5 * (around_s / SMEAR_S) ** 2)
    flow = np.convolve(np.pad(cut, (int(DELAY_S), 0)), kernel / kernel.sum(), mode="same")[: len(second)]
    at = np.arange(0, len(second), int(EVERY_S))
    value = np.maximum(flow[at] + NOISE_T_HA * rng.standard_normal(len(at)) * (flow[at] > 0), 0.0)
    value = np.where(rng.random(len(at)) < SPIKES, 2.2 * value, value)
    x_m, y_m = (ends[0] + SPEED_MS * second[at, None] * way).T + rng.normal(0.0, 0.05, (2, len(at)))
    return pd.DataFrame(
        {
            "x": x_m,
            "y": y_m,
            "time": second[at],
            "yield": value,
            "speed": 3.6 * SPEED_MS * (1.0 + 0.02 * rng.standard_normal(len(at))),
            "swath": SWATH_M,
            "moisture": 10.5 + 0.3 * rng.standard_normal(len(at)),
        }
    )


def points(result: Path) -> pd.DataFrame:
    """Points of the monitor for the plan in a folder, columns as in yield.csv."""
    rng = np.random.default_rng(SEED)
    zones = json.loads((result / "record.json").read_text(encoding="utf-8"))["zones"]
    strips = gpd.read_file(result / "strips.geojson").to_crs(CRS).sort_values(["pair", "treatment"])
    ground, parts, clock_s = Ground(zones, rng), [], 28_800.0
    for ends in passes(strips):
        logged = monitored(ends, ground, rng)
        parts.append(logged.assign(time=logged["time"] + clock_s))
        clock_s += float(logged["time"].iloc[-1]) + TURN_S
    table = pd.concat(parts, ignore_index=True)
    place = gpd.GeoSeries(gpd.points_from_xy(table["x"], table["y"]), crs=CRS).to_crs("EPSG:4326")
    return pd.DataFrame(
        {
            "longitude": place.x.round(6),
            "latitude": place.y.round(6),
            "time s": table["time"].round(0).astype(int),
            "yield t/ha": table["yield"].round(2),
            "speed km/h": table["speed"].round(1),
            "swath m": table["swath"],
            "moisture %": table["moisture"].round(1),
        }
    )
