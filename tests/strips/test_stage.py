"""Strips in a plan: zones of their own, and nothing lost of the rest."""

import json
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from scipy.stats import nct, t

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.summary import zone_summary
from hardpan.records.reasons import CheckStrip
from hardpan.records.trial import Treatment
from hardpan.strips.settings import StripSettings
from hardpan.strips.stage import degrees_between, detectable, lay_strips, power_of, strip_width_m
from hardpan.trials.effects import strip_effects

ASKED = StripSettings(
    pairs=3, length_m=120.0, least_length_m=40.0, headland_m=10.0, harvester_width_m=9.0, border_m=5.0
)


@pytest.fixture(scope="module")
def ripper(catalog):
    return catalog.ripper


@pytest.fixture(scope="module")
def laid(zones, plan, survey, ripper):
    return lay_strips(zones, plan, survey.paddock, ripper, ASKED, seed=1)


def test_every_ripped_zone_gets_its_pairs_and_no_other(laid):
    table = laid.strips.table
    assert table.groupby(["zone", "treatment"]).size().to_dict() == {
        (1, "ripped"): 3, (1, "unripped"): 3, (2, "ripped"): 3, (2, "unripped"): 3,
    }  # fmt: skip
    assert sorted(table["strip"]) == list(range(1, 13))
    assert (table.groupby("pair").size() == 2).all()


def test_zones_and_strips_still_cover_the_paddock_without_overlap(laid, survey):
    shapes = laid.zones.table.geometry.to_numpy()
    assert shapely.coverage_is_valid(shapes)
    assert shapely.area(shapes).sum() == pytest.approx(survey.paddock.boundary.area.sum(), rel=1e-9)
    assert laid.zones.table["area_ha"].sum() == pytest.approx(24.0, rel=2e-3)  # the plane's hectares were given


def test_each_strip_is_a_zone_of_its_own_at_no_depth(laid):
    strips = laid.plan.zones[laid.plan.zones["kind"] == "strip"]
    assert list(strips["zone"]) == [5, 6, 7, 8, 9, 10]
    assert (strips["depth_mm"] == 0).all()
    assert (strips["setup"] == "").all()
    for reason in laid.plan.reasons[4:]:
        assert isinstance(reason.why, CheckStrip)
        assert reason.why.beside in {1, 2}


def test_cells_in_a_strip_bear_its_number(laid):
    frame = laid.zones.frame
    east, north = np.meshgrid(frame.x_m, frame.y_m)
    for zone, shape in zip(laid.zones.table["zone"], laid.zones.table.geometry, strict=True):
        assert (shapely.contains_xy(shape, east, north) <= (laid.zones.labels == zone)).all()


def test_money_hours_and_litres_go_with_the_ground_that_is_left(laid, plan):
    kept = laid.plan.zones["area_ha"].to_numpy()[:4] / plan.zones["area_ha"].to_numpy()
    assert (kept[:2] < 1).all()
    assert (kept[2:] == 1).all()
    for name in ("returns", "runner_up_returns", "hours", "fuel_l"):
        np.testing.assert_allclose(getattr(laid.plan, name)[:4], getattr(plan, name) * kept[:, None])
        assert not getattr(laid.plan, name)[4:].any()
    assert laid.plan.zones["net_per_ha"].iloc[:4].tolist() == plan.zones["net_per_ha"].tolist()


def test_strips_keep_off_headland_and_borders(laid, zones, survey):
    outline = shapely.union_all(survey.paddock.boundary.to_numpy())
    shape = zones.table.set_index("zone").geometry
    for row in laid.strips.table.itertuples():
        assert outline.boundary.distance(row.geometry) >= 10.0 - 1e-6
        assert shape[row.zone].boundary.distance(row.geometry) >= 5.0 - 0.1  # buffers round corners


def test_auto_lays_them_in_the_largest_ripped_zone_of_each_soil_type(zones, plan, survey, ripper):
    asked = ASKED.model_copy(update={"pairs": "auto", "auto_pairs": 2})
    same = replace(plan, zones=plan.zones.assign(soil_type="deep sand"))
    found = lay_strips(zones, same, survey.paddock, ripper, asked, seed=1).strips.table
    assert set(found["zone"]) == {2}
    assert len(found) == 4


