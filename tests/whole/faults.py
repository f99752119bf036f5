"""Faults that a person makes in a configuration: each must end in one line that says so."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import geopandas as gpd
import pandas as pd
import shapely

Tables: TypeAlias = dict[str, dict[str, Any]]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing done wrong."""

    makes: Callable[[Tables, Path], None]
    """Spoils the tables of a configuration, or its files."""
    says: str
    """Pattern of the line that is due."""


def _no_unit(tables: Tables, folder: Path) -> None:
    tables["probes"].pop("resistance_unit", None)
    _rename(folder, lambda name: "cone index" if name.startswith("cone index") else name)


def _no_crs(tables: Tables, folder: Path) -> None:
    del tables["probes"]["crs"]
    _rename(folder, lambda name: {"longitude": "x", "latitude": "y", "easting": "x", "northing": "y"}.get(name, name))


def _rename(folder: Path, name: Callable[[str], str]) -> None:
    for path in (folder / "probes.csv", folder / "positions.csv"):
        if path.is_file():
            header, *rows = path.read_text(encoding="utf-8").split("\n")
            mark = ";" if ";" in header else ","
            path.write_text("\n".join([mark.join(map(name, header.split(mark))), *rows]), encoding="utf-8")


def _all_excluded(tables: Tables, folder: Path) -> None:
    boundary = gpd.read_file(folder / tables["paddock"]["boundary"]).to_crs(4326)
    everything = gpd.GeoDataFrame({"name": ["all of it"]}, geometry=[shapely.box(*boundary.total_bounds)], crs=4326)
    everything.to_file(folder / "all.geojson")
    tables["paddock"]["exclusions"] = "all.geojson"


def _named_parts(tables: Tables, folder: Path) -> None:
    boundary = gpd.read_file(folder / tables["paddock"]["boundary"]).to_crs(4326)
    whole = boundary.union_all()
    west, south, east, north = whole.bounds
    half = shapely.box(west, south, (west + east) / 2, north)
    parts = [whole.intersection(half), whole.difference(half)]
    gpd.GeoDataFrame({"name": ["Home", "Creek"]}, geometry=parts, crs=4326).to_file(folder / "named.geojson")
    tables["paddock"]["boundary"] = "named.geojson"


def _mixed_units(_: Tables, folder: Path) -> None:
    path = folder / "probes.csv"
    text = path.read_text(encoding="utf-8").replace(";", ",", 0)
    header, *rows = text.split("\n")
    path.write_text("\n".join([header, *rows[:3], *(row + "garbage,more,more" for row in rows[3:])]), encoding="utf-8")


def _set(table: str, **values: Any) -> Callable[[Tables, Path], None]:
    def makes(tables: Tables, _: Path) -> None:
        tables.setdefault(table, {}).update(values)

    return makes


def _no_water(tables: Tables, folder: Path) -> None:
    tables["pan"] |= {"moisture_model": "busscher-leao"}
    _rename(folder, lambda name: "remark" if name == "theta" else name)


def _missing_file(tables: Tables, folder: Path) -> None:
    (folder / tables["probes"]["file"]).unlink()


def _two_insertions(_: Tables, folder: Path) -> None:
    path = folder / "probes.csv"
    mark = ";" if ";" in path.read_text(encoding="utf-8").split("\n")[0] else ","
    table = pd.read_csv(path, sep=mark, dtype=str)
    names = pd.unique(table["site"] + "/" + table["rep"])[:2]
    table[(table["site"] + "/" + table["rep"]).isin(names)].to_csv(path, sep=mark, index=False)


FAULTS = {
    "the unit of resistance is left out": Fault(makes=_no_unit, says="the unit of resistance is stated nowhere"),
    "positions without a CRS": Fault(makes=_no_crs, says="positions state no CRS"),
    "everything is excluded": Fault(makes=_all_excluded, says="cover the whole paddock"),
    "several named paddocks in a file": Fault(makes=_named_parts, says="holds 2 features: Creek, Home; name one in"),
    "rows that do not fit the header": Fault(
        makes=_mixed_units,
        says="rows do not have the header's|cells in one row|readings are no numbers, such as '[^']*garbage",
    ),
    "a moisture model without moisture": Fault(makes=_no_water, says="the probe file has no water content"),
    "working in degrees": Fault(makes=_set("paddock", crs="EPSG:4326"), says="EPSG:4326 is not projected in metres"),
    "no such CRS": Fault(makes=_set("paddock", crs="EPSG:999999"), says="'EPSG:999999' is no CRS"),
    "a grid too fine": Fault(makes=_set("surfaces", cell_m=0.05), says="cells of 0.05 m over .* are more than"),
    "cells larger than the paddock": Fault(
        makes=_set("surfaces", cell_m=5000.0), says="cells? of 5000 m has its centre|cells? of 5000 m have their centre"
    ),
    "a set-up that the ripper has not": Fault(
        makes=_set("machine", ripper="seven-tine-600", setup="delving"), says="set-up 'delving' is not known"
    ),
    "an unknown key": Fault(makes=_set("zones", counts=3), says="unknown key 'zones.counts'.*did you mean 'count'"),
    "an unknown machine": Fault(makes=_set("machine", tractor="tracked"), says="tractor 'tracked' is not known"),
    "a crop that is not in the table": Fault(makes=_set("season", crop="wheet"), says="did you mean 'wheat'"),
    "a file that is not there": Fault(makes=_missing_file, says="no such file for the probe readings"),
    "two insertions": Fault(makes=_two_insertions, says=r"2 of \d+ insertions can be used.*at least 3"),
}
