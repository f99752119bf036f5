"""The ground as the surfaces see it: cells, nodes and sites, each with its soil type and trend values."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.said import percent
from hardpan.records.frame import Frame
from hardpan.records.issues import Issue
from hardpan.records.survey import Survey
from hardpan.spatial.cells import cells_at, centres_inside, soils_at
from hardpan.surfaces.settings import SurfaceSettings

SOIL = "soil type "
"""What the name of a soil type's trend column starts with."""

LEAST_THICKNESS_MM = 25.0
"""A pan thinner than a usual reading step is not seen: maps and draws keep top and bottom this far apart."""

_ONE_SITE_M = 0.5
"""Insertions nearer than this are one site: well inside the error of a hand-held receiver, well under any spacing."""

NEGATIVE_SPECTRUM = 0.01
"""Share of a spectrum that draws may lack: ranges beyond the paddock's size bring it, and the map knows little of the
long waves it stands for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Points with what the trend reads there."""

    xy_m: Floats
    """(n, 2)."""
    soil: Ints
    """(n,) position in `Domain.soil_types`."""
    trend: Floats
    """(n, p)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Domain:
    """Everything about places; nothing about the pan."""

    frame: Frame
    inside: Bools
    """(n_rows, n_cols)."""
    soil_types: tuple[str, ...]
    trend_names: tuple[str, ...]
    """p names; the first is the intercept."""
    cells: Places
    """Cells inside the boundary, row after row."""
    nodes: Places
    """One for each square of the lattice and soil type that has cells in it, at the middle of the square."""
    node_of_cell: Ints
    """(n_rows, n_cols), -1 outside."""
    node_m: float
    """Side of a square."""
    sites: Places
    """Where insertions were made; those within half a metre are one site."""
    site_of: Ints
    """(n_insertions,) site of each insertion, in the order of the pan features."""

    def on_grid(self, values: Floats) -> Floats:
        """Values (n_cells,) of the cells inside as a grid, NaN outside."""
        grid = np.full(self.frame.shape, np.nan)
        grid[self.inside] = values
        return grid

    @property
    def diagonal_m(self) -> float:
        """Length across the frame."""
        west, south, east, north = self.frame.bounds
        return float(((east - west) ** 2 + (north - south) ** 2) ** 0.5)


def build_domain(insertions: gpd.GeoDataFrame, survey: Survey, settings: SurfaceSettings) -> tuple[Domain, list[Issue]]:
    """Cells, nodes and sites with their trend, and what was filled or left out.

    Trend columns: 1; an indicator of each soil type where there are two or more; covariates and coordinates in
    standard deviations of the cells.
    """
    frame = survey.frame
    inside = centres_inside(survey.paddock.ground, frame)
    rows, cols = np.nonzero(inside)
    cell_xy = np.column_stack([frame.x_m[cols], frame.y_m[rows]])
    site_of, site_xy = merge_sites(insertions)
    soil_types = survey.soil_types
    codes = [soils_at(xy, survey.soils, soil_types) for xy in (cell_xy, site_xy)]
    extras, issues = _extra_columns(survey, settings, inside, site_xy)

    node_of, node_xy, node_soil, node_m = _lay_nodes(frame, rows, cols, codes[0], settings.node_m)
    node_of_cell = np.full(frame.shape, -1)
    node_of_cell[inside] = node_of

    names = ["1"]
    with_soil = "soil" in settings.trend and len(soil_types) > 1
    if with_soil:
        names += [f"{SOIL}{name}" for name in soil_types]
    names += [name for name, _, _ in extras]
    at_cells = [cells for _, cells, _ in extras]
    counts = np.bincount(node_of)
    at_nodes = [np.bincount(node_of, weights=cells) / counts for cells in at_cells]

    def places(xy: Floats, soil: Ints, columns: list[Floats]) -> Places:
        indicators = [np.eye(len(soil_types))[soil]] if with_soil else []
        return Places(xy_m=xy, soil=soil, trend=np.column_stack([np.ones(len(xy)), *indicators, *columns]))

    domain = Domain(
        frame=frame,
        inside=inside,
        soil_types=soil_types,
        trend_names=tuple(names),
        cells=places(cell_xy, codes[0], at_cells),
        nodes=places(node_xy, node_soil, at_nodes),
        node_of_cell=node_of_cell,
        node_m=node_m,
        sites=places(site_xy, codes[1], [sites for _, _, sites in extras]),
        site_of=site_of,
    )
    return domain, issues


def _lay_nodes(frame: Frame, rows: Ints, cols: Ints, soil: Ints, spacing_m: float) -> tuple[Ints, Floats, Ints, float]:
    """Node of each cell, the nodes' places and soil types, and their spacing.

    Squares of whole cells are laid over the frame; one has a node, in its middle, for each soil type among its cells.
    """
    per_side = cells_per_node(frame, spacing_m)
    key, node_of = np.unique(np.column_stack([rows // per_side, cols // per_side, soil]), axis=0, return_inverse=True)
    node_m = per_side * frame.cell_m
    xy = np.column_stack([frame.x_min_m + (key[:, 1] + 0.5) * node_m, frame.y_max_m - (key[:, 0] + 0.5) * node_m])
    return node_of.ravel(), xy, key[:, 2], node_m


def cells_per_node(frame: Frame, spacing_m: float) -> int:
    """Number of cells along the side of a node's square."""
    return max(1, round(spacing_m / frame.cell_m))


