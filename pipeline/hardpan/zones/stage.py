"""Maps and soils in, zones a machine can follow out."""

import logging
from dataclasses import replace

import geopandas as gpd
import numpy as np
import shapely

from hardpan.core.arrays import Ints, frozen
from hardpan.core.errors import SettingsError
from hardpan.core.said import Said, area, distance
from hardpan.core.units import M2_PER_HA
from hardpan.records.catalog import Catalog
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.issues import Issue, Issues
from hardpan.records.machines import Ripper
from hardpan.records.options import Options
from hardpan.records.survey import Survey
from hardpan.records.zones import Zones
from hardpan.spatial.regions import OUTSIDE
from hardpan.spatial.runs import mean_heading, within_headland
from hardpan.zones.classes import (
    ClassCounts,
    ClassValue,
    SoilClasses,
    choose_counts,
    class_value,
    fitted_only,
    joined_by_money,
    node_value,
    worth_of,
)
from hardpan.zones.drivable import Cells, change_m_of, least_piece, lift_m_of, make_drivable
from hardpan.zones.edges import soil_regions
from hardpan.zones.grouping import cell_features, expected_bottom_mm, group
from hardpan.zones.outline import Coverage, Drive, outline_classes
from hardpan.zones.settings import ZoneSettings
from hardpan.zones.table import zone_labels, zone_table
from hardpan.zones.workable import Clearance, WorkableArea, outline_of, workable_area

ONE_WAY = 0.9
"""Mean resultant length from which tramlines run one way: a lap of the headland around parallel ones stays above."""
NAMED_ZONES = 4
"""A list of more zones than this points nowhere."""
TELL_HA = 0.01
"""Slivers of less ground than this are left untold: a few cells along an edge."""

logger = logging.getLogger(__name__)


def draw_zones(
    evidence: Evidence,
    options: Options,
    catalog: Catalog,
    settings: ZoneSettings,
    *,
    asked: PrescriptionSettings,
    seed: int,
    tramlines: gpd.GeoSeries | None = None,
) -> Zones:
    """Zones that a machine can follow: classes of like ground inside each soil type, then the exclusions.

    They are driven along `settings.heading_deg`; where that is left out along the tramlines, lines in the working CRS,
    and where there are none each along its own longest runs.

    Raises
    ------
    InputError
        Exclusions leave no ground.
    """
    survey, surfaces, ripper = evidence.survey, evidence.surfaces, catalog.ripper
    settings, crossing = _along(settings, survey.paddock.ground, tramlines)
    cell_m, options = surfaces.frame.cell_m, fitted_only(options)
    lift_m = lift_m_of(options, ripper)
    ground = workable_area(survey.paddock, surfaces, _clearance(ripper, settings, lift_m))
    least = least_piece(options, ripper, settings, asked, cell_m)
    classes, soil_of_class, choice, fine = _classes(
        evidence,
        ground,
        node_value(options, asked),
        settings,
        zone_cost=catalog.prices.extra_zone.value,
        width_cells=least.width_cells,
        seed=seed,
    )
    bottom_mm = expected_bottom_mm(surfaces).ravel()[ground.source]
    cells = Cells(soil=ground.soil, depth_mm=bottom_mm, area_ha=ground.cell_ha)
    classes, told = make_drivable(classes, soil_of_class, cells, least)
    least_m2 = least.area_ha * shapely.area(ground.outline) / ground.cell_ha.sum()
    tolerance_m = cell_m + settings.gps_error_m if settings.simplify_m is None else settings.simplify_m
    coverage = outline_classes(
        classes,
        soil_of_class,
        surfaces.frame,
        ground.outline,
        ground.excluded,
        drive=Drive(tolerance_m=tolerance_m, width_m=ripper.width_m, heading_deg=settings.heading_deg),
        least_m2=least_m2,
        regions=soil_regions(survey.soils, surfaces.soil_types, ground.soil, classes, surfaces.frame),
    )
    order = _shallowest_first(coverage, classes, cells)
    soils = [surfaces.soil_types[code] for code in soil_of_class[coverage.classes[order]]]
    headland_m = 2.0 * ripper.width_m if settings.headland_m is None else settings.headland_m
    table = zone_table(
        [*coverage.shapes[order]],
        soils,
        coverage.excluded,
        survey.crs,
        inner=within_headland(survey.paddock.ground, headland_m),
        width_m=ripper.width_m,
        cell_m=cell_m,
        heading_deg=settings.heading_deg,
    )
    labels = frozen(zone_labels(table, surfaces))
    logger.info("%d classes, %d zones and exclusions", coverage.classes.size, len(table))
    return Zones(
        frame=surfaces.frame,
        labels=labels,
        classes=frozen(fine),
        table=table,
        indices=choice.indices,
        lift_m=lift_m,
        headland_m=headland_m,
        heading_deg=settings.heading_deg,
        change_m=change_m_of(options, ripper, asked),
        count=replace(choice.reason, least_ha=least.area_ha, least_m=least.width_cells * cell_m),
        issues=(
            *crossing,
            *_count_issues(settings, choice, coverage.classes.size),
            *(replace(issue, zones=_zones_at(labels.ravel()[ground.source.ravel()[about]])) for issue, about in told),
            *_outline_issues(coverage, least_m2, tolerance_m, order),
            *_hidden_exclusions(survey.paddock.exclusions, coverage.excluded),
        ),
    )


