"""Each cell of a task grid says what the ground it covers says; one that does not is found."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from hardpan.outputs import isoxml_reader
from hardpan.outputs.geodesy import degrees_per_metre, to_display
from hardpan.outputs.isoxml_reader import ReadTask, wrong_cell
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.task_grid import zone_grid


@pytest.fixture(scope="module")
def shown(plan):
    return to_display(plan.zones)[0]


@pytest.fixture(params=[2.0, 5.3, 11.0])
def task(request, shown) -> ReadTask:
    settings = OutputSettings(grid_cell_m=request.param, max_grid_side=1000)
    grid, _ = zone_grid(shown, degrees_per_metre(-33.0), settings, 4.2)
    depth_mm = np.zeros(shown["zone"].max() + 1, dtype=int)
    depth_mm[shown["zone"]] = shown["depth_mm"]
    places = {name: grid.attrs[name] for name in ("south", "west", "cell_lat", "cell_lon")}
    return ReadTask(
        ddi="0033", default=0, lost=0, outside=0, polygons=(), cells=depth_mm[grid.to_numpy()], **places
    )  # fmt: skip


def middles(task: ReadTask) -> tuple[np.ndarray, np.ndarray]:
    n_rows, n_cols = task.cells.shape
    return np.meshgrid(
        task.west + task.cell_lon * (np.arange(n_cols) + 0.5), task.south + task.cell_lat * (np.arange(n_rows) + 0.5)
    )


def changed(task: ReadTask, where: np.ndarray, depth_mm: int) -> ReadTask:
    cells = task.cells.copy()
    cells[where] = depth_mm
    return replace(task, cells=cells)


def one_of(where: np.ndarray) -> np.ndarray:
    """Only the middle one of the cells."""
    out = np.zeros(where.shape, dtype=bool)
    at = np.flatnonzero(where)
    out.ravel()[at[len(at) // 2]] = True
    return out


def test_a_true_grid_has_no_wrong_cell(task, plan, monkeypatch):
    assert wrong_cell(task, plan.zones) is None
    monkeypatch.setattr(isoxml_reader, "_MOST_CELLS", 700)
    assert wrong_cell(task, plan.zones) is None


def test_one_cell_of_another_depth_inside_a_zone_is_found_where_it_is(task, plan, shown):
    x, y = middles(task)
    inner = shapely.contains_xy(shown.geometry.iloc[1].buffer(-0.0003), x, y)
    where = one_of(inner)
    wrong = wrong_cell(changed(task, where, 300), plan.zones)
    assert (wrong.found_mm, wrong.right_mm) == (300, (450,))
    assert (wrong.longitude, wrong.latitude) == (pytest.approx(x[where][0]), pytest.approx(y[where][0]))


def test_one_ripped_cell_that_a_corner_of_keep_out_ground_reaches_is_found(task, plan, shown):
    x, y = middles(task)
    half = np.array([task.cell_lon, task.cell_lat]) / 2
    cells = shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])
    shut = shown.geometry.iloc[3]
    shared = shapely.area(shapely.intersection(cells, shut)) / shapely.area(cells)
    # The thinnest overlap that is more than rounding of coordinates.
    where = (shared > 0.02) & (shared < 0.3)
    wrong = wrong_cell(changed(task, one_of(where), 450), plan.zones)
    assert (wrong.found_mm, wrong.right_mm) == (450, (0,))


def test_one_ripped_cell_off_the_paddock_is_found(task, plan):
    wider = replace(
        task, cells=np.pad(task.cells, 2), south=task.south - 2 * task.cell_lat, west=task.west - 2 * task.cell_lon
    )
    assert wrong_cell(wider, plan.zones) is None
    where = np.zeros(wider.cells.shape, dtype=bool)
    where[0, 5] = True
    assert wrong_cell(changed(wider, where, 300), plan.zones).right_mm == (0,)


def test_a_depth_the_plan_does_not_have_is_found_on_a_border_too(task, plan):
    x, _ = middles(task)
    assert wrong_cell(changed(task, one_of(np.isfinite(x)), 375), plan.zones).found_mm == 375


@pytest.mark.parametrize("way", ["north up", "east to west", "a column off", "a row off", "half a cell off"])
def test_a_grid_laid_wrong_is_found(task, plan, way):
    laid = {
        "north up": lambda: replace(task, cells=task.cells[::-1]),
        "east to west": lambda: replace(task, cells=task.cells[:, ::-1]),
        "a column off": lambda: replace(task, west=task.west + task.cell_lon),
        "a row off": lambda: replace(task, south=task.south - task.cell_lat),
        "half a cell off": lambda: replace(task, south=task.south + task.cell_lat / 2),
    }[way]()
    assert wrong_cell(laid, plan.zones) is not None
