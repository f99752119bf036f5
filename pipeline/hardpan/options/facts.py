"""What the decision table reads of each piece of ground: cores, soil type, pan, crop and season."""

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.options.ground import Ground
from hardpan.records.catalog import Catalog
from hardpan.records.season import SeasonSettings
from hardpan.records.survey import Survey

MEASURED = (
    "ph_0_100",
    "ph_100_200",
    "ph_200_300",
    "repellence_med",
    "clay_depth_mm",
    "clay_pct",
    "esp_pct",
    "esp_depth_mm",
    "gravel_pct",
    "carbonate_pct",
)
"""Columns of the cores a rule may read."""


def core_facts(zones: gpd.GeoDataFrame, cores: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the mean of the cores by zone: of those inside it, else of those of its soil type, else NaN.

    Returns
    -------
    DataFrame
        Index as `zones`; columns `MEASURED`, `ph_subsoil` (the lower of 100-200 and 200-300 mm) and `cores` (text:
        where the values come from).
    """
    values = cores.reindex(columns=list(MEASURED)).astype(float)
    values["ph_subsoil"] = values[["ph_100_200", "ph_200_300"]].min(axis=1)
    rows = []
    for soil, shape in zip(zones["soil_type"], zones.geometry, strict=True):
        inside = cores.within(shape).to_numpy() if len(cores) else np.zeros(0, dtype=bool)
        alike = (cores["soil_type"] == soil).to_numpy() if len(cores) else inside
        use, where = (inside, "in the zone") if inside.any() else (alike, f"of {soil}")
        n = int(use.sum())
        said = f"{n} core{'s' if n > 1 else ''} {where}" if n else "no core"
        rows.append({**values[use].mean().to_dict(), "cores": said})
    return pd.DataFrame(rows, index=zones.index)


def zone_facts(
    *,
    table: gpd.GeoDataFrame,
    survey: Survey,
    ground: Ground,
    zone_ha: Floats,
    catalog: Catalog,
    season: SeasonSettings,
) -> pd.DataFrame:
    """Give what the decision table reads, one row a zone of `table`."""
    facts = core_facts(table, survey.cores)
    weights = shares_of(zone_ha)
    soils = [catalog.soils.get(name) for name in table["soil_type"]]
    clay = _clay_mm(ground, weights)
    none_known = [soil is not None and soil.clay_depth is None for soil in soils]
    mapped = np.where(np.isinf(clay) & ~np.array(none_known), np.nan, clay)
    facts["clay_depth_mm"] = np.where(
        np.isfinite(mapped), mapped, facts["clay_depth_mm"].fillna(pd.Series(mapped, facts.index))
    )
    facts["hostile_subsoil"] = [float(soil is not None and soil.hostile_subsoil) for soil in soils]
    facts["fine_texture"] = [float(soil is not None and soil.texture == "fine") for soil in soils]
    facts["pan_probability"] = weights @ ground.present.mean(axis=0)
    facts["sowing_depth_mm"] = 0.0 if catalog.crop.needs_firm_seedbed else catalog.crop.sowing_depth.value
    facts["cover_pct"] = np.nan if season.cover_pct is None else season.cover_pct
    return facts


def _clay_mm(ground: Ground, weights: Floats) -> Floats:
    """Give the mean depth to clay by zone over the ground that has it in reach; infinite where that is under half."""
    near = np.isfinite(ground.clay_mm)
    share = weights @ near
    mean = weights @ np.where(near, ground.clay_mm, 0.0) / np.maximum(share, 1e-12)
    return np.where(share >= 0.5, mean, np.inf)


def shares_of(zone_ha: Floats) -> Floats:
    """Give the share of each zone a node stands for, (n_zones, n_nodes), from areas of the same shape."""
    return np.asarray(zone_ha / np.maximum(zone_ha.sum(axis=1, keepdims=True), 1e-12))
