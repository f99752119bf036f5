"""The invented log of the machine that ripped the demo paddock, as ISO 11783-10 task data.

The plan of a run is driven line by line: tines follow a new depth late and slowly, one zone is worked too shallow, two
lines are left out, and the receiver has no fix for a while.
"""

import io
import struct
import zipfile

import numpy as np
import pyproj
import shapely
import shapely.affinity
from generate import CRS, Floats

HEADING_DEG = 87.0
"""Lines run along the long side, as in demo.toml."""
LATE_S, RATE_MM_S = 1.5, 120.0
"""Tines begin to move so long after the border, and so fast."""
EVERY_S, FINE_S = 10, 2
"""Seconds between records, and while the depth changes."""
NOISE_MM = 6.0
CLEAR_M = 12.0
"""The operator lifts the tines so far before an exclusion."""
LIFTED_KMH, LIFTED_L_PER_H, HEADLAND_M = 9.0, 25.0, 10.0
SPEED, FUEL = 0.95, 1.06
"""Speed and fuel over those planned."""
SKIPPED = (60, 61)
"""Lines that were left out, by their place among all."""
NO_FIX = (0.4, 0.403)
"""Part of the records without a fix."""
START = (17294, 7 * 3600)
"""Day since 1980-01-01 (2027-05-08) and second of the day of the first record."""
DAY_S = 9 * 3600
"""Work stops after so long and goes on the next morning."""
ENTRIES = {"depth": "0034", "state": "008D", "width": "0043", "fuel": "0094"}
"""Values of a record by their entry in the data dictionary: mm, 0 or 1, mm, mL."""

_TASK = """<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="invented" \
ManagementSoftwareVersion="1" TaskControllerManufacturer="invented" TaskControllerVersion="1" DataTransferOrigin="2">
<DVC A="DVC-1" B="invented ripper" D="A000000000000000" F="31000000000000" G="FF000000000000">
<DET A="DET-1" B="1" C="1" D="ripper" E="0" F="0"/></DVC>
<TSK A="TSK-1" B="Ripping (invented)" G="4">{logs}</TSK>
</ISO11783_TaskData>
"""
_HEADER = """<?xml version="1.0" encoding="UTF-8"?>
<TIM A="" D="4"><PTN A="" B="" D=""/>{entries}</TIM>
"""


def runs(zones: list[dict], width_m: float) -> list[np.ndarray]:
    """Lines over the ripped ground in the order of driving, each from where it begins to where it ends, (2, 2)."""
    ripped = shapely.union_all([shapely.from_wkt(zone["geometry"]) for zone in zones if zone["depth_mm"] > 0])
    middle = ripped.centroid
    level = shapely.affinity.rotate(ripped, HEADING_DEG - 90.0, origin=middle)
    west, south, east, north = level.bounds
    found = []
    for number, y in enumerate(np.arange(south + width_m / 2, north, width_m)):
        on = shapely.intersection(level, shapely.LineString([(west, y), (east, y)]))
        if number in SKIPPED or on.is_empty:
            continue
        ends = shapely.get_coordinates(on)[:, 0]
        line = shapely.LineString([(ends.min(), y), (ends.max(), y)])
        ends = shapely.get_coordinates(shapely.affinity.rotate(line, 90.0 - HEADING_DEG, origin=middle))
        found.append(ends if len(found) % 2 == 0 else ends[::-1])
    return found


def driven(zones: list[dict], shallow: dict[int, float], rng: np.random.Generator) -> dict[str, Floats]:
    """Second by second: place, depth, work state, fuel burnt."""
    shapes = np.array([shapely.from_wkt(zone["geometry"]) for zone in zones])
    shut = shapely.union_all(shapes[[zone["kind"] == "exclusion" for zone in zones]])
    # tines are out of the ground before they reach what is buried
    tree = shapely.STRtree(shapely.difference(shapes, shapely.buffer(shut, CLEAR_M)))
    ripped = [zone["depth_mm"] > 0 for zone in zones]
    width_m = next(zone["width_m"] for zone in zones if zone["depth_mm"] > 0)
    depth = np.array([max(zone["depth_mm"] - shallow.get(zone["zone"], 0.0), 0.0) for zone in zones] + [0.0])
    kmh = np.array(
        [SPEED * zone["speed_kmh"] if rips else LIFTED_KMH for zone, rips in zip(zones, ripped, strict=True)]
    )
    l_per_h = np.array([FUEL * zone["fuel_l"] / zone["hours"] if rips else LIFTED_L_PER_H
                        for zone, rips in zip(zones, ripped, strict=True)] + [LIFTED_L_PER_H])  # fmt: skip
    kmh = np.r_[kmh, LIFTED_KMH]
    places, there, last = [], [], None
    for ends in runs(zones, width_m):
        ways = [ends] if last is None else [*headland(*last, ends[0]), ends]
        for number, way in enumerate(ways):
            at, zone = stepped(way, tree, kmh if number == len(ways) - 1 else np.full(len(kmh), LIFTED_KMH))
            places.append(at)
            there.append(zone if number == len(ways) - 1 else np.full(len(zone), -1))
        last = ends
    zone = np.concatenate(there)
    target = depth[zone]
    return {
        "xy": np.concatenate(places),
        "depth": followed(target),
        "state": (target > 0).astype(float),
        "fuel": np.cumsum(l_per_h[zone] / 3600.0),
        "noise": rng.normal(0.0, NOISE_MM, len(target)),
        "width": np.full(len(target), width_m),
    }


