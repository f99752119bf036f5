"""The zones as KML, for looking only: no display should be pointed at it."""

from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import shapely

_NAMESPACE = "http://www.opengis.net/kml/2.2"


def write_kml(
    path: Path, zones: gpd.GeoDataFrame, says: Mapping[int, str], colours: Mapping[int, str], *, title: str
) -> None:
    """Write one coloured placemark a zone.

    Parameters
    ----------
    path : Path
        The file to write.
    zones : GeoDataFrame
        `zone`, `depth_mm`, `reason` and polygons in WGS 84.
    says : Mapping
        Zone to its title.
    colours : Mapping
        Depth in mm to "#rrggbb".
    title : str
        Name of the document.
    """
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = _text(root, "Document")
    _text(document, "name", title)
    for depth, colour in colours.items():
        style = ET.SubElement(document, "Style", id=f"depth-{depth}")
        _text(_text(style, "LineStyle"), "color", "ff202020")
        _text(_text(style, "PolyStyle"), "color", _abgr(colour, opacity=0xB0))
    for zone in zones.sort_values("zone").to_dict("records"):
        placemark = _text(document, "Placemark")
        _text(placemark, "name", says[zone["zone"]])
        _text(placemark, "description", zone["reason"])
        _text(placemark, "styleUrl", f"#depth-{round(zone['depth_mm'])}")
        several = _text(placemark, "MultiGeometry")
        for part in shapely.get_parts(zone["geometry"]):
            polygon = _text(several, "Polygon")
            for side, ring in [
                ("outerBoundaryIs", part.exterior),
                *(("innerBoundaryIs", one) for one in part.interiors),
            ]:
                places = " ".join(f"{east:.7f},{north:.7f}" for east, north in shapely.get_coordinates(ring))
                _text(_text(_text(polygon, side), "LinearRing"), "coordinates", places)
    ET.indent(root)
    path.write_bytes(ET.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n")


def _text(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    child = ET.SubElement(parent, tag)
    child.text = None if text is None else "".join(letter if letter.isprintable() else " " for letter in text)
    return child


def _abgr(colour: str, *, opacity: int) -> str:
    """Colour in the order of KML, opacity, blue, green, red, of one as "#rrggbb"."""
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    return f"{opacity:02x}{blue}{green}{red}"
