"""The prescription for the display: an ESRI shapefile in a flat zip, every field width set by hand."""

import unicodedata
import zipfile
from pathlib import Path

import fiona
import fiona.crs
import geopandas as gpd

from hardpan.core.units import MM_PER

_MEMBERS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_WIDTH = {"mm": "int:5", "cm": "float:6.1", "in": "float:6.1"}
_DOS_EPOCH = (1980, 1, 1, 0, 0, 0)
"""Earliest time a zip can hold; a fixed one keeps the archive's bytes from changing with the clock."""


def write_shapefile(path: Path, parts: gpd.GeoDataFrame, unit: str) -> None:
    """Write the zipped shapefile.

    Parameters
    ----------
    path : Path
        The zip to write; its members lie at the root.
    parts : GeoDataFrame
        Single polygons in WGS 84 with `zone`, `depth_mm`, `setup`.
    unit : str
        "mm", "cm" or "in": unit and name of the depth column.
    """
    column = f"DEPTH_{unit.upper()}"
    schema = {"geometry": "Polygon", "properties": {"ZONE": "int:5", column: _WIDTH[unit], "SETUP": "str:20"}}
    shape = path.with_name("prescription.shp")
    records = [
        {
            "geometry": part.geometry.__geo_interface__,
            "properties": {
                "ZONE": int(part.zone),
                column: display_depth(part.depth_mm, unit),
                "SETUP": ascii_text(part.setup, 20),
            },
        }
        for part in parts.itertuples()
    ]
    with fiona.open(
        shape, "w", driver="ESRI Shapefile", schema=schema, crs=fiona.crs.CRS.from_epsg(4326), encoding="UTF-8"
    ) as out:
        out.writerecords(records)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for suffix in _MEMBERS:
            member = shape.with_suffix(suffix)
            entry = zipfile.ZipInfo(member.name, _DOS_EPOCH)
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, member.read_bytes(), zipfile.ZIP_DEFLATED)
            member.unlink()


def display_depth(depth_mm: float, unit: str) -> float:
    """Depth as the display shows it: whole mm, or cm and inches to one decimal."""
    return round(depth_mm) if unit == "mm" else round(depth_mm / MM_PER[unit], 1)


def ascii_text(text: str, most: int) -> str:
    """At most `most` printable ASCII characters of `text`, accents dropped."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return "".join(letter for letter in plain if letter.isprintable())[:most].strip()
