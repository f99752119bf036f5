import numpy as np
import pytest
import shapely

from hardpan.zones.workable import workable_area

CROOKED = shapely.Polygon([(3, 7), (412, 0), (388, 251), (207, 333), (12, 240)])
POND = shapely.Point(200, 150).buffer(33)
TREES = shapely.box(180, 100, 260, 140)


def test_cells_hold_the_ground_of_the_outline_exactly(made):
    paddock = made.paddock(boundary=CROOKED, exclusions=[("pond", POND)])
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, 2.6)
    scale = paddock.survey.paddock.area_ha / (CROOKED.area / 1e4)
    assert ground.cell_ha.sum() == pytest.approx(ground.outline.area / 1e4 * scale, rel=1e-9)
    assert ground.cell_ha.max() == pytest.approx(0.01 * scale)


def test_every_bit_of_ground_has_soil_and_a_cell_to_take_values_from(made):
    paddock = made.paddock(boundary=CROOKED)
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, 0.0)
    assert ((ground.soil >= 0) == (ground.cell_ha > 0)).all()
    assert paddock.surfaces.inside.ravel()[ground.source].all()
    inside = paddock.surfaces.inside.ravel()
    assert (ground.source.ravel()[inside] == np.flatnonzero(inside)).all()


def test_widened_exclusions_do_not_overlap_and_stay_in_the_boundary(made):
    paddock = made.paddock(boundary=CROOKED, exclusions=[("pond", POND), ("trees", TREES)])
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, 5.0)
    pond, trees = ground.excluded.geometry
    assert pond.intersection(trees).area < 1e-9
    boundary = paddock.survey.paddock.boundary.iloc[0]
    whole = shapely.union_all([pond, trees, ground.outline])
    assert shapely.symmetric_difference(whole, boundary).area < 1e-6


def test_an_exclusion_inside_another_leaves_one(made):
    paddock = made.paddock(exclusions=[("pond", POND), ("pump", shapely.Point(200, 150).buffer(3))])
    assert workable_area(paddock.survey.paddock, paddock.surfaces, 2.0).excluded["name"].tolist() == ["pond"]
