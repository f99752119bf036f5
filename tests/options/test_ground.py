import numpy as np
import pytest
import shapely

from hardpan.options.candidates import list_candidates
from hardpan.options.ground import BLOCK_NODES, build_ground
from hardpan.records.decision import MachineSettings, PrescriptionSettings

ASKED = PrescriptionSettings(clay_margin_mm=60.0, soft_clay_margin_mm=30.0)


def stand(made, catalog, **paddock):
    surfaces, survey, _ = made.ground(**paddock)
    return build_ground(surfaces, survey, catalog, ASKED)


def test_hostile_clay_is_a_ceiling_and_soft_clay_ends_the_gain(made, catalog):
    ground = stand(made, catalog, soils=("sand over sodic clay", "sand over clay"), clay_mm=(400.0, 450.0))
    hostile, soft = ground.soil == 0, ground.soil == 1
    assert (ground.ceiling_mm[hostile] == 340).all()
    assert np.isinf(ground.ceiling_mm[soft]).all()
    assert (ground.reach_mm[soft] == 420).all()


def test_depth_to_clay_is_rounded_down_never_up(made, catalog):
    assert (stand(made, catalog, soils=("sand over clay",), clay_mm=449.9).clay_mm == 440).all()


def test_hostile_clay_of_unknown_depth_is_taken_at_the_shallow_end_and_said(made, catalog):
    ground = stand(made, catalog, soils=("sand over sodic clay",))
    assert (ground.clay_mm == catalog.soils["sand over sodic clay"].clay_depth.span[0]).all()
    assert [issue.code for issue in ground.issues] == ["clay-depth-assumed"]


def test_soft_clay_of_unknown_depth_limits_nothing(made, catalog):
    ground = stand(made, catalog, soils=("sand over clay",))
    assert np.isinf(ground.clay_mm).all()
    assert ground.issues == ()


def test_the_area_of_the_nodes_is_the_paddock_without_its_exclusions(made, catalog):
    whole = stand(made, catalog)
    less = stand(made, catalog, exclusions=(shapely.box(0, 0, 100, 100), shapely.box(50, 50, 150, 100)))
    assert whole.ha.sum() == pytest.approx(8.0)
    assert less.ha.sum() == pytest.approx(8.0 - 1.25)


def test_groups_hold_every_node_once_and_share_all_limits(made, catalog):
    ground = stand(made, catalog, soils=("deep sand", "sand over clay", "loam"), clay_mm=(np.nan, 420.0, np.nan))
    groups = ground.groups()
    assert sorted(np.concatenate(groups)) == list(range(ground.ha.size))
    assert max(len(group) for group in groups) <= BLOCK_NODES
    for group in groups:
        assert len({(ground.soil[n], ground.reach_mm[n], ground.ceiling_mm[n], ground.clay_mm[n]) for n in group}) == 1


def test_delving_is_allowed_only_where_it_reaches_well_into_clay(made, catalog):
    ground = stand(made, catalog, soils=("sand over clay", "deep sand"), clay_mm=(400.0, np.nan))
    depth, must = np.array([0.0, 450.0, 500.0, 500.0]), np.array([np.nan, 100.0, 100.0, np.nan])
    allowed = ground.allowed(depth, must, np.ones((2, 4), dtype=bool))
    assert allowed[ground.soil == 0].all(axis=0).tolist() == [True, False, True, True]
    assert allowed[ground.soil == 1].all(axis=0).tolist() == [True, False, False, True]


def test_candidates_start_with_leaving_and_stand_on_the_step(catalog):
    table, issues = list_candidates(catalog, PrescriptionSettings(step_mm=50), MachineSettings())
    assert table.loc[0, ["setup", "depth_mm"]].tolist() == ["", 0]
    assert (table["depth_mm"] % 50 == 0).all()
    assert table.groupby("setup")["depth_mm"].min()["inclusion"] == 300
    assert issues == ()


def test_a_set_up_no_depth_suits_is_left_out_and_said(made):
    ripper = {"like": "seven-tine-600", "max_depth": 275}
    table, issues = list_candidates(
        made.shipped_catalog(machine={"ripper": ripper}), PrescriptionSettings(), MachineSettings()
    )
    assert {"leading", "inclusion"}.isdisjoint(table["setup"])
    assert {issue.place for issue in issues} == {"leading", "inclusion"}


def test_one_set_up_asked_for_is_the_only_one_considered(catalog):
    table, _ = list_candidates(catalog, PrescriptionSettings(), MachineSettings(setup="winged"))
    assert set(table["setup"]) == {"", "winged"}


def test_doubt_of_the_clay_lowers_the_ceiling_to_its_stated_quantile(made, catalog):
    ground = stand(made, catalog, soils=("sand over sodic clay",), clay_mm=500.0, clay_sd_mm=40.0, n_draws=400)
    # 5 % of a normal law of mean 500 and standard deviation 40 lie below 434; less the margin of 60, rounded down
    assert ground.ceiling_mm.mean() == pytest.approx(434.0 - 60.0 - 5.0, abs=4.0)
    assert (ground.clay_mm == 500).all()
