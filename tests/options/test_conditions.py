from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from hardpan.options.conditions import (
    core_facts,
    forbidden_setups,
    judge,
    setup_gains,
)
from hardpan.prescription.tables import conditions_of
from hardpan.records.advice import Met

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
    return conditions_of(context, np.broadcast_to(ripped, len(rows)))


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
    barred = forbidden_setups(catalog.rules, judge(catalog.rules, facts), facts, names) >= 0
    assert [{n for n, no in zip(names, row, strict=True) if no} for row in barred] == [
        {"mixing"},
        {"inclusion", "mixing"},
    ]


def test_stranded_lime_credits_inclusion_plates_with_more_gain(catalog):
    names = list(catalog.setups)
    facts = pd.DataFrame([FREE, FREE | {"ph_subsoil": 4.5}])
    by = setup_gains(catalog.rules, judge(catalog.rules, facts), facts, names)
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
