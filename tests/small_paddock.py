"""A small invented paddock as files, in which any table of the configuration can be spoilt."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

WEST_M, SOUTH_M, SIDE_M = 500_000.0, 6_600_000.0, 200.0
DEPTHS_MM = np.arange(50, 701, 50)
SITES = ((30, 40), (100, 30), (170, 50), (40, 160), (110, 170), (160, 150))


def rectangle(west: float, south: float, width: float, height: float) -> list[list[float]]:
    """Ring of a rectangle, metres from the paddock's south-west corner."""
    x, y = WEST_M + west, SOUTH_M + south
    return [[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]


@dataclass(frozen=True, kw_only=True)
class Small:
    """Files of a paddock of 4 ha with a pan from 250 to 400 mm; `tables` replaces lines of the configuration."""

    ring: Sequence[Sequence[float]] = tuple(map(tuple, rectangle(0, 0, SIDE_M, SIDE_M)))
    sites: Sequence[tuple[float, float]] = SITES
    seen_to_mm: float = 700.0
    """Depth the probe reached."""
    threshold_kpa: float = 2500.0
    exclusion: Sequence[Sequence[float]] | None = None
    tables: Mapping[str, str] = field(default_factory=dict)
    """Table to its lines, in TOML."""

    def write(self, folder: Path) -> Path:
        """Write the files and give the configuration's path."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "boundary.geojson").write_text(_features("Polygon", [[self.ring]]))
        (folder / "probes.csv").write_text("\n".join(self._rows()) + "\n")
        given = {
            "paddock": 'name = "small"\nboundary = "boundary.geojson"',
            "probes": 'file = "probes.csv"\nresistance_unit = "kPa"\ncrs = "EPSG:32751"',
            "pan": f"critical_kpa = {self.threshold_kpa}",
            "soil": 'default_type = "deep sand"',
            "surfaces": "draws = 20",
        }
        if self.exclusion is not None:
            (folder / "exclusions.geojson").write_text(_features("Polygon", [[self.exclusion]]))
            given["paddock"] += '\nexclusions = "exclusions.geojson"'
        tables = {name: _joined(given.get(name, ""), self.tables.get(name, "")) for name in {**given, **self.tables}}
        path = folder / "paddock.toml"
        path.write_text("\n".join(f"[{name}]\n{lines}" for name, lines in sorted(tables.items())))
        return path

    def _rows(self) -> list[str]:
        rows = ["site,x,y," + ",".join(f"{depth} mm" for depth in DEPTHS_MM)]
        for number, (east, north) in enumerate(self.sites, start=1):
            kpa = np.where((DEPTHS_MM > 250) & (DEPTHS_MM < 400), 3400 + 20 * number, 900 + 5 * number)
            cells = [
                f"{value}" if depth <= self.seen_to_mm else "" for depth, value in zip(DEPTHS_MM, kpa, strict=True)
            ]
            rows.append(f"S{number},{WEST_M + east:.2f},{SOUTH_M + north:.2f}," + ",".join(cells))
        return rows


def _joined(given: str, changed: str) -> str:
    """Lines of a table, those of `changed` in place of those given for the same key."""
    keys = {line.partition("=")[0].strip() for line in changed.splitlines()}
    kept = [line for line in given.splitlines() if line.partition("=")[0].strip() not in keys]
    return "\n".join([*kept, *changed.splitlines()])


def _features(kind: str, coordinates: Sequence[object]) -> str:
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32751"}}
    features = [
        {"type": "Feature", "properties": {"name": f"f{n}"}, "geometry": {"type": kind, "coordinates": one}}
        for n, one in enumerate(coordinates, start=1)
    ]
    return json.dumps({"type": "FeatureCollection", "crs": crs, "features": features})
