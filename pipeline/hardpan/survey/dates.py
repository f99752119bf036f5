"""Dates in any order to ISO text, and which probing dates are used: the span and the season asked for."""

import re
from datetime import date

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.core.errors import InputError
from hardpan.records.issues import Issues
from hardpan.survey.columns import LEAST_INSERTIONS
from hardpan.survey.notes import counted, listed, warned
from hardpan.survey.settings import ProbeSettings

_YEAR_FIRST = re.compile(r"(\d{4})[-/.]?(\d{2})[-/.]?(\d{2})(?:[T ].*)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?:[T ].*)?")


def iso(cells: pd.Series, file: str) -> tuple[pd.Series, Issues]:
    """Each cell as ISO text, "" where it is blank or cannot be used.

    Day and month are told apart by the point (day first), or by any date of the column with a number above 12.
    """
    unique = [str(cell) for cell in pd.unique(cells)]
    last = [match for match in map(_YEAR_LAST.fullmatch, unique) if match]
    day_first = any(int(match[1]) > 12 or match[2] == "." for match in last)
    month_first = any(int(match[3]) > 12 for match in last)
    found = {cell: _iso(cell, day_first=day_first, sure=day_first != month_first) for cell in unique}
    lost = [cell for cell in unique if cell and not found[cell]]
    issues: Issues = ()
    if lost:
        what = f"dates such as {listed(lost, 3)} cannot be read, or can be read in two orders"
        issues = (warned("date", what, "not used; write them as 2026-07-31", file=file),)
    return cells.map(found), issues


def _iso(cell: str, *, day_first: bool, sure: bool) -> str:
    match = _YEAR_FIRST.fullmatch(cell)
    if match:
        return _checked(int(match[1]), int(match[2]), int(match[3]))
    match = _YEAR_LAST.fullmatch(cell)
    if match is None:
        return ""
    one, other = int(match[1]), int(match[3])
    if one == other:
        return _checked(int(match[4]), one, one)
    if not sure:
        return ""
    return _checked(int(match[4]), *((other, one) if day_first else (one, other)))


def _checked(year: int, month: int, day: int) -> str:
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return ""


def choose_dates(insertions: pd.DataFrame, settings: ProbeSettings) -> tuple[Bools, Issues]:
    """Which insertions are of the dates to use, shape (n,), and what was left out.

    A season is a run of dates without a gap of more than `season_gap_days`. Insertions without a date belong to every
    season, and to no span that is asked for.

    Raises
    ------
    InputError
        None is in the span asked for.
    """
    keep, issues = _within(insertions, settings)
    days = _days(insertions).where(keep)
    seasons = number_seasons(days, settings.season_gap_days)
    count = int(seasons.max(initial=-1)) + 1
    if count < 2:
        return keep, issues
    sizes = np.bincount(seasons[seasons >= 0])
    told = "; ".join(
        f"{days[seasons == one].min():%Y-%m-%d} to {days[seasons == one].max():%Y-%m-%d}: "
        + counted(int(sizes[one]), "insertion")
        for one in range(count)
    )
    what = f"readings of {count} seasons ({told})"
    files = ", ".join(sorted(set(insertions["file"][keep])))
    if settings.seasons == "together":
        done = "taken together as asked; every date at a site counts as a site of its own"
        return keep, (*issues, warned("seasons-together", what, done, file=files))
    enough = np.flatnonzero(sizes >= LEAST_INSERTIONS)
    latest = int(enough.max(initial=0)) if len(enough) else count - 1
    done = (
        f"only those of the season that began on {days[seasons == latest].min():%Y-%m-%d} are used; probes.from and "
        'probes.to choose another, probes.seasons = "together" takes all'
    )
    return keep & ((seasons == latest) | (seasons < 0)), (*issues, warned("seasons-apart", what, done, file=files))


def number_seasons(days: pd.Series, gap_days: float) -> np.ndarray:
    """Season of each date, 0 for the first, -1 for none, shape (n,)."""
    known = np.sort(days.dropna().unique())
    starts = np.flatnonzero(np.diff(known) > np.timedelta64(round(gap_days * 24), "h")) + 1
    season = np.searchsorted(known[starts], days.to_numpy(), side="right") if len(known) else np.zeros(len(days), int)
    return np.where(days.notna(), season, -1)


def site_dates(insertions: pd.DataFrame, settings: ProbeSettings) -> pd.DataFrame:
    """Insertions with the date in the name of their site, where seasons are taken together and there are several.

    The column `parted` holds the date then, "" otherwise: only sites that have it in common can be one.
    """
    days, gap_days = _days(insertions), settings.season_gap_days
    if settings.seasons != "together" or number_seasons(days, gap_days).max(initial=-1) < 1:
        return insertions.assign(parted="")
    dated = insertions["site"] + " " + insertions["date"]
    return insertions.assign(site=dated.where(insertions["date"] != "", insertions["site"]), parted=insertions["date"])


def _days(insertions: pd.DataFrame) -> pd.Series:
    """Date of each insertion, NaT without one."""
    return pd.to_datetime(insertions["date"].where(insertions["date"] != ""))


def _within(insertions: pd.DataFrame, settings: ProbeSettings) -> tuple[Bools, Issues]:
    first, last = settings.from_date, settings.to_date
    if first is None and last is None:
        return np.ones(len(insertions), dtype=bool), ()
    day = insertions["date"].to_numpy(dtype=object)
    keep: Bools = np.array(
        [bool(one) and (first or date.min).isoformat() <= one <= (last or date.max).isoformat() for one in day],
        dtype=bool,
    )
    files = ", ".join(sorted(set(insertions["file"])))
    if not keep.any():
        known = sorted({one for one in day if one})
        have = f"its dates run from {known[0]} to {known[-1]}" if known else "it has no date that can be read"
        raise InputError(
            what=f"no insertion is within probes.from and probes.to; {have}", where=files, do="mend probes.from or to"
        )
    if keep.all():
        return keep, ()
    undated = int(sum(not one for one in day))
    what = f"{counted(int((~keep).sum()), 'insertion')} outside probes.from and probes.to"
    what += f", {undated} of them without a date" if undated else ""
    return keep, (warned("other-dates", what, "left out", file=files),)
