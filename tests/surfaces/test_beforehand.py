"""What the maps lean on where few bottoms were seen, and what they say of it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from fields import Recipe, invent, shorten_rods
from hardpan.geostat import NOISE, Observations
from hardpan.records.pan import Bottom, Seen, State
from hardpan.surfaces.beforehand import _likely_moments, inform
from hardpan.surfaces.settings import PriorSettings, SurfaceSettings
from hardpan.surfaces.stage import build_domain, in_order, map_pan, read_variables
from hardpan.surfaces.variables import Variable

SETTINGS = SurfaceSettings(cell_m=30.0, draws=20)


@pytest.fixture(scope="module")
def paddock():
    return invent(Recipe(n_sites=36, cell_m=30.0, stopped=0.0), 4)


def variables_of(truth):
    insertions = in_order(truth.pan.insertions)
    return read_variables(insertions, build_domain(insertions, truth.survey, SETTINGS)[0], SETTINGS)


def test_the_scale_of_the_bottom_hardly_depends_on_how_many_were_seen(paddock):
    """The spread of the shallowest bottoms is a tenth of the paddock's; the scale stays within a factor of two."""
    whole = variables_of(paddock)["bottom"].scale
    for share in (0.5, 0.85, 0.99):
        few = variables_of(shorten_rods(paddock, share))["bottom"].scale
        assert whole / 2.0 < few < 2.0 * whole


def test_values_alone_keep_their_own_mean_and_spread(paddock):
    bottom = variables_of(paddock)["bottom"]
    assert bottom.observations.low.mean() == pytest.approx(0.0, abs=1e-12)
    assert bottom.observations.low.std(ddof=1) == pytest.approx(1.0)


@pytest.mark.parametrize("usual_mm", [45.0, 60.0])
def test_many_bounded_values_tell_of_their_spread_as_ten_independent_ones_do(usual_mm):
    """Likelihood of ten such values times the law of the usual spread, written out."""
    rng = np.random.default_rng(3)
    value = rng.normal(420.0, 60.0, 4000)
    beyond, none = value > 400.0, np.zeros(4000)
    low = np.minimum(value, 400.0)
    plain = {"unit": "mm", "rows": np.arange(4000), "centre": 0.0, "scale": 1.0}
    seen = Observations(site=np.arange(4000), low=low, high=np.where(beyond, np.inf, value), error=none)
    tops = Observations(site=np.arange(4000), low=none + 260.0, high=none + 260.0, error=none)
    given = {name: Variable(name=name, observations=tops, **plain) for name in ("top", "peak", "pan")}
    given["bottom"] = Variable(name="bottom", observations=seen, **plain)
    usual = PriorSettings(thickness_sd_mm=usual_mm)

    def unlikely(at):
        mean, log_sd = at
        law = norm(mean, np.exp(log_sd))
        ten = 10.0 * np.mean(np.where(beyond, law.logsf(400.0), law.logpdf(value)))
        away = (log_sd - np.log(usual_mm)) / 0.4, (mean - 260.0 - usual.thickness_mm) / usual.mean_sd_mm
        return 0.5 * sum(one**2 for one in away) - ten

    scale = inform(given, usual)["bottom"].scale
    assert scale == pytest.approx(np.exp(minimize(unlikely, [420.0, np.log(50.0)]).x[1]), rel=0.01)
    assert usual_mm - 1.0 <= scale <= 61.0


def test_short_rods_that_end_among_soft_readings_make_no_deep_pan():
    """Bottoms N(400, 40), rods of 410 mm that must pass the pan by 50 mm to see it.

    Others end hard, or among readings that are soft already. Were the latter only known to lie below
    their last hard reading, the mean would come out deeper.
    """
    rng, step = np.random.default_rng(5), 25.0
    bottom = rng.normal(400.0, 40.0, 2000)
    last_hard = np.floor(np.minimum(bottom, 410.0) / step) * step
    passed, soft = bottom < 360.0, (bottom >= 360.0) & (bottom < 410.0)
    low = np.where(passed, bottom, np.where(soft, last_hard, 410.0))
    none = np.zeros(2000)
    centre = {}
    for name, high in (("held", np.where(passed, bottom, np.where(soft, 410.0, np.inf))),
                       ("open", np.where(passed, bottom, np.inf))):  # fmt: skip
        seen = Observations(site=np.arange(2000), low=low, high=high, error=none, leak=np.where(soft, 0.1, 0.0))
        centre[name] = _likely_moments(seen, 50.0, (410.0, 80.0))[0]
    assert centre["held"] == pytest.approx(400.0, abs=10.0)
    assert centre["open"] > centre["held"] + 15.0


