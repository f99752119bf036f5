from dataclasses import replace
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from builders import decision
from hardpan.money.stage import price_machines
from hardpan.options.conditions import (
    core_facts,
    forbidden_setups,
    judge,
    setup_credits,
)
from hardpan.prescription.tables import conditions_of
from hardpan.records.advice import Met
from hardpan.records.decision import SeasonSettings

CRS = "EPSG:32751"
FREE = {
    "ph_0_100": 6.0,
    "ph_subsoil": 5.5,
    "repellence_med": 0.0,
    "clay_depth_mm": np.inf,
    "esp_pct": 1.0,
    "gravel_pct": 0.0,
    "carbonate_pct": 0.0,
    "hostile_subsoil": 0.0,
    "fine_texture": 0.0,
    "sowing_depth_mm": 40.0,
    "cover_pct": 80.0,
    "pan_probability": 0.9,
    "cores": 2,
    "pan_worth_t": 1.0,
    "cores_of": "",
}


def met(catalog, **known):
    facts = pd.DataFrame([FREE | known])
    judged = judge(catalog.rules, facts)
    return {catalog.rules[row.rule].constraint: row.met for row in judged.itertuples()}


def told(catalog, rows, ripped=True):
    """What is told of zones with these facts."""
    facts = pd.DataFrame(rows)
    table = pd.DataFrame({"zone": np.arange(len(rows)) + 1, "kind": "ground", "soil_type": "deep sand"})
    context = SimpleNamespace(table=table, facts=facts, judged=judge(catalog.rules, facts), catalog=catalog)
    return conditions_of(context, np.where(np.broadcast_to(ripped, len(rows)), "plain", "").tolist())


def only(catalog, **known):
    return {name for name, verdict in met(catalog, **known).items() if verdict == "yes"}


def test_ground_without_constraints_meets_compaction_only(catalog):
    assert only(catalog) == {"compaction"}


@pytest.mark.parametrize(
    ("known", "constraint"),
    [
        ({"ph_0_100": 5.6, "ph_subsoil": 4.5}, "stranded lime"),
        ({"ph_0_100": 5.2, "ph_subsoil": 4.5}, "acid topsoil"),
        ({"repellence_med": 2.0, "clay_depth_mm": 450.0}, "repellence, clay in reach"),
        ({"repellence_med": 2.0}, "repellence, clay out of reach"),
        ({"repellence_med": 2.0, "clay_depth_mm": 450.0, "esp_pct": 4.0}, "repellence, clay in reach"),
        ({"esp_pct": 9.0}, "sodic clay"),
        ({"hostile_subsoil": 1.0}, "hostile subsoil"),
        ({"gravel_pct": 45.0}, "gravel"),
        ({"carbonate_pct": 12.0}, "carbonate"),
        ({"sowing_depth_mm": 15.0}, "soft seedbed"),
        ({"cover_pct": 30.0}, "wind erosion"),
        ({"fine_texture": 1.0}, "heavy clay"),
    ],
)
def test_each_row_of_the_table_is_met_by_its_own_measurement(catalog, known, constraint):
    assert only(catalog, **known) == {"compaction", constraint}


@pytest.mark.parametrize(("ph", "verdict"), [(4.79, "yes"), (4.8, "no")])
def test_subsurface_ph_below_4_8_is_acid(catalog, ph, verdict):
    """Published target (`dpird-ph`): pH in CaCl2 at least 5.5 in 0-10 cm and 4.8 in 10-30 cm."""
    assert met(catalog, ph_subsoil=ph)["stranded lime"] == verdict


def test_repellence_over_sodic_clay_is_never_sent_to_delving(catalog):
    found = only(catalog, repellence_med=2.0, clay_depth_mm=450.0, esp_pct=9.0)
    assert found == {"compaction", "sodic clay", "repellence over sodic clay"}
    assert not any("delving" in rule.prefers for rule in catalog.rules if rule.constraint in found)


def test_clay_whose_sodium_was_not_measured_is_not_yet_one_to_delve(catalog):
    found = met(catalog, repellence_med=2.0, clay_depth_mm=450.0, esp_pct=np.nan)
    assert found["repellence, clay in reach"] == "not known"


