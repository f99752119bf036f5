"""The tables of a configuration that name no file, drawn at random within what the template allows."""

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from whole.recipe import Recipe

FORMATS = (
    "geojson", "shapefile", "geopackage", "isoxml", "geotiff", "report", "job-card", "kml", "geoparquet", "netcdf",
)  # fmt: skip
FIELD_FILES = ("geojson", "shapefile", "geopackage", "isoxml", "geotiff")
TRACTORS = ("tracked-370kw", "articulated-400kw", "articulated-300kw", "front-assist-220kw", "rear-drive-110kw")
RIPPERS = ("seven-tine-600", "five-tine-500", "nine-tine-500")
CROPS = ("wheat", "barley", "triticale", "canola", "lupin", "maize", "pasture")
MOST_CELLS = {True: 2_000, False: 8_000}
"""Of a small and of any paddock: what a run may take."""


class Lot:
    """Draws of one generator, by how they read in a recipe."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def one(self, options: Any) -> Any:
        return options[int(self.rng.integers(len(options)))]

    def between(self, low: float, high: float, digits: int = 2) -> float:
        return round(float(self.rng.uniform(low, high)), digits)

    def some(self, share: float, **table: Any) -> dict[str, Any]:
        """Each key with that probability."""
        return {key: value for key, value in table.items() if self.rng.random() < share}


def draw_settings(rng: np.random.Generator, recipe: "Recipe", *, small: bool) -> dict[str, dict[str, Any]]:
    """Table -> key -> value."""
    lot = Lot(rng)
    return {
        "pan": _pan(lot, recipe),
        "surfaces": _surfaces(lot, recipe, small=small),
        "zones": _zones(lot),
        "machine": _machine(lot),
        "prescription": _prescription(lot),
        "season": _season(lot),
        "history": lot.some(0.3, last_ripped=2020, last_depth_mm=lot.between(250, 450, 0), season=2027),
        "prices": _prices(lot),
        "outputs": _outputs(lot, small=small),
        "strips": _strips(Lot(np.random.default_rng([recipe.seed, 15]))),
    }


def _pan(lot: Lot, recipe: "Recipe") -> dict[str, Any]:
    table: dict[str, Any] = {"critical_kpa": lot.one((2500.0, 2500.0, 2000.0, 1500.0, 3000.0))}
    if recipe.moisture and lot.rng.random() < 0.6:
        model = lot.one(("busscher-leao", "dasilva-kay", "silva"))
        table |= {"moisture_model": model, "reference_theta": 0.22}
        table |= {"clay_pct": 12.0} if model != "busscher-leao" else {}
        table |= {"organic_carbon_pct": 1.1} if model == "dasilva-kay" else {}
    return table | lot.some(0.15, hysteresis_kpa=lot.between(0, 400, 0), min_thickness_mm=lot.between(20, 100, 0))


def _surfaces(lot: Lot, recipe: "Recipe", *, small: bool) -> dict[str, Any]:
    # the frame is up to three times the paddock where parts lie apart
    least = (3.0 * recipe.area_ha * 1e4 / MOST_CELLS[small]) ** 0.5
    cell_m = max(lot.one((1.0, 2.0, 3.0, 5.0, 5.0, 10.0, 20.0, 7.3, 35.0)), round(least, 1))
    table: dict[str, Any] = {"cell_m": cell_m, "draws": lot.one((20, 50) if small else (50, 50, 200))}
    table["node_m"] = max(20.0, 4.0 * cell_m) if small else max(lot.one((10.0, 20.0, 40.0)), cell_m)
    return table | lot.some(
        0.15,
        family=lot.one(("exponential", "spherical", "matern32", "matern52")),
        form="plain" if small else lot.one(("plain", "stretched", "nested")),
        trend=lot.one((["soil"], ["covariates"], ["soil", "coordinates"], ["soil", "covariates", "coordinates"])),
        block=False,
        slices=True,
    )


def _zones(lot: Lot) -> dict[str, Any]:
    return {"count": lot.one(("auto", "auto", 1, 2, 3, 4, 5, 6, 7, 8))} | lot.some(
        0.25,
        method=lot.one(("kmeans", "mixture", "ward")),
        min_area_ha=lot.one((0.0, 0.1, 0.2, 1.0, 3.0)),
        min_width_m=lot.one((0.0, 5.0, 12.0, 30.0)),
        simplify_m=lot.one((0.0, 1.0, 12.0)),
        gps_error_m=lot.one((0.0, 2.0)),
        fine_count=lot.one((1, 4, 20)),
    )


def _machine(lot: Lot) -> dict[str, Any]:
    table: dict[str, Any] = {"tractor": lot.one(TRACTORS), "ripper": lot.one(RIPPERS)}
    table |= lot.some(0.1, setup=lot.one(("plain", "winged", "leading", "inclusion", "mixing")))
    if lot.rng.random() < 0.05:
        table["tractor"] = {"like": "rear-drive-110kw", "engine_power": lot.one((20.0, 60.0, 90.0))}
    if lot.rng.random() < 0.1:
        table |= {"observed_fuel_l_per_ha": 28.0, "observed_depth_mm": 350.0}
    return table


def _prescription(lot: Lot) -> dict[str, Any]:
    return {"rule": lot.one(("return", "return", "cover"))} | lot.some(
        0.25,
        step_mm=lot.one((5, 10, 25, 50, 100)),
        cover_share=lot.between(0.5, 0.98),
        least_cover_share=lot.between(0.0, 0.5),
        cover_below_pan_mm=lot.between(0, 60, 0),
        clay_margin_mm=lot.between(0, 150, 0),
        user_uniform_depth_mm=lot.between(300, 500, 0),
        limit_slack=lot.between(0, 0.3),
        only_moist=False,
        setups_per_paddock=lot.one((2, 3, 4)),
    )


def _season(lot: Lot) -> dict[str, Any]:
    return {"crop": lot.one(CROPS)} | lot.some(
        0.25,
        moist_depth_mm=lot.one((100.0, 300.0, 700.0)),
        rain_since_dry_mm=40.0,
        too_wet=lot.one((True, False)),
        cover_pct=lot.between(0, 100, 0),
        controlled_traffic=True,
        hours_per_day=lot.one((4.0, 14.0)),
    )


def _prices(lot: Lot) -> dict[str, Any]:
    table = lot.some(0.2, fuel_per_l=lot.between(1.0, 2.4), labour_per_h=40.0, grain_per_t=lot.between(150, 600, 0))
    if lot.rng.random() < 0.2:
        currency, rate = lot.one((("EUR", 0.6), ("USD", 0.65), ("ZAR", 12.0)))
        table |= {"currency": currency, "exchange_rate": rate}
    return table


def _strips(lot: Lot) -> dict[str, Any]:
    """Check strips in two of five paddocks, short enough to fit into small ones."""
    if lot.rng.random() < 0.6:
        return {}
    table = {"pairs": lot.one(("auto", 1, 2, 5)), "length_m": lot.one((40.0, 80.0, 150.0)), "least_length_m": 20.0}
    return table | lot.some(
        0.5,
        width_m=lot.between(12, 20),
        harvester_width_m=lot.one((1.5, 9.0)),
        headland_m=lot.one((0.0, 12.0)),
        border_m=lot.one((1.0, 5.0)),
        most_share=lot.between(0.05, 0.4),
    )


def _outputs(lot: Lot, *, small: bool) -> dict[str, Any]:
    usual = FIELD_FILES if lot.rng.random() < (0.75 if small else 0.6) else FORMATS
    table: dict[str, Any] = {"formats": [*usual]}
    table |= lot.some(
        0.05,
        grid_cell_m=lot.one((1.5, 5.0, 15.0)),
        max_grid_side=lot.one((40, 120)),
        max_polygons=lot.one((3, 20)),
        max_vertices=lot.one((200, 2000)),
        max_ring_vertices=lot.one((60, 400)),
    )
    return table | lot.some(
        0.4,
        display_unit=lot.one(("cm", "mm", "in")),
        units=lot.one(("metric", "us")),
        isoxml_version=lot.one(("3.3", "4")),
        isoxml_shape=lot.one(("grid1", "grid2", "polygons")),
        force=True,
    )