def test_the_scatter_between_insertions_is_held_near_the_usual_one(paddock):
    bottom = variables_of(paddock)["bottom"]
    mean, spread = bottom.priors(1000.0).normal[NOISE]
    assert np.exp(0.5 * mean) * bottom.scale == pytest.approx(PriorSettings().noise_mm)
    assert np.exp(0.5 * spread) == pytest.approx(PriorSettings().noise_factor)


def test_ground_deeper_than_any_reading_is_told(paddock):
    short = shorten_rods(paddock, 0.95)
    found = map_pan(short.pan, short.survey, SETTINGS, seed=1)
    told = next(issue for issue in found.issues if issue.code == "depth-not-known")
    rod_mm = short.pan.insertions["reached_mm"].iloc[0]
    assert f"{rod_mm:.0f} mm" in str(told.what)
    inside = found.inside
    assert np.median(found.maps["pan_bottom_sd_mm"].to_numpy()[inside]) > 50.0
    whole = map_pan(paddock.pan, paddock.survey, SETTINGS, seed=1)
    assert not any(issue.code == "depth-not-known" for issue in whole.issues)
    assert found.verdict.unread_share > 0.05
    assert found.verdict.deepest_mm == pytest.approx(rod_mm)
    assert whole.verdict.unread_share == 0.0


def test_the_mapped_strength_joins_only_where_strength_stopped_insertions(paddock):
    stopped = invent(Recipe(n_sites=36, cell_m=30.0, stopped=0.5), 4)
    for truth, joins in ((stopped, True), (shorten_rods(paddock, 0.5), False)):
        assert variables_of(truth)["bottom"].by_strength is joins
        models = map_pan(truth.pan, truth.survey, SETTINGS, seed=1).models.set_index("variable")
        assert ("strength" in models.loc["bottom", "trend"]) is joins


def test_soil_types_and_strength_hold_any_share_of_the_variance_beforehand_on_average_half(paddock):
    """A share that may be anything between 0 and 1 alike is 1/2 on average; it is the square of the slope."""
    bottom = variables_of(paddock)["bottom"]
    precision = bottom.trend_precision(("1", "soil type deep sand", "strength"))
    assert 1.0 / precision[1:] == pytest.approx(0.5, abs=0.02)


def test_no_bottom_seen_leaves_the_usual_thickness_and_a_wide_interval(paddock):
    short = shorten_rods(paddock, 0.99)
    table = short.pan.insertions
    none = replace(short.pan, insertions=table[table["bottom_kind"] != Bottom.OBSERVED].reset_index(drop=True))
    insertions = in_order(none.insertions)
    domain = build_domain(insertions, short.survey, SETTINGS)[0]
    bottom = read_variables(insertions, domain, SETTINGS)["bottom"]
    assert not bottom.exact.any()
    assert not bottom.can_be_fitted
    assert 30.0 < bottom.scale < 120.0


def test_ground_hard_to_the_end_of_every_rod_has_a_bottom_nobody_knows(paddock):
    """Rods of 560 mm that never leave hard ground, two usual thicknesses below its top: deeper, and that is all."""
    table = paddock.pan.insertions.copy()
    pan = (table["state"] == State.PRESENT).to_numpy()
    table.loc[pan, ["bottom_mm", "bottom_sd_mm"]] = np.nan
    table.loc[pan, "bottom_low_mm"], table.loc[pan, "bottom_high_mm"] = 560.0, np.inf
    table.loc[pan, "bottom_kind"], table.loc[pan, "seen"] = Bottom.CENSORED, Seen.STILL_HARD
    mapped = map_pan(replace(paddock.pan, insertions=table), paddock.survey, SETTINGS, seed=1)
    on = paddock.present & mapped.inside
    assert np.nanmin(mapped.maps["pan_bottom_mm"].to_numpy()[on]) > 560.0
    assert np.nanmedian(mapped.maps["pan_bottom_sd_mm"].to_numpy()[on]) > 45.0
    assert mapped.verdict.unseen_mm == pytest.approx(560.0)
