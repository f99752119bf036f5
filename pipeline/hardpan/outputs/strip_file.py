"""The check strips of both treatments as GeoJSON [rfc7946], for whoever harvests them and for `hardpan trial`."""

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.geojson import write_collection
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
    members = {
        "name": name,
        "working_crs": crs.to_wkt(),
        "harvester_width_m": strips.harvester_width_m,
        "position_error_m": strips.position_error_m,
        "promise": [_promise(row) for row in strips.promise.to_dict("records")],
    }
    rows = [_properties(row) for row in strips.table.drop(columns="geometry").to_dict("records")]
    write_collection(path, members, rows, shapely.orient_polygons(shapes))


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
