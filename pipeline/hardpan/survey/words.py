"""Words the workers of this room share: what is passed between them, and how an issue is said."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import pandas as pd
import pyproj
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.survey import DatumMove

Points: TypeAlias = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Moves coordinates x, y to another CRS."""

Bounds: TypeAlias = tuple[float, float, float, float]
"""West, south, east, north."""

ROLES = ("site", "insertion", "x", "y", "depth", "resistance", "moisture", "date")
"""What a column of a probe table can stand for."""


def warned(code: str, what: str, done: str, *, file: str = "", place: str = "") -> Issue:
    """Give an issue of the survey with the outcome *warn*."""
    return Issue(outcome=Outcome.WARN, stage="survey", code=code, what=what, done=done, file=file, place=place)


def listed(items: Sequence[object], most: int = 6) -> str:
    """Give the first `most` items and how many more there are, as text."""
    shown = ", ".join(str(item) for item in items[:most])
    return shown if len(items) <= most else f"{shown} and {len(items) - most} more"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """A file in memory: one member, or the several that belong together or lie in one archive."""

    name: str
    """Base name of the file."""
    members: Mapping[str, bytes]
    digest: str
    """SHA-256 of the file as it lies on the disk."""

    @property
    def whole(self) -> bytes:
        """The only member."""
        return next(iter(self.members.values()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A table as rows of text cells, blank cells as ""."""

    file: str
    rows: Sequence[Sequence[str]]
    lines: Sequence[int]
    """1-based row of the file for each of `rows`."""
    issues: Issues = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthColumn:
    """A column that holds the readings of one depth."""

    index: int
    depth: float
    """Depth, or middle of the layer, in `unit`."""
    thickness: float = 0.0
    """Thickness of the layer in `unit`, 0 for a point reading."""
    unit: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heading:
    """What the header of a table says."""

    row: int
    """Index of the header in `Grid.rows`."""
    names: Sequence[str]
    roles: Mapping[str, int]
    """Role to column index."""
    depths: tuple[DepthColumn, ...] = ()
    """Empty in the long layout."""
    depth_unit: str | None = None
    resistance_unit: str | None = None
    skip: frozenset[int] = frozenset()
    """Indices of rows that are part of the heading, such as a row of units."""
    issues: Issues = ()

    @property
    def layout(self) -> str:
        """`wide` or `long`."""
        return "wide" if self.depths else "long"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TextReadings:
    """Readings still as text, one table of insertions and one of readings.

    `insertions` has the text columns `site`, `insertion`, `x`, `y`, `date` and the int column `row`.
    """

    file: str
    insertions: pd.DataFrame
    code: Ints
    """Row of `insertions` that each reading belongs to, shape (n,)."""
    depth: np.ndarray
    """Text, or float64 where the depth came from headers, shape (n,)."""
    thickness: Floats
    """Shape (n,), same unit as `depth`."""
    value: np.ndarray
    """Text, shape (n,)."""
    moisture: np.ndarray | None
    row: Ints
    """Row of the file, shape (n,)."""
    issues: Issues = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
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
    issues: Issues = field(default=())


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
class Land:
    """Where the paddock is: its boundary in the working CRS, and bounds in degrees."""

    boundary: shapely.Geometry
    crs: pyproj.CRS
    bounds: Bounds


@dataclass(slots=True, kw_only=True, eq=False)
class Log:
    """What is gathered on the way from input to input."""

    issues: list[Issue] = field(default_factory=list)
    digests: dict[str, str] = field(default_factory=dict)
    moves: list[DatumMove] = field(default_factory=list)

    def keep(self, bundle: Bundle) -> Bundle:
        """Note the digest of a file and give the file back."""
        self.digests[bundle.name] = bundle.digest
        return bundle

    def note(self, issues: Issues) -> None:
        """Note issues, each once."""
        self.issues.extend(issue for issue in dict.fromkeys(issues) if issue not in self.issues)

    def moved(self, move: DatumMove) -> None:
        """Note a move, once."""
        if move not in self.moves:
            self.moves.append(move)
