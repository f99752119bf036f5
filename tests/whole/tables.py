"""The penetrometer log as devices and offices write it: wide, long, turned, in blocks, text or workbook."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyproj

from whole.probing import Push, as_given
from whole.recipe import Recipe


def write_probes(recipe: Recipe, probes: Push, plane: pyproj.CRS, folder: Path) -> dict[str, Any]:
    """Write the log, and the positions where they stand apart; give the table `[probes]`."""
    book = recipe.workbook and recipe.layout in {"wide", "long"}
    suffix, decimal = ("xlsx", ".") if book else ("csv", recipe.decimal)
    out: dict[str, Any] = {"file": f"probes.{suffix}", "crs": f"EPSG:{recipe.probe_crs}"}
    places = _places(recipe, probes, plane)
    about: dict[str, Any] = {"site": probes.table["site"], "rep": probes.table["rep"]}
    if recipe.positions_apart:
        apart = pd.DataFrame({"site": probes.table["site"], **places}).drop_duplicates("site")
        _write(apart, folder / "positions.csv", recipe.decimal)
        out["positions"] = "positions.csv"
    else:
        about |= places
    if recipe.dated:
        about["date"] = np.where(probes.table["rep"] == 1, "2026-07-14", "2026-07-15")
    if recipe.layout_stated:
        out["layout"] = recipe.layout
    if not recipe.unit_in_header or recipe.layout in {"wide", "transposed"}:
        out["resistance_unit"] = recipe.resistance_unit
    if recipe.layout == "blocks":
        _write_blocks(recipe, about, probes, folder / "probes.csv")
    elif recipe.layout == "long":
        table = _long(recipe, about, probes)
        _write(table.sample(frac=1.0, random_state=1) if recipe.shuffled else table, folder / out["file"], decimal)
    else:
        _write(_wide(recipe, about, probes), folder / out["file"], decimal, turned=recipe.layout == "transposed")
    return out


def _places(recipe: Recipe, probes: Push, plane: pyproj.CRS) -> dict[str, np.ndarray]:
    target = pyproj.CRS.from_epsg(recipe.probe_crs)
    move = pyproj.Transformer.from_crs(plane, target, always_xy=True)
    x, y = move.transform(probes.table["x"].to_numpy(), probes.table["y"].to_numpy())
    names = ("longitude", "latitude") if target.is_geographic else ("easting", "northing")
    digits = 7 if target.is_geographic else 2
    return {names[0]: np.round(x, digits), names[1]: np.round(y, digits)}


def _wide(recipe: Recipe, about: dict[str, Any], probes: Push) -> pd.DataFrame:
    kpa = as_given(recipe, probes.kpa)
    mark = "." if recipe.workbook else recipe.decimal
    names = [f"{depth:g} {recipe.depth_unit}".replace(".", mark) for depth in probes.depths]
    water = {"theta": probes.theta.mean(axis=1).round(3)} if recipe.moisture else {}
    return pd.DataFrame(about | {name: kpa[:, at] for at, name in enumerate(names)} | water)


def _long(recipe: Recipe, about: dict[str, Any], probes: Push) -> pd.DataFrame:
    n, kpa = len(probes.depths), as_given(recipe, probes.kpa)
    table = pd.DataFrame({name: np.repeat(np.asarray(values), n) for name, values in about.items()})
    depth, resistance = _headings(recipe)
    table[depth] = np.tile(probes.depths, len(kpa))
    table[resistance] = kpa.ravel()
    if recipe.moisture:
        table["theta"] = probes.theta.ravel().round(3)
    return table[table[resistance].notna()]


def _headings(recipe: Recipe) -> tuple[str, str]:
    name = "force" if recipe.resistance_unit == "N" else "cone index"
    unit = f" ({recipe.resistance_unit})" if recipe.unit_in_header else ""
    return f"depth ({recipe.depth_unit})", name + unit


def _write_blocks(recipe: Recipe, about: dict[str, Any], probes: Push, path: Path) -> None:
    """Write a head of names and then depth and reading, insertion after insertion."""
    mark = ";" if recipe.decimal == "," else ","

    def cell(value: Any) -> str:
        return str(value).replace(".", recipe.decimal)

    lines, kpa = [], as_given(recipe, probes.kpa)
    for at, row in enumerate(pd.DataFrame(about).itertuples(index=False)):
        lines += [f"{name}{mark}{cell(value)}" for name, value in zip(about, row, strict=True)]
        lines.append(mark.join(_headings(recipe)))
        read = np.isfinite(kpa[at])
        lines += [f"{cell(d)}{mark}{cell(k)}" for d, k in zip(probes.depths[read], kpa[at][read], strict=True)]
        lines.append("")
    path.write_text("\n".join(lines), encoding="utf-8")


def _write(table: pd.DataFrame, path: Path, decimal: str, *, turned: bool = False) -> None:
    if path.suffix == ".xlsx":
        table.to_excel(path, index=False)
    elif turned:
        cells = table.astype(object).where(table.notna(), "").astype(str).replace(r"\.", decimal, regex=True)
        cells.T.to_csv(path, header=False, sep=";" if decimal == "," else ",")
    else:
        table.to_csv(path, index=False, sep=";" if decimal == "," else ",", decimal=decimal)