def merge_sites(insertions: gpd.GeoDataFrame) -> tuple[Ints, Floats]:
    """Site of each insertion (n_insertions,), and the sites' places (n_sites, 2), numbered from west to east."""
    names, code = np.unique(insertions["site"].to_numpy(str), return_inverse=True)
    xy = np.column_stack([insertions.geometry.x, insertions.geometry.y])
    middle = pd.DataFrame(xy).groupby(code).mean().to_numpy()
    pairs = KDTree(middle).query_pairs(_ONE_SITE_M, output_type="ndarray")
    date = pd.Series(insertions["date"].to_numpy(str)).groupby(code).min().to_numpy()
    pairs = pairs[date[pairs[:, 0]] == date[pairs[:, 1]]]  # the survey parts a site probed in two seasons
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(names), len(names)))
    merged = connected_components(graph, directed=False)[1][code]
    # sums over sorted coordinates do not depend on the order of the rows
    ordered = pd.DataFrame({"site": merged, "x": xy[:, 0], "y": xy[:, 1]}).sort_values(["site", "x", "y"])
    places = ordered.groupby("site").mean().to_numpy()
    order = np.lexsort((places[:, 1], places[:, 0]))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return rank[merged], places[order]


def _extra_columns(
    survey: Survey, settings: SurfaceSettings, inside: Bools, site_xy: Floats
) -> tuple[list[tuple[str, Floats, Floats]], list[Issue]]:
    """Name, values at cells and values at sites of covariates and coordinates, standardised over the cells."""
    frame = survey.frame
    columns: list[tuple[str, Floats, Floats]] = []
    issues: list[Issue] = []
    row, col = cells_at(site_xy, frame)
    if "covariates" in settings.trend:
        for name, raster in survey.covariates.data_vars.items():
            grid = raster.to_numpy().astype(float)
            cells = grid[inside]
            known = np.isfinite(cells)
            if not known.any() or np.ptp(cells[known]) == 0:
                issues.append(_unused(str(name)))
                continue
            if not known.all():
                issues.append(_filled(str(name), 1.0 - float(known.mean())))
            mean, sd = float(cells[known].mean()), float(cells[known].std())
            scaled = np.nan_to_num((grid - mean) / sd, nan=0.0)
            columns.append((str(name), scaled[inside], scaled[row, col]))
    if "coordinates" in settings.trend:
        half_m = 0.5 * max(frame.shape) * frame.cell_m
        grids = np.meshgrid((frame.x_m - frame.x_m.mean()) / half_m, (frame.y_m - frame.y_m.mean()) / half_m)
        columns += [(name, grid[inside], grid[row, col]) for name, grid in zip(("east", "north"), grids, strict=True)]
    return columns, issues


def _unused(name: str) -> Issue:
    return Issue(
        stage="surfaces",
        code="covariate-not-used",
        what=f"covariate {name} is missing or the same everywhere in the paddock",
        done="left out of the trend",
        place=name,
    )


def _filled(name: str, share: float) -> Issue:
    return Issue(
        stage="surfaces",
        code="covariate-filled",
        what=f"covariate {name} is missing over {percent(share)} of the paddock",
        done="its mean over the paddock stands in there, so it says nothing about that part",
        place=name,
    )
