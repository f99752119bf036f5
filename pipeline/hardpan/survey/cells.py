"""What the cells of a column carry beside plain numbers, what is missing, and columns that contradict each other."""

import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, depth
from hardpan.records.issues import Issue
from hardpan.survey.column_names import dated, ranges
from hardpan.survey.columns import Numbers, Text, TextReadings
from hardpan.survey.notes import counted, listed, warned
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import SENTINELS, fold

MOST_UNREADABLE = 0.5
"""Share of cells that are no numbers beyond which the column is another one."""
BY_MASS = re.compile(r"\b(?:gravimetric|gwc|kg/kg|g/g|by mass)\b")
"""Names of water content by mass."""
SAME_SHARE = 0.03
"""Two columns that differ by less than this share of the highest value hold one reading, rounded twice."""


def ask_between(role: str, columns: Mapping[str, Floats], file: str) -> None:
    """Refuse to choose between columns of different values that can all be meant.

    Parameters
    ----------
    role : str
        What they stand for, a key of `[probes.columns]`.
    columns : mapping
        Name to values in one unit, shape (n,) each, NaN where there is none; the first is the one that would be taken.
    file : str
        Name for the message.

    Raises
    ------
    AmbiguousInputError
        A column beside the first says something else.
    """
    first, *others = columns.values()
    highest = float(np.nanmax(np.abs(first), initial=0.0))
    differ = [
        (both := np.isfinite(first) & np.isfinite(other)).any()
        and bool((np.abs(first - other)[both] > SAME_SHARE * highest).any())
        for other in others
    ]
    if not any(differ):
        return
    names = list(columns)
    told = [names[0], *(name for name, unlike in zip(names[1:], differ, strict=True) if unlike)]
    raise AmbiguousInputError(
        what=f"columns {listed(told)} can all be the {role} and hold different values",
        where=file,
        do=f"name the right one in probes.columns.{role}",
    )


def read_layers(depth: Numbers, column: Text, file: str) -> tuple[Numbers, Floats]:
    """Depths of a column and the thickness of their layers, shape (n,); most cells name a layer or none is taken to.

    Raises
    ------
    InputError
        Cells are dates, as a spreadsheet shows a layer such as 5-10.
    """
    turned = dated(column.unique.tolist())
    if turned:
        raise InputError(
            what=f"depths are dates ({listed(turned, 3)}): a spreadsheet shows layers such as 5-10 as 5-Oct",
            where=file,
            do='write the depths as text such as "5 to 10", or as their middle',
        )
    layers = ranges(column.unique.tolist())
    named = np.asarray([layer is not None for layer in layers], dtype=bool)
    if 2 * named.sum() <= np.count_nonzero(column.unique != ""):
        return depth, np.zeros(len(column.codes))
    ends = np.asarray([layer[:2] if layer else (np.nan, np.nan) for layer in layers])
    units = np.asarray([layer[2] if layer else "" for layer in layers], dtype=object)
    hit, middle, thickness = named[column.codes], ends.mean(axis=1)[column.codes], np.ptp(ends, axis=1)[column.codes]
    read = replace(
        depth,
        value=np.where(hit, middle, depth.value),
        units=np.where(hit, units[column.codes], depth.units),
        unreadable=depth.unreadable & ~hit,
    )
    return read, np.where(hit, thickness, 0.0)


def check_readable(value: Numbers, text: TextReadings) -> None:
    """Refuse a column of resistance that mostly holds text.

    Raises
    ------
    InputError
        So it does.
    """
    if value.unreadable.sum() <= MOST_UNREADABLE * (value.unreadable | np.isfinite(value.value)).sum():
        return
    at = int(np.argmax(value.unreadable))
    raise InputError(
        what=f"{int(value.unreadable.sum())} readings are no numbers, such as {text.value.cells[at][:40]!r}",
        where=f"{text.file} row {text.row[at]}",
        do="name the column of resistance in probes.columns.resistance, or write plain numbers",
    )


