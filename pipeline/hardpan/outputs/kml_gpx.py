"""XML for viewers and hand-held receivers: the zones as KML, for looking only, and places to walk to as GPX."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import shapely

from hardpan.core.arrays import Floats

_KML, _GPX = "http://www.opengis.net/kml/2.2", "http://www.topografix.com/GPX/1/1"


def write_kml(
    path: Path, zones: gpd.GeoDataFrame, says: Mapping[int, str], colours: Mapping[int, str], *, title: str
) -> None:
    """Write one coloured placemark a zone; no display should be pointed at it.

    Parameters
    ----------
    zones : GeoDataFrame
        `zone`, `depth_mm`, `reason` and polygons in WGS 84.
    says : Mapping
        Zone to its title.
    colours : Mapping
        Depth in mm to "#rrggbb".
    title : str
        Name of the document.
    """
    root = ET.Element("kml", xmlns=_KML)
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
    _write(path, root)


def write_gpx(path: Path, names: Sequence[str], told: Sequence[str], degrees: Floats, *, title: str) -> None:
    """Write one waypoint a place, and a route through them in order.

    Parameters
    ----------
    path : Path
        The file to write; the same places give the same bytes.
    names, told : sequence of str
        Name of each place, and what is said of it.
    degrees : (n, 2)
        Longitude and latitude, WGS 84.
    title : str
        Name of the route.
    """
    root = ET.Element("gpx", xmlns=_GPX, version="1.1", creator="hardpan")
    for name, says, place in zip(names, told, degrees, strict=True):
        point = _point(root, "wpt", place)
        _text(point, "name", name)
        _text(point, "desc", says)
    route = ET.SubElement(root, "rte")
    _text(route, "name", title)
    for name, place in zip(names, degrees, strict=True):
        _text(_point(route, "rtept", place), "name", name)
    _write(path, root)


def _point(parent: ET.Element, tag: str, place: Floats) -> ET.Element:
    return ET.SubElement(parent, tag, lat=f"{place[1]:.7f}", lon=f"{place[0]:.7f}")


def _write(path: Path, root: ET.Element) -> None:
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
