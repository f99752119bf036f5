"""Days on which the paddocks of a list are fit: of several years, from a table or from each paddock's own weather."""

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from math import ceil
from pathlib import Path

import numpy as np

from hardpan.core.arrays import Bools
from hardpan.core.errors import InputError
from hardpan.records.past import PaddockResult
from hardpan.records.weather import FitDays
from hardpan.season.fitness import year_begins

_YES, _NO = frozenset({"yes", "1", "true"}), frozenset({"no", "0", "false"})

Known = Mapping[date, Mapping[str, bool]]
"""Whether soils are fit, by day and column."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calendars:
    """Fit days of every paddock in each year that has all days of the plan."""

    years: Mapping[int, Mapping[str, Bools]]
    """By the year in which the plan would begin, (n_days,) by paddock."""
    unknown: tuple[str, ...]
    """Paddocks whose fit days nobody gave: every day counts as fit there."""


def calendars_of(results: Mapping[str, PaddockResult], days: tuple[date, ...], table: Known | None) -> Calendars:
    """Fit days by the table where there is one, else by the weather each paddock was worked out with.

    Raises
    ------
    InputError
        The table lacks a soil type.
    """
    if table is not None:
        return Calendars(years=_by_table(table, days, results), unknown=())
    own = {slug: _by_weather(result.fit, days) for slug, result in results.items() if result.fit is not None}
    shared = set.intersection(*(set(years) for years in own.values())) if own else set()
    every = np.ones(len(days), dtype=bool)
    years = {year: {slug: own[slug][year] if slug in own else every for slug in results} for year in sorted(shared)}
    return Calendars(years=years, unknown=tuple(slug for slug in results if slug not in own or not shared))


def typical_year(years: Mapping[int, Mapping[str, Bools]], hours: Mapping[str, float], sure: float) -> int:
    """The year with as many fit days, weighted by the hours of the paddocks, as a share `sure` of the years surpass."""
    count = {year: sum(hours[slug] * fit.sum() for slug, fit in fits.items()) for year, fits in years.items()}
    ranked = sorted(years, key=lambda year: (-count[year], year))
    return ranked[ceil(round(sure * len(ranked), 9)) - 1]


def read_fit_table(path: Path) -> dict[date, dict[str, bool]]:
    """Whether soils are fit, by day and column.

    Raises
    ------
    InputError
        One line: no table, no date, a day twice, or a cell that is neither yes nor no.
    """
    names, rows = read_rows(path, where=f"plan.fit = {path}", what="a table of fit days")
    if "date" not in names:
        raise InputError(what="has no column date", where=path.name, right="date, and yes or no by soil type or `fit`")
    found: dict[date, dict[str, bool]] = {}
    for place, row in rows:
        try:
            day = date.fromisoformat(row.pop("date"))
        except ValueError as err:
            raise InputError(what="is no date", where=place, right="year-month-day") from err
        if day in found:
            raise InputError(what=f"{day} comes twice", where=place, do="leave one out")
        cells = {name: cell.lower() for name, cell in row.items()}
        for name, cell in cells.items():
            if cell not in _YES | _NO:
                raise InputError(what=f"{name} is {cell!r}", where=place, right="yes or no")
        found[day] = {name: cell in _YES for name, cell in cells.items()}
    return found


def _by_weather(fit: FitDays, days: tuple[date, ...]) -> dict[int, Bools]:
    """Days of the plan in each year of the weather on which all soils that are ripped are fit.

    A plan that runs past the day on which the soil is dry again goes on with the beginning of the same year.
    """
    begins = year_begins(fit, days[0])
    at = ((days[0] - begins).days + np.arange(len(days))) % fit.fit.shape[1]
    all_soils: Bools = np.asarray(fit.fit[:, at].all(axis=2))
    later = days[0].year - begins.year
    return {year + later: all_soils[number] for number, year in enumerate(fit.years)}


def _by_table(
    known: Known, days: tuple[date, ...], results: Mapping[str, PaddockResult]
) -> dict[int, dict[str, Bools]]:
    """Fit days of each year that has all days of the plan, by paddock: a day on which all its soil types are fit."""
    out: dict[int, dict[str, Bools]] = {}
    for year in sorted({day.year for day in known}):
        same = [_in_year(day, year + day.year - days[0].year) for day in days]
        if all(day in known for day in same):
            rows = [known[day] for day in same]
            out[year] = {slug: np.array([_is_fit(row, result) for row in rows]) for slug, result in results.items()}
    return out


def _in_year(day: date, year: int) -> date:
    leap = day.month == 2 and day.day == 29
    return date(year, 2, 28) if leap else day.replace(year=year)


def _is_fit(row: Mapping[str, bool], result: PaddockResult) -> bool:
    soils = set(result.zones.loc[result.zones["depth_mm"] > 0, "soil_type"])
    missing = sorted(soil for soil in soils if soil not in row and "fit" not in row)
    if missing:
        raise InputError(
            what=f"has no column {missing[0]!r}, the soil type of {result.name}", where="plan.fit",
            right="a column for each soil type that is ripped, or one `fit` for all",
        )  # fmt: skip
    return all(row.get(soil, row.get("fit", True)) for soil in soils)


def read_rows(path: Path, *, where: str, what: str) -> tuple[list[str], Iterator[tuple[str, dict[str, str]]]]:
    """Names of the columns, and place and cells of each row that holds any text.

    Parameters
    ----------
    path : Path
        CSV in UTF-8 with a comma, semicolon or tab between cells.
    where, what : str
        How messages call its place, and the file that is wanted.

    Raises
    ------
    InputError
        There is no such file, or it is not in UTF-8.
    """
    if not path.is_file():
        raise InputError(what="no such file", where=where, do=f"give the path of {what}")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as err:
        raise InputError(what=f"is not UTF-8: {err.reason}", where=path.name, right=f"{what} in UTF-8") from err
    head = text.partition("\n")[0]
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count))
    reader.fieldnames = [str(name).strip() for name in reader.fieldnames or ()]
    return list(reader.fieldnames), _rows(reader, path.name)


def _rows(reader: "csv.DictReader[str]", file: str) -> Iterator[tuple[str, dict[str, str]]]:
    for row in reader:
        if any(str(cell).strip() for cell in row.values() if cell):
            cells = {str(name): str(cell or "").strip() for name, cell in row.items() if name is not None}
            yield f"{file}, line {reader.line_num}", cells
