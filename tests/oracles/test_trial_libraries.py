"""The mixed model of a trial against R nlme, where R is installed."""

import shutil
import subprocess

import numpy as np
import pandas as pd
import pytest

from hardpan import geostat

SCRIPT = """
library(nlme)
d <- read.csv("plots.csv")
m <- gls(z ~ treated, d, corExp(c(40, 0.3), form = ~ x + y, nugget = TRUE), method = "REML",
         control = glsControl(tolerance = 1e-10, msTol = 1e-12))
s <- coef(m$modelStruct$corStruct, unconstrained = FALSE)
cat(sprintf("%.10f", c(logLik(m), coef(m), sqrt(diag(vcov(m))), s, sigma(m))), sep = "\\n")
"""


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_effect_error_and_likelihood_agree_with_nlme(tmp_path, seed):
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed")
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 200, (2, 90))
    nodes = rng.uniform(-50, 250, (40, 2))
    field = np.exp(-np.hypot(x[:, None] - nodes[:, 0], y[:, None] - nodes[:, 1]) / 40) @ rng.standard_normal(40)
    treated = (np.arange(90) % 2).astype(float)
    z = 5.0 + 0.4 * treated + field + 0.5 * rng.standard_normal(90)
    pd.DataFrame({"x": x, "y": y, "z": z, "treated": treated}).to_csv(tmp_path / "plots.csv", index=False)
    done = subprocess.run(
        ["Rscript", "-e", SCRIPT], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120
    )
    if "there is no package called" in done.stderr:
        pytest.skip("R nlme is not installed")
    assert done.returncode == 0, done.stderr
    likelihood, *theirs = map(float, done.stdout.split())
    ours = geostat.fit_effects(geostat.observe(x, y, z, trend=treated))
    assert ours.log_likelihood == pytest.approx(likelihood, abs=1e-4)
    # two optimisers end where the likelihood no longer rises by a millionth: errors agree to a thousandth
    assert ours.beta == pytest.approx(theirs[:2], rel=2e-3)
    assert np.sqrt(np.diag(ours.beta_cov)) == pytest.approx(theirs[2:4], rel=5e-3)
    part = ours.covariance.structures[0]
    assert part.length_m == pytest.approx(theirs[4], rel=0.02)
    assert part.sill + ours.covariance.noise == pytest.approx(theirs[6] ** 2, rel=0.02)
