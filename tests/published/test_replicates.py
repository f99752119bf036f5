"""Scatter between insertions, as ten insertions a plot of an open experiment show it (`nichols2020`).

The insertions stand at random places of plots of 18 x 84 m, so that the scatter of a plot is above that between the
insertions of one site: the shipped priors take the plot that scatters least, and reach up to the middle one.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from hardpan.pan.readings import Readings
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import read_pans
from hardpan.records.survey import Stop
from hardpan.surfaces.settings import PriorSettings

UNTILLED_MM = [250.0, 300.0, 350.0, 400.0]
"""Depths below the tilled layer."""
SLOPE_KPA_PER_MM = 15.0
"""At which resistance crosses the threshold, as in the docstring of `PriorSettings`."""


@pytest.fixture(scope="module")
def plots():
    """Cone index, kPa, a row an insertion and a column a depth in mm."""
    table = pd.read_csv(Path(__file__).with_name("replicates.csv"), comment="#")
    return table.set_index(["plot", "insertion"]).rename(columns=float)


@pytest.fixture(scope="module")
def spread(plots):
    """Coefficient of variation of cone index between the insertions of a plot, by plot and depth."""
    by_plot = plots[UNTILLED_MM].groupby("plot")
    return by_plot.std() / by_plot.mean()


@pytest.fixture(scope="module")
def tops(plots):
    """Top of the pan, mm, as the product reads it at 1500 kPa on the dry day; wet plots hardly pass that."""
    dry = plots.loc["c":]
    order = np.argsort(dry.isna().to_numpy(), axis=1, kind="stable")
    value = np.take_along_axis(dry.to_numpy(dtype=float), order, axis=1)
    depth = np.where(np.isnan(value), np.nan, dry.columns.to_numpy()[order])
    none = np.zeros(value.shape, dtype=bool)
    readings = Readings(
        depth_mm=depth, thickness_mm=np.zeros(value.shape), cone_index_kpa=value, at_least=none, held=none,
        se_kpa=np.full(value.shape, np.nan),
    )  # fmt: skip
    found = read_pans(readings, np.full(len(value), Stop.ROD_END), 1500.0, PanSettings())
    return found["top_mm"].set_axis(dry.index)


def test_the_usual_scatter_of_an_edge_is_that_of_the_plot_that_scatters_least(spread):
    usual, an_edge = PriorSettings(), PanSettings().critical_kpa / SLOPE_KPA_PER_MM
    assert spread.shape == (8, 4)
    assert usual.noise_mm == pytest.approx(spread.to_numpy().min() * an_edge, rel=0.05)
    assert usual.noise_mm * usual.noise_factor == pytest.approx(np.median(spread.to_numpy()) * an_edge, rel=0.05)


def test_the_usual_scatter_of_the_peak_is_that_of_the_plot_that_scatters_least(plots):
    peak = np.log(plots.max(axis=1)).groupby("plot").std()
    assert PriorSettings().peak_noise == pytest.approx(peak.min(), rel=0.05)


def test_tops_as_the_product_reads_them_scatter_no_less_than_the_usual(tops):
    """`nichols2020` at 1500 kPa: 27 mm in the plot that scatters least, 62 mm in all; few bottoms are above 400 mm."""
    by_plot = tops.groupby("plot")
    free = by_plot.count() - 1
    pooled = np.sqrt((by_plot.var() * free).sum() / free.sum())
    usual = PriorSettings()
    assert free.sum() > 40
    assert by_plot.std().min() == pytest.approx(usual.noise_mm, rel=0.1)
    assert pooled > usual.noise_mm * usual.noise_factor
