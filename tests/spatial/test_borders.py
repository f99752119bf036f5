"""Which polygons share a border."""

import numpy as np
import shapely

from hardpan.spatial.borders import groups_side_by_side

SQUARES = np.array([shapely.box(x, y, x + 1, y + 1) for x, y in ((0, 0), (1, 0), (2, 0), (3, 1), (9, 9))])


def test_polygons_of_one_kind_that_touch_along_a_line_are_one_group():
    group = groups_side_by_side(SQUARES, np.zeros(5, dtype=np.int64))
    assert len({*group[:3]}) == 1  # through the one between them
    assert len({*group}) == 3  # a corner is no border, and nothing touches the last


def test_another_kind_between_them_keeps_polygons_apart():
    group = groups_side_by_side(SQUARES, np.array([0, 1, 0, 0, 0]))
    assert len({*group}) == 5
