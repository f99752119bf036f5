from dataclasses import replace

import numpy as np
import pytest
import shapely
import threadpoolctl

from hardpan.core.errors import InputError
from hardpan.records.zones import ZONE
from hardpan.zones.settings import ZoneSettings

WEST = shapely.Polygon([(0, 0), (313, 0), (287, 600), (0, 600)])
ROCK = shapely.Point(520, 300).buffer(40)
PIPE = shapely.LineString([(100, 450), (700, 520)]).buffer(5)


@pytest.fixture(scope="module")
def ground(made):
    return made.paddock(soils=[("duplex", WEST)], exclusions=[("rock", ROCK), ("pipe", PIPE)])


@pytest.fixture(scope="module", params=["kmeans", "mixture", "ward"])
def zones(made, ground, request):
    settings = ZoneSettings(method=request.param)
    return made.zone(ground, settings)


def test_zones_cover_the_boundary_without_gaps_or_overlaps(zones, ground):
    shapes = zones.table.geometry.to_numpy()
    boundary = ground.survey.paddock.boundary.iloc[0]
    assert shapely.is_valid(shapes).all()
    assert shapely.coverage_is_valid(shapes)
    assert shapely.symmetric_difference(shapely.union_all(shapes), boundary).area < 1e-3
    assert zones.table["area_ha"].sum() == pytest.approx(ground.survey.paddock.area_ha, rel=1e-6)


def test_zones_are_numbered_from_one_with_exclusions_last(zones):
    assert zones.table["zone"].tolist() == list(range(1, len(zones.table) + 1))
    assert zones.table["kind"].tolist() == sorted(zones.table["kind"], key=["ground", "exclusion"].index)
    assert tuple(zones.table.columns[:5]) == ZONE


def test_shallower_ground_has_the_lower_number(zones, ground):
    maps = ground.surfaces.maps
    depth = (maps["pan_probability"] * maps["pan_bottom_mm"]).to_numpy()
    ground_zones = zones.table.loc[zones.table["kind"] == "ground", "zone"]
    means = [depth[zones.labels == zone].mean() for zone in ground_zones]
    assert np.all(np.diff(means) > -2.0)  # cells are cut by the outline, whose area the numbering weighs


def test_exclusions_keep_half_the_implement_and_the_positioning_error_clear(zones, made):
    ripped = shapely.union_all(zones.table.loc[zones.table["kind"] == "ground"].geometry.to_numpy())
    clear_m = made.RIPPER.width_m / 2 + 0.5
    for shape in (ROCK, PIPE):
        placed = shapely.transform(shape, lambda xy: xy + made.CORNER_M)
        assert shapely.distance(ripped, placed) == pytest.approx(clear_m, abs=0.3)  # arcs of a buffer are chords


def test_zones_end_on_the_lines_of_the_soil_map(zones, ground, made):
    west = shapely.transform(WEST, lambda xy: xy + made.CORNER_M)
    noding_m = 1e-5
    for row in zones.table[zones.table["kind"] == "ground"].itertuples():
        own = west if row.soil_type == "duplex" else shapely.difference(ground.survey.paddock.boundary.iloc[0], west)
        assert shapely.within(row.geometry, own.buffer(noding_m))


def test_labels_agree_with_the_polygons_at_every_cell_centre(zones, ground):
    frame = ground.surfaces.frame
    x, y = np.meshgrid(frame.x_m, frame.y_m)
    for row in zones.table.itertuples():
        assert (zones.labels[shapely.contains_xy(row.geometry, x, y)] == row.zone).all()
    assert (zones.labels == 0).tolist() == (~ground.surfaces.inside).tolist()


def test_no_piece_is_below_the_least_area(zones):
    parts = shapely.get_parts(zones.table.loc[zones.table["kind"] == "ground"].geometry.to_numpy())
    assert (shapely.area(parts) / 1e4).min() >= 0.5 * 0.999  # the map's hectares are 0.08 % short of the ellipsoid's


def test_indices_tell_what_was_tried_and_chosen(zones):
    assert zones.indices.columns.tolist() == ["count", "silhouette", "variance_reduction", "net_gain", "chosen"]
    assert zones.indices["chosen"].sum() == 1
    assert zones.indices.loc[zones.indices["chosen"], "net_gain"].iloc[0] == zones.indices["net_gain"].max()


def test_two_runs_are_the_same(made, ground):
    one, other = (made.zone(ground, seed=3) for _ in range(2))
    assert one.table.to_wkb().equals(other.table.to_wkb())
    assert (one.labels == other.labels).all()


def test_exclusions_that_cover_everything_are_refused(made):
    ground = made.paddock(side_m=(200, 200), exclusions=[("lake", shapely.box(-5, -5, 205, 205))])
    with pytest.raises(InputError, match="whole paddock"):
        made.zone(ground)


