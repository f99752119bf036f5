import numpy as np
import pytest
import shapely

from hardpan.core.errors import InputError, SettingsError
from hardpan.options.sections import GROUPS
from hardpan.records.advice import Verdict
from hardpan.records.decision import MachineSettings, PrescriptionSettings
from hardpan.records.reasons import Limit, Opening


def test_a_deep_pan_is_ripped_deeper_than_a_shallow_one_and_both_on_the_step(made, catalog):
    paddock = made.ground(soils=("deep sand", "deep sand"), bottom_mm=(350.0, 450.0))
    options, plan = made.decide(paddock, catalog, made.rates(["deep sand"], worth=400.0))
    shallow, deep = plan.zones["depth_mm"]
    assert 0 < shallow < deep
    assert all(depth % 25 == 0 for depth in options.table["depth_mm"])


def test_where_nothing_pays_the_ground_is_left_with_the_reason(made, catalog):
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=20.0))
    assert plan.zones["depth_mm"].tolist() == [0]
    best = plan.reasons[0].why.best
    assert best.gain_per_ha < best.cost_per_ha
    assert (plan.returns == 0).all()


def test_a_soil_without_response_is_left_with_its_reason(made, catalog):
    _, plan = made.decide(made.ground(soils=("clay",)), catalog, made.rates(["clay"], worth=900.0))
    assert plan.zones["depth_mm"].tolist() == [0]
    assert plan.reasons[0].why.soil_type == "clay"
    assert not plan.reasons[0].why.responds
    assert Limit.RESPONSE in set(plan.candidates.loc[~plan.candidates["allowed"], "limit"])


def test_no_depth_comes_nearer_to_hostile_clay_than_the_margin(made, catalog):
    paddock = made.ground(soils=("sand over sodic clay",), clay_mm=420.0, bottom_mm=450.0)
    options, plan = made.decide(paddock, catalog, made.rates(["sand over sodic clay"], worth=2000.0))
    assert plan.zones["depth_mm"].tolist() == [350]
    assert np.isneginf(options.net[:, options.table["depth_mm"] > 370]).all()


def test_hostile_clay_above_the_least_depth_leaves_the_ground_with_that_reason(made, catalog):
    paddock = made.ground(soils=("sand over sodic clay",), clay_mm=220.0, top_mm=150.0, bottom_mm=300.0)
    _, plan = made.decide(paddock, catalog, made.rates(["sand over sodic clay"], worth=2000.0))
    assert plan.zones["depth_mm"].tolist() == [0]
    barred = plan.reasons[0].why.barred
    assert (barred.limit, barred.value, barred.kept_mm, barred.from_mm) == (Limit.CLAY, 220, 50, 200)


def test_cover_passes_below_the_pan_on_the_share_asked_for(made, catalog):
    paddock = made.ground(bottom_mm=400.0, sd_mm=25.0)
    surfaces = paddock[0]
    options, plan = made.decide(paddock, catalog, made.rates(["deep sand"]), rule="cover", cover_share=0.9)
    depth = plan.zones["depth_mm"][0]
    bottom = surfaces.draws["bottom_mm"].to_numpy()
    assert (bottom + 25 <= depth).mean() >= 0.9
    assert (bottom + 25 <= depth - 25).mean() < 0.9
    assert options.table["depth_mm"].max() >= depth


@pytest.mark.parametrize(("rule", "share"), [("return", None), ("cover", 0.9)])
def test_the_depth_rule_asks_for_a_share_to_cover_or_for_none(made, catalog, rule, share):
    options, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"]), rule=rule, cover_share=0.9)
    assert PrescriptionSettings(rule=rule, cover_share=0.9).share_to_cover == share
    chosen = options.table.set_index(["setup", "depth_mm"]).loc[plan.zones["setup"][0], plan.zones["depth_mm"][0]]
    reached = (options.node_ha @ options.covered / options.node_ha.sum())[int(chosen["option"])]
    assert rule == "return" or reached >= 0.9


