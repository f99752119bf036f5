"""Kriging against independent libraries: gstools, pykrige and, where installed, R with gstat."""

import shutil
import subprocess

import numpy as np
import pytest

from hardpan import geostat
from hardpan.geostat import Covariance, Structure, krige_nearest
from hardpan.geostat.covariance import covariance_at

NUGGET, SILL, LENGTH = 0.1, 0.9, 120.0
X_M, Y_M = np.arange(5.0, 500, 12.5), np.arange(3.0, 400, 12.5)


def sample(n=60, seed=11):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 500, (n, 2)), rng.standard_normal(n) + 5


def covariance(family="exponential", **kind):
    return Covariance(structures=(Structure(family=family, sill=SILL, length_m=LENGTH),), **(kind or {"micro": NUGGET}))


def posed(covariance, xy, z, columns=(), **options):
    return geostat.condition(geostat.observe(*xy.T, z, trend=drift_at(xy, columns), **options), covariance)


NEAR = {0.0: 1e-8, 1e-4: 2e-4}
"""What kriging agrees within: to the last digits in double precision, and as the maps of the pan are made."""

AS_MAPS = pytest.mark.parametrize("tolerance", list(NEAR), ids=["double", "as maps"])


def grid_of(field, tolerance, columns=()):
    X, Y = np.meshgrid(X_M, Y_M)
    trend = np.stack([f(X, Y) for f in columns], axis=-1) if columns else None
    return geostat.krige_grid(field, X_M, Y_M, trend=trend, tolerance=tolerance)


def east(x, y):
    del y
    return x


def north(x, y):
    del x
    return y


def drift_at(xy, columns):
    return np.column_stack([f(xy[:, 0], xy[:, 1]) for f in columns]) if columns else None


@AS_MAPS
@pytest.mark.parametrize(("family", "model"), [("exponential", "exponential"), ("spherical", "spherical")])
def test_ordinary_kriging_agrees_with_pykrige(family, model, tolerance):
    ok = pytest.importorskip("pykrige.ok")
    xy, z = sample()
    practical = 3 * LENGTH if family == "exponential" else LENGTH
    peer = ok.OrdinaryKriging(
        *xy.T, z, variogram_model=model, variogram_parameters={"psill": SILL, "range": practical, "nugget": NUGGET}
    )
    mean, variance = peer.execute("grid", X_M, Y_M, backend="loop")
    ours = grid_of(posed(covariance(family), xy, z), tolerance)
    assert ours.mean == pytest.approx(np.asarray(mean), abs=NEAR[tolerance])
    assert ours.variance == pytest.approx(np.asarray(variance), abs=NEAR[tolerance])


@AS_MAPS
def test_universal_kriging_agrees_with_pykrige(tolerance):
    uk = pytest.importorskip("pykrige.uk")
    xy, z = sample()
    peer = uk.UniversalKriging(
        *xy.T, z, variogram_model="exponential", drift_terms=["regional_linear"],
        variogram_parameters={"psill": SILL, "range": 3 * LENGTH, "nugget": NUGGET},
    )  # fmt: skip
    mean, variance = peer.execute("grid", X_M, Y_M, backend="loop")
    columns = (east, north)
    ours = grid_of(posed(covariance(), xy, z, columns), tolerance, columns)
    assert ours.mean == pytest.approx(np.asarray(mean), abs=NEAR[tolerance])
    assert ours.variance == pytest.approx(np.asarray(variance), abs=NEAR[tolerance])


MODELS = {  # the other library's Matérn has sqrt(nu) where sqrt(2 nu) stands here
    "exponential": lambda gs, **kw: gs.Exponential(dim=2, var=SILL, len_scale=LENGTH, **kw),
    "spherical": lambda gs, **kw: gs.Spherical(dim=2, var=SILL, len_scale=LENGTH, **kw),
    "matern32": lambda gs, **kw: gs.Matern(dim=2, var=SILL, len_scale=LENGTH / np.sqrt(2), nu=1.5, **kw),
    "matern52": lambda gs, **kw: gs.Matern(dim=2, var=SILL, len_scale=LENGTH / np.sqrt(2), nu=2.5, **kw),
}


@AS_MAPS
@pytest.mark.parametrize("exact", [True, False])
@pytest.mark.parametrize("family", ["exponential", "spherical", "matern32", "matern52"])
def test_ordinary_kriging_agrees_with_gstools(family, exact, tolerance):
    gs = pytest.importorskip("gstools")
    xy, z = sample()
    model = MODELS[family](gs, nugget=NUGGET)
    h = np.linspace(0.01, 400, 50)
    ours_at = covariance(family)
    assert model.covariance(h) == pytest.approx(covariance_at(ours_at, np.column_stack([h, 0 * h])), abs=1e-12)
    peer = gs.krige.Ordinary(model, xy.T, z, exact=exact)
    mean, variance = peer.structured((X_M, Y_M))
    ours = grid_of(posed(covariance(family, **({"micro": NUGGET} if exact else {"noise": NUGGET})), xy, z), tolerance)
    assert ours.mean == pytest.approx(mean.T, abs=NEAR[tolerance])
    # its variance counts the nugget as part of what is predicted whether or not it is exact at the data
    assert ours.variance + (0 if exact else NUGGET) == pytest.approx(variance.T, abs=NEAR[tolerance])