def test_fewer_classes_than_soil_types_are_refused_with_an_issue(made, ground):
    zones = made.zone(ground, ZoneSettings(count=1))
    assert (zones.table["kind"] == "ground").sum() == 2
    assert "count-changed" in {issue.code for issue in zones.issues}


def test_a_count_that_is_set_is_drawn(made, ground):
    zones = made.zone(ground, ZoneSettings(count=4))
    assert (zones.table["kind"] == "ground").sum() == 4


def test_a_uniform_pan_needs_one_zone(made):
    flat = made.paddock(bottom_mm=lambda x, _: 0 * x + 400)
    zones = made.zone(flat)
    assert len(zones.table) == 1
    assert zones.issues == ()


def test_two_depths_side_by_side_become_two_zones_along_their_border(made):
    halves = made.paddock(bottom_mm=lambda x, _: np.where(x < 400, 320.0, 520.0))
    zones = made.zone(halves)
    assert len(zones.table) == 2
    assert zones.table["area_ha"].tolist() == pytest.approx([24, 24], rel=0.03)
    assert zones.table["length_m"].tolist() == pytest.approx([600, 600], rel=0.03)
    assert zones.table["heading_deg"].tolist() == [0, 0]


EASTWARD = [shapely.LineString([(-50, y), (900, y)]) for y in range(0, 600, 60)]


def test_zones_are_driven_along_the_tramlines_where_no_heading_is_set(made):
    halves = made.paddock(bottom_mm=lambda x, _: np.where(x < 400, 320.0, 520.0))
    zones = made.zone(halves, tramlines=EASTWARD)
    assert zones.table["heading_deg"].tolist() == [90, 90]
    assert zones.table["length_m"].tolist() == pytest.approx([400, 400], rel=0.03)  # across the halves, not along them
    assert zones.issues == ()
    set_north = made.zone(halves, ZoneSettings(heading_deg=0), tramlines=EASTWARD)
    assert set_north.table["heading_deg"].tolist() == [0, 0]


def test_tramlines_that_cross_set_no_heading_and_are_told(made):
    halves = made.paddock(bottom_mm=lambda x, _: np.where(x < 400, 320.0, 520.0))
    northward = [shapely.LineString([(x, 0), (x, 600)]) for x in range(0, 800, 60)]
    zones = made.zone(halves, tramlines=[*EASTWARD, *northward])
    assert zones.table["heading_deg"].tolist() == [0, 0]
    assert [issue.code for issue in zones.issues] == ["tramlines-cross"]


def test_tramlines_of_another_paddock_are_passed_over(made):
    halves = made.paddock(bottom_mm=lambda x, _: np.where(x < 400, 320.0, 520.0))
    zones = made.zone(halves, tramlines=[shapely.LineString([(-900, y), (-100, y)]) for y in range(0, 600, 60)])
    assert zones.table["heading_deg"].tolist() == [0, 0]
    assert zones.issues == ()


def test_ground_where_no_depth_pays_is_a_zone_of_its_own(made):
    bare = made.paddock(presence=lambda x, _: np.where(x < 300, 0.02, 0.95))
    zones = made.zone(bare)
    first = zones.table.geometry.iloc[0]
    assert first.area == pytest.approx(300 * 600, abs=10 * 600)  # the border falls within a cell of the truth


def test_dear_zones_are_fewer(made, ground):
    cheap, dear = (made.zone(ground, zone_cost=cost) for cost in (0.0, 1e5))
    assert (dear.table["kind"] == "ground").sum() == 2
    assert (cheap.table["kind"] == "ground").sum() > 2


def test_the_number_of_threads_changes_nothing(made, ground):
    tables = []
    for threads in (1, 2):
        with threadpoolctl.threadpool_limits(limits=threads):
            zones = made.zone(ground)
        tables.append(zones.table.to_wkb())
    assert tables[0].equals(tables[1])


def test_an_exclusion_within_another_is_told(made):
    ponds = [("pond", ROCK), ("pump", shapely.Point(520, 300).buffer(3))]
    ground = made.paddock(exclusions=ponds)
    zones = made.zone(ground)
    assert {issue.code: issue.place for issue in zones.issues}["exclusion-within"] == "pump"
    assert zones.table["soil_type"].tolist()[-1] == "pond"


def test_a_spot_too_small_to_drive_is_told_with_the_zone_it_joined(made):
    """An eastern half with a deep spot of 60 m, on its own too small to drive."""
    ground = made.paddock(
        bottom_mm=lambda x, y: np.where(x < 400, 320.0, 450.0) + 90.0 * (np.hypot(x - 600, y - 300) < 30), zone_cost=1.0
    )
    settings = ZoneSettings(min_area_ha=2.0)
    zones = made.zone(ground, settings)
    frame = ground.surfaces.frame
    row = np.abs(frame.y_m - made.CORNER_M[1] - 300).argmin()
    column = np.abs(frame.x_m - made.CORNER_M[0] - 600).argmin()
    here = zones.labels[row, column]
    assert {issue.zones for issue in zones.issues if issue.code == "piece-joined"} == {(here,)}