def test_width_holds_a_clean_cut_in_whole_passes():
    asked = StripSettings(pairs=1, harvester_width_m=12.0, position_error_m=0.5)
    assert strip_width_m(asked, 4.2) == pytest.approx(16.8)
    assert strip_width_m(asked, 6.5) == pytest.approx(13.0)
    assert strip_width_m(asked.model_copy(update={"width_m": 9.0}), 4.2) == 9.0


def test_what_has_no_room_is_told(zones, plan, survey, ripper):
    short = ASKED.model_copy(update={"pairs": 50})
    told = lay_strips(zones, plan, survey.paddock, ripper, short, seed=1).plan.issues
    assert {issue.code for issue in told} == {"strips-fewer"}
    none = lay_strips(zones, plan, survey.paddock, ripper, ASKED.model_copy(update={"headland_m": 500.0}), seed=1)
    assert none.strips is None
    assert none.zones is zones
    assert {issue.done for issue in none.plan.issues} == {"none were laid there"}


def test_nothing_ripped_has_no_strips(zones, unripped, survey, ripper):
    found = lay_strips(zones, unripped.plan, survey.paddock, ripper, ASKED, seed=1)
    assert found.strips is None
    assert [issue.code for issue in found.plan.issues] == ["strips-none"]


def test_every_file_says_strips_and_the_strip_file_is_read_by_gdal(laid, run, tmp_path):
    with_strips = replace(run, zones=laid.zones, plan=laid.plan, strips=laid.strips)
    formats = ("geojson", "shapefile", "geopackage", "isoxml", "geotiff", "report", "job-card", "kml")
    write_outputs(with_strips, OutputSettings(formats=formats), tmp_path / "out")
    plan = pyogrio.read_dataframe(tmp_path / "out" / "prescription.geojson")
    drawn = plan[plan["kind"] == "strip"]
    assert drawn[["strip", "pair", "depth_mm"]].to_numpy().tolist() == [[at, at, 0] for at in range(1, 7)]
    strips = pyogrio.read_dataframe(tmp_path / "out" / "strips.geojson")
    left = strips[strips["treatment"] == "unripped"]
    for own, file in zip(drawn.geometry, left.geometry, strict=True):
        assert shapely.symmetric_difference(own, file).area < 1e-12
    promise = json.loads((tmp_path / "out" / "strips.geojson").read_text(encoding="utf-8"))["promise"]
    assert [(row["zone"], row["pairs"]) for row in promise] == [("all", 6), (1, 3), (2, 3)]
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "all together find a difference of" in page
    assert "It counts as found where the 90\u00a0% range of the effect leaves out 0." in page


