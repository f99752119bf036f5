"""A large season, invented: paddocks on four soils that dry at different speeds after each rain."""

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
