"""Vector files of any format, read from memory, as valid polygons with a known CRS."""

import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal, TypeAlias

import geopandas as gpd
import numpy as np
import pyogrio
import pyproj
import shapely

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.survey.notes import Bundle, listed, warned

Leave: TypeAlias = Literal["none", "points", "others"]
WGS84 = 4326
"""Code of the CRS that GeoJSON has where it says nothing."""
FORMATS = "GeoJSON, GeoPackage, shapefile, FlatGeobuf, KML or GPX"
XML_ROOTS = ("kml", "gpx", "FeatureCollection")
"""XML formats handed to the reader; others can point at files and hosts."""
BESIDE = (
    ".txt", ".md", ".pdf", ".htm", ".html", ".xml", ".qml", ".qmd", ".sld", ".lyr", ".png", ".jpg", ".jpeg", ".gif",
)  # fmt: skip
"""Members of an archive that only describe the others."""
DERIVED = ("route_points", "track_points")
"""Layers of GPX that repeat the vertices of others."""
_QUIET = {
    "OGR_ORGANIZE_POLYGONS": "DEFAULT",
    "GML_DOWNLOAD_SCHEMA": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
}
"""Rings in any direction (FORMATS of shapefiles in the wild), no fetching."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """A layer as read: geometry still in the CRS of the file."""

    file: str
    table: gpd.GeoDataFrame
    crs: pyproj.CRS | None
    states_crs: bool
    """False where the format only implies one."""
    issues: tuple[Issue, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """One layer of a file, before it is read."""

    number: int
    name: str
    points: bool
    features: int


def read_layer(bundle: Bundle, layer: str | None, *, key: str, leave: Leave = "none", least: int = 1) -> Layer:
    """One layer of a vector file.

    Parameters
    ----------
    bundle : Bundle
        The file in memory.
    layer : str or None
        Name of the layer, None where there is only one.
    key : str
        Setting that names the layer, for the message.
    leave : {"none", "points", "others"}
        Which layers are passed over where one is to be chosen: none, those of points, or those of anything else.
    least : int
        Fewer features are refused.

    Raises
    ------
    InputError
        The file is damaged, hostile or no vector file.
    AmbiguousInputError
        There are several layers.
    """
    name, blob, issues = _readable(bundle, layer, key)
    pyogrio.set_gdal_config_options(_QUIET)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            chosen, passed = _choose(_layers(blob), layer, leave, file=bundle.name, key=key)
            table = pyogrio.read_dataframe(blob, layer=chosen)
    except InputError:
        raise
    except Exception as e:  # whatever a damaged file makes the library say
        if "not recognized as being in a supported file format" in str(e):
            raise InputError(what="is in no format of shapes that can be read", where=bundle.name, right=FORMATS) from e
        what = re.sub(r"'?/vsi\S+", "the file", str(e))[:160]
        raise InputError(what=f"cannot be read as polygons: {what}", where=bundle.name, do="export it again") from e
    if not isinstance(table, gpd.GeoDataFrame) or len(table) < least:
        raise InputError(what="holds no features", where=bundle.name, do="export it again")
    issues += passed
    if not np.isfinite(shapely.get_coordinates(table.geometry.array)).all():
        raise InputError(what="a coordinate is not a number", where=bundle.name, do="export it again")
    stated = not name.lower().endswith((".geojson", ".json")) or b'"crs"' in blob
    if stated and b'"crs"' in blob[:65536] and table.crs is not None and table.crs.to_epsg() != WGS84:
        what = f"the file carries the crs member {table.crs.name}, which GeoJSON no longer has"
        issues += (warned("geojson-crs", what, "honoured", file=bundle.name),)
    return Layer(
        file=bundle.name,
        table=gpd.GeoDataFrame(table.drop(columns=table.geometry.name), geometry=table.geometry.array, crs=None),
        crs=table.crs,
        states_crs=stated and table.crs is not None,
        issues=issues,
    )


def _readable(bundle: Bundle, wanted: str | None, key: str) -> tuple[str, bytes, tuple[Issue, ...]]:
    """Name and the bytes to hand to the reader: the one member, or a shapefile packed in memory."""
    names = sorted(bundle.members)
    if len(names) > 1:
        names = [name for name in names if wanted in {name, PurePosixPath(name).stem}] or names
    names = [name for name in names if not name.lower().endswith(BESIDE)] or names
    shapes = [name for name in names if name.lower().endswith(".shp")]
    if len(shapes) > 1 or (not shapes and len(names) > 1):
        candidates = shapes or names
        raise AmbiguousInputError(
            what=f"several candidates: {listed(candidates)}", where=bundle.name, do=f"name one in {key}"
        )
    if shapes:
        return _pack_shapefile(bundle, shapes[0])
    name = names[0]
    blob = bundle.members[name]
    _refuse_hostile(blob, bundle.name)
    return name, blob, ()


def _refuse_hostile(blob: bytes, file: str) -> None:
    head = blob[:1024].lstrip(b"\xef\xbb\xbf \t\r\n")
    if blob[:2] in {b"\xff\xfe", b"\xfe\xff"} or (b"\x00" in head[:4] and head[:1] == b"<"):
        raise InputError(what="is UTF-16 text", where=file, right="UTF-8", do="export it again")
    if head.startswith(b"<"):
        if re.search(rb"<!(DOCTYPE|ENTITY)", blob, re.IGNORECASE):
            raise InputError(what="XML holds a document type declaration", where=file, do="export it without")
        root = re.search(rb"<(?:[\w.-]+:)?([A-Za-z][\w.-]*)", re.sub(rb"<[?!][^>]*>", b"", blob[:65536]))
        if root is None or root[1].decode("ascii", "replace") not in XML_ROOTS:
            raise InputError(what="XML of an unknown kind", where=file, right=f"one of {', '.join(XML_ROOTS)}")
        if re.search(rb"<(?:[\w.-]+:)?NetworkLink", blob):
            raise InputError(what="XML points at another host", where=file, do="export the polygons themselves")
    if head.startswith(b"{") and b"nan" in blob.lower():
        found = re.search(rb"[\[,]\s*-?(?:nan|infinity)\b", blob, re.IGNORECASE)
        if found:
            raise InputError(what="a coordinate is not a number", where=file, do="export it again")


def _pack_shapefile(bundle: Bundle, shape: str) -> tuple[str, bytes, tuple[Issue, ...]]:
    stem = shape[:-4]
    parts = {
        PurePosixPath(name).suffix.lower(): blob
        for name, blob in bundle.members.items()
        if name.rpartition(".")[0].casefold() == stem.casefold()
    }
    blob = parts[".shp"]
    if len(blob) < 100 or blob[:4] != b"\x00\x00\x27\x0a":
        raise InputError(what="is no shapefile", where=bundle.name, do="export it again")
    length = 2 * int.from_bytes(blob[24:28], "big")
    if len(blob) < length:
        raise InputError(
            what=f"shapefile is cut off at {len(blob)} of {length} bytes", where=bundle.name, do="copy it again"
        )
    issues: list[Issue] = []
    if ".shx" not in parts:
        parts[".shx"] = _index(blob)
        issues.append(warned("no-shx", "the index (.shx) is missing", "rebuilt in memory", file=bundle.name))
    if ".dbf" not in parts:
        issues.append(warned("no-dbf", "the attributes (.dbf) are missing", "read without", file=bundle.name))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        for suffix, part in sorted(parts.items()):
            archive.writestr(zipfile.ZipInfo(f"layer{suffix}"), part)
    return shape, packed.getvalue(), tuple(issues)


def _index(shape: bytes) -> bytes:
    """The .shx of a .shp: offset and length of each record, in 16-bit words."""
    entries, at = b"", 100
    while at + 8 <= len(shape):
        words = int.from_bytes(shape[at + 4 : at + 8], "big")
        entries += (at // 2).to_bytes(4, "big") + words.to_bytes(4, "big")
        at += 8 + 2 * words
    return shape[:24] + ((100 + len(entries)) // 2).to_bytes(4, "big") + shape[28:100] + entries


def _layers(blob: bytes) -> list[_Entry]:
    return [
        _Entry(
            number=at,
            name=str(name),
            points="point" in str(kind).lower(),
            features=int(pyogrio.read_info(blob, layer=at, force_feature_count=True)["features"]),
        )
        for at, (name, kind) in enumerate(pyogrio.list_layers(blob))
        if kind is not None
    ]


def _choose(
    layers: list[_Entry], wanted: str | None, leave: Leave, *, file: str, key: str
) -> tuple[int, tuple[Issue, ...]]:
    """The number of the layer, and which were passed over.

    A format of one layer takes its name from the file, which is not to be known.
    """
    if not layers:
        raise InputError(what="holds no layer with geometry", where=file, do="export it again")
    if len(layers) == 1:
        return layers[0].number, ()
    if wanted is not None:
        named = [layer.number for layer in layers if layer.name == wanted]
        if not named:
            names = listed([layer.name for layer in layers])
            raise InputError(what=f"holds no layer {wanted!r}", where=file, right=f"one of {names}")
        return named[0], ()
    filled = [layer for layer in layers if layer.features] or layers
    fit = [layer for layer in filled if leave == "none" or layer.points == (leave == "others")] or filled
    fit = [layer for layer in fit if layer.name not in DERIVED] or fit
    if len(fit) > 1:
        names = listed([layer.name for layer in fit])
        raise AmbiguousInputError(what=f"holds layers {names}", where=file, do=f"name one in {key}")
    others = listed([layer.name for layer in filled if layer is not fit[0]])
    if not others:
        return fit[0].number, ()
    what = f"holds layers beside {fit[0].name}: {others}"
    return fit[0].number, (warned("layers-passed-over", what, f"not used; {key} names another", file=file),)


def known_crs(layer: Layer, asked: pyproj.CRS | None, *, key: str) -> pyproj.CRS:
    """CRS of a layer: stated by the file, by the setting `key`, or asked for.

    Raises
    ------
    AmbiguousInputError
        Nobody states it, or file and setting disagree.
    InputError
        The coordinates do not fit degrees.
    """
    crs = layer.crs
    if asked is not None and (crs is None or not layer.states_crs):
        crs = asked
    elif asked is not None and crs is not None and not crs.equals(asked, ignore_axis_order=True):
        raise AmbiguousInputError(
            what=f"the file says {crs.name} but {key} says {asked.name}", where=layer.file, do=f"take out {key}"
        )
    bounds = layer.table.total_bounds
    fits = not np.any(np.abs(bounds) > [180, 90, 180, 90])
    if crs is None:
        hint = "; the coordinates would fit degrees, such as EPSG:4326" if fits else ""
        raise AmbiguousInputError(what=f"states no CRS{hint}", where=layer.file, do=f"state it in {key}")
    if crs.is_projected and fits:
        raise AmbiguousInputError(
            what=f"the coordinates ({bounds[0]:g}, {bounds[1]:g}) fit degrees, but its CRS is {crs.name}",
            where=layer.file, right="easting and northing", do="give the file its own CRS, such as EPSG:4326",
        )  # fmt: skip
    if crs.is_geographic and not fits:
        off = np.abs(bounds) > [180, 90, 180, 90]
        worst, axis = bounds[np.argmax(off)], ("longitude", "latitude")[int(np.argmax(off)) % 2]
        raise InputError(
            what=f"{axis} {worst:.10g} in a file that counts as degrees",
            where=layer.file,
            do=f"give the file its projected CRS, or state it in {key}",
        )
    return crs
