"""Whole plans of sites on paddocks of every shape."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from builders.sites import CRS, NO_TRACKS, OPEN, SCATTER, SOUTH_M, WEST_M, box, unprobed
from hardpan.core.errors import HardpanError
from hardpan.records.probing import Access, Chosen, NumberFrom
from hardpan.sites.settings import SiteSettings
from hardpan.sites.stage import plan_coverage


def plan(survey, access=OPEN, *, usual_mm=30.0, seed=1, **settings):
    return plan_coverage(survey, access, SiteSettings(**settings), scatter=SCATTER, precision_mm=usual_mm, seed=seed)


def places(made):
    return made.sites.geometry.get_coordinates().to_numpy()


def test_sites_are_numbered_in_walking_order_and_named_alike():
    made = plan(unprobed(box(0, 0, 400, 300)), count=12)
    assert made.sites["order"].tolist() == list(range(1, 13))
    assert made.sites["site"].iloc[[0, 11]].tolist() == ["P01", "P12"]
    assert made.number is NumberFrom.COUNT
    assert made.sites["stands_ha"].sum() == pytest.approx(12.0)
    legs = np.hypot(*np.diff(places(made), axis=0).T).sum()
    assert made.walk.length_m == pytest.approx(legs)


def test_the_same_seed_gives_the_same_sites_whatever_the_order_of_the_soil_polygons():
    left, right = box(0, 0, 210, 300), box(210, 0, 400, 300)
    soils = [("deep sand", left), ("gravelly sand", right)]
    one = plan(unprobed(box(0, 0, 400, 300), soils=soils), count=9)
    two = plan(unprobed(box(0, 0, 400, 300), soils=soils[::-1]), count=9)
    assert one.sites.drop(columns="geometry").equals(two.sites.drop(columns="geometry"))
    assert np.array_equal(places(one), places(two))


def test_edges_exclusions_and_wheel_tracks_are_kept_away_from():
    lines = [shapely.LineString([(WEST_M, SOUTH_M + y), (WEST_M + 400, SOUTH_M + y)]) for y in range(6, 300, 12)]
    shut, tracks = box(180, 100, 220, 200), gpd.GeoSeries(lines, crs=CRS)
    access = Access(gate=None, tramlines=tracks)
    made = plan(unprobed(box(0, 0, 400, 300), exclusions=[shut], cell_m=2.0), access, count=20)
    points = made.sites.geometry.to_numpy()
    assert shapely.distance(points, box(0, 0, 400, 300).exterior).min() >= 15.0 - 1.5
    assert shapely.distance(points, shut).min() >= 5.0 - 1.5
    assert shapely.distance(points, shapely.union_all(lines)).min() >= 1.5 - 1.0


def test_narrow_ground_is_probed_along_its_middle_and_it_is_said():
    made = plan(unprobed(box(0, 0, 900, 18), cell_m=3.0), count=6)
    assert [issue.code for issue in made.issues] == ["narrow-ground"]
    assert np.abs(places(made)[:, 1] - SOUTH_M - 9.0).max() <= 4.6
    assert np.diff(np.sort(places(made)[:, 0])).min() > 100.0


def test_every_part_of_a_paddock_that_is_large_enough_has_sites():
    parts = shapely.union_all([box(0, 0, 200, 200), box(600, 0, 800, 200), box(300, 700, 340, 740)])
    made = plan(unprobed(parts), count=9)
    east = places(made)[:, 0] - WEST_M
    assert ((east < 200).sum(), (east > 600).sum()) == (4, 4)


def test_a_soil_polygon_of_ten_square_metres_has_no_site_kept_for_it():
    speck = box(100, 100, 105, 102)
    soils = [("deep sand", box(0, 0, 400, 300).difference(speck)), ("gravelly sand", speck)]
    made = plan(unprobed(box(0, 0, 400, 300), soils=soils), count=10)
    assert set(made.sites["soil_type"]) == {"deep sand"}


def test_a_small_soil_type_has_its_least_number_of_sites_and_the_reason_says_so():
    corner = box(320, 220, 400, 300)
    soils = [("deep sand", box(0, 0, 1000, 800).difference(corner)), ("gravelly sand", corner)]
    made = plan(unprobed(box(0, 0, 1000, 800), soils=soils), count=15)
    few = made.sites[made.sites["soil_type"] == "gravelly sand"]
    assert set(few["chosen"]) == {Chosen.SOIL_TYPE}
    assert len(few) == 3


@pytest.mark.parametrize(
    ("settings", "exclusions", "says"),
    [
        ({"count": 999}, [], "999 sites are asked for, and 529 cells may be probed"),
        ({"count": 5}, [box(-10, -10, 210, 210)], "exclusions cover the whole paddock"),
        ({"count": 5, "exclusion_m": 500}, [box(90, 90, 110, 110)], "leave no ground to probe"),
        ({"hours": 0.01}, [], "0.01 h do not suffice for one site, which takes 0.1 h"),
        ({"precision_mm": 1}, [], "1 mm is out of reach: 16 sites would bring"),
    ],
)
def test_what_cannot_be_is_said_in_one_plain_line(settings, exclusions, says):
    survey = unprobed(box(0, 0, 200, 200), exclusions=exclusions, cell_m=8.0 if "count" in settings else 5.0)
    with pytest.raises(HardpanError) as raised:
        plan(survey, edge_m=8.0 if settings.get("count") == 999 else 15.0, **settings)
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


def test_hours_are_used_and_not_overdrawn():
    survey, gate = unprobed(box(0, 0, 1000, 800)), shapely.Point(WEST_M - 200, SOUTH_M - 100)
    made = plan(survey, Access(gate=gate, tramlines=NO_TRACKS), hours=3.0)
    assert 2.7 <= made.walk.hours <= 3.1
    assert made.number is NumberFrom.HOURS


def test_more_precision_takes_more_sites_and_less_range_does_too():
    survey = unprobed(box(0, 0, 500, 400))
    coarse, fine = plan(survey, usual_mm=44.0), plan(survey, precision_mm=40.0)
    assert coarse.number is fine.number is NumberFrom.PRECISION
    assert len(coarse.sites) <= len(fine.sites)
    assert fine.forecast.sd_mm <= 40.5
    assert fine.forecast.best_mm < fine.forecast.sd_mm < fine.forecast.worst_mm


def test_where_nothing_is_asked_for_a_day_is_the_most():
    made = plan(unprobed(box(0, 0, 3000, 2000), cell_m=20.0), usual_mm=20.0)
    assert made.number is NumberFrom.DAY
    assert 7.0 <= made.walk.hours <= 8.4
