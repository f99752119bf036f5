"""How much memory a run will take, from its sizes, before it is taken.

Bytes per cell, draw and option were measured as the peak of whole runs (tests/run/test_projection.py measures them
again) and rounded up: what is projected lies between the peak and three times the peak.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from hardpan.core.memory import Memory
from hardpan.geostat import MOST_TORUS, points_at
from hardpan.options.candidates import list_candidates
from hardpan.records.evidence import Prepared
from hardpan.run.config import Config
from hardpan.surfaces.domain import cells_per_node
from hardpan.surfaces.fields import RANGES
from hardpan.surfaces.many_sites import FITTED, MOST_JOINT

_LIBRARIES = 200e6
"""What libraries take that are loaded late."""

_CELL, _CELL_TREND, _CELL_LAYER = 520, 24, 40
"""Bytes for each cell of the grid: maps, zones and pictures; for each trend column; for each raster."""

_TILE = 4096 * 30
"""Bytes for each site and thread: the covariances of a tile of 64 x 64 cells."""

_STACKS, _STACKS_OF_THREAD = 4, 8
"""Stacks of covariances between sites, one matrix for each parameter point: kept for four variables, and at work."""

_DRAW, _DRAW_OF_THREAD, _DRAW_KEPT = 130, 45, 40
"""Bytes for each draw at each node: while the draws of all variables are put together; while threads draw, and as many
again for what is drawn; and once they are weighed."""

_TORUS = 64
"""Bytes for each node of the torus on which a thread draws, up to eight times the lattice each way."""

_OPTION, _OPTION_DRAW = 100, 64
"""Bytes for each depth and set-up at each node, and for each of them in each draw on each soil type."""

_SITE_DRAW = 64
"""Bytes for each draw at each site where the sites are too many for one system."""

_INSERTION = 4000
"""Bytes for each insertion in tables and pages."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """What the memory of a run hangs on."""

    cells: int
    """Of the grid, inside the boundary and outside."""
    trend: int
    """Columns of the trend at most."""
    layers: int
    """Rasters, and depth slices where they are mapped."""
    sites: int
    insertions: int
    draws: int
    nodes: int
    """At most."""
    lattice: int
    """Nodes of the whole grid."""
    soil_types: int
    options: int
    threads: int


def check_memory(ready: Prepared, config: Config, memory: Memory) -> None:
    """Refuse a run that would take more than `memory`.

    Raises
    ------
    SettingsError
        With both figures, and what takes most of it.
    """
    sizes = sizes_of(ready, config)
    parts = _most(sizes)
    largest = max(parts, key=lambda name: parts[name])
    surfaces = config.surfaces
    what, where, do = {
        "cells": (f"{sizes.cells} cells of {surfaces.cell_m:g} m", "surfaces.cell_m", "choose larger cells"),
        "draws": (
            f"{sizes.draws} draws at {sizes.nodes} nodes",
            "surfaces.node_m",
            "choose a wider surfaces.node_m or fewer surfaces.draws",
        ),
        "options": (
            f"{sizes.options} depths and set-ups at {sizes.nodes} nodes",
            "surfaces.node_m",
            "choose a wider surfaces.node_m or a larger prescription.step_mm",
        ),
        "sites": (f"{sizes.insertions} insertions at {sizes.sites} sites", "probes.file", "leave some out"),
    }[largest]
    memory.refuse_beyond(
        sum(parts.values()),
        what=f"a run with {what}",
        where=where,
        do=f"{do}, check the boundary and its CRS, or raise memory.most_gb",
    )


def projected_bytes(ready: Prepared, config: Config) -> float:
    """Memory that a run will take at most, on top of what is held."""
    return sum(_most(sizes_of(ready, config)).values())


def _most(sizes: Sizes) -> dict[str, float]:
    """What takes memory in the stages that take most."""
    return max(project(sizes).values(), key=lambda stage: sum(stage.values()))


def project(sizes: Sizes) -> dict[str, dict[str, float]]:
    """Bytes that a run takes on top of what the process holds once all inputs are read.

    Returns
    -------
    For "mapping" and for "choosing" what follows it, what hangs on the cells, draws, sites and options; of the two only
    the larger is needed, as the one gives its memory back to the other.
    """
    fitted = max(1, sizes.sites if sizes.sites <= MOST_JOINT else FITTED)
    stack = 8.0 * fitted**2 * RANGES * points_at(fitted, RANGES)
    threads = min(sizes.threads, 3)
    many = sizes.sites if sizes.sites > MOST_JOINT else 0
    torus = min(64.0 * sizes.lattice, max(MOST_TORUS, 4.0 * sizes.lattice))
    cells = float(sizes.cells * (_CELL + _CELL_TREND * sizes.trend + _CELL_LAYER * sizes.layers))
    drawn = sizes.draws * sizes.nodes
    pages = _LIBRARIES + _INSERTION * sizes.insertions
    fits = stack * (_STACKS + _STACKS_OF_THREAD * threads) + _TILE * fitted * sizes.threads
    drawing = max(_DRAW, (threads + 1) * _DRAW_OF_THREAD) * drawn + _SITE_DRAW * sizes.draws * many
    weighed = _OPTION * sizes.nodes + _OPTION_DRAW * sizes.draws * (1 + sizes.soil_types)
    return {
        "mapping": {"cells": cells, "sites": pages + fits, "draws": drawing + _TORUS * torus * threads},
        "choosing": {
            "cells": cells,
            "sites": pages + stack * _STACKS,
            "draws": float(_DRAW_KEPT * drawn),
            "options": float(weighed * sizes.options),
        },
    }


def sizes_of(ready: Prepared, config: Config) -> Sizes:
    """Sizes of a run whose inputs are read."""
    survey, surfaces = ready.survey, config.surfaces
    frame, covariates = survey.frame, len(survey.covariates.data_vars)
    per_side = cells_per_node(frame, surfaces.node_m)
    lattice = int(np.prod([-(-cells // per_side) + 7 for cells in frame.shape]))
    return Sizes(
        cells=frame.n_rows * frame.n_cols,
        trend=3 + len(survey.soil_types) + covariates,
        layers=covariates + len(surfaces.deeper_than_mm) + (len(ready.pan.slices.columns) if surfaces.slices else 0),
        sites=int(ready.pan.insertions["site"].nunique()),
        insertions=len(ready.pan.insertions),
        draws=surfaces.draws,
        nodes=_most_nodes(ready, per_side * frame.cell_m),
        lattice=lattice,
        soil_types=len(survey.soil_types),
        options=len(list_candidates(ready.catalog, config.prescription, config.machine)[0]),
        threads=surfaces.threads,
    )


def _most_nodes(ready: Prepared, side_m: float) -> int:
    """Bound on the number of nodes: squares that the polygons of each soil type can meet, and no more than cells."""
    frame, soils = ready.survey.frame, ready.survey.soils.geometry.to_numpy()
    met = shapely.area(soils) / side_m**2 + 1.5 * shapely.length(soils) / side_m + 4.0
    return int(min(met.sum(), frame.n_rows * frame.n_cols))
