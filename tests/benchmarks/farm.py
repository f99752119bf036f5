"""Throughput of `hardpan farm` on paddocks the size of the demo, one process and several, beside a short script.

    PYTHONPATH=tests python tests/benchmarks/farm.py [PADDOCKS [PROCESSES [PART ...]]]

The parts are `hardpan`, `script`, `scheduler`, `profile` and `plan`; left out, all of them.

Each paddock is the demo with its readings scaled and scattered anew (simulated), written without report and job card.
The script does less on the same data: ordinary kriging of the lower edge of what is hard (pykrige), zones by k-means
(scikit-learn), one GeoTIFF (rasterio); no censoring, no uncertainty, no depth, no money. Empty jobs through a scheduler
show what it takes itself, whatever a paddock costs. The profile is that of one paddock by stage, in processor time. The
plans are of seasons of 60 paddocks, 3 machines and 40 days (invented).
"""

import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

import hardpan
from builders.farm import do, job
from builders.seasons import OTHERS, large_season, ordinary_season, other_season
from hardpan.farm.cluster import connect
from hardpan.outputs.stage import write_outputs
from hardpan.records.farm import Allotment
from hardpan.run.chain import run_paddock
from hardpan.run.config import read_config
from hardpan.run.manifest import Clock
from hardpan.season.planning import plan_season

ROOT = Path(__file__).parents[2]


PARTS = ("profile", "hardpan", "script", "scheduler", "plan")
FORMATS = '["geojson", "shapefile", "isoxml", "geopackage", "geotiff"]'
EMPTY = 5000
SEASONS = 6
ORDINARY = 24
CRITICAL_KPA = 2500.0


def write_paddocks(folder: Path, count: int) -> None:
    """Variations of the demo, a folder each."""
    with (ROOT / "data" / "demo" / "probes.csv").open(newline="") as table:
        head, *rows = csv.reader(table)
    first = head.index("0 mm")
    for number in range(count):
        rng, place = np.random.default_rng(number), folder / f"p{number:03d}"
        shutil.copytree(ROOT / "data" / "demo", place, ignore=shutil.ignore_patterns("*.py", "README.md"))
        config = place / "demo.toml"
        own = re.sub(r"^formats = .*$", f"formats = {FORMATS}", config.read_text(), count=1, flags=re.MULTILINE)
        config.write_text(own)
        with (place / "probes.csv").open("w", newline="") as out:
            csv.writer(out).writerows([head, *(varied(row, first, rng, rng.uniform(0.85, 1.15)) for row in rows)])


def write_list(folder: Path, count: int) -> Path:
    """The list of the first `count` paddocks."""
    path = folder / f"first-{count}.toml"
    path.write_text(
        "\n".join(
            f'[[paddocks]]\nconfig = "p{number:03d}/demo.toml"\npaddock = "p{number:03d}"' for number in range(count)
        )
    )
    return path


def varied(row: list[str], first: int, rng: np.random.Generator, factor: float) -> list[str]:
    return row[:first] + [f"{float(cell) * factor * rng.normal(1, 0.03):.0f}" if cell else "" for cell in row[first:]]


def run(path: Path, out: Path, processes: int) -> tuple[float, list[float]]:
    """Seconds for the whole list and the peak of each paddock's process, MB, in the order they were begun."""
    begun = time.perf_counter()
    words = [sys.executable, "-m", "hardpan", "farm", str(path), "--out", str(out), "--workers", str(processes)]
    subprocess.run(words, check=True, env={**os.environ, "PYTHONPATH": str(ROOT / "pipeline")})
    seconds = time.perf_counter() - begun
    with (out / "farm.csv").open(newline="") as table:
        return seconds, [float(row["peak_mb"] or "nan") for row in csv.DictReader(table)]


def short_script(folder: Path) -> None:
    """What a short script makes of one paddock."""
    import pandas as pd
    import rasterio
    from pykrige.ok import OrdinaryKriging
    from pyproj import Transformer
    from rasterio.transform import from_origin
    from sklearn.cluster import KMeans

    table = pd.read_csv(folder / "probes.csv")
    depths = [name for name in table.columns if name.endswith(" mm")]
    hard = table[depths].to_numpy() > CRITICAL_KPA
    lowest = np.array([float(name.removesuffix(" mm")) for name in depths])[hard.shape[1] - 1 - hard[:, ::-1].argmax(1)]
    x, y = Transformer.from_crs(4326, 32751, always_xy=True).transform(table["longitude"], table["latitude"])
    kept = pd.DataFrame({"x": x, "y": y, "mm": lowest})[hard.any(axis=1)].groupby(["x", "y"], as_index=False).mean()
    east, north = (np.arange(kept[axis].min(), kept[axis].max(), 5.0) for axis in "xy")
    kriging = OrdinaryKriging(kept["x"], kept["y"], kept["mm"], variogram_model="exponential")
    bottom, _ = kriging.execute("grid", east, north, n_closest_points=None)
    zones = KMeans(4, n_init=10, random_state=1).fit_predict(np.asarray(bottom).reshape(-1, 1)).reshape(bottom.shape)
    place = from_origin(east[0], north[-1], 5.0, 5.0)
    with rasterio.open(
        folder / "zones.tif", "w", driver="GTiff", width=len(east), height=len(north), count=1, dtype="uint8",
        crs="EPSG:32751", transform=place,
    ) as out:  # fmt: skip
        out.write(zones[::-1].astype("uint8"), 1)