def test_a_row_whose_measurement_is_missing_is_not_known_and_says_what_to_measure(catalog):
    found = told(catalog, [FREE | {"ph_subsoil": np.nan}])
    (lime,) = (condition for condition in found if condition.constraint == "stranded lime")
    assert lime.met is Met.UNKNOWN
    assert lime.missing == ("ph_subsoil",)
    assert lime.known == {"ph_0_100": 6.0}
    assert (lime.zone, lime.cores, lime.cores_of) == (1, 2, "")


def test_a_missing_measurement_does_not_hide_that_another_rules_the_row_out(catalog):
    assert met(catalog, ph_0_100=5.0, ph_subsoil=np.nan)["stranded lime"] == "no"


def test_sodic_clay_forbids_what_lifts_it_and_gravel_forbids_plates(catalog):
    names = list(catalog.setups)
    facts = pd.DataFrame([FREE | {"esp_pct": 9.0}, FREE | {"gravel_pct": 45.0}])
    barred = forbidden_setups(catalog, judge(catalog.rules, facts), facts) >= 0
    assert [{n for n, no in zip(names, row, strict=True) if no} for row in barred] == [
        {"mixing"},
        {"inclusion", "mixing"},
    ]


def test_stranded_lime_credits_inclusion_plates_with_more_gain(catalog):
    names = list(catalog.setups)
    facts = pd.DataFrame([FREE, FREE | {"ph_subsoil": 4.5}])
    by, _ = setup_credits(catalog, judge(catalog.rules, facts), facts)
    assert (by[0] == -1).all()
    assert catalog.rules[by[1, names.index("inclusion")]].constraint == "stranded lime"


def test_no_rule_sets_an_amount_of_lime_or_gypsum(catalog):
    """Reclamation chemistry is never prescribed: rows that name lime or gypsum send to the agronomist."""
    for rule in catalog.rules:
        assert "t/ha" not in rule.advice
        assert "kg/ha" not in rule.advice
        if "rate" in rule.advice.split():
            assert "ask the agronomist" in rule.advice


class TestCores:
    def table(self, **columns):
        shapes = [shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10), shapely.box(20, 0, 30, 10)]
        zones = gpd.GeoDataFrame({"soil_type": ["sand", "sand", "loam"]}, geometry=shapes, crs=CRS)
        points = gpd.points_from_xy([2, 5], [5, 5])
        cores = gpd.GeoDataFrame(
            {"core": ["a", "b"], "soil_type": ["sand", "sand"]} | columns, geometry=points, crs=CRS
        )
        return core_facts(zones, cores)

    def test_cores_inside_a_zone_come_before_those_of_its_soil_type_and_none_is_not_known(self):
        facts = self.table(ph_0_100=[5.0, 6.0])
        assert facts["ph_0_100"].tolist()[:2] == [5.5, 5.5]
        assert np.isnan(facts["ph_0_100"][2])
        assert facts["cores"].tolist() == [2, 2, 0]
        assert facts["cores_of"].tolist() == ["", "sand", "loam"]

    def test_the_subsoil_is_as_acid_as_its_most_acid_layer(self):
        facts = self.table(ph_100_200=[5.0, 5.0], ph_200_300=[4.5, np.nan])
        assert facts["ph_subsoil"][0] == pytest.approx(np.mean([4.5, 5.0]))

    def test_a_survey_without_cores_knows_nothing(self):
        zones = gpd.GeoDataFrame({"soil_type": ["sand"]}, geometry=[shapely.box(0, 0, 1, 1)], crs=CRS)
        none = gpd.GeoDataFrame({"core": [], "soil_type": []}, geometry=[], crs=CRS)
        assert core_facts(zones, none)["ph_0_100"].isna().all()


def test_what_ripping_would_mend_is_told_only_where_it_is_ripped(catalog):
    facts = FREE | {"pan_probability": 0.9, "ph_0_100": 5.0, "clay_depth_mm": np.inf}
    met = [one for one in told(catalog, [facts] * 2, ripped=[True, False]) if one.met is Met.YES]
    first, second = ({one.constraint for one in met if one.zone == zone} for zone in (1, 2))
    assert first - second == {"compaction"}
    assert "acid topsoil" in second


def judged_of(catalog, *rows, lab=True):
    facts = pd.DataFrame([FREE | row for row in rows])
    return facts, judge(catalog.rules, facts, catalog.lab if lab else None)


