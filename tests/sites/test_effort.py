"""Insertions a site, and time."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from hardpan.records.pan import Bottom
from hardpan.sites.effort import Scatter, best_insertions, insertions_of, own_scatter, probing_hours, walking_hours
from hardpan.sites.settings import SiteSettings


def test_no_other_number_of_insertions_tells_a_mean_better_for_the_time():
    scatter, site, insertion = Scatter(between=30.0**2, within=60.0**2), 9.0, 1.0
    best = best_insertions(scatter, site, insertion)
    numbers = np.linspace(1.0, 20.0, 400)
    variance_by_time = (scatter.between + scatter.within / numbers) * (site + insertion * numbers)
    assert best == pytest.approx(numbers[variance_by_time.argmin()], abs=0.06)


@pytest.mark.parametrize(
    ("scatter", "settings", "says"),
    [
        (Scatter(between=45.0**2, within=25.0**2), SiteSettings(), 3),
        (Scatter(between=20.0**2, within=80.0**2), SiteSettings(), 7),
        (Scatter(between=0.0, within=25.0**2), SiteSettings(), 10),
        (Scatter(between=45.0**2, within=25.0**2), SiteSettings(insertions=7), 7),
        (Scatter(between=45.0**2, within=0.0), SiteSettings(least_insertions=1), 1),
    ],
)
def test_insertions_follow_the_scatter_within_what_is_usual(scatter, settings, says):
    assert insertions_of(settings, scatter, 100.0) == says


def bottoms(*sites):
    """What insertions saw of the bottom, mm, site by site; NaN where the rod stopped."""
    rows = [(f"S{site}", mm) for site, seen in enumerate(sites) for mm in seen]
    table = pd.DataFrame(rows, columns=["site", "bottom_mm"]).assign(date="2027-03-01")
    return SimpleNamespace(
        insertions=table.assign(bottom_kind=np.where(table["bottom_mm"].isna(), Bottom.CENSORED, Bottom.OBSERVED))
    )


def test_many_insertions_of_a_survey_overrule_the_usual_scatter_and_none_leave_it():
    """Pairs 80 mm apart have a variance of 3,200 mm2; sites far apart, single readings and stops say nothing."""
    usual = Scatter(between=45.0**2, within=25.0**2)
    alone = own_scatter(usual, 1.6, bottoms((300.0,), (500.0, np.nan)))
    assert (alone.between, alone.within) == pytest.approx((usual.between, usual.within))
    found = own_scatter(usual, 1.6, bottoms(*[(300.0 + k, 380.0 + k) for k in range(200)]))
    assert found.within == pytest.approx(3200.0, rel=0.02)
    assert found.between == usual.between
    few = SiteSettings(least_insertions=1)
    assert insertions_of(few, found, 100.0) > insertions_of(few, usual, 100.0)


def test_as_many_degrees_of_freedom_as_the_usual_scatter_is_worth_go_halfway():
    """Known within a factor e^(1/2) two times in three it counts as two: 1 / (2 ln^2 e^(1/2))."""
    found = own_scatter(Scatter(between=1.0, within=600.0), float(np.exp(0.5)), bottoms((300.0, 380.0), (400.0, 480.0)))
    assert found.within == pytest.approx((600.0 + 3200.0) / 2.0)


def test_time_is_walking_and_probing():
    settings = SiteSettings(walk_kmh=4.0, minutes_per_site=2.0, minutes_per_insertion=1.0)
    assert walking_hours(6000.0, settings) == pytest.approx(1.5)
    assert probing_hours(12, 3, settings) == pytest.approx(1.0)
