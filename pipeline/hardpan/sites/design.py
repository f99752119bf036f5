"""Sites of any number on one ground, and what they would come to."""

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.units import M2_PER_HA
from hardpan.records.access import Access
from hardpan.records.survey import Survey
from hardpan.sites.coverage import cover, space_of
from hardpan.sites.effort import Scatter, insertions_of, probing_hours, walking_hours
from hardpan.sites.forecast import expected_sd_mm
from hardpan.sites.ground import Ground
from hardpan.sites.route import walking_order
from hardpan.sites.settings import SiteSettings
from hardpan.sites.strata import share_out

_QUICK = 1
"""Starts of a search that only tells a number of sites from another."""


class Design:
    """Sites of any number on one ground; those of a number are found once."""

    def __init__(
        self, ground: Ground, access: Access, settings: SiteSettings, *, scatter: Scatter, fixed: Floats, seed: int
    ) -> None:
        self._ground, self._settings, self._scatter = ground, settings, scatter
        self._fixed, self._seed = fixed, seed
        self._space = space_of(ground, settings.covariate_share)
        n_soils = 1 + max(int(ground.targets.soil.max()), int(ground.open_soil.max()))
        self._soil_ha = np.asarray(
            np.bincount(ground.targets.soil, weights=ground.targets.ha, minlength=n_soils), dtype=np.float64
        )
        self._room = np.bincount(ground.open_soil, minlength=n_soils)
        self._found: dict[int, Floats] = {}
        self.gate = place_of(access.gate)

    def sites(self, count: int, *, starts: int) -> Floats:
        """Places (count, 2), from west to east."""
        counts = share_out(
            count,
            self._soil_ha,
            least=self._settings.per_soil_type,
            least_ha=self._settings.least_soil_ha,
            room=self._room,
            had=np.bincount(soils_of(self._ground, self._fixed), minlength=len(self._soil_ha)),
        )
        xy = cover(self._ground, self._space, counts, self._fixed, starts=starts, seed=self._seed)
        return xy[np.lexsort((xy[:, 1], xy[:, 0]))]

    def insertions(self, count: int) -> int:
        """Insertions a site where there are so many sites."""
        spacing_m = float(np.sqrt(M2_PER_HA * self._soil_ha.sum() / count))
        return insertions_of(self._settings, self._scatter, spacing_m)

    def hours(self, count: int) -> float:
        """Time that so many sites take."""
        _, length_m = walking_order(self._quick(count), self.gate)
        return walking_hours(length_m, self._settings) + probing_hours(count, self.insertions(count), self._settings)

    def forecast(self, count: int, range_m: float) -> float:
        """Standard deviation of the map to come of so many sites, mm."""
        return self.expected(self._quick(count), self.insertions(count), range_m)

    def expected(self, xy_m: Floats, insertions: int, range_m: float) -> float:
        """Standard deviation of the map to come of sites at places (k, 2) and of those that were probed, mm."""
        everywhere = self.beside(xy_m)
        soil = soils_of(self._ground, everywhere)
        return expected_sd_mm(
            self._ground.targets, everywhere, soil, scatter=self._scatter, range_m=range_m, insertions=insertions
        )

    def beside(self, xy_m: Floats) -> Floats:
        """Places (k, 2) and the sites that were probed."""
        return np.vstack([xy_m, self._fixed])

    def _quick(self, count: int) -> Floats:
        if count not in self._found:
            self._found[count] = self.sites(count, starts=_QUICK)
        return self._found[count]


def place_of(point: shapely.Point | None) -> Floats | None:
    """Coordinates (2,) of a point, None of none."""
    return None if point is None else np.asarray(shapely.get_coordinates(point)[0], dtype=np.float64)


def probed_sites(survey: Survey) -> pd.DataFrame:
    """Mean `x_m`, `y_m` of the insertions of each site that was probed, by its name; no rows before a first survey."""
    read = survey.profiles.readings
    table = pd.DataFrame({name: read[name].to_numpy() for name in ("site", "x_m", "y_m")})
    # sums over sorted coordinates do not depend on the order of the rows
    return table.sort_values(["site", "x_m", "y_m"]).groupby("site").mean().sort_values(["x_m", "y_m"])


def soils_of(ground: Ground, xy_m: Floats) -> Ints:
    """Soil type of the nearest ground to each place (k, 2)."""
    if not len(xy_m):
        return np.empty(0, dtype=np.int64)
    return np.asarray(ground.targets.soil[KDTree(ground.targets.xy_m).query(xy_m)[1]])
