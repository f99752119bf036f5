"""What kind of paddock a seed stands for: every choice, drawn once, so that an ending can be judged by it."""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from whole.faults import FAULTS
from whole.options import draw_settings
from whole.places import PLACES, Place

OUTLINES = ("square", "round", "wavy", "star", "hook", "strip", "triangle")
RESISTANCE = ("kPa", "MPa", "psi", "kgf/cm2", "bar", "N")
DEPTH = {"mm": (25.0, 700.0), "cm": (2.5, 60.0), "m": (0.05, 0.8), "in": (1.0, 28.0)}
"""Unit of depth: step and deepest reading the survey set out for."""
LAYOUTS = ("wide", "wide", "wide", "long", "long", "long", "transposed", "blocks")
EXCLUSIONS = ("point", "point", "line", "line", "area", "area", "spot", "swathe")
VECTORS = ("geojson", "gpkg", "shp", "fgb", "kml")
MISSING = ("soils", "cores", "exclusions", "moisture", "covariates")


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """How a paddock is made; lengths in m, shares from 0 to 1."""

    seed: int
    place: Place
    longitude: float
    latitude: float
    working: str
    """What paddock.crs says."""
    boundary_crs: int
    boundary_format: str
    outline: str
    area_ha: float
    parts: int
    holes: int
    vertices: int
    """At least so many in the boundary."""
    clockwise: tuple[bool, bool]
    """Winding of shells and of holes."""
    flaw: str
    """none | heights | doubled: third coordinates or doubled vertices, as receivers write them."""
    split: bool
    """Parts as features of their own."""
    together: bool
    """The configuration asks for all features."""
    soils: int
    """Polygons of the soil map; 0: none is given."""
    soil_fault: str
    """none | slivers | overlaps | gap | beyond: what is wrong with the mosaic."""
    soil_labels: str
    """shipped | other spellings | mapped | unknown."""
    soil_format: str
    clay_depths: bool
    default_type: str | None
    exclusions: tuple[str, ...]
    """One for each, of the kinds of `EXCLUSIONS`."""
    exclusion_format: str
    cores: int
    sites: int
    spread: str
    """grid | random | clusters | line | spot: how the sites lie."""
    insertions: int
    resistance_unit: str
    depth_unit: str
    layout: str
    layout_stated: bool
    workbook: bool
    shuffled: bool
    """Rows in no order."""
    dated: bool
    unit_in_header: bool
    probe_crs: int
    """CRS of the positions."""
    positions_apart: bool
    """Positions stand in a second file."""
    decimal: str
    moisture: bool
    pan_share: float
    """Share of the ground with a pan."""
    pan_depth_mm: float
    pan_thickness_mm: float
    peak_kpa: float
    stopped: float
    """Share of the insertions in the pan that strength stops inside it."""
    short: float
    """Share of the insertions with a rod that ends early."""
    holes_in_readings: float
    """Share of the readings that are blank."""
    covariates: int
    covered: float
    """Share of the paddock's width that covariates cover."""
    fault: str
    """What a person has done wrong, a key of `FAULTS`; mostly ""."""
    settings: dict[str, dict[str, Any]] = field(default_factory=dict)
    """Tables of the configuration that name no file."""