def test_the_set_ups_fitted_are_no_more_than_asked_and_the_plan_keeps_to_them(made, catalog):
    """Each of three strips may want its own set-up."""
    soils = ("deep sand", "gravelly sand", "sand over clay")
    paddock = made.ground(soils=soils, bottom_mm=(350.0, 420.0, 480.0), clay_mm=(np.nan, np.nan, 550.0))
    money = made.rates(list(soils), worth=400.0)
    worth = []
    for most in (1, 2, 3):
        options, plan = made.decide(paddock, catalog, money, setups_per_paddock=most)
        names = set(options.table.loc[options.fitted, "setup"]) - {""}
        assert options.fitted[0]
        assert 1 <= len(names) <= most
        assert set(plan.zones["setup"]) - {""} <= names
        worth.append(options.node_ha @ np.where(options.fitted, options.net, -np.inf).max(axis=1))
    assert np.all(np.diff(worth) >= -1e-9)


def test_depths_stay_in_moist_soil_where_that_is_known(made, catalog):
    money, ground = made.rates(["deep sand"], worth=500.0), made.ground(bottom_mm=400.0)
    depths = []
    for season in (made.SeasonSettings(), made.SeasonSettings(moist_depth_mm=380.0)):
        plan = made.decide(ground, catalog, money, season=season)[1]
        depths.append(plan.zones["depth_mm"][0])
    dry = plan.candidates[plan.candidates["limit"] == Limit.MOIST]
    assert depths[0] > 375 == depths[1]
    assert set(zip(dry["limit_value"], dry["limit_unit"], strict=True)) == {(380.0, "mm")}


def test_soil_too_dry_for_the_machine_is_left_and_waits_for_rain(made, catalog):
    money, season = made.rates(["deep sand"], worth=500.0), made.SeasonSettings(moist_depth_mm=0.0)
    _, plan = made.decide(made.ground(), catalog, money, season=season)
    (reason,), (window,) = plan.reasons, plan.moisture.to_dict("records")
    assert plan.zones["depth_mm"].tolist() == [0]
    assert reason.why.held_by.limit is Limit.MOIST
    assert (window["verdict"], window["rain_needed_mm"] > 0) == (Verdict.WAIT, True)


def test_dry_soil_below_takes_more_draft_fuel_and_time_and_gives_back_less(made, catalog):
    money, ground = made.rates(["deep sand"], worth=500.0), made.ground(bottom_mm=450.0, top_mm=250.0)
    plain, worked = made.MachineSettings(setup="plain"), {}
    for moist_mm in (None, 700.0, 300.0, 0.0):
        season = made.SeasonSettings(moist_depth_mm=moist_mm)
        options, _ = made.decide(ground, catalog, money, season=season, machine=plain, only_moist=False)
        row = options.table["depth_mm"].to_numpy() == 500
        names = ["draft_kn", "fuel_l_per_ha"]
        worked[moist_mm] = [*options.table.loc[row, names].to_numpy()[0], options.cost[0, row][0]]
        worked[moist_mm] += [-options.gain[0, row][0], -options.loosened[0, row][0]]
    moist, part, dry = (np.array(worked[mm]) for mm in (700.0, 300.0, 0.0))
    assert moist == pytest.approx(worked[None], rel=1e-6)  # another quadrature
    assert (part > moist).all()
    assert (dry > part).all()


def test_soil_that_is_not_known_to_be_dry_is_taken_as_moist_but_never_as_ready(made, catalog):
    _, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=500.0))
    assert plan.zones["depth_mm"][0] > 0
    assert plan.moisture["verdict"].tolist() == [Verdict.UNKNOWN]


def test_exclusions_stand_for_no_area_and_are_never_ripped(made, catalog):
    paddock = made.ground(exclusions=(shapely.box(0, 0, 200, 200),))
    options, _ = made.decide(paddock, catalog, made.rates(["deep sand"], worth=400.0))
    assert options.node_ha.sum() == pytest.approx(4.0)


def test_the_paddock_returns_are_the_sum_of_what_the_nodes_expect(made, catalog):
    paddock = made.ground(soils=("deep sand", "sand over sodic clay"), clay_mm=(np.nan, 400.0))
    money = made.rates(["deep sand", "sand over sodic clay"], worth=(400.0, 200.0))
    options, _ = made.decide(paddock, catalog, money, machine=MachineSettings(tines=7))
    net = np.where(np.isfinite(options.net), options.net, 0.0)
    assert options.uniform.returns.mean(axis=1) == pytest.approx(options.node_ha @ net, rel=1e-4, abs=0.5)


