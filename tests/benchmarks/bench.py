"""Speed of the numeric engine beside general-purpose libraries: same data, same variogram, same run.

    python tests/benchmarks/bench.py [TASK ...]

Every engine runs in a process of its own, so that its peak memory is its own. The clocks (wall, and processor time of
all threads, which other work on the machine disturbs less) cover set-up with a given variogram and the work; imports,
making of data and compiling are outside. The best of several runs counts. Slow peers run a smaller piece, and their
time is scaled to the whole ("of"). Data: uniform on 1000 m x 1000 m; covariance 0.9 exp(-h / 100 m), nugget 0.1.
Bounds: what the operations of the plain method would take at the speed measured for matrix products and for
covariance values on this machine; the compressed far field may go below.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

SIDE_M, NUGGET, SILL, LENGTH_M = 1000.0, 0.1, 0.9, 100.0
CUTOFF_M = 0.5 * SIDE_M * 2**0.5
THREADS = os.cpu_count() or 1


def data(n, seed=1):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, SIDE_M, (n, 2))
    wave = np.sin(xy[:, 0] / 90) + 0.8 * np.cos(xy[:, 1] / 130) + 0.4 * np.sin((xy[:, 0] + xy[:, 1]) / 45)
    return xy, wave + 0.3 * rng.standard_normal(n)


def gaussian_data(n, seed=3):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, SIDE_M, (n, 2))
    K = SILL * np.exp(-np.linalg.norm(xy[:, None] - xy, axis=2) / LENGTH_M) + NUGGET * np.eye(n)
    return xy, 10 + np.linalg.cholesky(K) @ rng.standard_normal(n)


def axis(cells):
    side = round(cells**0.5)
    return (np.arange(side) + 0.5) * SIDE_M / side


def points(cells):
    x, y = np.meshgrid(axis(cells), axis(cells))
    return np.column_stack([x.ravel(), y.ravel()])


# --- this engine ------------------------------------------------------------------------------------------------------


def covariance():
    from hardpan.geostat import Covariance, Structure

    return Covariance(structures=(Structure(family="exponential", sill=SILL, length_m=LENGTH_M),), micro=NUGGET)


def our_grid(n, cells, block_m=None, tolerance=1e-6):
    from hardpan import geostat

    xy, z = data(n)
    x = axis(cells)

    def go():
        field = geostat.condition(geostat.observe(*xy.T, z), covariance())
        found = geostat.krige_grid(field, x, x, block_m=block_m, tolerance=tolerance, threads=THREADS)
        return [found.mean, found.variance]

    return go


def our_points(n, cells):
    from hardpan import geostat

    xy, z = data(n)
    targets = points(cells)

    def go():
        field = geostat.condition(geostat.observe(*xy.T, z), covariance())
        found = geostat.krige(field, *targets.T, threads=THREADS)
        return [found.mean, found.variance]

    return go


def our_neighbourhood(n, cells, strict=False):
    from hardpan.geostat import krige_nearest

    xy, z = data(n)
    targets = points(cells)

    def go(part=slice(None)):
        some = targets[part]
        ones = np.ones((n, 1)), np.ones((len(some), 1))
        found = krige_nearest(
            covariance(), xy, ones[0], z, some, ones[1], neighbours=32, strict=strict, threads=THREADS
        )
        return [found.mean, found.variance]

    go()  # compiles
    return go


def our_variogram(n):
    from hardpan.geostat import empirical_variogram

    xy, z = data(n)

    def go():
        found = empirical_variogram(xy, z, cutoff_m=CUTOFF_M, threads=THREADS)
        return [found.pairs, found.semivariance]

    go()  # compiles
    return go


def our_folds(n):
    from hardpan import geostat

    xy, z = data(n)

    def go():
        found = geostat.leave_out(geostat.condition(geostat.observe(*xy.T, z), covariance()))
        return [found.mean, found.variance]

    return go


def our_reml(n):
    from hardpan import geostat

    xy, z = gaussian_data(n)

    def go():
        found = geostat.fit_reml(geostat.observe(*xy.T, z)).covariance
        return [found.structures[0].sill, found.structures[0].length_m, found.micro]

    return go


# --- peers ------------------------------------------------------------------------------------------------------------


def pykrige_grid(n, cells, neighbours=None):
    from pykrige.ok import OrdinaryKriging

    xy, z = data(n)
    x = axis(cells)
    near = {"n_closest_points": neighbours} if neighbours else {}

    def go():
        model = OrdinaryKriging(
            *xy.T, z, variogram_model="exponential", variogram_parameters=[SILL, 3 * LENGTH_M, NUGGET]
        )
        return list(model.execute("grid", x, x, backend="C", **near))

    return go


def gstools_grid(n, cells):
    import gstools

    xy, z = data(n)
    x = axis(cells)

    def go():
        model = gstools.Exponential(dim=2, var=SILL, len_scale=LENGTH_M, nugget=NUGGET)
        return list(gstools.krige.Ordinary(model, xy.T, z, exact=True).structured((x, x), store=False))

    return go


def gp(xy, z):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    kernel = ConstantKernel(SILL) * Matern(LENGTH_M, nu=0.5)
    return GaussianProcessRegressor(kernel, alpha=NUGGET, optimizer=None).fit(xy, z)


def sklearn_grid(n, cells):
    xy, z = data(n)
    targets = points(cells)

    def go():
        model = gp(xy, z - z.mean())
        parts = [model.predict(part, return_std=True) for part in np.array_split(targets, -(-len(targets) // 50_000))]
        return [np.concatenate([a for a, _ in parts]) + z.mean(), np.concatenate([b for _, b in parts]) ** 2 + NUGGET]

    return go


def gstools_variogram(n):
    import gstools

    xy, z = data(n)
    gstools.config.NUM_THREADS = THREADS

    def go():
        _, gamma, pairs = gstools.vario_estimate(xy.T, z, np.linspace(0, CUTOFF_M, 16), return_counts=True)
        return [pairs, gamma]

    return go


def skgstat_variogram(n):
    import skgstat

    xy, z = data(n)

    def go():
        found = skgstat.Variogram(xy, z, n_lags=15, maxlag=CUTOFF_M, bin_func="even", fit_method=None)
        return [found.bin_count, found.experimental]

    return go


def refit(kriger):
    """Leave out one at a time by fitting again; only the first `size` data are left out."""

    def job(size):
        xy, z = data(500)

        def go():
            found = [kriger(np.delete(xy, i, 0), np.delete(z, i), xy[i : i + 1]) for i in range(size)]
            return [np.array([a for a, _ in found]), np.array([b for _, b in found])]

        return go

    return job


def pykrige_one(xy, z, at):
    from pykrige.ok import OrdinaryKriging

    model = OrdinaryKriging(*xy.T, z, variogram_model="exponential", variogram_parameters=[SILL, 3 * LENGTH_M, NUGGET])
    mean, variance = model.execute("points", *at.T)
    return mean[0], variance[0]


def gstools_one(xy, z, at):
    import gstools

    model = gstools.Exponential(dim=2, var=SILL, len_scale=LENGTH_M, nugget=NUGGET)
    mean, variance = gstools.krige.Ordinary(model, xy.T, z, exact=True)(at.T, store=False)
    return mean[0], variance[0]


def sklearn_one(xy, z, at):
    mean, sd = gp(xy, z - z.mean()).predict(at, return_std=True)
    return mean[0] + z.mean(), sd[0] ** 2 + NUGGET


def sklearn_likelihood(n):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    xy, z = gaussian_data(n)
    kernel = ConstantKernel(0.7, (1e-3, 1e3)) * Matern(100, (1, 1e4), nu=0.5) + WhiteKernel(0.15, (1e-5, 10))
    return lambda: list(np.exp(GaussianProcessRegressor(kernel).fit(xy, z - z.mean()).kernel_.theta))


def gstat(n, cells, call):
    """A job in R; it reports its own time and peak memory."""
    side = round(cells**0.5)
    return {
        "n": n,
        "script": (
            "suppressPackageStartupMessages({library(sp); library(gstat)}); "
            "d <- read.csv(FILE); coordinates(d) <- ~x+y; "
            f"s <- ((1:{side}) - .5) * {SIDE_M} / {side}; g <- expand.grid(x=s, y=s); coordinates(g) <- ~x+y; "
            f"v <- vgm({SILL}, 'Exp', {LENGTH_M}, {NUGGET}); t <- system.time(r <- {call}); "
            "h <- readLines('/proc/self/status'); mb <- as.numeric(gsub('[^0-9]', '', h[grep('VmHWM', h)])) / 1024; "
            "k <- if (is(r, 'Spatial')) c(mean(r$var1.pred), mean(r$var1.var)) else "
            "if ('gamma' %in% names(r)) c(mean(r$np), mean(r$gamma)) else 0; "
            "cat('@@', t[['elapsed']], t[['user.self']] + t[['sys.self']], mb, k, '\\n')"
        ),
    }


KRIGE = "krige(z~1, d, g, v, debug.level=0)"
NEAR = "krige(z~1, d, g, v, nmax=32, debug.level=0)"
BLOCK = "krige(z~1, d, g, v, block=c({0},{0}), debug.level=0)"
VARIOGRAM = f"variogram(z~1, d, cutoff={CUTOFF_M}, width={CUTOFF_M}/15)"
FOLDS = "krige.cv(z~1, d, v, nfold=nrow(d), verbose=FALSE)"

# task -> (what, size of the whole, {engine: (size that is run, job)}); the first engine is ours, ratios are against it
GRID_PEERS = {
    "pykrige C": (62_500, lambda m: pykrige_grid(500, m)),
    "gstools": (10_000, lambda m: gstools_grid(500, m)),
    "scikit-learn (simple kriging)": (62_500, lambda m: sklearn_grid(500, m)),
    "R gstat": (10_000, lambda m: gstat(500, m, KRIGE)),
}
TASKS = {
    "P1": (
        "500 data, 250,000 cells, mean and variance",
        250_000,
        {
            "hardpan grid": (250_000, lambda m: our_grid(500, m)),
            "hardpan points (exact)": (250_000, lambda m: our_points(500, m)),
            "hardpan grid, to 1e-4 as maps": (250_000, lambda m: our_grid(500, m, tolerance=1e-4)),
            **GRID_PEERS,
        },
    ),
    "P1b": (
        "500 data, 1,000,000 cells, mean and variance",
        1_000_000,
        {"hardpan grid": (1_000_000, lambda m: our_grid(500, m)), **GRID_PEERS},
    ),
    "P1c": (
        "500 data, 10,000,000 cells, mean and variance",
        10_000_000,
        {"hardpan grid": (10_000_000, lambda m: our_grid(500, m))},
    ),
    "P2": (
        "20,000 data, 32 neighbours, 100,000 cells",
        100_000,
        {
            "hardpan shared": (100_000, lambda m: our_neighbourhood(20_000, m)),
            "hardpan strict": (100_000, lambda m: our_neighbourhood(20_000, m, strict=True)),
            "pykrige C (5,000 data)": (5_000, lambda m: pykrige_grid(5_000, m, 32)),
            "R gstat": (40_000, lambda m: gstat(20_000, m, NEAR)),
        },
    ),
    "P3": (
        "300 data, 40,000 blocks of 10 m",
        40_000,
        {
            "hardpan grid": (40_000, lambda m: our_grid(300, m, block_m=10.0)),
            "R gstat": (10_000, lambda m: gstat(300, m, BLOCK.format(10))),
        },
    ),
    "P4a": (
        "variogram of 5,000 points",
        5_000,
        {
            "hardpan": (5_000, our_variogram),
            "gstools": (5_000, gstools_variogram),
            "scikit-gstat": (5_000, skgstat_variogram),
            "R gstat": (5_000, lambda n: gstat(n, 1, VARIOGRAM)),
        },
    ),
    "P4b": (
        "variogram of 20,000 points",
        20_000,
        {
            "hardpan": (20_000, our_variogram),
            "gstools": (20_000, gstools_variogram),
            "R gstat": (20_000, lambda n: gstat(n, 1, VARIOGRAM)),
        },
    ),
    "P5": (
        "leave-one-out of 500",
        500,
        {
            "hardpan": (500, our_folds),
            "pykrige, refits": (25, refit(pykrige_one)),
            "gstools, refits": (25, refit(gstools_one)),
            "scikit-learn, refits": (50, refit(sklearn_one)),
            "R gstat": (500, lambda n: gstat(n, 1, FOLDS)),
        },
    ),
    "P6": (
        "REML of 500, range, sill and nugget",
        500,
        {
            "hardpan": (500, our_reml),
            "scikit-learn (ML)": (500, sklearn_likelihood),
        },
    ),
}


def bounds(roof):
    """Seconds of the plain method at the measured roofs; see the module's text."""
    flop, value = 1 / roof["gflops"] / 1e9, roof["value_ns"] * 1e-9 / THREADS
    return {
        "P1": 500**2 * 250e3 * flop + 500 * 250e3 * value,
        "P1b": 500**2 * 1e6 * flop + 500 * 1e6 * value,
        "P1c": 500**2 * 1e7 * flop + 500 * 1e7 * value,
        "P2": 1e5 * max(14e3 * flop, 560 * value),
        "P3": 300**2 * 40e3 * flop + 16 * 300 * 40e3 * value,
        "P4a": 1.25e7 * 0.5e-9 / THREADS * 2,
        "P4b": 2e8 * 0.5e-9 / THREADS * 2,
        "P5": 500**3 * flop,
        "P6": 12 * 500**3 * flop + 12 * 500**2 * value * THREADS,
    }


