"""Tables as columns of text, what their headings say, and the readings found in them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
import pyproj

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.said import Said
from hardpan.records.issues import Issue, Issues
from hardpan.survey.notes import counted, listed, warned

MOST_COLUMNS = 5000
"""A reading each millimetre to five metres; no penetrometer gives more."""


HEADER_ROWS = 60
"""A header further down is not looked for."""
LEAST_INSERTIONS = 3
"""Fewer insertions make no map."""


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A column of text cells: each different cell is kept, and looked at, once."""

    codes: Ints
    """Index into `unique` for each cell, shape (n,)."""
    unique: np.ndarray
    """The different cells, stripped, blank as "", shape (m,); some may be equal."""

    @classmethod
    def of(cls, cells: Sequence[str] | np.ndarray) -> "Text":
        """Column of these cells."""
        codes, unique = pd.factorize(np.asarray(cells, dtype=object))
        return cls(codes.astype(np.int64), np.asarray(unique, dtype=object))

    @classmethod
    def side_by_side(cls, columns: "Sequence[Text]") -> "Text":
        """Equally long columns as one, row by row."""
        starts = np.cumsum([0, *(len(column.unique) for column in columns[:-1])])
        codes = np.column_stack([column.codes + start for column, start in zip(columns, starts, strict=True)])
        return cls(codes.reshape(-1), np.concatenate([column.unique for column in columns]))

    @property
    def cells(self) -> np.ndarray:
        """Every cell, shape (n,)."""
        return np.asarray(self.unique[self.codes])

    def take(self, at: Ints | Bools) -> "Text":
        """Cells `at`."""
        return Text(self.codes[at], self.unique)

    def map(self, change: Callable[[str], str]) -> "Text":
        """Column with every cell changed."""
        changed = Text.of([change(cell) for cell in self.unique])
        return Text(changed.codes[self.codes], changed.unique)

    def equals(self, cell: str) -> Bools:
        """Which cells equal `cell`."""
        hit: Bools = (self.unique == cell)[self.codes]
        return hit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextTable:
    """A table as columns of text cells."""

    file: str
    columns: Sequence[Text]
    """Cells a row does not have are ""."""
    widths: Ints
    """Number of cells in each row."""
    lines: Ints
    """1-based row of the file for each row."""
    crs: pyproj.CRS | None = None
    """CRS of its positions, where it was a layer of points that states one."""

    def rows(self, most: int | None = None) -> list[list[str]]:
        """First rows, as lists of as many cells as each has."""
        wide = [column.cells[:most] if most is None else column.unique[column.codes[:most]] for column in self.columns]
        return [list(row[:width]) for row, width in zip(zip(*wide, strict=True), self.widths, strict=False)]

    def transposed(self) -> "TextTable":
        """Table with rows for columns; one with more rows than a table has columns is given back empty."""
        if len(self.lines) > MOST_COLUMNS:
            return TextTable.of(self.file, [])
        return TextTable.of(self.file, [column.cells.tolist() for column in self.columns])

    @classmethod
    def of(
        cls,
        file: str,
        rows: Sequence[Sequence[str]],
        lines: Sequence[int] | None = None,
        crs: pyproj.CRS | None = None,
    ) -> "TextTable":
        """Table of these rows."""
        widths = np.asarray([len(row) for row in rows], dtype=np.int64)
        padded = [[*row, *[""] * (int(widths.max(initial=0)) - len(row))] for row in rows]
        return cls(
            file=file,
            columns=[Text.of(column) for column in zip(*padded, strict=True)],
            widths=widths,
            lines=np.arange(1, len(rows) + 1) if lines is None else np.asarray(lines, dtype=np.int64),
            crs=crs,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthColumn:
    """A column that holds the readings of one depth."""

    index: int
    depth: float
    """Depth, or middle of the layer, in `unit`."""
    thickness: float = 0.0
    """Thickness of the layer in `unit`, 0 for a point reading."""
    unit: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Columns with the spread of readings that are means of a site's insertions."""

    kind: Literal["se", "sd"]
    """Standard errors of the means, or standard deviations between the insertions."""
    columns: tuple[int, ...]
    """One a depth column, -1 for none; one in the long layout."""
    name: str
    """Name of the first of them."""
    unit: str | None
    """Unit its name states, None for that of the readings."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heading:
    """What the header of a table says."""

    row: int
    """Index of the row of names."""
    names: Sequence[str]
    roles: Mapping[str, int]
    """Role to column index."""
    depths: tuple[DepthColumn, ...] = ()
    """Empty in the long layout."""
    depth_unit: str | None = None
    resistance_unit: str | None = None
    skip: frozenset[int] = frozenset()
    """Indices of rows that are part of the heading, such as a row of units."""
    rivals: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Role to other columns whose names would do as well."""
    spread: Spread | None = None
    """None: the readings are not means with an error of their own."""
    issues: Issues = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Numbers:
    """What a column of text says, one value a cell, shape (n,)."""

    value: Floats
    """NaN where the cell is blank or cannot be read."""
    unreadable: Bools
    """The cell holds text that is no number; error cells of spreadsheets among them."""
    rough: Bools
    """The cell marks its number as approximate."""
    at_least: Bools
    """The cell says "more than"."""
    regrouped: Bools
    """A thousands mark, apostrophe or unit was taken out."""
    units: np.ndarray
    """Unit written in the cell, case-folded text, "" where none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextReadings:
    """Readings still as text, one table of insertions and one of readings.

    `insertions` has the text columns `site`, `insertion`, `x`, `y`, `date`, `device` and the int column `row`.
    """

    file: str
    insertions: pd.DataFrame
    code: Ints
    """Row of `insertions` that each reading belongs to, shape (n,)."""
    depth: Text | Floats
    """Numbers where the depth came from headers, shape (n,)."""
    thickness: Floats
    """Shape (n,), same unit as `depth`."""
    value: Text
    moisture: Text | None
    spread: Text | None = None
    """Standard error or deviation of each reading."""
    count: Text | None = None
    """Insertions that each reading is the mean of."""
    row: Ints
    """Row of the file, shape (n,)."""
    issues: Issues = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProbeReadings:
    """Readings as numbers, shape (n,); `insertions` as in `TextReadings` plus `file`, `x_m`, `y_m`."""

    insertions: pd.DataFrame
    code: Ints
    depth_mm: Floats
    thickness_mm: Floats
    kpa: Floats
    """NaN where the cell is blank."""
    at_least: Bools
    theta: Floats
    row: Ints
    held: Bools
    """The reading repeats a value that the sensor or logger held."""
    se_kpa: Floats
    """Standard error of a reading that is the mean of a site's insertions; NaN where none is stated."""

    def take(self, at: Ints | Bools) -> "ProbeReadings":
        """Readings `at`; the table of insertions stays whole."""
        return ProbeReadings(
            insertions=self.insertions,
            code=self.code[at],
            depth_mm=self.depth_mm[at],
            thickness_mm=self.thickness_mm[at],
            kpa=self.kpa[at],
            at_least=self.at_least[at],
            theta=self.theta[at],
            row=self.row[at],
            held=self.held[at],
            se_kpa=self.se_kpa[at],
        )

    def told(self, code: str, hit: Bools, what: str, done: str) -> Issue:
        """Issue about the readings `hit`, which starts with how many they are."""
        table = self.insertions.iloc[np.unique(self.code[hit])]
        sites = list(dict.fromkeys(table["site"]))
        return warned(
            code,
            Said("{count} {what}", count=counted(int(hit.sum()), "reading"), what=what),
            done,
            file=", ".join(sorted(set(table["file"]))),
            place=f"site {listed(sites, 20)}",
        )