def _along(
    settings: ZoneSettings, boundary: shapely.Geometry, tramlines: gpd.GeoSeries | None
) -> tuple[ZoneSettings, Issues]:
    """Settings with the heading of the tramlines in the paddock, where none is set and they agree on one."""
    if settings.heading_deg is not None or tramlines is None or tramlines.empty:
        return settings, ()
    heading_deg, agreement = mean_heading(shapely.intersection(tramlines.to_numpy(), boundary))
    if agreement >= ONE_WAY:
        return settings.model_copy(update={"heading_deg": heading_deg}), ()
    if not agreement:
        return settings, ()
    what = "the tramlines run in several directions"
    done = "each zone is driven along its own longest runs; zones.heading_deg sets one direction"
    return settings, (_issue("tramlines-cross", what, done, "sites.tramlines"),)


def check_ground(survey: Survey, ripper: Ripper, settings: ZoneSettings) -> None:
    """Refuse a paddock that has nothing to be zoned.

    Raises
    ------
    InputError
        Exclusions leave no ground, or less than a cell.
    SettingsError
        No piece of the paddock is as wide as a zone must be.
    """
    outline, _ = outline_of(survey.paddock, survey.frame, _clearance(ripper, settings))
    if settings.min_width_m == "implement":
        return
    west, south, east, north = shapely.bounds(outline)
    if settings.min_width_m > max(east - west, north - south):
        raise SettingsError(
            what=f"{settings.min_width_m:g} m is wider than the paddock, {east - west:.0f} by {north - south:.0f} m",
            where="zones.min_width_m",
            right="the narrowest piece a machine can follow",
        )


def _clearance(ripper: Ripper, settings: ZoneSettings, lift_m: float = 0.0) -> Clearance:
    """Ground the middle of the implement keeps off beside exclusions."""
    margin_m = ripper.width_m / 2.0 + settings.gps_error_m
    return Clearance(margin_m=margin_m, lift_m=lift_m, heading_deg=settings.heading_deg)


def _classes(
    evidence: Evidence,
    ground: WorkableArea,
    per_ha: ClassValue,
    settings: ZoneSettings,
    *,
    zone_cost: float,
    width_cells: int,
    seed: int,
) -> tuple[Ints, Ints, ClassCounts, Ints]:
    """Class of each cell with ground, soil code of each class, how their number was chosen, and the classes before."""
    surfaces, covariates = evidence.surfaces, evidence.survey.covariates
    node = surfaces.node_of_cell.ravel()[ground.source]
    codes = np.unique(ground.soil[ground.soil != OUTSIDE])
    before, candidates = np.full(ground.soil.shape, OUTSIDE, dtype=np.int64), []
    for code in codes:
        cells = ground.soil == code
        features = cell_features(surfaces, covariates, ground.source, cells, width_cells=width_cells)
        fine = group(features, cells, settings.fine_count, settings.method, seed=seed)
        before[cells] = fine + 1 + before.max()
        nested = joined_by_money(fine, features, class_value(fine, node[cells], ground.cell_ha[cells], per_ha))
        classes, worth = (list(column) for column in zip(*nested, strict=True))
        candidates.append(SoilClasses(classes=classes, worth=worth, features=features))
    whole = ground.soil != OUTSIDE
    one = np.zeros(np.count_nonzero(whole), dtype=np.int64)
    undivided = worth_of(one, node[whole], ground.cell_ha[whole], per_ha)
    fixed = None if settings.count == "auto" else settings.count
    choice = choose_counts(candidates, undivided, zone_cost, fixed, settings.max_count)
    labels = np.full(ground.soil.shape, OUTSIDE, dtype=np.int64)
    start = 0
    for code, soil, count in zip(codes, candidates, choice.counts, strict=True):
        labels[ground.soil == code] = start + soil.classes[count - 1]
        start += count
    return labels, np.repeat(codes, choice.counts), choice, before


