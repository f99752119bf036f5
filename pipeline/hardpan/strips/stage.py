"""Check strips laid into a plan: zones of their own, left unripped, with a ripped strip beside each."""

import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.optimize import brentq
from scipy.special import gammaincinv, ndtr, stdtrit

from hardpan.core.arrays import Floats
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue
from hardpan.records.machines import Ripper
from hardpan.records.plan import RIPPED, UNRIPPED, Plan, Strips
from hardpan.records.survey import Paddock
from hardpan.records.zones import Zones
from hardpan.spatial.polygons import hectares
from hardpan.strips.layout import Pair, Size, Wanted, cut_plan, cut_zones, lay_pairs
from hardpan.strips.settings import StripSettings

_Laid = Mapping[int, tuple[Pair, ...]]
"""Ripped zone to its pairs."""

CUTS = 4000
"""Equal shares of the draws of a standard deviation that a chance is summed over: right to 1e-4."""

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripPlan:
    """Zones and plan with the strips cut out of the zones they lie in."""

    zones: Zones
    plan: Plan
    strips: Strips | None
    """None where none has room."""


def lay_strips(
    zones: Zones, plan: Plan, paddock: Paddock, ripper: Ripper, settings: StripSettings, *, seed: int
) -> StripPlan:
    """Zones and plan with check strips as zones of their own, kind "strip", depth 0, numbered after all others.

    What was decided of a zone stays; its hectares, hours, litres and money become those of the ground that is left.
    """
    width_m = strip_width_m(settings, ripper.width_m)
    asked = _asked(plan.zones, settings)
    size = Size(width_m=width_m, length_m=settings.length_m, pass_m=ripper.width_m)
    laid = _laid(zones, paddock, asked, size, settings, seed=seed)
    issues = tuple(_issues(asked, laid, settings))
    logger.info("%d pairs of strips %g m wide", sum(map(len, laid.values())), width_m)
    if not laid:
        return StripPlan(zones=zones, plan=replace(plan, issues=(*plan.issues, *issues)), strips=None)
    table = _strip_table(zones, plan, laid, width_m)
    left = table[table["treatment"] == UNRIPPED]
    cut = cut_zones(zones, left)
    strips = Strips(
        table=table,
        promise=_promise(laid, settings),
        harvester_width_m=settings.harvester_width_m,
        position_error_m=settings.position_error_m,
    )
    return StripPlan(zones=cut, plan=cut_plan(plan, cut, left, issues), strips=strips)


def strip_width_m(settings: StripSettings, pass_m: float) -> float:
    """Width of a strip, m: as asked for, or whole passes of the ripper that hold one clean cut of the harvester."""
    if settings.width_m is not None:
        return settings.width_m
    needed_m = settings.harvester_width_m + 2.0 * settings.position_error_m
    return float(np.ceil(needed_m / pass_m - 1e-9) * pass_m)


def _asked(plan: gpd.GeoDataFrame, settings: StripSettings) -> dict[int, int]:
    """Ripped zone to the pairs asked for in it."""
    ripped = plan[plan["depth_mm"] > 0]
    if settings.pairs != "auto":
        return dict.fromkeys(map(int, ripped["zone"]), settings.pairs)
    largest = ripped.sort_values(["area_ha", "zone"]).groupby("soil_type")["zone"].last()
    return dict.fromkeys(sorted(map(int, largest)), settings.auto_pairs)


def _laid(
    zones: Zones, paddock: Paddock, asked: Mapping[int, int], size: Size, settings: StripSettings, *, seed: int
) -> _Laid:
    """Pairs of each zone in which any has room."""
    wider_m = max(settings.harvester_width_m, size.pass_m)
    headland_m = 2.0 * wider_m if settings.headland_m is None else settings.headland_m
    inner = shapely.buffer(paddock.ground, -headland_m)
    table, laid = zones.table.set_index("zone"), {}
    for zone, pairs in asked.items():
        shape = table.geometry.loc[zone]
        room = shapely.intersection(shapely.buffer(shape, -settings.border_m), inner)
        wanted = Wanted(pairs=pairs, least_m=settings.least_length_m, most_m2=settings.most_share * shape.area)
        rng = np.random.default_rng([seed, zone])
        if found := lay_pairs(room, size, float(table["heading_deg"].loc[zone]), wanted, rng):
            laid[zone] = found
    return laid


def _strip_table(zones: Zones, plan: Plan, laid: _Laid, width_m: float) -> gpd.GeoDataFrame:
    """`Strips.table` of what was laid."""
    planned, heading = plan.zones.set_index("zone"), zones.table.set_index("zone")["heading_deg"]
    pairs = [(zone, pair) for zone, found in laid.items() for pair in found]
    first_free = int(zones.table["zone"].max()) + 1
    rows = [
        {
            "strip": number + (0 if treatment == UNRIPPED else len(pairs)) + 1,
            "pair": number + 1,
            "treatment": treatment,
            "zone": zone,
            "plan_zone": first_free + number if treatment == UNRIPPED else 0,
            **{name: planned[name].loc[zone] for name in ("soil_type", "depth_mm", "setup")},
            "width_m": width_m,
            "length_m": pair.length_m,
            "heading_deg": float(heading.loc[zone]),
            "geometry": pair.unripped if treatment == UNRIPPED else pair.ripped,
        }
        for treatment in (UNRIPPED, RIPPED)
        for number, (zone, pair) in enumerate(pairs)
    ]
    crs = zones.table.crs
    table = gpd.GeoDataFrame(rows, geometry="geometry", crs=crs)
    return table.assign(area_ha=hectares(table.geometry.to_numpy(), crs))