def test_a_measured_fuel_figure_moves_all_drafts(made, catalog):
    paddock = made.ground()
    machine = {"observed_depth_mm": 500.0, "observed_speed_kmh": 6.0, "setup": "plain"}
    drafts = [
        made.decide(
            paddock, catalog, made.rates(["deep sand"]), machine=MachineSettings(observed_fuel_l_per_ha=fuel, **machine)
        )[0]
        for fuel in (25.0, 35.0)
    ]
    assert drafts[0].draft.calibration < drafts[1].draft.calibration
    assert drafts[0].draft.factor.std() < made.decide(paddock, catalog, made.rates(["deep sand"]))[0].draft.factor.std()


def test_measured_fuel_below_idling_is_refused(made, catalog):
    with pytest.raises(SettingsError, match="idling"):
        made.decide(
            made.ground(), catalog, made.rates(["deep sand"]), machine=MachineSettings(observed_fuel_l_per_ha=1.0)
        )


def test_a_tractor_that_cannot_pull_one_tine_is_refused_in_one_line(made):
    weak = {"like": "rear-drive-110kw", "engine_power": 2}
    catalog = made.shipped_catalog(machine={"tractor": weak})
    with pytest.raises(
        SettingsError, match=r"cannot pull one tine of seven-tine-600 even at 200 mm .* engine power \("
    ) as e:
        made.decide(made.ground(), catalog, made.rates(["deep sand"]))
    assert "\n" not in str(e.value)


def test_a_tine_that_would_trip_at_once_is_refused_with_its_rating(made):
    catalog = made.shipped_catalog(machine={"ripper": {"like": "seven-tine-600", "breakout_rating": 0.5}})
    with pytest.raises(SettingsError, match=r"beyond the break-out rating of a tine \(0\.5 kN\)"):
        made.decide(made.ground(), catalog, made.rates(["deep sand"]))


@pytest.mark.parametrize("limits", [{"min_depth": 600, "max_depth": 500}, {"max_depth": 275, "setups": ["leading"]}])
def test_limits_that_cross_are_refused_with_both_figures(made, limits):
    catalog = made.shipped_catalog(machine={"ripper": {"like": "seven-tine-600"} | limits})
    with pytest.raises(SettingsError, match=r"deeper than the deepest: .*(600 to 500|leading 300 to 275) mm"):
        made.decide(made.ground(), catalog, made.rates(["deep sand"]))


@pytest.mark.parametrize(
    ("machine", "said"),
    [
        ({"ripper": {"like": "seven-tine-600", "spacing": 0}}, "spacing = .* above 0 mm"),
        ({"tractor": {"like": "tracked-370kw", "min_speed": 9}}, "max_speed = .* at least min_speed, 9 km/h"),
        ({"tractor": {"like": "tracked-370kw", "engine_power": 0}}, "engine_power = .* above 0 kW"),
        ({"tractor": {"like": "tracked-370kw", "mass": 0}}, "mass = .* above 0 kg"),
        (
            {"ripper": {"like": "seven-tine-600", "max_depth": "deep"}},
            "max_depth = 'deep' .* a number in mm, a text with its unit",
        ),
    ],
)
def test_a_machine_that_cannot_be_is_refused_in_one_line(made, machine, said):
    with pytest.raises(SettingsError, match=said):
        made.shipped_catalog(machine=machine)


def test_a_step_no_depth_stands_on_is_refused_in_one_line(made):
    catalog = made.shipped_catalog(machine={"ripper": {"like": "seven-tine-600", "min_depth": 410, "max_depth": 490}})
    with pytest.raises(SettingsError, match="no depth on steps of 200 mm"):
        made.decide(made.ground(), catalog, made.rates(["deep sand"]), step_mm=200)


def cores_at(made, esp_pct, clay_depth_mm):
    import geopandas as gpd

    points = gpd.points_from_xy([made.CORNER_M[0] + 50.0], [made.CORNER_M[1] + 50.0])
    known = {"core": ["a"], "soil_type": ["sand over clay"], "esp_pct": [esp_pct], "clay_depth_mm": [clay_depth_mm]}
    return gpd.GeoDataFrame(known, geometry=points, crs=made.CRS)


