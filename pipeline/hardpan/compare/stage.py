"""The comparison: causes, maps, sums."""

import pandas as pd
import shapely

from hardpan.compare.causes import find_causes, why
from hardpan.compare.maps import bottom_difference, error_correlation, find_maps
from hardpan.compare.pairing import paired
from hardpan.compare.sums import find_sums
from hardpan.core.errors import InputError
from hardpan.records.comparison import CHANGE, Comparison, PastRun

_LEAST_COMMON = 0.5
"""Share of the smaller paddock that both must have in common to be one."""


def compare(before: PastRun, after: PastRun, *, currency: str) -> Comparison:
    """What changed from one result to the other, and what was put in differently.

    Parameters
    ----------
    currency : str
        Of the later result's money.

    Raises
    ------
    InputError
        The two are not of one paddock.
    """
    _refuse_another_paddock(before, after)
    causes = list(find_causes(before, after))
    rows: list[dict[str, object]] = [
        {"what": str(what), "where": where, "before": one, "after": other, "cause": ""}
        for what, where, one, other in causes
    ]
    for what, where, one, other, low, high in (*find_maps(before, after), *find_sums(before, after)):
        rows.append(
            {
                "what": str(what),
                "where": where,
                "before": one,
                "after": other,
                "change": other - one,
                "low": low,
                "high": high,
                "cause": why(causes, what, where),
            }
        )
    maps = bottom_difference(before, after)
    return Comparison(
        before=before,
        after=after,
        rows=pd.DataFrame(rows, columns=list(CHANGE)),
        currency=currency,
        error_correlation=error_correlation(before, after),
        paired=paired(before, after),
        difference=None if maps is None else maps[0],
        clear=None if maps is None else maps[1],
    )


def _refuse_another_paddock(before: PastRun, after: PastRun) -> None:
    one = shapely.union_all(before.zones.geometry.array)
    other = shapely.union_all(after.zones.to_crs(before.zones.crs).geometry.array)
    if shapely.intersection(one, other).area < _LEAST_COMMON * min(one.area, other.area):
        raise InputError(
            what="the two results are of different ground", where=f"{before.name}, {after.name}",
            right="two results of one paddock",
        )  # fmt: skip
