"""The ground that is to be known, and the part of it that may be probed."""

from dataclasses import dataclass

import numpy as np
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.core.said import Said, distance
from hardpan.records.frame import Frame
from hardpan.records.issues import Issue, Issues
from hardpan.records.probing import Access
from hardpan.records.survey import Survey
from hardpan.sites.settings import SiteSettings
from hardpan.spatial.cells import cells_at, centres_inside, soils_at
from hardpan.spatial.polygons import distances_to_borders

MOST_TARGETS = 2500
"""Blocks of cells that coverage is measured over: enough for a hundred sites, and quick."""

PLAINER = 0.01
"""Share of the distance kept from the boundary that this may move before it is measured from."""

NARROW = 0.5
"""Share of the way to the middle that is kept from the edge where the ground is narrower than the setting."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Targets:
    """Blocks of cells of one soil type that the sites are to stand for; arrays of length n."""

    xy_m: Floats
    """(n, 2) middle of the block's cells."""
    ha: Floats
    soil: Ints
    """Position in `Survey.soil_types`."""
    covariates: Floats
    """(n, q) means of the covariates, in standard deviations over the ground; 0 where not known."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Ground to be known and cells that may be probed."""

    targets: Targets
    frame: Frame
    soil_of_cell: Ints
    """(n_rows, n_cols) soil type of each cell that may be probed, -1 elsewhere."""
    covariates: Floats
    """(q, n_rows, n_cols), as in `targets`."""
    issues: Issues

    @property
    def open_xy_m(self) -> Floats:
        """(m, 2) centres of the cells that may be probed, row after row."""
        rows, cols = np.nonzero(self.soil_of_cell >= 0)
        return np.column_stack([self.frame.x_m[cols], self.frame.y_m[rows]])

    @property
    def open_soil(self) -> Ints:
        """(m,) their soil types."""
        return self.soil_of_cell[self.soil_of_cell >= 0]

    def soil_at(self, xy_m: Floats) -> Ints:
        """Soil type at places (k, 2), -1 where the cell may not be probed."""
        row, col = cells_at(xy_m, self.frame)
        return self.soil_of_cell[row, col]


def survey_ground(survey: Survey, access: Access, settings: SiteSettings) -> Ground:
    """Ground of a survey with what edges, exclusions and wheel tracks leave of it to probe.

    Raises
    ------
    InputError
        Nothing may be probed.
    """
    frame = survey.frame
    inside = centres_inside(survey.paddock.ground, frame)
    rows, cols = np.nonzero(inside)
    xy = np.column_stack([frame.x_m[cols], frame.y_m[rows]])
    points = shapely.points(xy)
    closed, tracks = np.asarray(survey.paddock.exclusions.geometry), np.asarray(access.tramlines)
    free = ~_within(points, closed, 0.0)
    if not free.any():
        raise InputError(what="exclusions cover the whole paddock", where=survey.paddock.name, do="check their buffers")
    edge, issues = _off_edge(points, survey.paddock.ground, settings.edge_m)
    shut = _within(points, closed, settings.exclusion_m) | _within(points, tracks, settings.tramline_m)
    may = edge & free & ~shut
    if not may.any():
        raise InputError(
            what="edges, exclusions and wheel tracks leave no ground to probe",
            where="[sites]",
            do="lower edge_m, exclusion_m or tramline_m, or choose smaller cells",
        )
    soil = soils_at(xy, survey.soils, survey.soil_types)
    grids = _standardised(survey, inside)
    soil_of_cell = np.full(frame.shape, -1)
    soil_of_cell[rows[may], cols[may]] = soil[may]
    return Ground(
        targets=_blocks(frame, rows[free], cols[free], soil[free], grids),
        frame=frame,
        soil_of_cell=soil_of_cell,
        covariates=grids,
        issues=issues,
    )


def _within(points: np.ndarray, shapes: np.ndarray, reach_m: float) -> Bools:
    """Whether each point lies in a shape or no farther from one than `reach_m`."""
    whole = shapely.union_all(shapes)
    if whole.is_empty:
        return np.zeros(len(points), dtype=bool)
    shapely.prepare(whole)
    return np.asarray(shapely.dwithin(whole, points, reach_m), dtype=bool)


def _off_edge(points: np.ndarray, ground: shapely.Geometry, edge_m: float) -> tuple[Bools, Issues]:
    """Whether points keep off the boundary; in a part narrower than the setting a share of the way to its middle."""
    if edge_m == 0:
        return np.ones(len(points), dtype=np.bool_), ()
    parts = shapely.get_parts(shapely.simplify(ground, PLAINER * edge_m))
    within = distances_to_borders(points, parts, reach=edge_m / NARROW)
    part = shapely.STRtree(parts).nearest(points) if len(parts) > 1 else np.zeros(len(points), dtype=np.int64)
    deepest = np.zeros(len(parts))
    np.maximum.at(deepest, part, within)
    kept = np.minimum(edge_m, NARROW * deepest)
    narrow = (kept < edge_m) & (deepest > 0)
    if not narrow.any():
        return within >= kept[part], ()
    issue = Issue(
        stage="sites",
        code="narrow-ground",
        what=Said("the ground is too narrow to keep {asked} from the edge", asked=distance(edge_m)),
        done=Said("sites there keep {kept} from it at least", kept=distance(float(kept[narrow].min()), 1)),
    )
    return within >= kept[part], (issue,)


def _standardised(survey: Survey, inside: Bools) -> Floats:
    """Covariates (q, n_rows, n_cols) in standard deviations over the cells inside, 0 where not known."""
    grids = []
    for raster in survey.covariates.data_vars.values():
        grid = raster.to_numpy().astype(float)
        known = inside & np.isfinite(grid)
        spread = float(grid[known].std()) if known.any() else 0.0
        if spread > 0:
            grids.append(np.nan_to_num((grid - grid[known].mean()) / spread, nan=0.0))
    return np.stack(grids) if grids else np.empty((0, *survey.frame.shape))


def _blocks(frame: Frame, rows: Ints, cols: Ints, soil: Ints, grids: Floats) -> Targets:
    """Squares of whole cells, one target for each soil type in them, few enough to measure coverage over."""
    side = max(1, int(np.ceil(np.sqrt(len(rows) / MOST_TARGETS))))
    key = np.stack([rows // side, cols // side, soil], axis=1)
    block, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)[1:]
    block = block.ravel()

    def mean(values: Floats) -> Floats:
        return np.bincount(block, weights=values) / count

    return Targets(
        xy_m=np.column_stack([mean(frame.x_m[cols]), mean(frame.y_m[rows])]),
        ha=np.asarray(count * frame.cell_area_ha, dtype=np.float64),
        soil=np.asarray(mean(soil.astype(float)).round(), dtype=np.int64),
        covariates=np.stack([mean(grid[rows, cols]) for grid in grids], axis=1)
        if len(grids)
        else np.empty((len(count), 0)),
    )
