"""The prescription and the check strips as GeoJSON [rfc7946]: WGS 84, 7 decimals, right-hand rule, no crs member."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from hardpan.outputs.geodesy import to_wgs84
from hardpan.records.plan import Strips


def write_geojson(path: Path, zones: gpd.GeoDataFrame, name: str) -> None:
    """Write one feature a zone.

    Parameters
    ----------
    path : Path
        The file to write; the same zones give the same bytes.
    zones : GeoDataFrame
        Columns of `records.plan.PLAN` in WGS 84, rounded, exterior rings counter-clockwise; of check strips `strip`
        and `pair` too.
    name : str
        Name of the paddock, kept as a foreign member.
    """
    rows = zones.sort_values("zone")
    properties = [_properties(zone) for zone in rows.drop(columns="geometry").to_dict("records")]
    write_features(path, properties, rows.geometry.to_numpy(), name=name, depth_unit="mm")


def write_features(
    path: Path, properties: Sequence[Mapping[str, object]], geometry: np.ndarray, **members: object
) -> None:
    """Write a collection of features, one a line, which keeps the file readable and its differences short.

    Parameters
    ----------
    path : Path
        The file to write; the same features give the same bytes.
    properties, geometry
        Of each feature; geometry in WGS 84, rounded.
    **members : object
        Foreign members of the collection.
    """
    bbox = [round(float(edge), 7) for edge in shapely.total_bounds(geometry)]
    write_collection(path, {**members, "bbox": bbox}, properties, geometry)


def write_collection(
    path: Path, members: Mapping[str, object], properties: Sequence[Mapping[str, object]], geometry: np.ndarray
) -> None:
    """The same, with no members of the collection but those given."""
    head = {"type": "FeatureCollection", **members}
    lines = ",\n".join(
        _dumps({"type": "Feature", "properties": row, "geometry": shapely.geometry.mapping(shape)})
        for row, shape in zip(properties, geometry, strict=True)
    )
    path.write_text(f'{_dumps(head)[:-1]},"features":[\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def _properties(zone: dict[str, Any]) -> dict[str, object]:
    return {
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
    }


def _dumps(value: Mapping[str, object]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def write_strips(path: Path, strips: Strips, name: str) -> None:
    """Write one feature a strip, and what they can show beside them.

    Parameters
    ----------
    path : Path
        The file to write; the same strips give the same bytes.
    strips : Strips
        In the working CRS.
    name : str
        Name of the paddock, kept as a foreign member.
    """
    crs = strips.table.crs
    shapes, _ = to_wgs84(strips.table.geometry.to_numpy(), crs)
    members = {
        "name": name,
        "working_crs": crs.to_wkt(),
        "harvester_width_m": strips.harvester_width_m,
        "position_error_m": strips.position_error_m,
        "promise": [_promise(row) for row in strips.promise.to_dict("records")],
    }
    rows = [_of_strip(row) for row in strips.table.drop(columns="geometry").to_dict("records")]
    write_collection(path, members, rows, shapely.orient_polygons(shapes))


def _of_strip(row: dict[Any, Any]) -> dict[str, object]:
    whole = {name: int(row[name]) for name in ("strip", "pair", "zone", "depth_mm")}
    return {
        **whole,
        "treatment": str(row["treatment"]),
        "plan_zone": int(row["plan_zone"]) or None,
        "soil_type": str(row["soil_type"]),
        "setup": str(row["setup"]),
        **{name: round(float(row[name]), 2) for name in ("width_m", "length_m", "heading_deg")},
        "area_ha": round(float(row["area_ha"]), 4),
    }


def _promise(row: dict[Any, Any]) -> dict[str, object]:
    known = np.isfinite(row["difference"])
    return {
        "zone": row["zone"] if row["zone"] == "all" else int(row["zone"]),
        "pairs": int(row["pairs"]),
        **{name: float(row[name]) for name in ("strip_cv", "level", "power")},
        "difference": round(float(row["difference"]), 4) if known else None,
    }
