"""Sites of any number on one ground, how many there are, how many each soil type gets, and how well they will tell."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from hardpan.core.arrays import Floats, Ints
from hardpan.core.errors import SettingsError
from hardpan.core.said import Said, depth
from hardpan.core.units import M2_PER_HA
from hardpan.geostat import EFFECTIVE_RANGE, Covariance, Family, Structure, condition, krige, observe
from hardpan.records.probing import Access, NumberFrom
from hardpan.records.survey import Survey
from hardpan.sites.coverage import cover, space_of, walking_order
from hardpan.sites.effort import Scatter, insertions_of, probing_hours, walking_hours
from hardpan.sites.ground import Ground, Targets
from hardpan.sites.settings import SiteSettings

_QUICK = 1
"""Starts of a search that only tells a number of sites from another."""

MOST_SITES = 1000
"""Sites of one plan; settings ask for no more."""

MOST_PLACES = 400
"""Targets at which the variance is worked out; more change its mean by less than a millimetre."""

FAMILY: Family = "exponential"


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
    if survey.probed is None:
        return pd.DataFrame({"x_m": np.empty(0), "y_m": np.empty(0)}, index=pd.Index([], name="site", dtype=object))
    read = survey.probed.readings
    table = pd.DataFrame({name: read[name].to_numpy() for name in ("site", "x_m", "y_m")})
    # sums over sorted coordinates do not depend on the order of the rows
    return table.sort_values(["site", "x_m", "y_m"]).groupby("site").mean().sort_values(["x_m", "y_m"])


def soils_of(ground: Ground, xy_m: Floats) -> Ints:
    """Soil type of the nearest ground to each place (k, 2)."""
    if not len(xy_m):
        return np.empty(0, dtype=np.int64)
    return np.asarray(ground.targets.soil[KDTree(ground.targets.xy_m).query(xy_m)[1]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Trials:
    """What a number of sites would come to."""

    hours: Callable[[int], float]
    """Of walking and probing."""
    sd_mm: Callable[[int], float]
    """Standard deviation of the map to come."""


def number_of(
    settings: SiteSettings, trials: Trials, *, fewest: int, most: int, dense: int, asked_mm: float
) -> tuple[int, NumberFrom]:
    """Number of sites, and what it comes from.

    Parameters
    ----------
    fewest : int
        Sites there are to be where neither count nor hours are set.
    most : int
        Sites there is room for.
    dense : int
        Sites at the highest density that anyone would walk to.
    asked_mm : float
        Standard deviation of the map to aim at where neither count nor hours are set; where none is set either, no
        further than a day goes.

    Raises
    ------
    SettingsError
        There is no room for the count, no time for a single site, or no number brings the precision asked for.
    """
    if settings.count is not None:
        if settings.count > most:
            raise SettingsError(
                what=f"{settings.count} sites are asked for, and {most} cells may be probed",
                where="sites.count",
                right=f"at most {most}",
                do="ask for fewer, choose smaller cells, or lower edge_m and exclusion_m",
            )
        return settings.count, NumberFrom.COUNT
    if settings.hours is not None:
        return _within_hours(settings.hours, trials, settings, most=most), NumberFrom.HOURS
    few, dense = min(fewest, most), min(max(dense, fewest), most, MOST_SITES)
    if settings.precision_mm is not None:
        _refuse_out_of_reach(settings, settings.precision_mm, trials, dense)
        return _first(lambda count: trials.sd_mm(count) <= asked_mm, few, dense), NumberFrom.PRECISION
    day = few if trials.hours(few) > settings.day_h else _within_hours(settings.day_h, trials, settings, most=dense)
    if trials.sd_mm(day) > asked_mm:
        return day, NumberFrom.DAY
    return _first(lambda count: trials.sd_mm(count) <= asked_mm, few, day), NumberFrom.PRECISION


def _refuse_out_of_reach(settings: SiteSettings, asked_mm: float, trials: Trials, dense: int) -> None:
    if trials.sd_mm(dense) > asked_mm:
        reached = depth(trials.sd_mm(dense))
        raise SettingsError(
            what=Said("{asked} is out of reach: {dense} sites would bring {reached}", asked=depth(asked_mm),
                      dense=dense, reached=reached),
            where="sites.precision_mm",
            right=f"what {settings.most_per_ha:g} sites a hectare can bring, {MOST_SITES} at most",
            do="ask for less, or set sites.count",
        )  # fmt: skip


def _within_hours(hours: float, trials: Trials, settings: SiteSettings, *, most: int) -> int:
    if trials.hours(1) > hours:
        raise SettingsError(
            what=f"{hours:g} h do not suffice for one site, which takes {trials.hours(1):.1f} h",
            where="sites.hours",
            do="give more hours, or fewer insertions a site",
        )
    insertions = settings.insertions or settings.least_insertions
    could = min(most, MOST_SITES, int(hours / probing_hours(1, insertions, settings)))  # if no site took a walk
    return _first(lambda count: trials.hours(count + 1) > hours, 1, max(1, could))


def _first(holds: Callable[[int], bool], low: int, high: int) -> int:
    """Least count from `low` on for which a condition holds that goes on holding; `high` where it does not before."""
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low


def share_out(count: int, ha: Floats, *, least: int, least_ha: float, room: Ints, had: Ints | None = None) -> Ints:
    """Sites of each soil type, shape (n_soils,): by area, and `least` in each that is worth one, as far as they go.

    Parameters
    ----------
    count : int
        Sites to share out, no more than there is room for.
    ha : (n_soils,)
        Ground of each.
    least : int
        Sites each soil type has at least; fewer where `count` does not suffice for all.
    least_ha : float
        A soil type of less ground has none kept for it.
    room : (n_soils,)
        Most sites each can take.
    had : (n_soils,), optional
        Sites that are there already, which count.

    Examples
    --------
    >>> share_out(10, np.array([70.0, 25.0, 5.0]), least=2, least_ha=0.5, room=np.array([99, 99, 99]))
    array([6, 2, 2])
    """
    had = np.zeros(len(ha), dtype=np.int64) if had is None else had
    kept = (ha >= min(least_ha, float(ha.max()))) & (room > 0)
    each = min(least, (count + int(had[kept].sum())) // max(int(kept.sum()), 1))
    out = np.where(kept, np.clip(each - had, 0, room), 0)
    while out.sum() > count:  # those that are there already lie unevenly
        out[int(np.where(out > 0, ha / np.maximum(out + had, 1), np.inf).argmin())] -= 1
    for _ in range(count - int(out.sum())):
        # the soil type with most ground for each of its sites, its first to come counted as half a site
        want = np.where(out < room, ha / (out + had + 0.5), -1.0)
        out[int(want.argmax())] += 1
    return np.asarray(out, dtype=np.int64)


def expected_sd_mm(
    targets: Targets, sites_xy: Floats, soil: Ints, *, scatter: Scatter, range_m: float, insertions: int
) -> float:
    """Root of the mean kriging variance of the pan's bottom over the targets, mm.

    Means of the soil types are estimated from the sites, those of soil types without a site are that of all; the
    variance about them is `scatter.between`, alike over `range_m`, and that of the mean of the `insertions` is added.

    Parameters
    ----------
    targets : Targets
        Ground to be known.
    sites_xy : (k, 2)
        At least one.
    soil : (k,)
        Soil type of each site.
    """
    seen = np.unique(soil)
    usual = seen[np.bincount(soil).take(seen).argmax()]

    def columns(of: Ints) -> Floats:
        known = np.where(np.isin(of, seen), of, usual)
        return np.asarray(known[:, None] == seen, dtype=np.float64)

    one = Structure(family=FAMILY, sill=scatter.between, length_m=range_m / EFFECTIVE_RANGE[FAMILY])
    error = np.full(len(sites_xy), scatter.within / insertions)
    data = observe(
        sites_xy[:, 0], sites_xy[:, 1], np.zeros(len(sites_xy)), error_variance=error, trend=columns(soil),
        constant=False,
    )  # fmt: skip
    some = np.unique(np.linspace(0, len(targets.ha) - 1, MOST_PLACES).round().astype(int))
    field = condition(data, Covariance(structures=(one,)))
    kriged = krige(field, targets.xy_m[some, 0], targets.xy_m[some, 1], trend=columns(targets.soil[some]))
    return float(np.sqrt(np.average(kriged.variance, weights=targets.ha[some])))
