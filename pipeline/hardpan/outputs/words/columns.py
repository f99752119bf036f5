"""Tables of numbers in the reader's units: a column's unit is the last part of its name."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.units import Units

_ENDS: tuple[tuple[str, Measure | None], ...] = (
    ("_t_per_ha", Measure.YIELD),
    ("_kg_per_ha", Measure.SPREAD),
    ("_l_per_ha", Measure.FUEL_RATE),
    ("hours_per_ha", Measure.WORK_RATE),
    ("_kpa", Measure.STRENGTH),
    ("_kn", Measure.FORCE),
    ("_kw", Measure.POWER),
    ("_kmh", Measure.SPEED),
    ("_mm", Measure.DEPTH),
    ("_per_ha", None),
    ("_ha", Measure.AREA),
    ("_m", Measure.DISTANCE),
)
"""End of a column's name to what its numbers measure; None: money by area."""

_RAIN = ("rain_needed_mm",)
"""Columns of rain, which is not measured in the unit of depths."""

_DEPTHS = ("top", "bottom")
"""Mapped variables that are depths, in mm."""


def tabulated(table: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Table with its numbers in the reader's units, and headings in words."""
    units, told = words.units.of_tables, {}
    for name, column in table.items():
        bare, measure = _measured(str(name))
        if measure is not None:
            scale = units.scale(measure)
            told[words.page.heading(bare, scale.unit)] = column / scale.size if units.us else column
        elif bare.endswith("_per"):
            told[words.page.heading(bare, units.scale(Measure.AREA).unit)] = (
                column / units.scale(Measure.MONEY).size if units.us else column
            )
        else:
            told[words.page.heading(bare, "")] = column
    return pd.DataFrame(told)


def _measured(name: str) -> tuple[str, Measure | None]:
    """Name of a column without its unit, and what it measures; "..._per" is money by area."""
    if name in _RAIN:
        return name.removesuffix("_mm"), Measure.RAIN
    for end, measure in _ENDS:
        if name.endswith(end):
            if measure is None:
                return name.removesuffix("_ha"), None
            return name.removesuffix("_per_ha" if measure is Measure.WORK_RATE else end), measure
    return name, None


def restated(table: pd.DataFrame, units: Units, columns: Mapping[str, int], unit: str = "unit") -> pd.DataFrame:
    """Table whose rows have units of their own in column `unit`, in the reader's.

    `columns` has the power of the unit in each column: 1, or -1 for a price.
    """
    if not units.us:
        return table
    out = table.copy()
    scales = [units.of_unit(str(one)) for one in table[unit]]
    sizes = np.array([scale.size for scale in scales])
    for name, power in columns.items():
        out[name] = table[name].astype(float) / sizes**power
    out[unit] = [scale.unit for scale in scales]
    return out


def tallied(lines: pd.DataFrame, units: Units) -> pd.DataFrame:
    """Quantities and prices of the ledger in the reader's units."""
    return restated(lines, units, {"quantity": 1, "price": -1})


def squared(table: pd.DataFrame, units: Units, columns: tuple[str, ...]) -> pd.DataFrame:
    """Table with a column `variable`, and the variances in `columns` of depths in the square of the reader's unit."""
    if not units.us:
        return table
    size = np.where(table["variable"].isin(_DEPTHS), units.scale(Measure.DEPTH).size ** 2, 1.0)
    return table.assign(**{name: table[name].astype(float) / size for name in columns})