def missing_issue(value: Numbers, depth_mm: Floats, text: TextReadings) -> tuple[Issue, ...]:
    """How many readings are blank though their insertion goes on below: at its end a blank is only a stop."""
    blank, read = np.isnan(value.value) & ~value.unreadable, np.isfinite(value.value)
    deepest = pd.Series(np.where(read, depth_mm, np.nan)).groupby(text.code).transform("max").to_numpy()
    gap = blank & (depth_mm < deepest)
    if not gap.any():
        return ()
    codes = np.unique(text.code[gap])
    sites = sorted(set(text.insertions["site"].to_numpy()[codes]))
    what = f"{counted(int(gap.sum()), 'reading')} of {len(blank)} in {counted(len(codes), 'insertion')} "
    what += f"{'is' if gap.sum() == 1 else 'are'} blank above the last one"
    end = int((blank & ~gap).sum())
    if end:
        what += f"; {end} more at the end, where the insertion had stopped"
    done = "left missing, nothing is filled in"
    return (warned("missing-reading", what, done, file=text.file, place=f"site {listed(sites, 20)}"),)


def fraction(theta: Numbers, name: str, settings: ProbeSettings, file: str) -> tuple[Floats, tuple[Issue, ...]]:
    """Volumetric water content as m3/m3.

    Raises
    ------
    AmbiguousInputError
        Values exceed 1 and the header does not say that they are percent, or the header says that they are of mass and
        the settings do not.
    InputError
        Water by mass without a bulk density.
    """
    values = np.where(np.isin(theta.value, SENTINELS), np.nan, theta.value)
    if "%" in name or "pct" in fold(name).split():
        values = values / 100.0
    elif np.nanmax(values, initial=0.0) > 1.0:
        raise AmbiguousInputError(
            what=f"water content reaches {np.nanmax(values):g}, which is no m3/m3",
            where=file,
            do="name the column with %",
        )
    values = values * _volume_of_mass(name, settings, file)
    bad = (values < 0) | (values > 1) | theta.unreadable
    if not bad.any():
        return values, ()
    what = f"{counted(int(bad.sum()), 'water content')} {'is' if bad.sum() == 1 else 'are'} negative, beyond the whole"
    issue = warned("moisture", f"{what} or no number", "taken as missing", file=file)
    return np.where(bad, np.nan, values), (issue,)


def _volume_of_mass(name: str, settings: ProbeSettings, file: str) -> float:
    """Water by volume in one of water as given: dry bulk density over that of water, 1 t/m3, where it is by mass."""
    if settings.moisture_basis == "volumetric":
        if BY_MASS.search(fold(name)):
            raise AmbiguousInputError(
                what=f"column {name!r} is water by mass and the moisture models need it by volume",
                where=file,
                do='set probes.moisture_basis = "gravimetric" and probes.bulk_density',
            )
        return 1.0
    if settings.bulk_density is None:
        raise InputError(
            what=f"column {name!r} is water by mass, and no bulk density is given",
            where=file,
            do="set probes.bulk_density in t/m3",
        )
    return settings.bulk_density


def cell_issues(value: Numbers, text: TextReadings) -> tuple[Issue, ...]:
    """What the cells of resistance carried beside plain numbers."""
    told = {
        "unreadable-cell": (value.unreadable, "hold text that is no number, or none that can be", "taken as missing"),
        "approximate-cell": (value.rough, "are marked as approximate", "taken at face value"),
        "at-least-cell": (value.at_least, 'say "more than"', "taken as a lower bound"),
        "regrouped-cell": (
            value.regrouped & ~value.rough & ~value.at_least,
            "carry thousands marks, apostrophes or units",
            "read without",
        ),
    }
    return tuple(
        warned(
            code,
            f"{int(hit.sum())} cells {what}",
            done,
            file=text.file,
            place=f"row {listed(sorted(set(text.row[hit].tolist())), 40)}",
        )
        for code, (hit, what, done) in told.items()
        if hit.any()
    )


def depth_issues(placed: Bools, text: TextReadings, thickness_mm: Floats) -> tuple[Issue, ...]:
    """What depths cannot be read, and what readings of whole layers cost."""
    issues = []
    if not placed.all():
        rows = listed(sorted(set(text.row[~placed].tolist())), 40)
        what = f"{counted(int((~placed).sum()), 'reading')} have no depth"
        issues.append(warned("no-depth", what, "dropped", file=text.file, place=f"row {rows}"))
    thickest_mm = float(thickness_mm.max(initial=0.0))
    if thickest_mm > 0:
        what = Said("readings are means of layers of up to {thick}", thick=depth(thickest_mm, None))
        done = "top and bottom of a pan are known no better than the layers"
        issues.append(warned("layer-means", what, done, file=text.file))
    return tuple(issues)
