"""The empirical variogram against gstools, scikit-gstat and, where installed, R with gstat."""

import shutil
import subprocess

import numpy as np
import pytest

from hardpan.geostat.variogram import empirical_variogram


def sample(n=300):
    rng = np.random.default_rng(21)
    xy = rng.uniform(0, 500, (n, 2))
    return xy, np.sin(xy[:, 0] / 60) + rng.standard_normal(n)


EDGES_M = np.linspace(0, 250, 16)


@pytest.mark.parametrize(("ours", "theirs"), [("matheron", "matheron"), ("cressie-hawkins", "cressie")])
def test_estimates_agree_with_gstools(ours, theirs):
    gs = pytest.importorskip("gstools")
    xy, z = sample()
    _, gamma, pairs = gs.vario_estimate(xy.T, z, EDGES_M, estimator=theirs, return_counts=True)
    found = empirical_variogram(xy, z, edges_m=EDGES_M, estimator=ours)
    assert found.pairs.tolist() == pairs.tolist()
    assert found.semivariance == pytest.approx(gamma, rel=1e-10)


@pytest.mark.parametrize(
    ("ours", "theirs"), [("matheron", "matheron"), ("cressie-hawkins", "cressie"), ("dowd", "dowd")]
)
def test_estimates_agree_with_scikit_gstat(ours, theirs):
    skgstat = pytest.importorskip("skgstat")
    xy, z = sample()
    peer = skgstat.Variogram(xy, z, n_lags=15, maxlag=250, bin_func="even", estimator=theirs, fit_method=None)
    found = empirical_variogram(xy, z, edges_m=EDGES_M, estimator=ours)
    assert found.pairs.tolist() == peer.bin_count.tolist()
    assert found.semivariance == pytest.approx(peer.experimental, rel=1e-10)


def test_classes_agree_with_r_gstat(tmp_path):
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed")
    xy, z = sample()
    np.savetxt(tmp_path / "d.csv", np.column_stack([xy, z]), delimiter=",", header="x,y,z", comments="", fmt="%.17g")
    cutoff_m = float(np.hypot(*np.ptp(xy, axis=0))) / 3  # its own default is the same, to seven digits
    script = (
        "options(digits=17); suppressPackageStartupMessages({library(sp); library(gstat)}); d <- read.csv('d.csv'); "
        f"coordinates(d) <- ~x+y; v <- variogram(z~1, d, cutoff={cutoff_m!r}, width={cutoff_m / 15!r}); "
        "write.csv(v[, c('np','dist','gamma')], 'out.csv', row.names=FALSE)"
    )
    done = subprocess.run(
        ["Rscript", "-e", script], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120
    )
    if "there is no package" in done.stderr:
        pytest.skip("R is installed without gstat")
    assert done.returncode == 0, done.stderr
    pairs, distance, gamma = np.loadtxt(tmp_path / "out.csv", delimiter=",", skiprows=1).T
    found = empirical_variogram(xy, z)
    assert found.pairs.tolist() == pairs.tolist()
    assert found.distance_m == pytest.approx(distance, rel=1e-10)
    assert found.semivariance == pytest.approx(gamma, rel=1e-10)
