"""Positions of sites from a second file: a table, or points of any vector format."""

import numpy as np
import pandas as pd
import shapely

from hardpan.core.errors import InputError
from hardpan.survey import files, geodesy, headers, numbers, positions, vectors
from hardpan.survey.inputs.tables import TABLES, open_table
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import says_degrees
from hardpan.survey.words import Bundle, Land, Log, Text


def read_places(settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    """Give `site` (text), `x_m`, `y_m` of every place in the file of positions."""
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
    move = geodesy.come(source, land, bundle.name, log)
    positions.check_whereabouts(
        axes, move, land.boundary, settings.outside_tolerance_m, geographic=bool(source.is_geographic), file=bundle.name
    )
    log.note((*axes.issues, *assumed))
    x_m, y_m = move(axes.x, axes.y)
    return table[["site"]].assign(x_m=x_m, y_m=y_m)


def _from_points(bundle: Bundle, settings: ProbeSettings, land: Land, log: Log) -> pd.DataFrame:
    layer = vectors.read_layer(bundle, None, key="probes.positions")
    source = geodesy.flat(vectors.known_crs(layer, geodesy.asked(settings.crs, "probes.crs"), key="probes.crs"))
    roles = headers.find_roles([str(name) for name in layer.table.columns], settings.columns)
    if "site" not in roles:
        raise InputError(
            what=f"no attribute names the site among {', '.join(map(str, layer.table.columns))}",
            where=bundle.name,
            do="name it in probes.columns.site",
        )
    points = shapely.get_point(layer.table.geometry.to_numpy(), 0)
    points = np.where(
        shapely.get_type_id(layer.table.geometry.to_numpy()) == 0, layer.table.geometry.to_numpy(), points
    )
    known = ~shapely.is_missing(points)
    move = geodesy.come(source, land, bundle.name, log)
    x_m, y_m = move(shapely.get_x(points[known]), shapely.get_y(points[known]))
    names = layer.table.iloc[np.flatnonzero(known), roles["site"]].astype(str).to_numpy(dtype=object)
    log.note(layer.issues)
    return pd.DataFrame({"site": names, "x_m": x_m, "y_m": y_m})
