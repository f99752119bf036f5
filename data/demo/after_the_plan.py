"""The invented season after the pass: insertions beside the tines and on unripped ground.

`python data/demo/after_the_plan.py RESULT` writes after.csv beside this file, from the plan in the folder that
`hardpan run` wrote for demo.toml: worked as planned but for one zone, in which the tines ran shallow. It writes
applied.zip too, the machine's log of that pass (`machine_log.py`), and yield.csv, the harvest of the check strips
(`harvest.py`).
"""

import json
import sys
from pathlib import Path

import harvest
import machine_log
import numpy as np
import pandas as pd
import pyproj
import shapely
from generate import CRS, DEPTHS_MM, HERE, profile_kpa, truth_at

SEED, LOG_SEED = 20262, 20264
SITES, CONTROLS = 5, 3
"""Sites in each ripped zone, and on unripped ground beside it."""
DRYNESS = 0.85
"""Soil is wetter than at the survey: unripped ground reads so much softer."""
SHALLOW_MM = 130.0
"""How much too shallow the tines ran in the zone with the largest number."""
POSITIONS = {"line": 0.0, "quarter": 0.25, "midway": 0.5}
"""Distance from the line of a tine over the spacing."""
APART_M = 60.0
"""Sites keep so far from one another."""


def loose_to_mm(zone: dict, off_mm: float, depth_mm: float) -> float:
    """Depth down to which the tines loosened the ground beside their line."""
    beside = max(off_mm - zone["foot_mm"] / 2, 0.0)
    if beside == 0.0:
        return depth_mm
    return max(min(depth_mm, zone["critical_mm"]) - beside * np.tan(np.radians(zone["side_deg"])), 0.0)


def sites_in(shape: shapely.Geometry, n: int, rng: np.random.Generator, apart_m: float) -> list[tuple[float, float]]:
    """Places in a shape that keep apart from one another, fewer where there is no room."""
    west, south, east, north = shape.bounds
    found: list[tuple[float, float]] = []
    for _ in range(5000):
        place = (rng.uniform(west, east), rng.uniform(south, north))
        clear = all(np.hypot(place[0] - x, place[1] - y) > apart_m for x, y in found)
        if len(found) < n and clear and shapely.contains_xy(shape, *place):
            found.append(place)
    return found


def unripped_beside(zone: dict, zones: list[dict]) -> shapely.Geometry:
    """Unripped ground near a zone, on its own soil type where there is any."""
    left = [one for one in zones if one["depth_mm"] == 0 and one["kind"] != "exclusion"]
    same = [one for one in left if one["soil_type"] == zone["soil_type"]]
    for some in (same, left):
        ground = shapely.union_all([shapely.from_wkt(one["geometry"]) for one in some])
        near = shapely.intersection(ground, shapely.buffer(shapely.from_wkt(zone["geometry"]), 150.0))
        if near.area > 1000.0:
            return near
    return ground


def insertions(record: dict, rng: np.random.Generator) -> pd.DataFrame:
    """One row an insertion, columns as in probes.csv and `position`."""
    zones = record["zones"]
    ripped = [zone for zone in zones if zone["depth_mm"] > 0]
    rows: list[dict] = []
    for zone in ripped:
        depth_mm = zone["depth_mm"] - (SHALLOW_MM if zone is ripped[-1] else 0.0)
        inner = shapely.buffer(shapely.from_wkt(zone["geometry"]), -15.0)
        for place in sites_in(inner, SITES, rng, APART_M):
            name = f"R{zone['zone']}-{len(rows)}"
            for number, (position, share) in enumerate(POSITIONS.items()):
                loose_mm = loose_to_mm(zone, share * zone["spacing_mm"], depth_mm) + rng.normal(0, 12)
                about = {"site": name, "rep": number + 1, "position": position}
                rows.append(insertion(about, place, loose_mm, rng))
        ground = unripped_beside(zone, zones)
        for place in sites_in(ground, CONTROLS, rng, 25.0):
            about = {"site": f"C{zone['zone']}-{len(rows)}", "rep": 1, "position": "control"}
            rows.append(insertion(about, place, 0.0, rng))
    return pd.DataFrame(rows)


def insertion(about: dict, place: tuple[float, float], loose_mm: float, rng: np.random.Generator) -> dict[str, object]:
    """One push: loose ground above, the pan as it was below."""
    truth = truth_at(np.array([place[0]]), np.array([place[1]])).iloc[0]
    kpa = profile_kpa(truth, rng, DRYNESS)
    loose = np.minimum(kpa, rng.normal(650, 120, kpa.size).clip(150))
    kpa = np.where(loose_mm >= DEPTHS_MM, loose, kpa)
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = back.transform(*place)
    cells = {f"{depth:.0f} mm": round(float(value), -1) for depth, value in zip(DEPTHS_MM, kpa, strict=True)}
    return {**about, "longitude": round(longitude, 7), "latitude": round(latitude, 7), "date": "2027-05-20", **cells}


def main(result: Path, folder: Path = HERE) -> None:
    """Write the season's files for the plan in a folder."""
    record = json.loads((result / "record.json").read_text(encoding="utf-8"))
    table = insertions(record, np.random.default_rng(SEED))
    table.to_csv(folder / "after.csv", index=False, lineterminator="\n")
    last = max(zone["zone"] for zone in record["zones"] if zone["depth_mm"] > 0)
    log = machine_log.task_data(record["zones"], {last: SHALLOW_MM}, np.random.default_rng(LOG_SEED))
    (folder / "applied.zip").write_bytes(log)
    harvest.points(result).to_csv(folder / "yield.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