def test_strips_share_one_row_of_the_report_and_of_the_terminal(laid, run, tmp_path):
    with_strips = replace(run, zones=laid.zones, plan=laid.plan, strips=laid.strips)
    write_outputs(with_strips, OutputSettings(formats=("report",)), tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    rows = re.findall(r'<tbody class="zone"><tr><th scope="row">([^<]*)<', page)
    assert sorted(rows[:-1]) == ["1", "2", "3", "4"]
    assert rows[-1] == "5 to 10"
    last = zone_summary(with_strips, OutputSettings())[1][-1]
    left = laid.plan.zones[laid.plan.zones["kind"] == "strip"]
    assert last[0] == "5 to 10"
    assert float(last[1]) == pytest.approx(left["area_ha"].sum(), abs=0.1)


@pytest.mark.parametrize("pairs", [2, 3, 4, 6, 8, 20])
@pytest.mark.parametrize("difference", [0.0, 0.05, 0.12])
def test_the_chance_is_that_of_the_noncentral_t(pairs, difference):
    # oracle: scipy.stats.nct, which the package does not use because it fails far out
    level, cv = 0.9, 0.06
    for df in (pairs - 1, 2 * pairs - 2):
        edge, ncp = t.ppf(0.95, df), difference / (cv * np.sqrt(2 / pairs))
        right = nct.sf(edge, df, ncp) + nct.cdf(-edge, df, ncp)
        assert power_of(difference, pairs, cv, df=df, level=level) == pytest.approx(right, abs=3e-4)


@pytest.mark.parametrize(("pairs", "power", "level"), [(2, 0.8, 0.9), (4, 0.8, 0.9), (6, 0.9, 0.95)])
def test_a_difference_of_that_size_is_found_as_often_as_promised(pairs, power, level):
    """Strips that err by themselves alone, held against their spread within either treatment."""
    rng, cv = np.random.default_rng(5), 0.08
    promised = detectable(pairs, cv, level=level, power=power)
    harvests = 20_000
    ripped, left = 1 + promised + cv * rng.normal(size=(harvests, pairs)), 1 + cv * rng.normal(size=(harvests, pairs))
    within = np.sqrt((ripped.var(axis=1, ddof=1) + left.var(axis=1, ddof=1)) / pairs)
    statistic = (ripped.mean(axis=1) - left.mean(axis=1)) / within
    found = (np.abs(statistic) > t.ppf((1 + level) / 2, 2 * pairs - 2)).mean()
    assert found == pytest.approx(power, abs=4 * np.sqrt(power * (1 - power) / harvests))


def harvested(pairs, zones, effect, cv, rng):
    """Strips side by side, ten segments each, on ground that rises and falls; every strip errs by itself."""
    at = np.arange(2 * pairs)
    strips = pd.DataFrame({"strip": at + 1, "pair": at // 2 + 1, "zone": at // 2 % zones + 1})
    strips["treatment"] = np.where(at % 2, Treatment.RIPPED, Treatment.UNRIPPED)
    segments = strips.loc[at.repeat(10)].reset_index(drop=True)
    segments["x_m"], segments["y_m"] = (
        12.0 * at.repeat(10) + 60.0 * segments["pair"],
        np.tile(15.0 * np.arange(10), at.size),
    )
    waves = 0.1 * np.sin(segments["x_m"] / 400 + rng.uniform(0, 2 * np.pi))
    own = (cv * rng.normal(size=at.size)).repeat(10)
    segments["value"] = 1.0 + waves + 0.2 * segments["zone"] + own + 0.03 * rng.normal(size=len(segments))
    segments["value"] += effect * (segments["treatment"] == Treatment.RIPPED)
    return segments[["strip", "x_m", "y_m", "value"]], strips


@pytest.mark.parametrize(("pairs", "zones"), [(2, 1), (4, 1), (2, 2), (5, 2)])
def test_a_trial_knows_its_error_at_least_as_well_as_was_reckoned_with(pairs, zones):
    effect = strip_effects(*harvested(pairs, zones, 0.1, 0.06, np.random.default_rng(8))).overall
    assert effect.df >= degrees_between(pairs, zones) - 1e-9


@pytest.mark.slow
def test_the_interval_of_a_trial_finds_what_was_promised_as_often_as_promised():
    """Two pairs, where the promise of pair by pair is twice as large and would be found nearly always."""
    rng, cv = np.random.default_rng(3), float(np.hypot(0.06, 0.03 / np.sqrt(10)))
    promised = detectable(2, cv, level=0.9, power=0.8)
    found = 0
    for _ in range(120):
        low, high = strip_effects(*harvested(2, 1, promised, 0.06, rng)).overall.interval(0.9)
        found += low > 0 or high < 0
    assert found / 120 == pytest.approx(0.8, abs=0.07 + 0.04)  # what is asked of a study, and one error of 120 trials


def test_more_pairs_find_less_and_rougher_ground_finds_more():
    many = [detectable(pairs, 0.06, level=0.9, power=0.8) for pairs in (2, 3, 4, 8, 40)]
    assert many == sorted(many, reverse=True)
    assert detectable(4, 0.12, level=0.9, power=0.8) == pytest.approx(2 * detectable(4, 0.06, level=0.9, power=0.8))


def test_a_single_pair_promises_nothing():
    assert np.isnan(detectable(1, 0.06, level=0.9, power=0.8))


@pytest.mark.parametrize(("level", "power"), [(0.99, 0.99), (0.9, 0.101), (0.5, 0.05)])
def test_the_ends_of_level_and_power_have_an_answer(level, power):
    found = detectable(2, 0.06, level=level, power=power)
    assert found >= 0
    assert power_of(found, 2, 0.06, df=2, level=level) == pytest.approx(max(power, 1 - level), abs=1e-3)
