import numpy as np
import pytest
import shapely

from hardpan.spatial.headings import count_runs, mean_heading, way_of


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
