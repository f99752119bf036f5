"""How many sites: the most that the hours allow, or the fewest that give the precision."""

from collections.abc import Callable
from dataclasses import dataclass

from hardpan.core.errors import SettingsError
from hardpan.core.said import Said, depth
from hardpan.records.probing import NumberFrom
from hardpan.sites.effort import probing_hours
from hardpan.sites.settings import SiteSettings

MOST_SITES = 1000
"""Sites of one plan; settings ask for no more."""


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