def test_a_gain_goes_by_the_chance_of_its_condition_not_by_which_side_of_a_limit_the_mean_lies(catalog):
    """pH 5.45 and 5.55 switched the set-up of 40 ha."""
    plates = list(catalog.setups).index("inclusion")
    facts, judged = judged_of(catalog, *({"ph_0_100": ph, "ph_subsoil": 4.3} for ph in (5.0, 5.45, 5.55, 6.2)))
    sour, below, above, limed = setup_credits(catalog, judged, facts)[1][:, plates, 1]
    assert (sour, limed) == pytest.approx((1.0, 1.25), abs=0.01)
    assert 0.0 < above - below < 0.3 * (limed - sour)
    hard = setup_credits(catalog, judge(catalog.rules, facts), facts)[1][:, plates, 1]
    assert hard.tolist() == [1.0, 1.0, 1.25, 1.25]


def test_more_cores_make_a_condition_surer(catalog):
    number = [rule.constraint for rule in catalog.rules].index("sodic clay")
    _, judged = judged_of(catalog, *({"esp_pct": 7.0, "cores": n} for n in (1, 4, 16)))
    chance = judged.loc[judged["rule"] == number, "chance"].to_numpy()
    # one core is off by 1.5 %, so the chance is that of a normal deviate below 2/3, 4/3 and 8/3
    assert chance == pytest.approx([0.7475, 0.9088, 0.9962], abs=1e-3)


def test_what_is_near_a_limit_is_said_to_be_near_from_either_side(catalog):
    for esp, verdict in ((5.2, Met.NEAR), (6.8, Met.YES)):
        facts, judged = judged_of(catalog, {"esp_pct": esp})
        table = pd.DataFrame({"zone": [1], "kind": "ground", "soil_type": "deep sand"})
        context = SimpleNamespace(table=table, facts=facts, judged=judged, catalog=catalog)
        (sodic,) = (one for one in conditions_of(context, np.array([True])) if one.constraint == "sodic clay")
        assert sodic.met is verdict
        assert "near the limit, holds with a chance of" in decision.words(catalog).ground.met(sodic)
    facts, judged = judged_of(catalog, {"esp_pct": 1.0})
    assert judged.loc[judged["met"] == Met.NEAR].empty


def test_what_would_lift_sodic_clay_is_forbidden_on_both_sides_of_the_limit(catalog):
    facts, judged = judged_of(catalog, {"esp_pct": 5.9}, {"esp_pct": 6.1}, {"esp_pct": 2.0})
    mixing = list(catalog.setups).index("mixing")
    assert (forbidden_setups(catalog, judged, facts)[:, mixing] >= 0).tolist() == [True, True, False]


def sodic_depths(esp):
    """Depth of each of eight zones whose clay is a little deeper from one to the next, with cores of that sodium."""
    soils = ("sand over clay",) * 8
    clay_mm = tuple(np.arange(400.0, 600.0, 25.0))
    points = gpd.points_from_xy([decision.CORNER_M[0] + 200.0], [decision.CORNER_M[1] + 100.0], crs=decision.CRS)
    cores = gpd.GeoDataFrame({"core": ["a"], "soil_type": ["sand over clay"], "esp_pct": [esp]}, geometry=points)
    ground = decision.ground(soils=soils, clay_mm=clay_mm, clay_sd_mm=30.0, bottom_mm=500.0, cores=cores)
    money = decision.rates(["sand over clay"], worth=900.0, per_hour=60.0)
    return decision.decide(ground, decision.shipped_catalog(), money)[1].zones["depth_mm"].to_numpy(float)


def test_depth_over_perhaps_sodic_clay_has_no_cliff_at_six_per_cent():
    """ESP 5.9 and 6.1 switched the depth of 40 ha."""
    depth = {esp: sodic_depths(esp) for esp in (0.5, 5.9, 6.1, 20.0)}
    assert (depth[20.0] <= depth[0.5]).all()
    assert (depth[20.0] < depth[0.5]).any()
    assert np.abs(depth[5.9] - depth[6.1]).max() <= 25.0