def measure_roofs():
    def best(work, times):
        took = []
        for _ in range(times):
            start = time.perf_counter()
            work()
            took.append(time.perf_counter() - start)
        return min(took)

    from scipy.spatial.distance import cdist

    a, p, q = np.random.default_rng(0).random((2000, 2000)), *np.random.default_rng(0).random((2, 1000, 2))
    h = -cdist(p, q)
    value_ns = (best(lambda: cdist(p, q), 9) + best(lambda: np.exp(h), 9)) * 1e9 / h.size
    return {"gflops": 2 * 2000**3 / best(lambda: a @ a, 5) / 1e9, "value_ns": value_ns}


def peak_mb():
    """The largest resident memory of this process so far (what `getrusage` says includes the parent's)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def run_here(task, engine):
    """Run one engine in this process and print what it took."""
    warnings.simplefilter("ignore")
    size, job = TASKS[task][2][engine]
    go = job(size)
    if isinstance(go, dict):
        print("@@" + json.dumps(run_r(go)))
        return
    before, took, used = peak_mb(), [], []
    while len(took) < 20 and sum(took) < 3:
        start, cpu = time.perf_counter(), time.process_time()
        result = go()
        took.append(time.perf_counter() - start)
        used.append(time.process_time() - cpu)
    checks = [float(np.mean(np.asarray(part, dtype=float))) for part in result]
    memory = {"extra_mb": peak_mb() - before, "peak_mb": peak_mb()}
    print("@@" + json.dumps({"s": min(took), "cpu_s": min(used), **memory, "checks": checks}))


def run_r(job):
    if shutil.which("Rscript") is None:
        return {"failed": "Rscript is not installed"}
    xy, z = data(job["n"])
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "data.csv"
        np.savetxt(file, np.column_stack([xy, z]), delimiter=",", header="x,y,z", comments="", fmt="%.17g")
        script = job["script"].replace("FILE", f"'{file}'")
        done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    line = next((x for x in done.stdout.splitlines() if x.startswith("@@")), None)
    if line is None:
        return {"failed": " ".join(done.stderr.split())[-80:]}
    seconds, cpu, mb, *checks = [float(x) for x in line.split()[1:]]
    return {"s": seconds, "cpu_s": cpu, "peak_mb": mb, "checks": checks}


def run_apart(task, engine):
    command = [sys.executable, __file__, "--one", task, engine]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=150)
    except subprocess.TimeoutExpired:
        return {"failed": "over 150 s"}
    line = next((x for x in done.stdout.splitlines() if x.startswith("@@")), None)
    return json.loads(line[2:]) if line else {"failed": " ".join(done.stderr.split())[-80:]}


def main(wanted):
    roof = measure_roofs()
    limit = bounds(roof)
    print(
        f"{THREADS} threads; matrix products {roof['gflops']:.0f} GFLOP/s, one covariance {roof['value_ns']:.2f} ns\n"
    )
    seen = {}
    for task, (what, whole, engines) in TASKS.items():
        if wanted and task not in wanted:
            continue
        print(f"{task}: {what}; plain method at the roof {limit[task]:.3g} s")
        print(
            f"  {'engine':32}{'s':>9}{'ratio':>8}{'cpu s':>9}{'ratio':>8}{'of':>8}{'extra MB':>10}{'peak MB':>9}  means"
        )
        ours = None
        for engine, (size, _) in engines.items():
            shared = engine in GRID_PEERS and task in {"P1", "P1b"}  # the same piece serves both
            key = engine if shared else (task, engine)
            found = seen[key] = seen.get(key) or run_apart(task, engine)
            if "failed" in found:
                print(f"  {engine:32}{'-':>9}  {found['failed']}")
                continue
            took = np.array([found["s"], found["cpu_s"]]) * whole / size
            ours = took if ours is None else ours
            ratio = took / np.maximum(ours, 1e-9)
            part = f"1/{whole / size:.3g}" if size < whole else ""
            extra = f"{found['extra_mb']:.0f}" if "extra_mb" in found else ""
            checks = ", ".join(f"{x:.6g}" for x in found["checks"])
            times = f"{took[0]:9.4g}{ratio[0]:8.1f}{took[1]:9.4g}{ratio[1]:8.1f}"
            print(f"  {engine:32}{times}{part:>8}{extra:>10}{found['peak_mb']:9.0f}  {checks}", flush=True)
        if ours is not None:
            print(f"  ours / roof of the plain method: {ours[0] / limit[task]:.2f}\n")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        run_here(*sys.argv[2:])
    else:
        main(sys.argv[1:])
