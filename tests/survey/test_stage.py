"""The survey as a whole, on the demo paddock."""

from pathlib import Path

import numpy as np
import pytest

from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.survey.stage import read_survey

DEMO = Path(__file__).parents[2] / "data" / "demo" / "demo.toml"


@pytest.fixture(scope="module")
def survey():
    config = read_config(DEMO)
    return read_survey(config.paddock, config.probes, config.soil, config.grid, read_catalog(config).soils)


def test_soils_cover_the_paddock_once(survey):
    boundary = survey.paddock.boundary.iloc[0]
    assert survey.soils.area.sum() == pytest.approx(boundary.area, rel=1e-9)
    assert survey.soils.union_all().symmetric_difference(boundary).area < 1.0


def test_exclusions_lie_in_the_paddock_and_do_not_overlap(survey):
    exclusions = survey.paddock.exclusions
    assert exclusions.union_all().area == pytest.approx(exclusions.area.sum(), rel=1e-9)
    assert exclusions.union_all().difference(survey.paddock.boundary.iloc[0]).area < 1e-6


def test_hectares_are_geodesic_and_within_the_scale_of_utm(survey):
    assert survey.paddock.area_ha == pytest.approx(survey.paddock.boundary.area.iloc[0] / 1e4, rel=1e-3)


def test_depths_rise_along_the_sample_axis(survey):
    steps = np.diff(survey.profiles.readings["depth_mm"].to_numpy(), axis=1)
    assert (steps[np.isfinite(steps)] > 0).all()


def test_shuffled_rows_give_the_same_profiles(survey, tmp_path):
    config = read_config(DEMO)
    head, *rows = (DEMO.parent / "probes.csv").read_text().splitlines()
    order = np.random.default_rng(3).permutation(len(rows))
    (tmp_path / "probes.csv").write_text("\n".join([head, *(rows[at] for at in order)]))
    probes = config.probes.model_copy(update={"file": tmp_path / "probes.csv"})
    again = read_survey(config.paddock, probes, config.soil, config.grid, read_catalog(config).soils)
    first, second = (one.profiles.readings.drop_vars("source_row") for one in (survey, again))
    assert first.identical(second)