@pytest.mark.parametrize("clay_mm", [420.0, np.nan])
def test_cores_with_sodic_clay_keep_the_depth_above_it(made, catalog, clay_mm):
    """The map knows the depth to clay, or only the core does."""
    money = made.rates(["sand over clay"], worth=900.0)
    paddock = {"soils": ("sand over clay",), "clay_mm": clay_mm, "bottom_mm": 450.0}
    free = made.decide(made.ground(**paddock), catalog, money)[1].zones
    kept = made.decide(made.ground(**paddock, cores=cores_at(made, 9.0, 420.0)), catalog, money)[1]
    assert free["depth_mm"][0] > 370 >= kept.zones["depth_mm"][0] > 0
    reason = kept.reasons[0]
    held = reason.why.held
    assert (held.limit, held.name, held.value, held.from_mm) == (Limit.CLAY, "sodic clay", 420, 375)
    assert "sodic clay" in reason.unmended


def test_gravel_keeps_inclusion_plates_off_its_ground_and_says_so(made, catalog):
    """One set-up for the paddock: stranded lime on the sand brings inclusion plates, gravel forbids them next door."""
    import geopandas as gpd

    west, south = made.CORNER_M
    known = {
        "core": ["a", "b"],
        "soil_type": ["deep sand", "gravelly sand"],
        "ph_0_100": [5.8, 5.8],
        "ph_100_200": [4.3, 5.5],
        "gravel_pct": [1.0, 45.0],
    }
    points = gpd.points_from_xy([west + 50.0, west + 350.0], [south + 50.0] * 2)
    cores = gpd.GeoDataFrame(known, geometry=points, crs=made.CRS)
    ground = made.ground(soils=("deep sand", "gravelly sand"), bottom_mm=(450.0, 380.0), cores=cores)
    money = made.rates(["deep sand", "gravelly sand"], worth=(900.0, 180.0), per_hour=100.0)
    _, plan = made.decide(ground, catalog, money)
    sand, gravel = plan.zones.to_dict("records")
    assert (sand["setup"], gravel["depth_mm"]) == ("inclusion", 0)
    on_sand, on_gravel = plan.reasons
    assert on_sand.why.credited_by == "stranded lime"
    barred = on_gravel.why.barred
    assert (barred.limit, barred.name, barred.setup) == (Limit.RULE, "gravel", "inclusion")
    assert on_gravel.change.by is Opening.SETUP
    _, both = made.decide(ground, catalog, money, setups_per_paddock=2)
    assert both.zones["depth_mm"].gt(0).all()
    assert both.zones["setup"].nunique() == 2


def test_uniform_depths_are_credited_and_limited_like_the_plan(made, catalog):
    """Cores of the soil type tell before there are zones, so that strategies are compared on equal terms."""
    money = made.rates(["sand over clay"], worth=900.0)
    paddock = {"soils": ("sand over clay",), "clay_mm": 420.0, "bottom_mm": 450.0}
    free, _ = made.decide(made.ground(**paddock), catalog, money)
    kept, plan = made.decide(made.ground(**paddock, cores=cores_at(made, 9.0, 420.0)), catalog, money)
    deep = (kept.table["depth_mm"] > 370).to_numpy()
    assert (kept.uniform.returns[deep] == 0).all()
    assert not (free.uniform.returns[deep] == 0).all()
    best = kept.uniform.returns.mean(axis=1).max()
    assert plan.returns.mean(axis=1).sum() <= best + 1.0


def test_draws_of_money_and_pan_must_be_as_many(made, catalog):
    with pytest.raises(InputError, match="40 draws of money do not go with 50 draws of the pan"):
        made.decide(made.ground(), catalog, made.rates(["deep sand"], n_draws=40))


def test_hours_litres_and_money_of_a_draw_are_of_the_same_draw(made, catalog):
    """A pan alike in every draw: what a zone returns, and its hours and litres at their price, go as its worth.

    Draws that share a section of loosened soil share what is broken but for the offset that keeps its mean (0.1 %).
    """
    paddock = made.ground(bottom_mm=400.0, sd_mm=0.0)
    money = made.rates(["deep sand"], worth=400.0, per_hour=250.0, per_litre=2.0, wear=0.0)
    _, plan = made.decide(paddock, catalog, money, machine=MachineSettings(setup="plain"))
    assert plan.zones["depth_mm"][0] > 0
    assert np.ptp(plan.hours[0]) > 0.01 * plan.hours[0].mean()
    gained = plan.returns[0] + 250.0 * plan.hours[0] + 2.0 * plan.fuel_l[0]
    share = gained / money.scenarios["worth_per_ha"].to_numpy()[:, 0]
    for group in range(GROUPS):
        assert share[group::GROUPS] == pytest.approx(share[group::GROUPS].mean(), rel=5e-3)
