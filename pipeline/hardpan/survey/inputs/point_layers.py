"""A layer of points as a table of text: its attributes, and the places of its points in the CRS of the layer."""

import numpy as np
import pandas as pd
import shapely

from hardpan.core.errors import InputError
from hardpan.survey import vectors
from hardpan.survey.columns import TextTable
from hardpan.survey.notes import Bundle, Log, attribute, counted, listed, warned
from hardpan.survey.vocabulary import SYNONYMS, bare, fold

SHAPES = (".shp", ".geojson", ".json", ".gpkg", ".fgb", ".kml", ".gpx")
"""Ends of files that hold features."""
_POSITION = frozenset((*SYNONYMS["x"], *SYNONYMS["y"]))


def holds_shapes(bundle: Bundle) -> bool:
    """Whether a file is, or an archive holds, a layer of features."""
    return any(name.lower().endswith(SHAPES) for name in bundle.members)


def as_table(bundle: Bundle, layer: str | None, *, key: str, log: Log) -> TextTable:
    """Table with a row a point: its attributes, then where it is; rows are numbered as features.

    Attributes that give a position are left out, since the points do.

    Parameters
    ----------
    layer : str or None
        Name of the layer, None where there is only one.
    key : str
        Setting that names the layer, for the message.

    Raises
    ------
    InputError
        The file is damaged, or a feature is no point.
    AmbiguousInputError
        There are several layers.
    """
    read = vectors.read_layer(bundle, layer, key=key, leave="others")
    shapes = read.table.geometry.to_numpy()
    points = np.asarray([single_point(one) for one in shapes], dtype=object)
    others = int((shapely.is_missing(points) & ~shapely.is_missing(shapes)).sum())
    if others:
        raise InputError(
            what=f"{counted(others, 'feature')} of {len(points)} {'is' if others == 1 else 'are'} no point",
            where=bundle.name, right="a table, or a layer with a point for each of its rows",
        )  # fmt: skip
    table = read.table.drop(columns=read.table.geometry.name)
    if any(name.lower().endswith(".kml") for name in bundle.members):
        table = table.drop(columns="id", errors="ignore")  # KML numbers its features so, which names no site
    if not len(table.columns):
        raise InputError(what="its points have no attributes", where=bundle.name, do="give the file with them (.dbf)")
    spare = [name for name in table if bare(fold(str(name))) in _POSITION]
    issues = list(read.issues)
    if spare:
        what = f"columns {listed(spare)} give positions, as the points do"
        issues.append(warned("column-not-used", what, "the points are used", file=bundle.name))
    log.note(tuple(issues))
    names = ("longitude", "latitude") if read.crs is not None and read.crs.is_geographic else ("x", "y")
    table = table.drop(columns=spare).assign(
        **dict(zip(names, (shapely.get_x(points), shapely.get_y(points)), strict=True))
    )
    columns = [[str(name), *map(_cell, table[name].astype(object))] for name in table]
    rows = list(zip(*columns, strict=True))
    return TextTable.of(bundle.name, rows, range(len(rows)), crs=read.crs)


def single_point(geometry: shapely.Geometry | None) -> shapely.Point | None:
    """The point of a geometry that holds just one, else None."""
    parts = shapely.get_parts(geometry)
    return parts[0] if len(parts) == 1 and isinstance(parts[0], shapely.Point) else None


def _cell(value: object) -> str:
    if isinstance(value, float):
        return "" if np.isnan(value) else repr(int(value)) if value.is_integer() else repr(value)
    return value.isoformat() if isinstance(value, pd.Timestamp) else attribute(value)
