"""Positions of sites from a second file: a table, or points of any vector format."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools
from hardpan.core.errors import InputError
from hardpan.records.issues import Issue
from hardpan.survey import files, geodesy, headers, numbers, positions, roles, vectors, whereabouts
from hardpan.survey.columns import Text
from hardpan.survey.inputs.tables import TABLES, open_table
from hardpan.survey.land import Land
from hardpan.survey.notes import Bundle, Log, attribute, counted, listed, warned
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import says_degrees


def read_places(settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    """`site` (text), `x_m`, `y_m` of every place in the file of positions."""
    path = settings.positions
    if path is None:
        raise InputError(what="no file of positions", where="probes.positions")
    bundle = log.keep(files.load(path, what="the positions"))
    if path.suffix.lower() in {*TABLES, ".xlsx", ".xlsm", ".gz", ".zip"} and not _holds_shapes(bundle):
        return _from_table(bundle, settings, land, log)
    return _from_points(bundle, settings, land, log)


def _holds_shapes(bundle: Bundle) -> bool:
    return any(name.lower().endswith((".shp", ".geojson", ".gpkg", ".kml", ".gpx")) for name in bundle.members)


def _from_table(bundle: Bundle, settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    grid = open_table(bundle, None, lambda grid: headers.score_places(grid, settings.columns), log)
    heading = headers.find_places(grid, settings.columns)
    rows = np.arange(heading.row + 1, len(grid.lines))
    table = pd.DataFrame({role: grid.columns[at].take(rows).cells for role, at in heading.roles.items()})
    table = table.assign(row=grid.lines[rows])[table["site"] != ""].reset_index(drop=True)
    mark = numbers.decimal_mark(
        [Text.of(table[axis].to_numpy()) for axis in ("x", "y")], settings.decimal, where=bundle.name
    )
    degree_names = says_degrees(heading.names[heading.roles["y"]])
    axes = positions.read_axes(table, mark, degree_names=degree_names, file=bundle.name)
    stated = geodesy.asked(settings.crs, "probes.crs")
    source, assumed = positions.choose_crs(axes, stated, land.crs, key="probes.crs", file=bundle.name)
    move = geodesy.to_working_crs(source, land, bundle.name, log)
    whereabouts.check_whereabouts(
        axes, move, land.boundary, settings.outside_tolerance_m, geographic=bool(source.is_geographic), file=bundle.name
    )
    log.note((*axes.issues, *assumed))
    x_m, y_m = move(axes.x, axes.y)
    return table[["site"]].assign(x_m=x_m, y_m=y_m)


def _from_points(bundle: Bundle, settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    layer = vectors.read_layer(bundle, settings.positions_layer, key="probes.positions_layer", leave="others")
    source = geodesy.flat(vectors.known_crs(layer, geodesy.asked(settings.crs, "probes.crs"), key="probes.crs"))
    names = _names(layer, settings, bundle.name)
    points = np.asarray([_point(one) for one in layer.table.geometry.to_numpy()], dtype=object)
    known = ~shapely.is_missing(points)
    if not known.any():
        raise InputError(what="holds no points", where=bundle.name, right="a point for each site")
    move = geodesy.to_working_crs(source, land, bundle.name, log)
    x_m, y_m = move(shapely.get_x(points[known]), shapely.get_y(points[known]))
    named = names[known] != ""
    if not named.any():
        raise InputError(what="no point names its site", where=bundle.name, do="give each its site's name")
    log.note((*layer.issues, *_left_out(known, ~named, bundle.name)))
    return pd.DataFrame({"site": names[known][named], "x_m": x_m[named], "y_m": y_m[named]})


def _names(layer: vectors.Layer, settings: ProbeSettings, file: str) -> np.ndarray:
    """Name of the site of each feature, "" where it has none; attributes that no feature fills are passed over."""
    texts = layer.table.drop(columns=layer.table.geometry.name).map(attribute)
    filled = texts.loc[:, (texts != "").any()]
    found = roles.find_roles([str(name) for name in filled.columns], settings.columns)
    if "site" not in found:
        have = ", ".join(map(str, filled.columns)) or "no attributes"
        raise InputError(
            what=f"no attribute names the site among {have}", where=file, do="name it in probes.columns.site"
        )
    return np.asarray(filled.iloc[:, found["site"]], dtype=object)


def _point(geometry: shapely.Geometry | None) -> shapely.Point | None:
    parts = shapely.get_parts(geometry)
    return parts[0] if len(parts) == 1 and isinstance(parts[0], shapely.Point) else None


def _left_out(known: Bools, nameless: Bools, file: str) -> Iterator[Issue]:
    """Features of the file of positions that place no site."""
    at = np.flatnonzero(known)[nameless] + 1
    if len(at):
        what = f"{counted(len(at), 'feature')} of the positions {'has' if len(at) == 1 else 'have'} no name"
        yield warned("no-name", what, "not used", file=file, place=f"feature {listed(at.tolist(), 20)}")
    at = np.flatnonzero(~known) + 1
    if len(at):
        what = f"{counted(len(at), 'feature')} of the positions {'has' if len(at) == 1 else 'have'} no point"
        yield warned("no-position", what, "not used", file=file, place=f"feature {listed(at.tolist(), 20)}")
