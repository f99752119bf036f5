import numpy as np
import pytest
import shapely
from shapely import affinity

from hardpan.spatial.runs import best_run, count_runs, drive_over, mean_heading, way_of


def test_a_rectangle_is_run_along_its_long_side():
    field = affinity.rotate(shapely.box(0, 0, 120, 700), -30, origin=(0, 0))  # clockwise from north
    length, heading = best_run(field, 1.0)
    assert heading == pytest.approx(30)
    assert length == pytest.approx(700, rel=1e-9)


def test_runs_follow_the_way_of_travel_that_is_given():
    length, heading = best_run(shapely.box(0, 0, 120, 700), 1.0, np.array([90.0]))
    assert (length, heading) == (pytest.approx(120), 90.0)


def test_the_mean_run_of_a_circle_is_a_quarter_of_pi_times_its_diameter():
    """Mean chord of parallel lines over a convex shape: area over breadth (Cauchy), for a circle pi d / 4."""
    circle = shapely.Point(0, 0).buffer(100, quad_segs=128)
    assert best_run(circle, 0.0)[0] == pytest.approx(np.pi * 200 / 4, rel=1e-4)


def test_runs_agree_with_lines_drawn_over_a_shape_with_a_hole_and_two_parts():
    shape = shapely.union_all([shapely.box(0, 0, 300, 500), shapely.box(600, 100, 700, 400)])
    shape = shape.difference(shapely.Point(150, 250).buffer(60))
    length, heading = best_run(shape, 0.0)
    turned = affinity.rotate(shape, heading, origin=(0, 0))
    x_min, y_min, x_max, y_max = turned.bounds
    at = np.arange(x_min + 0.25, x_max, 0.5)
    lines = shapely.linestrings([[[x, y_min - 1], [x, y_max + 1]] for x in at])
    runs = shapely.get_parts(shapely.intersection(turned, lines))
    runs = runs[shapely.length(runs) > 0]
    assert length == pytest.approx(shapely.length(runs).mean(), rel=5e-3)


def test_steps_of_a_grid_do_not_shorten_the_runs():
    diagonal = affinity.rotate(shapely.box(0, 0, 100, 600), -45, origin=(0, 0))
    x, y = np.meshgrid(np.arange(-602.5, 1000, 5), np.arange(-602.5, 1000, 5))
    inside = shapely.contains_xy(diagonal, x, y)
    stepped = shapely.union_all(shapely.box(x[inside] - 2.5, y[inside] - 2.5, x[inside] + 2.5, y[inside] + 2.5))
    length, heading = best_run(stepped, 5.0)
    assert heading == pytest.approx(45, abs=2)
    assert length == pytest.approx(600, rel=0.05)


def test_the_headland_of_a_rectangle_is_driven_in_laps_and_the_rest_in_runs_of_what_is_left():
    """40 by 10 widths of 5 m with two widths of headland: 6 runs of 36 widths, and 400 - 216 square widths of laps."""
    field, headland_m = shapely.box(0, 0, 50, 200), 10.0
    drive = drive_over(field, shapely.buffer(field, -headland_m), width_m=5.0, cell_m=1.0, heading_deg=None)
    assert drive.heading_deg == 0.0
    assert drive.headland == pytest.approx(1 - 30 * 180 / (50 * 200))
    assert drive.run_m * (1 - drive.headland) == pytest.approx(180.0)
    turns = field.area / 5.0 / drive.run_m
    assert turns == pytest.approx(6.0)


def test_without_a_headland_the_way_between_turns_is_the_mean_run():
    field = shapely.box(0, 0, 50, 200)
    drive = drive_over(field, field, width_m=5.0, cell_m=1.0, heading_deg=90.0)
    assert (drive.run_m, drive.heading_deg, drive.headland) == (pytest.approx(50.0), 90.0, 0.0)


def test_ground_that_is_all_headland_is_driven_in_runs_of_its_own():
    field = shapely.box(0, 0, 100, 8)
    drive = drive_over(field, shapely.Polygon(), width_m=5.0, cell_m=1.0, heading_deg=None)
    assert (drive.run_m, drive.heading_deg, drive.headland) == (pytest.approx(100.0), 90.0, 1.0)


def tracks(heading_deg, n=10, length_m=500.0, apart_m=12.0):
    way, across = way_of(heading_deg), way_of(heading_deg + 90.0)
    ends = [np.outer([0, length_m], way) + k * apart_m * across for k in range(n)]
    return np.array([shapely.LineString(one if k % 2 else one[::-1]) for k, one in enumerate(ends)])


@pytest.mark.parametrize("heading_deg", [0.0, 37.0, 90.0, 135.0, 179.0])
def test_parallel_tracks_driven_up_and_down_have_the_heading_they_were_laid_at(heading_deg):
    found, agreement = mean_heading(tracks(heading_deg))
    assert np.abs((found - heading_deg + 90.0) % 180.0 - 90.0) < 1e-9
    assert agreement == pytest.approx(1.0)


def test_the_mean_of_axes_on_either_side_of_north_is_north():
    """Mardia and Jupp (`mardia2000`), from memory: angles of axes are doubled, so 179 and 1 degree average to 0."""
    both = np.concatenate([tracks(179.0), tracks(1.0)])
    found, agreement = mean_heading(both)
    assert min(found, 180.0 - found) < 1e-9
    assert agreement == pytest.approx(np.cos(np.deg2rad(2.0)))


def test_tracks_that_cross_at_right_angles_agree_on_nothing():
    assert mean_heading(np.concatenate([tracks(20.0), tracks(110.0)]))[1] == pytest.approx(0.0, abs=1e-9)


def test_a_long_track_outweighs_a_short_one_by_its_length():
    """Two axes at right angles, 3 to 1: the resultant is (3 - 1) / 4."""
    found, agreement = mean_heading(shapely.from_wkt(["LINESTRING (0 0, 0 300)", "LINESTRING (0 0, 100 0)"]))
    assert (found, agreement) == (pytest.approx(0.0), pytest.approx(0.5))


@pytest.mark.parametrize("lines", [[], ["POINT (1 1)"], ["LINESTRING EMPTY"]])
def test_without_length_there_is_no_heading(lines):
    assert mean_heading(shapely.from_wkt(lines)) == (0.0, 0.0)


@pytest.mark.parametrize(("width_m", "runs"), [(4.0, 25), (4.2, 24), (100.0, 1), (150.0, 1)])
def test_a_rectangle_takes_as_many_runs_as_fit_across_it_and_the_last_in_part(width_m, runs):
    assert count_runs(100.0 * 400.0, 400.0, width_m) == runs
