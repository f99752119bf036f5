"""The one description of a grid."""

from dataclasses import dataclass

import affine
import numpy as np
import pyproj

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.core.units import M2_PER_HA


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """A north-up grid of square cells in a projected CRS in metres.

    Row 0 is the northernmost; arrays on a frame have shape (n_rows, n_cols).
    """

    crs: pyproj.CRS
    x_min_m: float
    """West edge."""
    y_max_m: float
    """North edge."""
    cell_m: float
    n_rows: int
    n_cols: int

    def __post_init__(self) -> None:
        if not self.crs.is_projected:
            raise SettingsError(what=f"the working CRS {self.crs.name!r} is not projected", right="a CRS in metres")
        if self.cell_m <= 0 or self.n_rows < 1 or self.n_cols < 1:
            raise SettingsError(
                what=f"grid of {self.n_rows} x {self.n_cols} cells of {self.cell_m} m", right="positive"
            )

    @classmethod
    def covering(cls, bounds: tuple[float, float, float, float], *, cell_m: float, crs: pyproj.CRS) -> "Frame":
        """Smallest frame on multiples of `cell_m` that covers `bounds` (x_min, y_min, x_max, y_max)."""
        west, north = np.floor(bounds[0] / cell_m) * cell_m, np.ceil(bounds[3] / cell_m) * cell_m
        n_cols = max(1, int(np.ceil((bounds[2] - west) / cell_m - 1e-9)))
        n_rows = max(1, int(np.ceil((north - bounds[1]) / cell_m - 1e-9)))
        return cls(crs=crs, x_min_m=float(west), y_max_m=float(north), cell_m=cell_m, n_rows=n_rows, n_cols=n_cols)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows, columns."""
        return self.n_rows, self.n_cols

    @property
    def affine(self) -> affine.Affine:
        """Cell (column, row) to map (x, y), at the cell's north-west corner."""
        return affine.Affine(self.cell_m, 0.0, self.x_min_m, 0.0, -self.cell_m, self.y_max_m)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """x_min, y_min, x_max, y_max in m."""
        return (
            self.x_min_m,
            self.y_max_m - self.n_rows * self.cell_m,
            self.x_min_m + self.n_cols * self.cell_m,
            self.y_max_m,
        )

    @property
    def x_m(self) -> Floats:
        """Cell-centre eastings, shape (n_cols,)."""
        return self.x_min_m + (np.arange(self.n_cols, dtype=np.float64) + 0.5) * self.cell_m

    @property
    def y_m(self) -> Floats:
        """Cell-centre northings, shape (n_rows,), falling."""
        return self.y_max_m - (np.arange(self.n_rows, dtype=np.float64) + 0.5) * self.cell_m

    @property
    def cell_area_ha(self) -> float:
        """Grid area of one cell."""
        return self.cell_m**2 / M2_PER_HA
