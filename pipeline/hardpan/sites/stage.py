"""Where to probe: sites that cover the ground, or those whose answers are worth most to the decision."""

import logging
import re
from collections import Counter
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from hardpan.core.arrays import Bools, Floats
from hardpan.core.threads import one_blas_thread
from hardpan.core.units import M2_PER_HA
from hardpan.options import Stakes, build_ground, economy_on, stakes_at
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.pan import Bottom, State
from hardpan.records.plan import Plan
from hardpan.records.probing import Access, Chosen, Forecast, Gain, NumberFrom, SitePlan, Walk
from hardpan.records.survey import Survey
from hardpan.records.zones import Zones
from hardpan.sites.coverage import mean_squared_distance, nearest_ha, walking_order
from hardpan.sites.design import MOST_SITES, Design, Trials, number_of, place_of, probed_sites
from hardpan.sites.effort import Scatter, insertions_of, probing_hours, walking_hours
from hardpan.sites.ground import Ground, survey_ground
from hardpan.sites.infill import Batch, Cost, choose_sites, questions_of, variance_of
from hardpan.sites.information import units_of, value_information
from hardpan.sites.settings import SiteSettings

PREFIX = "P"

logger = logging.getLogger(__name__)


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
    design = Design(ground, access, settings, scatter=scatter, fixed=probed.to_numpy(float), seed=seed)
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
        gain=None,
        gate=access.gate,
        spacing_m=float(np.sqrt(mean_squared_distance(ground.targets.xy_m, ground.targets.ha, design.beside(xy)))),
        probed=gpd.GeoSeries(gpd.points_from_xy(probed["x_m"], probed["y_m"]), index=probed.index, crs=survey.crs),
        issues=ground.issues,
    )


@one_blas_thread()
def plan_infill(
    evidence: Evidence,
    options: Options,
    zones: Zones,
    plan: Plan,
    *,
    catalog: Catalog,
    rates: Rates,
    access: Access,
    settings: SiteSettings,
    asked: DecisionSettings,
) -> SitePlan | None:
    """Further sites by the value of their answers to the decision, in walking order.

    With a count or hours that many; else as long as an answer brings more than it costs, and one in any case. None
    where no pan was met, so that no depth is open.

    Raises
    ------
    InputError
        No ground may be probed.
    """
    survey, surfaces = evidence.survey, evidence.surfaces
    if "bottom" not in surfaces.errors.covariances:
        return None
    ground = survey_ground(survey, access, settings)
    units = units_of(zones, plan, surfaces, _stakes(evidence, options, catalog, rates, asked))
    n_places = len(surfaces.errors.xy_m)
    onto = units.bottom_shares(n_places), units.pan_shares(n_places)
    at, may = _open_places(ground, evidence)
    bottom = surfaces.errors.covariances["bottom"]
    unknown = float(np.diag(bottom.covariance).mean()) + bottom.site
    spacing_m = float(np.sqrt(M2_PER_HA * ground.targets.ha.sum() / len(probed_sites(survey))))
    insertions = insertions_of(settings, Scatter(between=unknown, within=bottom.insertion), spacing_m)
    gate = place_of(access.gate)
    batch = choose_sites(
        value_information(units, np.sqrt(variance_of(bottom.covariance, onto[0]))),
        questions_of(surfaces.errors, onto, insertions=insertions, seen=_seen(evidence)),
        Cost(
            xy_m=at,
            gate_xy=gate,
            probing_h=probing_hours(1, insertions, settings),
            km_h=settings.walk_kmh,
            per_hour=catalog.prices.labour_per_h.value,
        ),
        may=may,
        most=settings.count or (MOST_SITES if settings.hours is not None else settings.most_further),
        hours=settings.hours,
        paying=settings.count is None and settings.hours is None,
    )
    return _infill(ground, evidence, batch, at[batch.place], insertions=insertions, gate=access.gate, settings=settings)


