"""Polygons as people draw them: what is repaired, what is refused, and that the work stays bounded."""

import numpy as np
import pytest
import shapely

from hardpan.core.errors import InputError
from hardpan.survey import repairs
from hardpan.survey.repairs import apart, clipped, count_crossings, repair


def array(*geometries):
    return np.asarray([*geometries, None], dtype=object)[:-1]


def tangle(vertices, seed=0):
    return shapely.Polygon(np.random.default_rng(seed).random((vertices, 2)))


def crossings_by_hand(ring):
    """Pairs of segments, not neighbours, that cross: every pair is looked at."""
    xy = shapely.get_coordinates(ring)
    lines = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    one, other = np.triu_indices(len(lines), 1)
    return int(shapely.crosses(lines[one], lines[other]).sum())


@pytest.mark.parametrize("vertices", [5, 8, 12, 16])
def test_crossings_are_those_that_every_pair_of_segments_gives(vertices):
    for seed in range(10):
        ring = tangle(vertices, seed)
        assert count_crossings(ring)[0] == crossings_by_hand(ring)


def test_a_bow_tie_keeps_both_lobes():
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    polygons, issues = repair(array(bow), "b.geojson")
    assert polygons[0].area == pytest.approx(2.0)
    assert "1 crossing" in issues[0].what


def test_a_ring_that_crosses_itself_hundreds_of_times_is_refused_before_it_is_repaired(monkeypatch):
    monkeypatch.setattr(shapely, "make_valid", None)
    with pytest.raises(InputError, match="feature 2: crosses itself more than 200 times"):
        repair(array(shapely.box(0, 0, 1, 1), tangle(500)), "b.geojson")


def test_counting_stops_soon_after_the_limit():
    crossings, _ = count_crossings(tangle(20_000))
    assert repairs.MOST_CROSSINGS < crossings < 1_000_000  # of about 66 million


def test_a_line_gone_over_again_and_again_is_refused(monkeypatch):
    monkeypatch.setattr(shapely, "make_valid", None)
    back_and_forth = [(x, 0.0) for x in np.random.default_rng(1).random(400)]
    with pytest.raises(InputError, match="touches itself"):
        repair(array(shapely.Polygon([*back_and_forth, (0.5, 1.0)])), "b.geojson")


def test_touching_and_overlapping_parts_become_one_ground():
    parts = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1), shapely.box(1.5, 0, 3, 1)])
    polygons, _ = repair(array(parts), "b.geojson")
    assert polygons[0].equals(shapely.box(0, 0, 3, 1))


def test_a_map_of_a_district_is_refused(monkeypatch):
    monkeypatch.setattr(repairs, "MOST_VERTICES", 10)
    with pytest.raises(InputError, match="cut it to the paddock"):
        repair(array(shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1), shapely.box(2, 0, 3, 1)), "s.gpkg")


def test_polygons_apart_share_no_ground_and_lose_none():
    rng = np.random.default_rng(4)
    discs = shapely.buffer(shapely.points(rng.random((60, 2)) * 10), 1.0)
    left = apart(discs, "s.geojson")
    kept = array(*(one for one in left if one is not None))
    assert shapely.area(kept).sum() == pytest.approx(shapely.union_all(discs).area, rel=1e-9)
    assert left[0].equals(discs[0])
    for at, one in enumerate(left):
        if one is not None and at:
            assert shapely.intersection(one, shapely.union_all(discs[:at])).area == pytest.approx(0.0, abs=1e-9)


def test_polygons_piled_on_one_another_are_refused(monkeypatch):
    monkeypatch.setattr(repairs, "MOST_OVERLAPS", 10)
    with pytest.raises(InputError, match="overlap one another 45 times"):
        apart(array(*(shapely.box(0, 0, 1 + at, 1) for at in range(10))), "s.geojson")


def test_clipping_leaves_what_is_inside_untouched():
    inside, across, outside = shapely.box(1, 1, 2, 2), shapely.box(8, 8, 12, 12), shapely.box(20, 20, 21, 21)
    found = clipped(array(inside, across, outside), shapely.box(0, 0, 10, 10))
    assert found[0] is inside
    assert found[1].area == pytest.approx(4.0)
    assert found[2].is_empty
