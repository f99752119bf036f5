"""Insertions a site, and time."""

import numpy as np
import pytest

from hardpan.sites.effort import Scatter, best_insertions, insertions_of, probing_hours, walking_hours
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


def test_time_is_walking_and_probing():
    settings = SiteSettings(walk_kmh=4.0, minutes_per_site=2.0, minutes_per_insertion=1.0)
    assert walking_hours(6000.0, settings) == pytest.approx(1.5)
    assert probing_hours(12, 3, settings) == pytest.approx(1.0)