@AS_MAPS
def test_universal_anisotropic_kriging_agrees_with_gstools(tolerance):
    gs = pytest.importorskip("gstools")
    xy, z = sample()
    heading_deg = 30.0  # clockwise from north; the other library turns counter-clockwise from east
    model = gs.Exponential(
        dim=2, var=SILL, len_scale=LENGTH, anis=0.4, angles=np.deg2rad(90 - heading_deg), nugget=NUGGET
    )
    peer = gs.krige.Universal(model, xy.T, z, drift_functions="linear", exact=True)
    mean, variance = peer.structured((X_M, Y_M))
    turned = Structure(family="exponential", sill=SILL, length_m=LENGTH, ratio=0.4, heading_deg=heading_deg)
    columns = (east, north)
    ours = grid_of(posed(Covariance(structures=(turned,), micro=NUGGET), xy, z, columns), tolerance, columns)
    assert ours.mean == pytest.approx(mean.T, abs=NEAR[tolerance])
    assert ours.variance == pytest.approx(variance.T, abs=NEAR[tolerance])


@AS_MAPS
def test_measurement_error_per_datum_agrees_with_gstools(tolerance):
    gs = pytest.importorskip("gstools")
    xy, z = sample()
    error = np.random.default_rng(0).uniform(0.01, 0.5, len(z))
    peer = gs.krige.Ordinary(gs.Exponential(dim=2, var=SILL, len_scale=LENGTH), xy.T, z, cond_err=error)
    mean, variance = peer.structured((X_M, Y_M))
    bare = Covariance(structures=(Structure(family="exponential", sill=SILL, length_m=LENGTH),))
    ours = grid_of(posed(bare, xy, z, error_variance=error), tolerance)
    assert ours.mean == pytest.approx(mean.T, abs=NEAR[tolerance])
    assert ours.variance == pytest.approx(variance.T, abs=NEAR[tolerance])


def run_r(tmp_path, script, **tables):
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed")
    for name, table in tables.items():
        np.savetxt(tmp_path / f"{name}.csv", table, delimiter=",", header="x,y,z", comments="", fmt="%.17g")
    head = "options(digits=17); suppressPackageStartupMessages({library(sp); library(gstat)}); "
    done = subprocess.run(
        ["Rscript", "-e", head + script], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120
    )
    if "there is no package" in done.stderr:
        pytest.skip("R is installed without gstat")
    assert done.returncode == 0, done.stderr
    return np.loadtxt(tmp_path / "out.csv", delimiter=",", skiprows=1)


READ = "d <- read.csv('d.csv'); coordinates(d) <- ~x+y; g <- read.csv('g.csv'); coordinates(g) <- ~x+y; "
MODEL = f"v <- vgm({SILL},'Exp',{LENGTH},{NUGGET}); "
WRITE = "write.csv(r@data[,c('var1.pred','var1.var')], 'out.csv', row.names=FALSE)"


@pytest.mark.parametrize(("formula", "columns"), [("z~1", ()), ("z~x+y", (east, north))], ids=["ordinary", "universal"])
@pytest.mark.parametrize("block_m", [None, 20.0], ids=["point", "block"])
def test_kriging_agrees_with_r_gstat(tmp_path, formula, columns, block_m):
    xy, z = sample()
    targets = np.random.default_rng(5).uniform(0, 500, (200, 2))
    block = f", block=c({block_m},{block_m})" if block_m else ""
    script = READ + MODEL + f"r <- krige({formula}, d, g, v{block}, debug.level=0); " + WRITE
    there = run_r(tmp_path, script, d=np.column_stack([xy, z]), g=np.column_stack([targets, targets[:, 0]]))
    here = geostat.krige(posed(covariance(), xy, z, columns), *targets.T, drift_at(targets, columns), block_m)
    tolerance = 1e-7 if block_m else 1e-8  # its quadrature nodes are typed with ten digits
    assert here.mean == pytest.approx(there[:, 0], abs=tolerance)
    assert here.variance == pytest.approx(there[:, 1], abs=tolerance)


def test_strict_neighbourhood_agrees_with_r_gstat(tmp_path):
    xy, z = sample(n=400)
    targets = np.random.default_rng(5).uniform(0, 500, (200, 2))
    script = READ + MODEL + "r <- krige(z~1, d, g, v, nmax=16, debug.level=0); " + WRITE
    there = run_r(tmp_path, script, d=np.column_stack([xy, z]), g=np.column_stack([targets, targets[:, 0]]))
    ones = np.ones((400, 1)), np.ones((200, 1))
    here = krige_nearest(covariance(), xy, ones[0], z, targets, ones[1], neighbours=16, strict=True)
    assert here.mean == pytest.approx(there[:, 0], abs=1e-8)
    assert here.variance == pytest.approx(there[:, 1], abs=1e-8)


def test_leave_one_out_agrees_with_refits_of_r_gstat(tmp_path):
    xy, z = sample()
    script = READ + MODEL + (
        "r <- krige.cv(z~x+y, d, v, nfold=nrow(d), verbose=FALSE); " + WRITE
    )  # fmt: skip
    there = run_r(tmp_path, script, d=np.column_stack([xy, z]), g=np.column_stack([xy, z]))
    left = geostat.leave_out(posed(covariance(), xy, z, (east, north)))
    assert left.mean == pytest.approx(there[:, 0], abs=1e-8)
    assert left.variance == pytest.approx(there[:, 1], abs=1e-8)
