"""The verdict: better or not, and what more probes would bring."""

import numpy as np
import pytest

from hardpan.surfaces.domain import build_domain
from hardpan.surfaces.fields import fit_fields
from hardpan.surfaces.report import precision_by_sites
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import in_order, map_pan
from hardpan.surfaces.variables import read_bottom, read_peak, read_presence, read_top


@pytest.fixture(scope="module")
def fitted(truth):
    settings = SurfaceSettings(cell_m=10.0)
    insertions = in_order(truth.pan.insertions)
    domain, _ = build_domain(insertions, truth.survey, settings)
    readers = {"pan": read_presence, "peak": read_peak, "top": read_top, "bottom": read_bottom}
    return fit_fields(
        {name: read(insertions, domain.site_of) for name, read in readers.items()}, domain, settings
    ), domain


def test_every_further_site_makes_the_map_surer_and_none_makes_it_sure(fitted):
    fields, domain = fitted
    reached = precision_by_sites(fields["bottom"], domain, 40.0, 1.0)
    assert reached[0] == 40.0
    assert np.all(np.diff(reached) < 0)
    assert reached[-1] > 1.0


def test_the_search_ends_at_the_precision_asked_for(fitted):
    fields, domain = fitted
    reached = precision_by_sites(fields["bottom"], domain, 40.0, 38.0)
    assert reached[-1] <= 38.0 < reached[-2]


def test_the_verdict_names_the_precision_asked_for(truth):
    loose = map_pan(truth.pan, truth.survey, SurfaceSettings(cell_m=10.0, draws=20, precision_mm=200.0), seed=1)
    assert loose.verdict.sd_mm <= loose.verdict.asked_mm == 200.0
    assert loose.verdict.more_sites == 0
    tight = map_pan(truth.pan, truth.survey, SurfaceSettings(cell_m=10.0, draws=20, precision_mm=1.0), seed=1)
    assert tight.verdict.reached_mm > tight.verdict.asked_mm == 1.0
    assert tight.verdict.more_sites > 0


def test_coordinates_join_the_trend_on_request(truth):
    settings = SurfaceSettings(cell_m=10.0, draws=20, trend=("soil", "coordinates"))
    trend = map_pan(truth.pan, truth.survey, settings, seed=1).models["trend"]
    assert trend.str.contains(r"east \+ north").all()


def test_the_family_asked_for_is_the_family_used(truth):
    settings = SurfaceSettings(cell_m=10.0, draws=20, family="spherical")
    assert set(map_pan(truth.pan, truth.survey, settings, seed=1).models["family"]) == {"spherical"}
