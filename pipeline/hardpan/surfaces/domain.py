"""The ground as the surfaces see it: cells, nodes and sites, each with its soil type and trend values."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.frame import Frame

SOIL = "soil type "
"""What the name of a soil type's trend column starts with."""

LEAST_THICKNESS_MM = 25.0
"""A pan thinner than a usual reading step is not seen: maps and draws keep top and bottom this far apart."""

NEGATIVE_SPECTRUM = 0.01
"""Share of a spectrum that draws may lack: ranges beyond the paddock's size bring it, and the map knows little of the
long waves it stands for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Points with what the trend reads there."""

    xy_m: Floats
    """(n, 2)."""
    soil: Ints
    """(n,) position in `Layout.soil_types`."""
    trend: Floats
    """(n, p)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Everything about places; nothing about the pan."""

    frame: Frame
    inside: Bools
    """(n_rows, n_cols)."""
    soil_types: tuple[str, ...]
    trend_names: tuple[str, ...]
    """p names; the first is the intercept."""
    cells: Places
    """Cells inside the boundary, row after row."""
    nodes: Places
    """One for each square of the lattice and soil type that has cells in it, at the middle of the square."""
    node_of_cell: Ints
    """(n_rows, n_cols), -1 outside."""
    node_m: float
    """Side of a square."""
    sites: Places
    """Where insertions were made; those within half a metre are one site."""
    site_of: Ints
    """(n_insertions,) site of each insertion, in the order of the pan features."""

    def on_grid(self, values: Floats) -> Floats:
        """Give values (n_cells,) of the cells inside as a grid, NaN outside."""
        grid = np.full(self.frame.shape, np.nan)
        grid[self.inside] = values
        return grid

    @property
    def diagonal_m(self) -> float:
        """Length across the frame."""
        west, south, east, north = self.frame.bounds
        return float(((east - west) ** 2 + (north - south) ** 2) ** 0.5)
