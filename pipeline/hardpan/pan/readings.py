"""The readings of all insertions as the room's workers pass them on."""

from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints


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

    held: Bools
    """The reading repeats a value that the sensor or logger held, so it says nothing of its own."""
    se_kpa: Floats
    """Standard error of a reading that is the mean of a site's insertions; NaN where none is stated."""

    def rows(self, chosen: np.ndarray) -> "Readings":
        """Insertions that `chosen` (a mask or numbers) picks."""
        return Readings(
            depth_mm=self.depth_mm[chosen],
            thickness_mm=self.thickness_mm[chosen],
            cone_index_kpa=self.cone_index_kpa[chosen],
            at_least=self.at_least[chosen],
            held=self.held[chosen],
            se_kpa=self.se_kpa[chosen],
        )

    @property
    def reached_mm(self) -> Floats:
        """Depth of each insertion's last reading, shape (insertion,); 0 without readings."""
        deepest: Floats = np.fmax.reduce(self.depth_mm, axis=1, initial=0.0)
        return deepest

    @property
    def known_mm(self) -> Floats:
        """Depth of each insertion's last reading that is not a held value, shape (insertion,); 0 without readings."""
        deepest: Floats = np.fmax.reduce(np.where(self.held, np.nan, self.depth_mm), axis=1, initial=0.0)
        return deepest

    @property
    def run_at(self) -> Ints:
        """Sample of each reading, for a held one that of the reading whose value it repeats, shape as the readings."""
        sample = np.broadcast_to(np.arange(self.held.shape[1]), self.held.shape)
        first: Ints = np.maximum.accumulate(np.where(self.held, 0, sample), axis=1)
        return first

    @property
    def layered(self) -> Bools:
        """Insertions that are means of layers, shape (insertion,)."""
        thick: Bools = np.any(self.thickness_mm > 0, axis=1)
        return thick