def _shallowest_first(coverage: Coverage, classes: Ints, cells: Cells) -> Ints:
    """Order of the coverage's classes by rising mean expected bottom."""
    area_ha = np.array([cells.area_ha[classes == one].sum() for one in coverage.classes])
    depth = np.array([(cells.depth_mm * cells.area_ha)[classes == one].sum() for one in coverage.classes])
    return np.lexsort((coverage.classes, depth / area_ha))


def _zones_at(labels: Ints) -> tuple[int, ...]:
    """Zones that cells lie in; none where that is nowhere or all over."""
    numbers = np.unique(labels[labels > 0])
    return tuple(numbers.tolist()) if numbers.size <= NAMED_ZONES else ()


def _count_issues(settings: ZoneSettings, choice: ClassCounts, drawn: int) -> Issues:
    issues = []
    given = sum(choice.counts)
    if settings.count not in {"auto", given}:
        limit = f"{len(choice.counts)} soil types" if given > int(settings.count) else "the unlike cells there are"
        issues.append(
            _issue("count-changed", f"{settings.count} classes were asked for", f"{given} drawn: {limit}", "[zones]")
        )
    if drawn < given:
        what = f"{given - drawn} of {given} classes had no piece large and wide enough to drive"
        issues.append(_issue("class-joined", what, "their ground joined its neighbours"))
    return tuple(issues)


def _outline_issues(coverage: Coverage, least_m2: float, tolerance_m: float, order: Ints) -> Issues:
    issues = []
    if coverage.tolerance_m < tolerance_m:
        text = "straightening zone borders by {by} would move more than 1 % of a zone or break a border"
        done = Said("straightened by {by}", by=distance(coverage.tolerance_m))
        issues.append(_issue("borders-stepped", Said(text, by=distance(tolerance_m)), done))
    if coverage.cut_off_ha > 0:
        text = "{area} of ground is cut off by exclusions in pieces too small to drive"
        what = Said(text, area=area(coverage.cut_off_ha))
        issues.append(_issue("cut-off", what, "left unripped with the exclusions", ", ".join(coverage.cut_off_by)))
    if coverage.sliver_ha > TELL_HA:
        text = "{area} lie in parts that boundary and exclusions cut too small to drive"
        what = Said(text, area=area(coverage.sliver_ha))
        issues.append(_issue("sliver-joined", what, "joined the neighbour across the longest border"))
    parts, number = shapely.get_parts(coverage.shapes[order], return_index=True)
    parts_m2 = shapely.area(parts)
    small = parts_m2[parts_m2 < least_m2]
    if small.size:
        text = "{area} in {n} pieces too small to drive have no neighbour to join"
        what = Said(text, area=area(float(small.sum()) / M2_PER_HA), n=small.size)
        about = _zones_at(number[parts_m2 < least_m2] + 1)
        issues.append(replace(_issue("piece-too-small", what, "kept as they are"), zones=about))
    return tuple(issues)


def _hidden_exclusions(given: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame) -> Issues:
    if len(drawn) == len(given):
        return ()
    what = f"{len(given) - len(drawn)} of {len(given)} exclusions lie within what is kept clear around another"
    hidden = given.loc[~given["name"].isin(drawn["name"]), "name"]
    return (_issue("exclusion-within", what, "counted with it", ", ".join(map(str, hidden))),)


def _issue(code: str, what: str, done: str, place: str = "") -> Issue:
    return Issue(stage="zones", code=code, what=what, done=done, place=place)
