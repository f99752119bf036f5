"""The plan of the season as a table: what is ripped on which day, and what is left and why."""

import pandas as pd

from hardpan.outputs.pages import Table
from hardpan.outputs.words.english import farm as words
from hardpan.outputs.words.units import MISSING
from hardpan.records.across import FarmRun, FarmSeason
from hardpan.records.season import Fate

COLUMNS = ("day", "machine", "paddock", "hours", "why", "chance")
"""Columns of season.csv; `chance` is that of finishing the paddock, by years of weather."""


def season_table(run: FarmRun, season: FarmSeason) -> pd.DataFrame:
    """One row a day, machine and paddock in working order, then one without a day for each paddock that is left."""
    plan, chance = season.plan, _chances(season)
    rows = [
        (
            plan.days[int(row["day"])].isoformat(),
            row["rig"],
            row["paddock"],
            row["hours"],
            _why(run, row["paddock"]),
            chance.get(row["paddock"]),
        )
        for row in plan.work.to_dict("records")
    ]
    fates = {str(row["paddock"]): Fate(row["fate"]) for row in plan.jobs.to_dict("records")}
    left = {slug: fates.get(slug, Fate.NO_GAIN) for slug in run.results if fates.get(slug) is not Fate.DONE}
    rows += [("", "", slug, 0.0, words.fate(fate), chance.get(slug)) for slug, fate in left.items()]
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _chances(season: FarmSeason) -> dict[str, float]:
    """Share of the years in which each paddock is finished; none where no years are known."""
    if season.stress is None:
        return {}
    return {str(row["paddock"]): float(row["done_share"]) for row in season.stress.jobs.to_dict("records")}


def _why(run: FarmRun, slug: str) -> str:
    return words.must() if run.must[slug] else words.per_hour(run.results[slug].net_per_hour)


def calendar(run: FarmRun, season: FarmSeason) -> Table:
    """One row a paddock in the order they are begun: when, with what, how often it is finished in other years."""
    plan, shares = season.plan, _chances(season)
    order = plan.jobs.assign(begun=plan.jobs["first_day"].where(plan.jobs["first_day"] >= 0, len(plan.days)))
    rows = []
    for row in order.sort_values("begun", kind="stable").to_dict("records"):
        slug, fate = str(row["paddock"]), Fate(row["fate"])
        share = f"{shares[slug]:.0%}" if slug in shares else MISSING
        cells = [words.fate(fate), MISSING, MISSING]
        if fate is Fate.DONE:
            begun, done = (plan.days[int(row[name])] for name in ("first_day", "last_day"))
            cells = [words.span_of_days(begun, done), str(row["rig"]), f"{row['hours']:.1f}"]
        rows.append([run.results[slug].name, *cells, share])
    keys = ("paddock", "when", "machine", "hours", "finished")
    return Table([words.label(key) for key in keys], rows)
