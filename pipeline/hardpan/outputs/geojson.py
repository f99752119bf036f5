"""The prescription as GeoJSON [rfc7946]: WGS 84, 7 decimals, right-hand rule, no crs member."""

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely


def write_geojson(path: Path, zones: gpd.GeoDataFrame, name: str) -> None:
    """Write one feature a zone.

    Parameters
    ----------
    path : Path
        The file to write; the same zones give the same bytes.
    zones : GeoDataFrame
        Columns of `records.columns.PLAN` in WGS 84, rounded, exterior rings counter-clockwise; of check strips `strip`
        and `pair` too.
    name : str
        Name of the paddock, kept as a foreign member.
    """
    bbox = [round(float(edge), 7) for edge in shapely.total_bounds(zones.geometry.array)]
    features = [_feature(zone) for zone in zones.sort_values("zone").to_dict("records")]
    head = {"type": "FeatureCollection", "name": name, "depth_unit": "mm", "bbox": bbox}
    # One feature a line keeps the file readable and its differences short.
    lines = ",\n".join(_dumps(feature) for feature in features)
    path.write_text(f'{_dumps(head)[:-1]},"features":[\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def _feature(zone: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {
            "zone": int(zone["zone"]),
            "depth_mm": round(zone["depth_mm"]),
            "setup": zone["setup"],
            "spacing_mm": round(zone["spacing_mm"]) if np.isfinite(zone["spacing_mm"]) else None,
            "speed_kmh": round(float(zone["speed_kmh"]), 2) if np.isfinite(zone["speed_kmh"]) else None,
            "area_ha": round(float(zone["area_ha"]), 4),
            "reason": zone["reason"],
            "kind": zone["kind"],
            "soil_type": zone["soil_type"],
            **{name: int(zone[name]) for name in ("strip", "pair") if zone["kind"] == "strip"},
        },
        "geometry": shapely.geometry.mapping(zone["geometry"]),
    }


def _dumps(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
