"""Hectares, hours and litres as report, card and terminal print them: parts that add up to their totals."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.said import Measure
from hardpan.outputs.words.units import Units

AREA_DECIMALS = 1
HOUR_DECIMALS = 1

_ITEMS = {"hours": "hours", "fuel_l": "fuel"}
"""Quantity to the ledger's item."""


def shown_quantities(zones: pd.DataFrame, lines: pd.DataFrame, units: Units) -> pd.DataFrame:
    """What each zone measures and takes, `area_ha`, `hours` and `fuel_l` by zone, as it is printed in `units`.

    The total of a quantity over all that is ripped, and the area of the paddock, are rounded as any number; the zones
    are rounded up or down so that they add up to it. What is not ripped makes up the rest of the paddock.

    Parameters
    ----------
    zones : DataFrame
        `zone`, `depth_mm`, `area_ha`.
    lines : DataFrame
        `Ledger.lines`.
    """
    ripped = (zones["depth_mm"] > 0).to_numpy()
    area_ha = zones["area_ha"].to_numpy(float)
    unit_ha = units.scale(Measure.AREA).size
    step_ha = unit_ha * 10.0**-AREA_DECIMALS
    shown = pd.DataFrame({"area_ha": 0.0}, index=pd.Index(zones["zone"], name="zone"))
    whole, worked = (_steps(part, unit_ha, AREA_DECIMALS) for part in (area_ha, area_ha[ripped]))
    shown.loc[ripped, "area_ha"] = rounded_parts(area_ha[ripped], step_ha, worked)
    shown.loc[~ripped, "area_ha"] = rounded_parts(area_ha[~ripped], step_ha, whole - worked)
    for name, item in _ITEMS.items():
        by_zone = lines[lines["item"] == item].set_index("zone")["quantity"]
        values = by_zone.reindex(shown.index.astype(str)).fillna(0.0).to_numpy(float)
        shown[name] = shown_parts(values, name, units)
    return shown


def shown_parts(values: Floats, name: str, units: Units) -> Floats:
    """Quantities `name`, "hours" or "fuel_l", of the zones that are ripped, (n,), as they are printed in `units`."""
    unit, decimals = {"hours": (1.0, HOUR_DECIMALS), "fuel_l": (units.scale(Measure.VOLUME).size, 0)}[name]
    return rounded_parts(values, unit * 10.0**-decimals, _steps(values, unit, decimals))


def _steps(values: Floats, unit: float, decimals: int) -> int:
    """Steps of the last digit in the sum as it is printed in `unit`: 1.05 as 1.1, though 10.5 steps round to 10."""
    return round(round(float(values.sum()) / unit, decimals) * 10.0**decimals)


def rounded_parts(values: Floats, step: float, total: int | None = None) -> Floats:
    """Multiples of `step` nearest to `values` that add up to the rounded total (largest remainders), shape (n,).

    Parameters
    ----------
    values : (n,)
    step : float
        Of the last digit printed.
    total : int, optional
        Sum in steps; by default that of the values, rounded.

    >>> rounded_parts(np.array([1.4, 1.4, 1.4]), 1.0)
    array([2., 1., 1.])
    """
    if not len(values):
        return np.zeros(0)
    counts = np.asarray(values, dtype=float) / step
    whole = np.floor(counts + 1e-9)
    short = (round(float(counts.sum())) if total is None else total) - int(whole.sum())
    each, over = divmod(short, len(counts))
    up = np.argsort(-(counts - whole), kind="stable")[:over]
    whole += each
    whole[up] += 1.0
    return np.asarray(whole * step, dtype=np.float64)