def _promise(laid: _Laid, settings: StripSettings) -> pd.DataFrame:
    """`Strips.promise`: all pairs together, then those of each zone."""
    pairs: list[tuple[object, int, int]] = [("all", sum(map(len, laid.values())), len(laid))]
    pairs += [(zone, len(found), 1) for zone, found in laid.items()]
    rows = [
        {
            "zone": zone,
            "pairs": number,
            "strip_cv": settings.strip_cv,
            "level": settings.level,
            "power": settings.power,
            "difference": detectable(
                number, settings.strip_cv, zones=zones, level=settings.level, power=settings.power
            ),
        }
        for zone, number, zones in pairs
    ]
    return pd.DataFrame(rows)


def _issues(asked: Mapping[int, int], laid: _Laid, settings: StripSettings) -> Iterator[Issue]:
    """What could not be laid as asked for."""
    if not asked:
        yield Issue("strips", "strips-none", "check strips are asked for, but nothing is ripped", "none were laid")
    for zone, pairs in asked.items():
        found = laid.get(zone, ())
        if len(found) < pairs:
            what = Said(
                "{found} of {pairs} pairs of check strips of {least} or longer fit into the zone",
                found=len(found), pairs=pairs, least=distance(settings.least_length_m),
            )  # fmt: skip
            done = "laid those" if found else "none were laid there"
            yield Issue("strips", "strips-fewer", what, done, place=f"zone {zone}")
        elif found[0].length_m < settings.length_m:
            what = Said(
                "there is no room for {n} pairs of strips of {length}", n=pairs, length=distance(settings.length_m)
            )
            done = Said("they are {length}", length=distance(found[0].length_m))
            yield Issue("strips", "strips-shorter", what, done, place=f"zone {zone}")


def degrees_between(pairs: int, zones: int) -> int:
    """Degrees of freedom between strips: all of them less a level for each zone and one for the treatment.

    No interval of a trial is judged by fewer, whatever its field explains; pair by pair there would be about half.
    """
    return 2 * pairs - zones - 1


def detectable(pairs: int, strip_cv: float, *, zones: int = 1, level: float, power: float) -> float:
    """Smallest true difference, a share of the mean yield, that the interval of a trial finds with a given chance.

    NaN with fewer than two pairs; 0 where chance alone finds one as often.

    Parameters
    ----------
    pairs : int
        Pairs of strips, at least one a zone.
    strip_cv : float
        Standard deviation between the two strips of a pair where both are treated alike, over sqrt 2, as a share of
        the mean.
    zones : int
        Zones they lie in, each with a yield of its own.
    level : float
        Level of the two-sided interval that has to leave out 0.
    power : float
        Chance that it does.

    Notes
    -----
    The interval is that of the mixed model which a trial is judged by. Its field takes out what neighbouring strips
    have in common, as the differences of pairs do, but its error is known from all strips: see `degrees_between`.

    >>> round(detectable(4, 0.08, level=0.95, power=0.8), 3)
    0.19
    """
    if pairs < 2:
        return float("nan")
    if power <= 1.0 - level:
        return 0.0
    df = degrees_between(pairs, zones)
    most = strip_cv * 10.0 * (10.0 + stdtrit(df, (1.0 + level) / 2.0))
    found = brentq(lambda difference: power_of(difference, pairs, strip_cv, df=df, level=level) - power, 0.0, most)
    return float(found)


def power_of(difference: float, pairs: int, strip_cv: float, *, df: int, level: float) -> float:
    """Chance that Student's two-sided interval at a level leaves out 0, given a true difference, a share of the mean.

    Notes
    -----
    With n pairs the mean difference has the standard error e = c sqrt(2 / n). Where it is estimated as s times that,
    the test finds the difference d with the chance Phi(d / e - t s) + Phi(-d / e - t s); df times the square of s has
    the chi-squared distribution with df degrees of freedom. Together that is the noncentral t.
    """
    shift = difference / (strip_cv * np.sqrt(2.0 / pairs))
    edge = stdtrit(df, (1.0 + level) / 2.0) * _error_ratio(df)
    return float((ndtr(shift - edge) + ndtr(-shift - edge)).mean())


@cache  # the search asks for it at every step
def _error_ratio(df: int) -> Floats:
    """Estimated over true standard error at the middles of `CUTS` equal parts of its chance, shape (CUTS,)."""
    return np.asarray(np.sqrt(2.0 * gammaincinv(df / 2.0, (np.arange(CUTS) + 0.5) / CUTS) / df))
