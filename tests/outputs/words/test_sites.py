"""What is said of the places to probe."""

from dataclasses import replace

import geopandas as gpd
import pytest

from builders.sites import OPEN, SCATTER, box, unprobed
from hardpan.outputs.words.english.sites import EnglishSites
from hardpan.outputs.words.units import Units
from hardpan.records.probing import Chosen, Gain
from hardpan.sites.settings import SiteSettings
from hardpan.sites.stage import plan_coverage

METRIC = EnglishSites(Units.of_files("AUD"))
US = EnglishSites(Units(us=True, depth_unit="in", currency="USD", plain=True))


@pytest.fixture(scope="module")
def first():
    settings = SiteSettings(count=4, starts=1)
    return plan_coverage(unprobed(box(0, 0, 400, 400)), OPEN, settings, scatter=SCATTER, precision_mm=30.0, seed=1)


def worth(plan, gain):
    sites = plan.sites.assign(chosen=Chosen.WORTH, worth=12.0, cost=5.0, sd_mm=21.0)
    probed = gpd.GeoSeries(plan.sites.geometry.iloc[:1])
    return replace(plan, sites=sites, forecast=None, gain=gain, probed=probed)


def test_a_first_survey_says_what_it_takes_and_how_well_it_will_tell(first):
    told = METRIC.headline(first, 16.0)
    assert told.startswith(
        "Probe 4 sites with 12 insertions in all on 16.0 ha: 600 m to walk, about 0.5 h. Expect to know"
    )
    assert "taken as usual" in told
    assert "In the middle of the 4.0 ha nearest to it, on deep sand." in METRIC.why(first.sites.iloc[0])


def test_further_sites_say_what_their_answers_bring(first):
    plan = worth(first, Gain(worth=48.0, cost=20.0, perfect=300.0))
    told = METRIC.headline(plan, 16.0)
    assert "Probe 4 more sites" in told
    assert told.endswith("are expected to bring 48 $ to the choice of depth and set-up, for about 20 $ of time.")
    assert METRIC.why(plan.sites.iloc[0]).startswith("Expected to bring 12 $ for 5 $ of time; the map knows the pan's")
    assert METRIC.again(plan).startswith("4 further sites, marked on the map, are expected to bring 48 $")


def test_sites_that_do_not_pay_are_said_not_to(first):
    plan = worth(first, Gain(worth=3.0, cost=20.0, perfect=30.0))
    assert "It does not pay" in METRIC.headline(plan, 16.0)
    assert METRIC.again(plan).startswith("Probing again does not pay")


def test_nothing_is_said_of_probing_again_where_nothing_is_known_of_it(first):
    assert METRIC.again(None) == METRIC.again(first) == ""


def test_us_readers_get_acres_feet_and_inches(first):
    told = " ".join((US.headline(first, 16.0), *US.doubts(first), US.why(first.sites.iloc[0])))
    assert "ac" in told
    assert not any(f" {unit}" in told for unit in ("ha", "mm", "m ", "km"))