def headland(start: Floats, end: Floats, to: Floats) -> list[np.ndarray]:
    """Ways from the end of a run to the start of the next: out of the line, across, and in again."""
    out = (end - start) / np.hypot(*(end - start)) * HEADLAND_M
    return [np.array([end, end + out]), np.array([end + out, to + out]), np.array([to + out, to])]


def stepped(way: Floats, tree: shapely.STRtree, kmh: Floats) -> tuple[Floats, np.ndarray]:
    """Places second by second along a way (2, 2) at the speed of each zone, and the zone of each, -1 for none."""
    length = float(np.hypot(*(way[1] - way[0])))
    grid = np.arange(0.0, max(length, 2.0), 1.0)
    at, by = tree.query(shapely.points(way[0] + (way[1] - way[0]) * (grid / length)[:, None]), predicate="intersects")
    zone = np.full(len(grid), -1)
    zone[at[::-1]] = by[::-1]
    clock = np.cumsum(3.6 / kmh[zone])
    along = np.interp(np.arange(0.0, clock[-1]), clock, grid)
    nearest = np.clip(np.round(along).astype(int), 0, len(grid) - 1)
    return way[0] + (way[1] - way[0]) * (along / length)[:, None], zone[nearest]


def followed(target: Floats) -> Floats:
    """Depth of tines that follow a target second by second, late and slowly."""
    late = np.r_[np.full(2, target[0]), target[:-2]] * (LATE_S - 1.0) + np.r_[target[:1], target[:-1]] * (2.0 - LATE_S)
    out, now = np.empty(len(target)), 0.0
    for at, want in enumerate(late.tolist()):
        now += float(np.clip(want - now, -RATE_MM_S, RATE_MM_S))
        out[at] = now
    return out


def task_data(zones: list[dict], shallow: dict[int, float], rng: np.random.Generator) -> bytes:
    """The log as a zip of task data: records every few seconds, values where they change.

    Parameters
    ----------
    zones : list of dict
        Zones of record.json.
    shallow : dict
        How much too shallow the tines ran, mm, by zone.
    """
    pass_ = driven(zones, shallow, rng)
    moves = np.abs(np.diff(pass_["depth"], prepend=0.0)) > 1.0
    second = np.arange(len(moves))
    kept = (second % EVERY_S == 0) | (moves & (second % FINE_S == 0))
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    east, north = back.transform(*pass_["xy"][kept].T)
    depth = np.where(pass_["depth"] > 0, np.round((pass_["depth"] + pass_["noise"]) / 5.0) * 5.0, 0.0)[kept]
    values = np.column_stack(
        [depth, pass_["state"][kept], pass_["width"][kept] * 1000.0, np.round(pass_["fuel"][kept]) * 1000.0]
    )
    status = np.where((second[kept] / second[-1] > NO_FIX[0]) & (second[kept] / second[-1] < NO_FIX[1]), 0, 4)
    day = second[kept] // DAY_S
    files = {}
    for one in np.unique(day):
        at = np.flatnonzero(day == one)
        clock = (START[1] + second[kept][at] % DAY_S) * 1000
        rows = zip(clock.tolist(), north[at].tolist(), east[at].tolist(), status[at].tolist(), values[at], strict=True)
        files[f"TLG{int(one) + 1:05d}"] = records(START[0] + int(one), rows)
    return packed(files)


def records(day: int, rows: object) -> bytes:
    """Records of one day; a value stands in a record only where it changed."""
    out, last = io.BytesIO(), [None] * len(ENTRIES)
    for clock_ms, north, east, status, values in rows:
        new = [(at, int(value)) for at, value in enumerate(values) if int(value) != last[at]]
        out.write(struct.pack("<IHiiBB", clock_ms, day, round(north * 1e7), round(east * 1e7), status, len(new)))
        for at, value in new:
            out.write(struct.pack("<Bi", at, value))
            last[at] = value
    return out.getvalue()


def packed(files: dict[str, bytes]) -> bytes:
    """Zip of the task data; the same records give the same bytes."""
    entries = "".join(f'<DLV A="{ddi}" B="" C="DET-1"/>' for ddi in ENTRIES.values())
    logs = "".join(f'<TLG A="{name}" C="1"/>' for name in files)
    content = {"TASKDATA.XML": _TASK.format(logs=logs).encode()}
    for name, blob in files.items():
        content |= {f"{name}.XML": _HEADER.format(entries=entries).encode(), f"{name}.BIN": blob}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, blob in content.items():
            archive.writestr(zipfile.ZipInfo(f"TASKDATA/{name}", (2027, 5, 8, 0, 0, 0)), blob, zipfile.ZIP_DEFLATED, 9)
    return out.getvalue()
