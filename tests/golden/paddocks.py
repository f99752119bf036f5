"""Three invented paddocks: a metric sandplain, a coastal field in US units, and one of which little is known.

Places, soils, readings and prices are made up. Each is small, and is run once, through the command line.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer
from typer.testing import CliRunner

from hardpan.cli import app
from hardpan.records.evidence import PaddockRun
from hardpan.run import chain

INCH_MM, PSI_KPA = 25.4, 6.894757


@dataclass(frozen=True, kw_only=True)
class Ran:
    """What one `hardpan run` left and said."""

    run: PaddockRun
    folder: Path
    said: str
    """Standard output."""


@dataclass(frozen=True, kw_only=True)
class Ground:
    """A rectangle of invented ground, metres east and north of a corner."""

    epsg: int
    corner: tuple[float, float]
    wide: float
    high: float

    def degrees(self, points: Sequence[tuple[float, float]]) -> list[list[float]]:
        """Longitude and latitude of points on it."""
        to = Transformer.from_crs(self.epsg, 4326, always_xy=True)
        return [list(to.transform(self.corner[0] + x, self.corner[1] + y)) for x, y in points]

    def box(self, west: float, south: float, wide: float, high: float) -> list[list[list[float]]]:
        """Rings of a rectangle on it."""
        corners = [(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)]
        return [self.degrees([(west + wide * x, south + high * y) for x, y in corners])]

    @property
    def all(self) -> list[list[list[float]]]:
        """Rings of its outline."""
        return self.box(0, 0, self.wide, self.high)

    def sites(self, across: int, up: int) -> list[tuple[float, float]]:
        """Places of a jittered grid of probe sites."""
        rng = np.random.default_rng(self.epsg)
        step = np.array([self.wide / across, self.high / up])
        grid = np.array([(x + 0.5, y + 0.5) for y in range(up) for x in range(across)])
        places = (grid + rng.uniform(-0.3, 0.3, grid.shape)) * step
        return [(float(x), float(y)) for x, y in places]


def _features(path: Path, *features: tuple[dict[str, object], str, object]) -> None:
    listed = [
        {"type": "Feature", "properties": says, "geometry": {"type": kind, "coordinates": where}}
        for says, kind, where in features
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": listed}), encoding="utf-8")


def _pan_kpa(depth_mm: np.ndarray, top_mm: float, bottom_mm: float, peak_kpa: float, soft_kpa: float) -> np.ndarray:
    """Cone index of a profile with a pan between two depths, on ground that grows harder slowly."""
    middle, half = (top_mm + bottom_mm) / 2, (bottom_mm - top_mm) / 2
    # the threshold of 2500 kPa is passed at the edges, where half of the rise above the soft ground is taken
    rise = np.clip(1.5 - np.abs(depth_mm - middle) / half, 0, 1)
    return np.asarray(soft_kpa + 0.6 * depth_mm + (peak_kpa - soft_kpa) * rise)


def sandplain(folder: Path) -> Path:
    """18 ha of sandplain in MPa and cm with two soils, a rock and a buried pipe."""
    ground = Ground(epsg=32750, corner=(466_000.0, 6_742_000.0), wide=600.0, high=300.0)
    _features(folder / "boundary.geojson", ({"name": "North run (invented)"}, "Polygon", ground.all))
    _features(
        folder / "soils.geojson",
        ({"soil_type": "deep sand"}, "Polygon", ground.box(0, 0, 330, 300)),
        ({"soil_type": "sandy loam"}, "Polygon", ground.box(330, 0, 270, 300)),
    )
    _features(
        folder / "keep-out.geojson",
        ({"name": "rock heap", "kind": "rock", "buffer_m": 6}, "Point", ground.degrees([(150, 210)])[0]),
        ({"name": "water pipe", "kind": "pipe", "buffer_m": 2}, "LineString", ground.degrees([(480, 0), (480, 300)])),
    )
    depths_cm = np.arange(5, 71, 5)
    rng = np.random.default_rng(14)
    rows = ["Site,Longitude,Latitude," + ",".join(f"{cm} cm (MPa)" for cm in depths_cm)]
    places = ground.sites(6, 4)
    for number, ((x, _), place) in enumerate(zip(places, ground.degrees(places), strict=True), start=1):
        top, bottom = (250.0, 400.0) if x > 330 else (280.0, 480.0)
        kpa = _pan_kpa(depths_cm * 10.0, top, bottom + rng.normal(0, 15), 3900 + rng.normal(0, 120), 700)
        cells = ",".join(f"{value / 1000:.2f}" for value in kpa + rng.normal(0, 60, kpa.size))
        rows.append(f"S{number},{place[0]:.6f},{place[1]:.6f},{cells}")
    (folder / "probes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return _config(
        folder,
        """
        [paddock]
        name = "North run (invented)"
        boundary = "boundary.geojson"
        exclusions = "keep-out.geojson"
        [probes]
        file = "probes.csv"
        crs = "EPSG:4326"
        [soil]
        polygons = "soils.geojson"
        [soil.types."deep sand"]
        first_year_gain = { value = 0.7, low = 0.4, high = 1.0, unit = "t/ha", source = "user" }
        [surfaces]
        cell_m = 10
        node_m = 30
        draws = 60
        [zones]
        heading_deg = 90
        [season]
        moist_depth_mm = 700
        [prices]
        grain_per_t = 340.0
        [outputs]
        formats = ["geojson", "isoxml", "report", "job-card"]
        """,
    )


def coast(folder: Path) -> Path:
    """30 acres of a US coastal field: psi and inches, an own ripper, own gain and prices in dollars, US units out."""
    ground = Ground(epsg=32617, corner=(600_000.0, 3_770_000.0), wide=400.0, high=300.0)
    _features(folder / "field.geojson", ({"name": "Field 7 (invented)"}, "Polygon", ground.all))
    _features(
        folder / "drain.geojson",
        ({"name": "tile main", "kind": "drain", "buffer_m": 3}, "LineString",
         ground.degrees([(0, 60), (400, 60)])),
    )  # fmt: skip
    inches = np.arange(1, 25)
    rng = np.random.default_rng(7)
    rows = ["point,lon,lat,rep," + ",".join(f"{inch} in" for inch in inches)]
    places = ground.sites(5, 4)
    for number, ((x, _), place) in enumerate(zip(places, ground.degrees(places), strict=True), start=1):
        for rep in (1, 2):
            bottom = (13.0 + 4.0 * x / 400) * INCH_MM + rng.normal(0, 12)
            kpa = _pan_kpa(inches * INCH_MM, 8 * INCH_MM, bottom, 4100 + rng.normal(0, 150), 600)
            cells = ",".join(f"{value / PSI_KPA:.0f}" for value in kpa + rng.normal(0, 60, kpa.size))
            rows.append(f"P{number},{place[0]:.6f},{place[1]:.6f},{rep},{cells}")
    (folder / "probes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return _config(
        folder,
        """
        [paddock]
        name = "Field 7 (invented)"
        boundary = "field.geojson"
        exclusions = "drain.geojson"
        [probes]
        file = "probes.csv"
        crs = "EPSG:4326"
        resistance_unit = "psi"
        [pan]
        critical_kpa = "350 psi"
        [soil]
        default_type = "deep sand"
        [soil.types."deep sand"]
        first_year_gain = { value = 500, low = 220, high = 780, unit = "lb/ac", source = "user" }
        [surfaces]
        cell_m = "33 ft"
        node_m = "130 ft"
        draws = 60
        [machine]
        tractor = "front-assist-220kw"
        [machine.ripper]
        like = "in-row-subsoiler"
        tines = 4
        spacing = "38 in"
        max_depth = "20 in"
        list_price = { value = 24000, low = 18000, high = 30000, unit = "USD", source = "user" }
        [prescription]
        user_uniform_depth_mm = "14 in"
        [season]
        crop = "maize"
        moist_depth_mm = "30 in"
        [prices]
        currency = "USD"
        exchange_rate = 0.65
        fuel_per_l = "3.80 USD/gal"
        labour_per_h = 24.0
        grain_per_t = "165 USD/ton"
        [outputs]
        units = "us"
        formats = ["geojson", "isoxml", "report", "job-card"]
        """,
    )


def minimal(folder: Path) -> Path:
    """12 ha of which only outline and readings are known."""
    ground = Ground(epsg=32754, corner=(520_000.0, 6_100_000.0), wide=400.0, high=300.0)
    _features(folder / "b.geojson", ({}, "Polygon", ground.all))
    depths_mm = np.arange(50, 701, 50)
    rng = np.random.default_rng(3)
    rows = ["site,longitude,latitude,depth_mm,cone_index_kpa"]
    places = ground.sites(4, 3)
    for number, place in enumerate(ground.degrees(places), start=1):
        kpa = _pan_kpa(depths_mm.astype(float), 240.0, 420.0 + rng.normal(0, 20), 4200, 800) + rng.normal(0, 50, 14)
        rows += [
            f"{number},{place[0]:.6f},{place[1]:.6f},{depth},{value:.0f}"
            for depth, value in zip(depths_mm, kpa, strict=True)
        ]
    (folder / "p.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return _config(
        folder,
        """
        [paddock]
        name = "Minimal (invented)"
        boundary = "b.geojson"
        [probes]
        file = "p.csv"
        """,
    )


PADDOCKS: dict[str, Callable[[Path], Path]] = {"sandplain": sandplain, "coast": coast, "minimal": minimal}


def _config(folder: Path, text: str) -> Path:
    path = folder / "paddock.toml"
    path.write_text("\n".join(line.strip() for line in text.strip().splitlines()) + "\n", encoding="utf-8")
    return path


def run_paddock_of(name: str, folder: Path) -> Ran:
    """The paddock of that name, written into `folder` and taken through `hardpan run`."""
    given, out, kept = folder / "given", folder / "out", []
    given.mkdir(parents=True)
    whole_run = chain.run_paddock

    def keep(*arguments: object) -> PaddockRun:
        kept.append(whole_run(*arguments))
        return kept[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(chain, "run_paddock", keep)
        result = CliRunner().invoke(app, ["run", str(PADDOCKS[name](given)), "--out", str(out)])
    if result.exit_code:
        message = f"{name}: exit {result.exit_code}: {result.stderr}"
        raise RuntimeError(message)
    return Ran(run=kept[0], folder=out, said=result.stdout)