def draw(seed: int, *, small: bool = False) -> Recipe:
    """The recipe of a seed; small ones are for a suite that has to be over soon."""
    rng = np.random.default_rng([seed, 20260])

    def one(options: Any) -> Any:
        return options[int(rng.integers(len(options)))]

    def mostly(usual: Any, others: Any, share: float = 0.75) -> Any:
        return usual if rng.random() < share else one(others)

    place = PLACES[int(rng.integers(len(PLACES)))]
    longitude, latitude = place.middle(rng)
    area_ha = float(np.exp(rng.uniform(np.log(2.0), np.log(25.0 if small else 250.0))))
    cover = int(np.exp(rng.uniform(np.log(3), np.log(60 if small else 300))))
    insertions = int(rng.integers(1, 4 if small else 6))
    soils = mostly(int(rng.integers(1, 8)), (0,), 0.85)
    soil_labels = mostly("shipped", ("other spellings", "mapped", "unknown"))
    fault = mostly("none", ("slivers", "overlaps", "gap", "beyond"), 0.4)
    crs_of_files = (place.geographic, 4326, *place.file_crs)
    recipe = Recipe(
        seed=seed,
        place=place,
        longitude=longitude,
        latitude=latitude,
        working=mostly("auto", [f"EPSG:{code}" for code in place.working], 0.6),
        boundary_crs=one(crs_of_files),
        boundary_format=mostly("geojson", VECTORS, 0.5),
        outline=one(OUTLINES),
        area_ha=area_ha,
        parts=mostly(1, (2, 3, 4), 0.7),
        holes=mostly(0, (1, 2, 3), 0.6),
        vertices=mostly(4, (500, 3_000) if small else (500, 5_000, 30_000), 0.7),
        clockwise=(bool(rng.integers(2)), bool(rng.integers(2))),
        flaw=mostly("none", ("heights", "doubled"), 0.7),
        split=bool(rng.integers(2)),
        together=bool(rng.integers(2)),
        soils=soils,
        soil_fault=fault,
        soil_labels=soil_labels,
        soil_format=mostly("geojson", VECTORS, 0.6),
        clay_depths=bool(rng.random() < 0.4),
        default_type=one((None, "loam", "deep sand")),
        exclusions=tuple(one(EXCLUSIONS) for _ in range(mostly(0, (1, 2, 3, 12), 0.3))),
        exclusion_format=mostly("geojson", ("gpkg", "fgb"), 0.7),
        cores=mostly(0, (1, 4, 12), 0.4),
        sites=cover,
        spread=mostly(mostly("grid", ("random", "clusters", "line"), 0.7), ("spot",), 0.98),
        insertions=insertions,
        resistance_unit=one(RESISTANCE),
        depth_unit=one(tuple(DEPTH)),
        layout=one(LAYOUTS),
        layout_stated=bool(rng.integers(2)),
        workbook=bool(rng.random() < 0.1),
        shuffled=bool(rng.random() < 0.2),
        dated=bool(rng.random() < 0.3),
        unit_in_header=bool(rng.integers(2)),
        probe_crs=one((place.geographic, 4326, place.other_datum or 4326, *place.file_crs)),
        positions_apart=bool(rng.random() < 0.2),
        decimal=mostly(".", (",",), 0.8),
        moisture=bool(rng.random() < 0.25),
        pan_share=mostly(0.95, (0.0, 0.2, 0.6, 1.0), 0.6),
        pan_depth_mm=float(rng.uniform(120.0, 350.0)),
        pan_thickness_mm=float(rng.uniform(60.0, 260.0)),
        peak_kpa=float(rng.uniform(2600.0, 5500.0)),
        stopped=mostly(mostly(float(rng.uniform(0.0, 0.5)), (0.0, 0.9), 0.8), (1.0,), 0.97),
        short=mostly(0.0, (0.1, 0.3, 0.3, 1.0), 0.7),
        holes_in_readings=mostly(0.0, (0.02, 0.1), 0.7),
        covariates=mostly(0, (1, 2), 0.6),
        covered=mostly(1.0, (0.6,), 0.8),
        fault=mostly("", tuple(FAULTS), 0.9),
    )
    if recipe.layout == "blocks":  # a block holds depth and resistance, nothing else
        recipe = replace(recipe, moisture=False)
    if recipe.fault:  # the fault is to be the only thing in the way
        recipe = replace(recipe, layout="long", workbook=False, resistance_unit="kPa", split=False)
        recipe = replace(recipe, sites=max(6, recipe.sites), spread="grid", stopped=0.0, short=0.0, default_type="loam")
    return replace(recipe, settings=draw_settings(rng, recipe, small=small))


def plain(**changes: Any) -> Recipe:
    """An ordinary small paddock with `changes`; keys "table.key" change the configuration."""
    place = PLACES[0]
    settings = {
        "pan": {"critical_kpa": 2500.0},
        "surfaces": {"cell_m": 8.0, "draws": 30, "node_m": 32.0},
        "zones": {"count": 3, "min_area_ha": 0.1, "min_width_m": 10.0},
        "machine": {"tractor": "tracked-370kw", "ripper": "five-tine-500"},
        "prescription": {"rule": "cover"},
        "season": {"crop": "wheat"},
        "outputs": {"formats": ["geojson", "shapefile", "geopackage", "isoxml", "geotiff"]},
    }
    recipe = Recipe(
        seed=1, place=place, longitude=117.0, latitude=-31.0, working="auto", boundary_crs=place.geographic,
        boundary_format="geojson", outline="wavy", area_ha=8.0, parts=1, holes=0, vertices=4,
        clockwise=(False, True), flaw="none", split=False, together=False, soils=2, soil_fault="none",
        soil_labels="shipped",
        soil_format="geojson", clay_depths=False, default_type="loam", exclusions=(), exclusion_format="geojson",
        cores=0, sites=20, spread="grid", insertions=2, resistance_unit="kPa", depth_unit="mm", layout="long",
        layout_stated=True, workbook=False, shuffled=False, dated=False, unit_in_header=True,
        probe_crs=place.geographic, positions_apart=False, decimal=".", moisture=False, pan_share=0.8,
        pan_depth_mm=220.0, pan_thickness_mm=150.0, peak_kpa=4000.0, stopped=0.1, short=0.0,
        holes_in_readings=0.0, covariates=0, covered=1.0, fault="", settings=settings,
    )  # fmt: skip
    for key in [key for key in changes if "." in key]:
        table, name = key.split(".")
        settings.setdefault(table, {})[name] = changes.pop(key)
    return replace(recipe, **changes)


def without(recipe: Recipe, thing: str) -> Recipe:
    """The same paddock with one thing missing, one of `MISSING`."""
    bare = {
        "soils": {"soils": 0},
        "cores": {"cores": 0},
        "exclusions": {"exclusions": ()},
        "moisture": {"moisture": False},
        "covariates": {"covariates": 0},
    }
    return replace(recipe, **bare[thing])
