"""Plain tables: UTF-8 CSV with fixed decimals, in which no text can act as a formula."""

import csv
import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\n")
"""First characters that make a spreadsheet evaluate a cell."""

_DECIMALS: Mapping[str, int] = {
    "area_ha": 4,
    "depth_mm": 0,
    "spacing_mm": 0,
    "breach_probability": 3,
    "loosened_share": 3,
    "loss_probability": 3,
    "quantity": 3,
    "price": 3,
    "predicted": 3,
    "sd": 3,
    "crps": 3,
    "longitude": 7,
    "latitude": 7,
}
"""Decimals by column, whatever the others have."""


def write_table(path: Path, table: pd.DataFrame, decimals: int = 2) -> None:
    """Write `table` without its index; NaN is an empty cell and the same table gives the same bytes."""
    columns = [_cells(table[name], _DECIMALS.get(str(name), decimals)) for name in table]
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(table.columns)
        writer.writerows(zip(*columns, strict=True))


def _cells(column: pd.Series, decimals: int) -> list[str]:
    """Text of a column; numbers are known for what they are once, not one by one."""
    if isinstance(column.dtype, np.dtype) and column.dtype.kind == "f":
        return [_number(value, decimals) for value in column.tolist()]
    values = column.to_numpy(dtype=object).tolist()
    if isinstance(column.dtype, pd.StringDtype):
        told = {value: cell(value, decimals) for value in set(values)}
        return [told[value] for value in values]
    return [cell(value, decimals) for value in values]


def cell(value: object, decimals: int) -> str:
    """Text of one cell: numbers with fixed decimals, text made harmless."""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, (float, np.floating)):
        return _number(float(value), decimals)
    # A lone carriage return would not be quoted, and readers would end the row there.
    text = str(value).replace("\r\n", "\n").replace("\r", "\n")
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _number(value: float, decimals: int) -> str:
    if not math.isfinite(value):
        return "" if math.isnan(value) else ("inf" if value > 0 else "-inf")
    # Adding 0.0 turns a rounded -0.0 into 0.0.
    return f"{round(value, decimals) + 0.0:.{decimals}f}"
