"""The check strips of both treatments as GeoJSON [rfc7946], for whoever harvests them and for `hardpan trial`."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from hardpan.outputs.geodesy import to_wgs84
from hardpan.records.strips import Strips


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
    rows = strips.table.drop(columns="geometry").to_dict("records")
    features = [
        {"type": "Feature", "properties": _properties(row), "geometry": shapely.geometry.mapping(shape)}
        for row, shape in zip(rows, shapely.orient_polygons(shapes), strict=True)
    ]
    head = {
        "type": "FeatureCollection",
        "name": name,
        "working_crs": crs.to_wkt(),
        "harvester_width_m": strips.harvester_width_m,
        "position_error_m": strips.position_error_m,
        "promise": [_promise(row) for row in strips.promise.to_dict("records")],
    }
    lines = ",\n".join(_dumps(feature) for feature in features)
    path.write_text(f'{_dumps(head)[:-1]},"features":[\n{lines}\n]}}\n', encoding="utf-8", newline="\n")


def _properties(row: dict[Any, Any]) -> dict[str, object]:
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


def _dumps(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