def scheduler_seconds(count: int) -> float:
    """Seconds for `count` empty jobs through a scheduler with one worker, both on this machine."""
    with connect(None, 1, Allotment(free_bytes=4e9, threads=1), hardpan.__version__) as runner:
        begun = time.perf_counter()
        done = sum(1 for _ in runner.run(do, (job(str(number)) for number in range(count))))
    if done != count:
        raise RuntimeError(done)
    return time.perf_counter() - begun


class CpuClock(Clock):
    """A clock of stages in processor time."""

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time one stage."""
        begun = time.process_time()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.process_time() - begun


def profile(folder: Path) -> dict[str, float]:
    """Processor seconds of a paddock by stage, after one that loads the libraries."""
    for _ in range(2):
        clock = CpuClock(now=datetime.now(UTC))
        config = read_config(folder / "demo.toml")
        found = run_paddock(config, clock, further=False)
        with clock.stage("outputs"):
            write_outputs(found, config.outputs, folder / "out")
    return clock.seconds


def plan() -> str:
    """What the plans of seasons come to, and how long they take."""
    told = []
    for name, alike in (("3 machines alike", True), ("3 unlike machines", False)):
        gaps = []
        for seed in range(1, SEASONS + 1):
            jobs, rigs, days = large_season(seed, alike=alike)
            begun = time.process_time()
            found = plan_season(jobs, rigs, days)
            gaps.append(found.gap)
            told.append(
                f"season {seed}, {len(jobs)} paddocks, {name}, {len(days)} days: worth {found.worth:,.0f}, "
                f"gap {found.gap:.2%}, simple plan {found.ranked_worth:,.0f}, "
                f"{time.process_time() - begun:.0f} s of processor"
            )
        few = sum(gap <= 0.01 for gap in gaps)
        told.append(f"{name}: gap {min(gaps):.2%} to {max(gaps):.2%}, at most 1 % in {few} of {SEASONS} seasons")
    others = {kind: other_season(kind) for kind in OTHERS}
    others |= {f"ordinary season {seed}": ordinary_season(seed) for seed in range(1, ORDINARY + 1)}
    for kind, season in others.items():
        begun, found = time.process_time(), plan_season(*season)
        told.append(f"{kind}: worth {found.worth:,.0f}, gap {found.gap:.2%}, {time.process_time() - begun:.0f} s")
    return "\n".join(told)


def rates(paddocks: Path, folder: Path, count: int, processes: int) -> None:
    """Print throughput and memory of the whole list with several processes, and of a tenth of it with one."""
    found = {}
    for workers, part in {1: max(1, count // 10), processes: count}.items():
        seconds, peaks = run(write_list(paddocks, part), folder / f"out{workers}", workers)
        found[workers] = part / seconds
        quarter = max(1, part // 4)
        print(
            f"hardpan, {part} paddocks, {workers} processes: {found[workers]:.3f} paddocks/s; memory at most "
            f"{max(peaks):.0f} MB, first quarter {np.median(peaks[:quarter]):.0f}, "
            f"last {np.median(peaks[-quarter:]):.0f} MB",
            flush=True,
        )
    print(f"{processes} processes over one: {found[processes] / found[1]:.2f} x", flush=True)


def main(count: int = 200, processes: int = 2, parts: Sequence[str] = PARTS) -> None:
    """Print what is asked for."""
    print(f"{datetime.now(UTC):%Y-%m-%d}, {os.cpu_count()} processors, {count} paddocks the size of the demo")
    folder = Path(tempfile.mkdtemp(prefix="farm-bench-"))
    try:
        write_paddocks(folder / "in", count)
        if "profile" in parts:
            stages = profile(folder / "in" / "p000")
            told = ", ".join(f"{name} {seconds:.1f}" for name, seconds in stages.items())
            print(f"one paddock, s of processor: {sum(stages.values()):.1f} ({told})")
        if "hardpan" in parts:
            rates(folder / "in", folder, count, processes)
        if "script" in parts:
            begun = time.perf_counter()
            for number in range(count):
                short_script(folder / "in" / f"p{number:03d}")
            print(f"short script, 1 process: {count / (time.perf_counter() - begun):.2f} paddocks/s")
        if "scheduler" in parts:
            seconds = scheduler_seconds(EMPTY)
            print(f"scheduler: {EMPTY} empty jobs in {seconds:.1f} s, {1e3 * seconds / EMPTY:.2f} ms each")
        if "plan" in parts:
            print(plan())
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*map(int, given[:2]), **({"parts": given[2:]} if given[2:] else {}))
