"""A large season, invented: paddocks on four soils that dry at different speeds after each rain."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from hardpan.records.season import Job, Rig

DRIES_DAYS = (1, 2, 3, 5)
"""Days after rain from which each soil is fit."""


def large_season(
    seed: int = 2, *, paddocks: int = 60, machines: int = 3, n_days: int = 40, alike: bool = True
) -> tuple[list[Job], list[Rig], list[date]]:
    """Paddocks of 15 to 90 ha within 12 km, machines of 1.5 to 3.5 ha an hour, every seventh day off."""
    chance = np.random.default_rng(seed)
    hours = np.where(np.arange(n_days) % 7 == 6, 0.0, 10.0)
    rigs = [Rig(name=f"rig {number}", hours=hours, fold_h=0.25, road_kmh=25.0) for number in range(machines)]
    rate = np.full(machines, 2.5) if alike else chance.uniform(1.5, 3.5, machines)
    rain = np.flatnonzero(chance.random(n_days) < 0.15)
    since = np.array([min((day - wet for wet in rain if wet <= day), default=99) for day in range(n_days)])
    jobs = []
    for number in range(paddocks):
        ha = chance.uniform(15.0, 90.0)
        net, soil = ha * chance.uniform(-5.0, 90.0), chance.integers(len(DRIES_DAYS))
        jobs.append(
            Job(
                paddock=f"paddock {number}",
                hours={rig.name: ha / speed for rig, speed in zip(rigs, rate, strict=True)},
                net={rig.name: net - (0.0 if alike else ha * chance.uniform(0.0, 10.0)) for rig in rigs},
                fit=since >= DRIES_DAYS[soil],
                waiting_per_day=max(net, 0.0) * chance.uniform(0.0, 0.01),
                x_m=chance.uniform(0.0, 12_000.0),
                y_m=chance.uniform(0.0, 12_000.0),
            )
        )
    first = date(2027, 5, 10)
    return jobs, rigs, [first + timedelta(days=day) for day in range(n_days)]


def ordinary_season(seed: int) -> tuple[list[Job], list[Rig], list[date]]:
    """8 to 39 paddocks of 20 to at most 300 ha, one machine or two, 20 to 44 days: few paddocks fill a season."""
    chance = np.random.default_rng(seed)
    paddocks, machines, n_days = int(chance.integers(8, 40)), int(chance.integers(1, 3)), int(chance.integers(20, 45))
    alike = bool(chance.integers(2))
    jobs, rigs, days = large_season(seed, paddocks=paddocks, machines=machines, n_days=n_days, alike=alike)
    largest_ha = chance.uniform(80.0, 300.0)
    for number, job in enumerate(jobs):
        times = chance.uniform(20.0, largest_ha) / (2.5 * job.hours["rig 0"])
        jobs[number] = replace(
            job, hours={rig: times * h for rig, h in job.hours.items()}, waiting_per_day=times * job.waiting_per_day,
            net={rig: times * money for rig, money in job.net.items()},
        )  # fmt: skip
    return jobs, rigs, days


def other_season(kind: str) -> tuple[list[Job], list[Rig], list[date]]:
    """A large season of another kind, by its name in `OTHERS`."""
    jobs, rigs, days = large_season(100, alike=True)
    chance = np.random.default_rng(100 + list(OTHERS).index(kind))
    for number, (job, one) in enumerate(zip(list(jobs), OTHERS[kind](chance, len(jobs)), strict=True)):
        ha, net = one.get("ha", 2.5 * job.hours["rig 0"]), one.get("net", job.net["rig 0"])
        rates = one.get("ha_per_h", (2.5, 2.5, 2.5))
        jobs[number] = replace(
            job, hours={rig.name: ha / rate for rig, rate in zip(rigs, rates, strict=True)},
            net={rig.name: net for rig in rigs}, must=one.get("must", False), fit=one.get("fit", job.fit),
            waiting_per_day=0.005 * max(net, 0.0), x_m=one.get("x_m", job.x_m), y_m=one.get("y_m", job.y_m),
        )  # fmt: skip
    if kind == "a contractor with ten days":
        rigs[2] = replace(rigs[2], hours=np.where(np.arange(len(days)) < 10, rigs[2].hours, 0.0))
    return jobs, rigs, days


def _two_clusters(chance, n):
    return [{"x_m": chance.uniform(0, 5e3) + 60e3 * (at % 2), "y_m": chance.uniform(0, 5e3)} for at in range(n)]


def _areas(chance, n, low, high):
    return [{"ha": (ha := chance.uniform(low, high)), "net": ha * chance.uniform(5.0, 90.0)} for _ in range(n)]


def _wet(chance, n, days):
    rain = chance.random(days) < 0.3
    soils = [np.convolve(rain, np.ones(dry))[:days] == 0 for dry in DRIES_DAYS]
    return [{"fit": soils[chance.integers(len(soils))]} for _ in range(n)]


OTHERS = {
    "two clusters 60 km apart": _two_clusters,
    "a strip of 80 km": lambda chance, n: [{"x_m": chance.uniform(0, 80e3), "y_m": 0.0} for _ in range(n)],
    "paddocks of 2 to 8 ha": lambda chance, n: _areas(chance, n, 2.0, 8.0),
    "paddocks of 15 to 300 ha": lambda chance, n: _areas(chance, n, 15.0, 300.0),
    "machines of 1, 2.5 and 5 ha/h": lambda _, n: [{"ha_per_h": (1.0, 2.5, 5.0)}] * n,
    "a contractor with ten days": lambda _, n: [{}] * n,
    "rain on three days of ten": lambda chance, n: _wet(chance, n, 40),
    "all worth the same": lambda _, n: [{"net": 2000.0}] * n,
    "six that must be ripped": lambda _, n: [{"must": at < 6} for at in range(n)],
    "paddocks of 250 to 350 ha": lambda chance, n: _areas(chance, n, 250.0, 350.0),
}
"""What is unlike in them: changes of each paddock, by kind."""
