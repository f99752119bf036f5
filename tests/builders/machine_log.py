"""Machines' logs made by hand: ISO 11783-10 time logs with a known pattern, and passes over a known plan."""

import struct
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from builders.after import CRS, EAST, NORTH
from hardpan.records.after import Earlier
from hardpan.records.applied import LOG, AppliedSettings, MachineLog

DAY = 17294
"""2027-05-08, days since 1980-01-01."""
ENTRIES = ("0034", "008D", "0043", "0094")
"""Depth, work state, width, fuel."""
WIDTH_M = 4.0
SPLIT = EAST + 200.0
"""Border between the two zones of the plan."""
SHALLOW_MM, DEEP_MM = 300.0, 450.0

TASK = """<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="t" \
ManagementSoftwareVersion="1" DataTransferOrigin="2">
<DVC A="DVC-1" D="A000000000000000" F="31000000000000" G="FF000000000000"><DET A="DET-1" B="1" C="1" E="0" F="0"/></DVC>
<TSK A="TSK-1" G="4">{logs}</TSK></ISO11783_TaskData>"""
HEADER = '<TIM A="" D="4"><PTN A="" B="" D=""/>{entries}</TIM>'


@dataclass
class Record:
    """One record of a time log."""

    ms: int
    latitude: float
    longitude: float
    values: Sequence[tuple[int, int]] = ()
    """Place of the entry in the header, and value."""
    status: int = 4
    day: int = DAY

    def packed(self) -> bytes:
        """Bytes of the record: little-endian, no padding."""
        place = round(self.latitude * 1e7), round(self.longitude * 1e7)
        head = struct.pack("<IHiiBB", self.ms, self.day, *place, self.status, len(self.values))
        return head + b"".join(struct.pack("<Bi", at, value) for at, value in self.values)


@dataclass
class TaskData:
    """Files of a task data folder."""

    logs: dict[str, bytes] = field(default_factory=dict)
    entries: Sequence[str] = ENTRIES
    header: str = HEADER

    def files(self) -> dict[str, bytes]:
        """Name to content."""
        entries = "".join(f'<DLV A="{ddi}" B="" C="DET-1"/>' for ddi in self.entries)
        logs = "".join(f'<TLG A="{name}" C="1"/>' for name in self.logs)
        found = {"TASKDATA.XML": TASK.format(logs=logs).encode()}
        for name, blob in self.logs.items():
            found |= {f"{name}.xml": self.header.format(entries=entries).encode(), f"{name}.bin": blob}
        return found

    def folder(self, path: Path) -> Path:
        """Folder with the files."""
        path.mkdir()
        for name, blob in self.files().items():
            (path / name).write_bytes(blob)
        return path

    def zipped(self, path: Path) -> Path:
        """Zip of the files, in a folder of their own."""
        with zipfile.ZipFile(path, "w") as archive:
            for name, blob in self.files().items():
                archive.writestr(f"TASKDATA/{name}", blob)
        return path


def packed(records: Sequence[Record]) -> bytes:
    """Content of a time log."""
    return b"".join(record.packed() for record in records)


def plan(**about) -> Earlier:
    """Two zones to rip side by side, 300 and 450 mm, and a strip that is left: 400 m by 80 m and 400 m by 20 m."""
    rows = [
        {"zone": 1, "depth_mm": SHALLOW_MM, "setup": "winged", "speed_kmh": 7.2, "hours": 0.7, "fuel_l": 40.0},
        {"zone": 2, "depth_mm": DEEP_MM, "setup": "winged", "speed_kmh": 7.2, "hours": 0.7, "fuel_l": 50.0},
        {"zone": 3, "depth_mm": 0, "setup": "", "speed_kmh": 0.0, "hours": np.nan, "fuel_l": np.nan},
    ]
    shapes = [
        shapely.box(EAST, NORTH, SPLIT, NORTH + 80),
        shapely.box(SPLIT, NORTH, EAST + 400, NORTH + 80),
        shapely.box(EAST, NORTH + 80, EAST + 400, NORTH + 100),
    ]
    zones = gpd.GeoDataFrame(
        [{"kind": "ground", "soil_type": "deep sand", "width_m": WIDTH_M, "spacing_mm": 500.0, **row} for row in rows],
        geometry=shapes, crs=CRS,
    )  # fmt: skip
    zones["area_ha"] = zones.geometry.area / 1e4
    about = {"settings": {"prescription": {"step_mm": 25.0}}, **about}
    return Earlier(
        name="Invented", crs=CRS, boundary=shapely.union_all(shapes), threshold_kpa=2500.0, zones=zones,
        readings=pd.DataFrame(), models=pd.DataFrame(), **about,
    )  # fmt: skip


def passes(late_s: float = 0.0, lines: Sequence[int] = range(20), every_s: float = 1.0) -> pd.DataFrame:
    """Twenty passes there and back over the zones of `plan` at 2 m/s, lifted on a headland outside, 20 L/h.

    Depth follows the plan `late_s` late, at once.
    """
    rows, now = [], 0.0
    for number in lines:
        way = np.arange(-12.0, 412.0, 2.0 * every_s)
        x = way if number % 2 == 0 else 400.0 - way
        then = x - (1 if number % 2 == 0 else -1) * 2.0 * late_s
        inside = (x >= 0) & (x <= 400)
        depth = np.where(inside, np.where(then < 200, SHALLOW_MM, DEEP_MM), 0.0)
        time_s = now + every_s * np.arange(len(way))
        y = NORTH + WIDTH_M * (number + 0.5)
        rows.append(pd.DataFrame({"time_s": time_s, "x_m": EAST + x, "y_m": y, "depth_mm": depth}))
        now = time_s[-1] + every_s
    log = pd.concat(rows, ignore_index=True)
    log["working"] = (log["depth_mm"] > 0).astype(float)
    return log.assign(
        stretch=0, fix=True, speed_kmh=np.nan, width_m=WIDTH_M, fuel_l=20.0 * log["time_s"] / 3600.0
    )[list(LOG)]  # fmt: skip


def machine_log(records: pd.DataFrame, **settings) -> MachineLog:
    """A log as the reader gives it."""
    asked = AppliedSettings(file="log.csv", **settings)
    return MachineLog(name="log.csv", records=records, settings=asked, digests=pd.Series(dtype=object), issues=())


def in_degrees(records: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude of the records."""
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    return back.transform(records["x_m"].to_numpy(), records["y_m"].to_numpy())


def time_log(records: pd.DataFrame) -> bytes:
    """The records as a time log, each value written where it changes."""
    longitude, latitude = in_degrees(records)
    table = records[["depth_mm", "working", "width_m", "fuel_l"]].to_numpy() * np.array([1.0, 1.0, 1000.0, 1000.0])
    out, last = [], [None] * 4
    for at, row in enumerate(table.round().astype(int).tolist()):
        new = [(entry, value) for entry, value in enumerate(row) if value != last[entry]]
        last = row
        ms = 8 * 3_600_000 + round(1000 * records["time_s"].iloc[at])
        out.append(Record(ms=ms, latitude=latitude[at], longitude=longitude[at], values=new))
    return packed(out)
