"""The readings of all insertions as the room's workers pass them on."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Packed readings, shape (insertion, sample): no holes inside a profile, NaN pads the end of every row."""

    depth_mm: Floats
    """Rising along a row; the middle of the layer where the reading is a layer's mean."""
    thickness_mm: Floats
    """0 for a point reading."""
    cone_index_kpa: Floats
    at_least: Bools
    """The reading is at the device's limit: the ground is at least so hard."""

    def rows(self, chosen: np.ndarray) -> "Readings":
        """Insertions that `chosen` (a mask or numbers) picks."""
        return Readings(
            depth_mm=self.depth_mm[chosen],
            thickness_mm=self.thickness_mm[chosen],
            cone_index_kpa=self.cone_index_kpa[chosen],
            at_least=self.at_least[chosen],
        )

    @property
    def reached_mm(self) -> Floats:
        """Depth of each insertion's last reading, shape (insertion,); 0 without readings."""
        deepest: Floats = np.fmax.reduce(self.depth_mm, axis=1, initial=0.0)
        return deepest

    @property
    def layered(self) -> Bools:
        """Insertions that are means of layers, shape (insertion,)."""
        thick: Bools = np.any(self.thickness_mm > 0, axis=1)
        return thick