def _infill(
    ground: Ground,
    evidence: Evidence,
    batch: Batch,
    xy_m: Floats,
    *,
    insertions: int,
    gate: shapely.Point | None,
    settings: SiteSettings,
) -> SitePlan:
    """Plan of a batch of sites at places (k, 2)."""
    survey, errors = evidence.survey, evidence.surfaces.errors
    probed = probed_sites(survey)
    order, length_m = walking_order(xy_m, place_of(gate))
    sd_mm = np.sqrt(np.diag(errors.covariances["bottom"].covariance))[batch.place]
    table = _table(ground, survey, xy_m[order], insertions=insertions, probed=probed, settings=settings)
    number = NumberFrom.COUNT if settings.count else NumberFrom.HOURS if settings.hours else NumberFrom.WORTH
    everywhere = np.vstack([xy_m, probed.to_numpy()])
    return SitePlan(
        sites=table.assign(chosen=Chosen.WORTH, worth=batch.worth[order], cost=batch.cost[order], sd_mm=sd_mm[order]),
        number=number,
        walk=Walk(
            length_m=length_m,
            hours=walking_hours(length_m, settings) + probing_hours(len(xy_m), insertions, settings),
        ),
        forecast=None,
        gate=gate,
        gain=Gain(worth=float(batch.worth.sum()), cost=float(batch.cost.sum()), perfect=batch.perfect),
        probed=gpd.GeoSeries(gpd.points_from_xy(probed["x_m"], probed["y_m"]), index=probed.index, crs=survey.crs),
        spacing_m=float(np.sqrt(mean_squared_distance(ground.targets.xy_m, ground.targets.ha, everywhere))),
        issues=ground.issues,
    )


def _stakes(evidence: Evidence, options: Options, catalog: Catalog, rates: Rates, asked: DecisionSettings) -> Stakes:
    """What is at stake at each node."""
    ground = build_ground(evidence.surfaces, evidence.survey, catalog, asked.prescription)
    fitted = options.table.loc[options.fitted, ["option", "setup", "depth_mm", "spacing_mm"]]
    economy = economy_on(
        ground, fitted, evidence, catalog, rates, draft=options.draft, asked=asked, tines=options.tines
    )
    return stakes_at(economy, options)


def _open_places(ground: Ground, evidence: Evidence) -> tuple[Floats, Bools]:
    """Where each place would be probed, (m, 2), the nearest cell to its middle that may be; and whether it may."""
    errors, node = evidence.surfaces.errors, evidence.surfaces.node_of_cell
    rows, cols = np.nonzero((ground.soil_of_cell >= 0) & (node >= 0))
    cells = np.column_stack([ground.frame.x_m[cols], ground.frame.y_m[rows]])
    place = errors.place_of_node[node[rows, cols]]
    off_m = np.hypot(*(cells - errors.xy_m[place]).T)
    order = np.lexsort((cells[:, 1], cells[:, 0], off_m, place))
    found, first = np.unique(place[order], return_index=True)
    at, may = errors.xy_m.copy(), np.zeros(len(errors.xy_m), dtype=bool)
    at[found], may[found] = cells[order[first]], True
    return at, may


def _seen(evidence: Evidence) -> Floats:
    """Chance (m,) that a site at each place meets a bottom that its rod reaches: some answers are only bounds.

    By the draws of the bottom against the longest rod, and by the share of the survey's insertions that were stopped
    short of it. A bound tells something too; it is counted as nothing.
    """
    reach_mm, draws = evidence.survey.profiles.depth_limit_mm, evidence.surfaces.draws
    present, bottom_mm = (draws[name].transpose("draw", "node").to_numpy() for name in ("present", "bottom_mm"))
    there, reached = present.sum(axis=0), (present & (bottom_mm <= reach_mm)).sum(axis=0)
    place = evidence.surfaces.errors.place_of_node
    within = np.bincount(place, weights=reached) / np.maximum(np.bincount(place, weights=there), 1)
    met = evidence.pan.insertions[evidence.pan.insertions["state"] == State.PRESENT]
    stopped = (met["bottom_kind"] == Bottom.CENSORED) & (met["bottom_low_mm"] < reach_mm - 1.0)
    return np.asarray(within * (1.0 - float(stopped.mean()) if len(met) else 1.0))


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
            "cost": np.nan,
            "sd_mm": np.nan,
        },
        geometry=gpd.points_from_xy(*xy_m.T),
        crs=survey.crs,
    )


def next_names(count: int, taken: Sequence[str]) -> tuple[str, ...]:
    """`count` names after the highest number of the commonest prefix in `taken`, as wide as those are written.

    Examples
    --------
    >>> next_names(2, ["A1", "S008", "S009", "spare"])
    ('S010', 'S011')
    >>> next_names(2, [])
    ('P01', 'P02')
    """
    numbered = [found.groups() for name in sorted(taken) if (found := re.fullmatch(r"(\D*)(\d+)", name))]
    if not numbered:
        width = max(2, len(str(count)))
        return tuple(f"{PREFIX}{number:0{width}d}" for number in range(1, count + 1))
    counts = Counter(prefix for prefix, _ in numbered)
    prefix = min(counts, key=lambda one: (-counts[one], one))
    digits = [number for one, number in numbered if one == prefix]
    last, width = max(map(int, digits)), min(map(len, digits))
    return tuple(f"{prefix}{last + number:0{width}d}" for number in range(1, count + 1))