def test_a_paddock_in_two_parts_with_a_dam_in_one_is_covered(made):
    dam = shapely.Point(200, 200).buffer(60)
    parts = shapely.union_all([shapely.box(0, 0, 400, 400).difference(dam), shapely.box(450, 100, 700, 380)])
    ground = made.paddock(boundary=parts, exclusions=[("ditch", shapely.box(310, 0, 320, 400))])
    zones = made.zone(ground)
    shapes = zones.table.geometry.to_numpy()
    assert shapely.coverage_is_valid(shapes)
    placed = ground.survey.paddock.boundary.iloc[0]
    assert shapely.symmetric_difference(shapely.union_all(shapes), placed).area < 1e-3
    assert zones.table["area_ha"].sum() == pytest.approx(ground.survey.paddock.area_ha, rel=1e-6)


def test_a_paddock_of_a_few_cells_is_one_zone(made):
    tiny = made.paddock(boundary=shapely.Polygon([(2, 3), (31, 1), (27, 24)]), node_m=10)
    zones = made.zone(tiny)
    assert len(zones.table) == 1
    assert zones.table["area_ha"].iloc[0] == pytest.approx(tiny.survey.paddock.area_ha, rel=1e-6)


def test_a_width_that_is_set_is_kept(made):
    ground = made.paddock(length_m=60)
    settings = ZoneSettings(min_width_m=60.0, min_area_ha=0.1)
    zones = made.zone(ground, settings)
    parts = shapely.get_parts(zones.table.geometry.to_numpy())
    widest = [2 * shapely.maximum_inscribed_circle(part).length for part in parts]
    assert len(parts) > 1
    assert min(widest) >= 60 - 10  # a disc on the grid and a straightened border: a cell between them
    assert shapely.area(parts).min() >= 60**2 * 0.999


def test_the_slower_the_depth_changes_the_wider_the_least_piece(made, ground):
    def across(seconds):
        slow = made.RIPPER.model_copy(update={"latency": made.quantity(seconds, "s")})
        zones = made.zone(ground, ripper=slow)
        return zones.count.least_m

    assert across(20) >= 2 * 20 * 5 / 3.6 > across(0)


def test_ground_that_only_another_set_up_would_part_is_one_zone_when_one_is_fitted(made):
    """Two options of one depth: each half returns most with its own set-up, and little less with the other's."""
    ground = made.paddock(bottom_mm=lambda x, _: np.where(x < 400, 320.0, 520.0), zone_cost=20.0)
    table = ground.options.table.iloc[:3].assign(depth_mm=[0.0, 400.0, 400.0])
    west = surfaces_west(ground)
    net = np.stack([0 * west, np.where(west, 60.0, 40.0), np.where(west, 40.0, 60.0)], axis=1)
    options = replace(ground.options, table=table, net=net, cost=0 * net)

    def zones(fitted):
        fitting = replace(options, fitted=np.array(fitted))
        return made.zone(ground, options=fitting)

    assert len(zones([True, True, True]).table) == 2
    assert len(zones([True, True, False]).table) == 1


def surfaces_west(ground):
    """Nodes of the western half."""
    node, bottom = ground.surfaces.node_of_cell.ravel(), ground.surfaces.maps["pan_bottom_mm"].to_numpy().ravel()
    return np.bincount(node[node >= 0], weights=bottom[node >= 0]) / np.bincount(node[node >= 0]) < 400


def test_where_nothing_pays_there_is_one_zone(made):
    ground = made.paddock()
    net = np.where(ground.options.table["depth_mm"].to_numpy() > 0, -5.0, 0.0) + 0 * ground.options.net
    zones = made.zone(ground, options=made.with_net(ground, net))
    assert len(zones.table) == 1
    assert (zones.count.classes, zones.count.net_gain) == (1, 0.0)


def test_ground_cut_off_by_an_exclusion_is_left_with_it_and_told(made):
    ground = made.paddock(
        exclusions=[("ditch", shapely.box(770, -1, 780, 601).intersection(shapely.box(0, 0, 800, 600)))]
    )
    zones = made.zone(ground, ZoneSettings(min_area_ha=2.0))
    assert {issue.code: issue.place for issue in zones.issues}["cut-off"] == "ditch"
    ditch = zones.table.iloc[-1]
    assert ditch["soil_type"] == "ditch"
    assert ditch.geometry.area == pytest.approx((30 + made.RIPPER.width_m / 2 + 0.5) * 600, rel=1e-3)
    assert shapely.coverage_is_valid(zones.table.geometry.to_numpy())
