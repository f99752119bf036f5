"""Where to probe: sites that cover the ground, beside those that are there."""

import logging

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.threads import one_blas_thread
from hardpan.records.access import Access
from hardpan.records.probing import Chosen, Forecast, SitePlan, Walk
from hardpan.records.survey import Survey
from hardpan.sites.coverage import cover, mean_squared_distance, nearest_ha, space_of
from hardpan.sites.effort import Scatter, insertions_of, probing_hours, walking_hours
from hardpan.sites.forecast import expected_sd_mm
from hardpan.sites.ground import Ground, survey_ground
from hardpan.sites.names import next_names
from hardpan.sites.numbers import Trials, number_of
from hardpan.sites.route import walking_order
from hardpan.sites.settings import SiteSettings
from hardpan.sites.strata import share_out

logger = logging.getLogger(__name__)

_QUICK = 1
"""Starts of a search that only tells a number of sites from another."""


@one_blas_thread()
def plan_coverage(
    survey: Survey, access: Access, settings: SiteSettings, *, scatter: Scatter, precision_mm: float, seed: int
) -> SitePlan:
    """Sites by stratified spatial coverage, in walking order; those that were probed stay, and count.

    Parameters
    ----------
    scatter : Scatter
        What is usual between sites and within one.
    precision_mm : float
        Standard deviation of the map to aim at where the settings ask for no number.

    Raises
    ------
    InputError
        No ground may be probed.
    SettingsError
        There is no room for the sites asked for, no time for one, or no number brings the precision.
    """
    ground, probed = survey_ground(survey, access, settings), probed_sites(survey)
    design = _Design(ground, access, settings, scatter=scatter, fixed=probed.to_numpy(float), seed=seed)
    aim_mm = precision_mm if settings.precision_mm is None else settings.precision_mm
    dense = int(np.ceil(settings.most_per_ha * float(ground.targets.ha.sum())))
    trials = Trials(hours=design.hours, sd_mm=lambda count: design.forecast(count, settings.range_m))
    count, number = number_of(
        settings,
        trials,
        fewest=max(1, settings.least_count - len(probed)),
        most=len(ground.open_soil),
        dense=dense - len(probed),
        asked_mm=aim_mm,
    )
    xy = design.sites(count, starts=settings.starts)
    insertions = design.insertions(count)
    order, length_m = walking_order(xy, design.gate)
    logger.info("%d sites of %d insertions, from %s; a walk of %.0f m", count, insertions, number, length_m)
    return SitePlan(
        sites=_table(ground, survey, xy[order], insertions=insertions, probed=probed, settings=settings),
        number=number,
        walk=Walk(
            length_m=length_m,
            hours=walking_hours(length_m, settings) + probing_hours(count, insertions, settings),
        ),
        forecast=Forecast(
            sd_mm=design.expected(xy, insertions, settings.range_m),
            best_mm=design.expected(xy, insertions, settings.range_high_m),
            worst_mm=design.expected(xy, insertions, settings.range_low_m),
            asked_mm=aim_mm,
        ),
        spacing_m=float(np.sqrt(mean_squared_distance(ground.targets.xy_m, ground.targets.ha, design.beside(xy)))),
        probed=gpd.GeoSeries(gpd.points_from_xy(probed["x_m"], probed["y_m"]), index=probed.index, crs=survey.crs),
        issues=ground.issues,
    )


class _Design:
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
        self.gate = None if access.gate is None else shapely.get_coordinates(access.gate)[0]

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
        spacing_m = float(np.sqrt(1e4 * self._soil_ha.sum() / count))
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


def _table(
    ground: Ground,
    survey: Survey,
    xy_m: Floats,
    *,
    insertions: int,
    probed: pd.DataFrame,
    settings: SiteSettings,
) -> gpd.GeoDataFrame:
    """Columns of `SitePlan.sites` for places in walking order."""
    soil = ground.soil_at(xy_m)
    n_of = np.bincount(soil, minlength=len(survey.soil_types))
    share = n_of[soil] / len(xy_m)
    area = np.bincount(ground.targets.soil, weights=ground.targets.ha, minlength=len(n_of))
    kept = (n_of[soil] <= settings.per_soil_type) & (share > area[soil] / area.sum())
    everywhere = np.vstack([xy_m, probed.to_numpy()])
    apart = KDTree(everywhere).query(xy_m, k=2)[0][:, 1]
    return gpd.GeoDataFrame(
        {
            "order": np.arange(1, len(xy_m) + 1),
            "site": next_names(len(xy_m), list(probed.index)),
            "insertions": insertions,
            "soil_type": [survey.soil_types[code] for code in soil],
            "chosen": np.where(kept & (len(area) > 1), Chosen.SOIL_TYPE, Chosen.COVERAGE),
            "stands_ha": nearest_ha(ground.targets.xy_m, ground.targets.ha, everywhere)[: len(xy_m)],
            "nearest_m": np.where(np.isfinite(apart), apart, np.nan),
            "worth": 0.0,
        },
        geometry=gpd.points_from_xy(*xy_m.T),
        crs=survey.crs,
    )
