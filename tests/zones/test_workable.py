from dataclasses import replace

import numpy as np
import pytest
import shapely

from hardpan.zones.workable import Clearance, outline_of, workable_area

CROOKED = shapely.Polygon([(3, 7), (412, 0), (388, 251), (207, 333), (12, 240)])
POND = shapely.Point(200, 150).buffer(33)
TREES = shapely.box(180, 100, 260, 140)


def test_cells_hold_the_ground_of_the_outline_exactly(made):
    paddock = made.paddock(boundary=CROOKED, exclusions=[("pond", POND)])
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, Clearance(margin_m=2.6))
    scale = paddock.survey.paddock.area_ha / (CROOKED.area / 1e4)
    assert ground.cell_ha.sum() == pytest.approx(ground.outline.area / 1e4 * scale, rel=1e-9)
    assert ground.cell_ha.max() == pytest.approx(0.01 * scale)


def test_every_bit_of_ground_has_soil_and_a_cell_to_take_values_from(made):
    paddock = made.paddock(boundary=CROOKED)
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, Clearance(margin_m=0.0))
    assert ((ground.soil >= 0) == (ground.cell_ha > 0)).all()
    assert paddock.surfaces.inside.ravel()[ground.source].all()
    inside = paddock.surfaces.inside.ravel()
    assert (ground.source.ravel()[inside] == np.flatnonzero(inside)).all()


def test_widened_exclusions_do_not_overlap_and_stay_in_the_boundary(made):
    paddock = made.paddock(boundary=CROOKED, exclusions=[("pond", POND), ("trees", TREES)])
    ground = workable_area(paddock.survey.paddock, paddock.surfaces, Clearance(margin_m=5.0))
    pond, trees = ground.excluded.geometry
    assert pond.intersection(trees).area < 1e-9
    boundary = paddock.survey.paddock.boundary.iloc[0]
    whole = shapely.union_all([pond, trees, ground.outline])
    assert shapely.symmetric_difference(whole, boundary).area < 1e-6


def test_an_exclusion_inside_another_leaves_one(made):
    paddock = made.paddock(exclusions=[("pond", POND), ("pump", shapely.Point(200, 150).buffer(3))])
    assert workable_area(paddock.survey.paddock, paddock.surfaces, Clearance(margin_m=2.0)).excluded[
        "name"
    ].tolist() == ["pond"]


@pytest.mark.parametrize("heading_deg", [0.0, 37.0, 90.0, 210.0])
def test_tines_down_to_the_border_are_out_before_they_reach_what_is_buried(heading_deg, made):
    """Drive into the keep-out ground from everywhere along the heading: the depth over the service is 0."""
    pipe = shapely.LineString([(40, 180), (200, 120), (380, 160)]).buffer(5.0)
    survey = made.paddock(exclusions=[("pipe", pipe)]).survey
    found = survey.paddock.exclusions.assign(buried=True)
    depth_mm, speed_m_s, latency_s, rate_mm_s = 550.0, 6.0 / 3.6, 1.0, 50.0
    lift_m = speed_m_s * (latency_s + depth_mm / rate_mm_s)
    assert 19.0 < lift_m < 22.0
    outline, _ = outline_of(
        replace(survey.paddock, exclusions=found),
        survey.frame,
        Clearance(margin_m=0.0, lift_m=lift_m, heading_deg=heading_deg),
    )
    way = np.array([np.sin(np.deg2rad(heading_deg)), np.cos(np.deg2rad(heading_deg))])
    service = found.geometry.iloc[0]
    border = shapely.buffer(outline, -0.1).boundary  # a line along the flank only touches
    for start in shapely.points(shapely.get_coordinates(shapely.segmentize(border, 5.0))):
        for sign in (-1.0, 1.0):
            met = shapely.intersection(_ray(start, sign * way, 200.0), service)
            reached_m = np.inf if met.is_empty else shapely.distance(start, met)
            down_mm = depth_mm - rate_mm_s * max(0.0, reached_m / speed_m_s - latency_s)
            assert reached_m == np.inf or down_mm <= 1e-3


def test_where_the_way_of_travel_is_not_known_the_tines_rise_on_all_sides(made):
    survey = made.paddock(exclusions=[("pipe", POND)]).survey
    ground = replace(survey.paddock, exclusions=survey.paddock.exclusions.assign(buried=True))
    _, kept = outline_of(ground, survey.frame, Clearance(margin_m=2.0, lift_m=20.0))
    assert kept.geometry.iloc[0].area == pytest.approx(np.pi * (33.0 + 22.0) ** 2, rel=0.02)


def test_what_is_seen_from_the_cab_needs_no_ground_to_rise_in(made):
    survey = made.paddock(exclusions=[("pond", POND)]).survey
    _, kept = outline_of(survey.paddock, survey.frame, Clearance(margin_m=2.0, lift_m=20.0, heading_deg=90.0))
    assert kept.geometry.iloc[0].area == pytest.approx(np.pi * 35.0**2, rel=0.02)


def _ray(start: shapely.Point, way: np.ndarray, length_m: float) -> shapely.LineString:
    place = np.array([start.x, start.y])
    return shapely.LineString([place, place + length_m * way])
