"""Places and a way round them as GPX 1.1, for hand-held receivers."""

from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

from hardpan.core.arrays import Floats

_NAMESPACE = "http://www.topografix.com/GPX/1/1"


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
    root = ET.Element("gpx", xmlns=_NAMESPACE, version="1.1", creator="hardpan")
    for name, says, place in zip(names, told, degrees, strict=True):
        point = _point(root, "wpt", place)
        _text(point, "name", name)
        _text(point, "desc", says)
    route = ET.SubElement(root, "rte")
    _text(route, "name", title)
    for name, place in zip(names, degrees, strict=True):
        _text(_point(route, "rtept", place), "name", name)
    ET.indent(root)
    path.write_bytes(ET.tostring(root, xml_declaration=True, encoding="UTF-8") + b"\n")


def _point(parent: ET.Element, tag: str, place: Floats) -> ET.Element:
    return ET.SubElement(parent, tag, lat=f"{place[1]:.7f}", lon=f"{place[0]:.7f}")


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = "".join(letter if letter.isprintable() else " " for letter in text)