def repellent(*, out_of_reach=1, n=20, **prescription):
    """A plan of repellent sand over clay that a delving tine reaches but in a few of `n` strips of one zone."""
    clay_mm = np.full(n, 350.0)
    clay_mm[:out_of_reach] = 800.0
    surfaces, survey, zones = decision.ground(soils=("sand over clay",) * n, clay_mm=tuple(clay_mm), bottom_mm=350.0)
    points = gpd.points_from_xy([decision.CORNER_M[0] + 200.0], [decision.CORNER_M[1] + 100.0], crs=decision.CRS)
    found = {"core": ["a"], "soil_type": ["sand over clay"], "repellence_med": [3.0], "esp_pct": [1.0]}
    survey = replace(survey, cores=gpd.GeoDataFrame(found, geometry=points))
    zones = decision.zones_of(surfaces, np.where(zones.labels > 0, 1, 0), ["sand over clay"])
    catalog = decision.shipped_catalog(machine={"ripper": "five-tine-500"})
    money = price_machines(catalog, SeasonSettings(), ("sand over clay",), n_draws=50, seed=1)
    return decision.decide((surfaces, survey, zones), catalog, money, **prescription)[1]


def test_delving_wins_where_repellent_sand_has_good_clay_in_reach():
    """`grdc-delving`: more than ten years of benefit at 150 to 200 $/ha; `hall2010`: 0.3 to 0.6 t/ha from clay.

    Without credit for what outlasts the loosening, three seasons of a broken pan never paid for it.
    """
    plan = repellent()
    (zone,) = plan.zones.to_dict("records")
    assert zone["setup"] == "delving"
    assert zone["depth_mm"] >= 450
    row = plan.candidates[(plan.candidates["setup"] == "delving") & plan.candidates["allowed"]]
    # ten seasons of 0.3 to 0.6 t/ha at 330 AUD and 5 % are worth 764 to 1,530 AUD/ha, before what it costs
    assert 0.0 < row["net_per_ha"].max() < 1530.0


def test_ground_out_of_reach_of_a_small_part_of_a_zone_bars_no_zone():
    """A zone of 39.7 ha was barred by 0.015 ha."""
    assert repellent(out_of_reach=1).zones["setup"].tolist() == ["delving"]
    assert "delving" not in repellent(out_of_reach=1, out_of_reach_share=0.0).zones["setup"].tolist()
    assert "delving" not in repellent(out_of_reach=10).zones["setup"].tolist()


def test_ground_out_of_reach_gains_nothing():
    whole, part = (repellent(out_of_reach=n).candidates for n in (0, 3))
    net = [table.loc[(table["setup"] == "delving") & table["allowed"], "net_per_ha"].max() for table in (whole, part)]
    assert net[1] < net[0]


def test_a_lasting_gain_counts_all_its_seasons(catalog):
    catalog = decision.shipped_catalog(machine={"ripper": "five-tine-500"})
    facts, judged = judged_of(catalog, {"repellence_med": 4.0, "clay_depth_mm": 450.0, "pan_worth_t": 0.5}, lab=False)
    delving = list(catalog.setups).index("delving")
    credit = setup_credits(catalog, judged, facts)[1][0, delving]
    annuity = sum(1.05**-k for k in range(1, 11))
    assert credit == pytest.approx([1.0 + gain * annuity / 0.5 for gain in (0.3, 0.45, 0.6)])


@pytest.mark.parametrize("cover_pct", [30.0, 80.0])
def test_a_cover_crop_costs_every_depth_its_price_where_the_ground_would_be_bare(cover_pct):
    """What the card asks for is paid for: every depth, in the options and in the plan, and leaving nothing."""
    catalog, season = decision.shipped_catalog(), SeasonSettings(moist_depth_mm=700.0, cover_pct=cover_pct)
    money = price_machines(catalog, season, ("deep sand",), n_draws=20, seed=1)
    free = replace(money, scenarios=money.scenarios.drop_vars("cover_crop_per_ha"))
    ground = decision.ground(n_draws=20)
    paid, unpaid = (decision.decide(ground, catalog, each, season=season) for each in (money, free))
    ripped = (paid[0].table["depth_mm"] > 0).to_numpy()
    due = ripped * float(money.scenarios["cover_crop_per_ha"].mean()) * (cover_pct < 50.0)
    assert paid[0].cost - unpaid[0].cost == pytest.approx(np.broadcast_to(due, paid[0].cost.shape))
    cost = [plan.candidates["cost_per_ha"].to_numpy() for _, plan in (paid, unpaid)]
    assert cost[0] - cost[1] == pytest.approx(np.resize(due, cost[0].size))
