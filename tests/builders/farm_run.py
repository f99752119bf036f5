"""A list of five paddocks worked through and its season, made by hand: four could be ripped, three are."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from builders.farm import job
from hardpan.farm.stage import combine_totals
from hardpan.records.farm import Outcome, Status
from hardpan.records.ledger import NET_RETURN, Total, Totals
from hardpan.records.past import FarmRun, FarmSeason, PaddockResult
from hardpan.records.season import Job, Rig
from hardpan.season.planning import plan_season

DAYS = [date(2027, 4, 26) + timedelta(days=number) for number in range(12)]
CLOSED = {"bore": (0, 1, 5), "hill": (3, 4, 5, 11), "shed": (), "creek": range(12)}
RIGS = ("own ripper", "contractor")
FLAT = "flat"
"""The paddock in which no zone is ripped."""


def farm_run(outputs: Mapping[str, object] | None = None) -> FarmRun:
    """The list, its paddocks told in the units that `outputs` asks for."""
    slugs = (*CLOSED, FLAT)
    results = {slug: _result(slug, place, outputs or {}) for place, slug in enumerate(slugs)}
    jobs = tuple(replace(job(f"The {slug} paddock"), folder=Path(slug)) for slug in slugs)
    return FarmRun(
        file=Path("farm.toml"), digest="", jobs=jobs,
        outcomes=tuple(Outcome(slug=slug, status=Status.DONE) for slug in slugs), results=results,
        tallies=combine_totals({slug: result.totals for slug, result in results.items()}),
        must=dict.fromkeys(slugs, False), season=season(), fault="", version="", started="",
    )  # fmt: skip


def season() -> FarmSeason:
    """The days of the list."""
    jobs = [
        Job(
            paddock=slug, hours=dict.fromkeys(RIGS, 14.0), net=dict.fromkeys(RIGS, 1_000.0), x_m=5_000.0 * place,
            fit=~np.isin(np.arange(12), shut),
        )
        for place, (slug, shut) in enumerate(CLOSED.items())
    ]  # fmt: skip
    rigs = [Rig(name=name, hours=np.full(12, 10.0), fold_h=0.5) for name in RIGS]
    return FarmSeason(
        plan=plan_season(jobs, rigs, DAYS), stress=None, open_days={job.paddock: job.open_days for job in jobs},
        returns=(3_000.0, -500.0, 6_000.0),
    )  # fmt: skip


def _result(slug: str, place: int, outputs: Mapping[str, object]) -> PaddockResult:
    ripped = slug != FLAT
    depth_mm, hours, net = (400.0, 14.0, 1_000.0) if ripped else (0.0, 0.0, 0.0)
    west_m = 500_000.0 + 5_000.0 * place
    zones = {
        "zone": [1], "kind": ["ground"], "soil_type": ["deep sand"], "setup": ["plain"], "depth_mm": [depth_mm],
        "spacing_mm": [600.0], "speed_kmh": [6.0], "area_ha": [25.0], "hours": [hours], "fuel_l": [500.0],
        "again_low": [2.0], "again_high": [4.0], "again_mm": [400.0],
    }  # fmt: skip
    draws = np.linspace(-500.0, 500.0, 50)
    net_total = Total(
        quantity=25.0, unit="ha", amount=net, low=500.0, high=1_500.0, shared=net + draws, own=0.0 * draws
    )
    square = shapely.box(west_m, 6.6e6, west_m + 500.0, 6.6e6 + 500.0)
    return PaddockResult(
        name=slug, zones=gpd.GeoDataFrame(zones, geometry=[square], crs=32751),
        ripped_ha=25.0 if ripped else 0.0, net=net, hours=hours, litres=500.0 if ripped else 0.0, plan_number="",
        totals=Totals(items={NET_RETURN: net_total} if ripped else {}, currency="AUD", seed=1), outputs=outputs,
    )  # fmt: skip
