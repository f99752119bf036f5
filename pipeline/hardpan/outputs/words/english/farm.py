"""What is said of many paddocks."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date
from math import isfinite

from hardpan.core.said import percent
from hardpan.outputs.words.units import MISSING
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.ledger import ALL_PADDOCKS
from hardpan.records.past import FarmRun, FarmSeason
from hardpan.records.season import Fate, SeasonPlan

_FIRST_DROPPED = 3

LABELS = {
    "head": "The season over",
    "map": "Working depths; numbers as in the list",
    "reading": "How to read it",
    "list": "Paddocks by what an hour of the machine returns",
    "list_caption": "Expected returns less costs; the range holds them with 90 % probability.",
    "failed": "Not worked out",
    "failed_caption": "The same command again tries them once more.",
    "leave": "leave unripped",
    "number": "No.",
    "paddock": "Paddock",
    "ripped": "To rip, {area}",
    "net": "Net return, {money}",
    "range": "Range",
    "hours": "Hours",
    "per_hour": "Return per hour, {money}",
    "fuel": "Fuel, L",
    "place": "In the list",
    "reason": "Reason",
    "all": "All",
    "calendar": "The days of the season",
    "calendar_caption": "In the order they are begun. Chance of finishing: share of the years of weather in which it "
    "is ripped, when this order is changed to make the best of the days each of them has.",
    "days": "Day by day: which machine is in which paddock",
    "closed": "not fit, or not allowed",
    "when": "When",
    "machine": "Machine",
    "finished": "Chance of finishing",
    "years": "The years after",
    "years_caption": "When the zones that are ripped come again, and how deep then; each report says why.",
    "zones": "Zones",
    "area": "Area, {area}",
    "after": "After, seasons",
    "depth_then": "Depth then",
}
"""Labels, captions and headings of the page."""

_STATUS = {Status.DONE: "worked out", Status.KEPT: "kept", Status.FAILED: "failed", Status.ASKED: "to work out"}


def progress(done: int, of: int, left_s: float | None) -> str:
    """How far a list is.

    >>> progress(3, 9, 90.0), progress(9, 9, 0.0)
    ('3 of 9 paddocks, 2 min left', '9 of 9 paddocks')
    """
    return f"{done} of {of} paddocks" + (f", {_duration(left_s)} left" if left_s else "")


def headline(run: FarmRun) -> str:
    """What came of the list, in one sentence."""
    counts = Counter(outcome.status for outcome in run.outcomes)
    told = ", ".join(f"{counts[status]} {words}" for status, words in _STATUS.items() if counts[status])
    paddocks = "paddock" if len(run.outcomes) == 1 else "paddocks"
    if not run.results:
        return f"{len(run.outcomes)} {paddocks}: {told}."
    hours = sum(result.hours for result in run.results.values())
    ripped_ha = sum(result.ripped_ha for result in run.results.values())
    return f"{len(run.outcomes)} {paddocks}: {told}; {ripped_ha:.1f} ha to rip in {hours:.1f} h{_net(run)}."


def label(key: str, **parts: object) -> str:
    """A label, caption or heading of the page."""
    return LABELS[key].format(**parts)


def doubts(*, ranged: bool, priced: bool) -> list[str]:
    """How the sums are to be read: whether they have a range, and whether there is any sum of money."""
    told = ["A paddock that returns most in all need not be the first: days are short, so the list goes by the hour."]
    if not priced:
        return [*told, "The paddocks are priced in different currencies, so no money is added up."]
    if not ranged:
        return [
            *told,
            "The sums have no range: paddocks were run with different seeds or numbers of draws. Give paddock.seed and "
            "surfaces.draws in [defaults].",
        ]
    return [
        *told,
        "In the range of a sum all paddocks meet the same prices and the same response of the crop, and each its own "
        "readings: what one paddock gains by chance another may lose, but a poor price is poor for all.",
    ]


_FATES = {
    Fate.DONE: "ripped",
    Fate.NO_GAIN: "left: ripping costs more than it returns",
    Fate.NEVER_FIT: "left: too few days on which it is fit and allowed",
    Fate.DROPPED: "left: other paddocks make more of the days there are",
}


def fate(what: Fate) -> str:
    """What becomes of a paddock."""
    return _FATES[what]


def must() -> str:
    """Why a paddock is ripped that has to be."""
    return "must be ripped"


def per_hour(net: float) -> str:
    """Why a paddock is ripped when it is."""
    return f"returns {net:,.0f} an hour"


def span_of_days(first: date, last: date) -> str:
    """First and last day in words.

    >>> span_of_days(date(2027, 3, 1), date(2027, 3, 4))
    '1 Mar to 4 Mar'
    """
    days = (first,) if first == last else (first, last)
    return " to ".join(f"{day.day} {day:%b}" for day in days)


def numbers(zones: Iterable[int]) -> str:
    """Numbers of zones.

    >>> numbers([2, 5])
    '2, 5'
    """
    return ", ".join(f"{zone:.0f}" for zone in zones)


def seasons(low: float, high: float) -> str:
    """So many seasons, or from so many to so many.

    >>> seasons(2.0, 4.0), seasons(3.0, 3.0)
    ('2 to 4', '3')
    """
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def season_says(season: FarmSeason, names: Mapping[str, str], currency: str) -> list[str]:
    """Where each machine begins, what the plan of the season is worth beside the simple one, and what it rests on."""
    plan = season.plan
    worth = f"The plan is worth {plan.worth:,.0f} {currency}".rstrip()
    told = [_begin(plan, names), f"{worth}, within {percent(plan.gap, 1)} of the best there can be."]
    if isfinite(plan.ranked_worth):
        told[-1] += f" Going by return per hour alone is worth {plan.ranked_worth:,.0f}."
    if season.planned_with is not None:
        told.append(
            f"It counts on the fit days of {season.planned_with}: {percent(season.sure)} of the years have as many or"
            " more."
        )
    if season.stress is not None:
        shares = season.stress.jobs[season.stress.jobs["done_share"] < 1.0].head(_FIRST_DROPPED)
        first = ", ".join(
            f"{names[row['paddock']]} ({percent(row['done_share'])})" for row in shares.to_dict("records")
        )
        told.append(
            f"Dropped first in years with fewer fit days: {first}; in brackets their chance."
            if first
            else f"All are finished in each of {season.stress.years['year'].nunique()} years."
        )
    if len(season.unknown):
        few = f" of {', '.join(names[slug] for slug in season.unknown)}" if len(season.unknown) < len(plan.jobs) else ""
        told.append(
            f"The fit days{few} are not known (plan.fit, or season.weather and season.dry_on of the paddock): every "
            "day counts as fit, which no season is."
        )
    return told


def _begin(plan: SeasonPlan, names: Mapping[str, str]) -> str:
    """Where each machine begins, and what is left."""
    first = plan.work.drop_duplicates("rig").to_dict("records")
    if not first:
        return "No paddock is ripped on these days; the table says why."
    told = [f"{span_of_days(*[plan.days[row['day']]] * 2)} in {names[row['paddock']]} ({row['rig']})" for row in first]
    left = int((plan.jobs["fate"] != Fate.DONE).sum())
    rest = f" Of {len(plan.jobs)} paddocks {left} are left; the end of the table says why." if left else ""
    return f"Begin {'; '.join(told)}.{rest}"


def failure(job: Job, outcome: Outcome) -> str:
    """Line of a paddock that failed: its place in the list, its folder, the reason."""
    return f"{job.place}: {outcome.slug} failed: {outcome.reason}"


def memory_table(run: FarmRun) -> tuple[list[str], list[list[str]]]:
    """Columns and rows of a dry run: what would be done, and the memory it would take."""
    rows = [
        [
            outcome.slug,
            _STATUS[outcome.status],
            MISSING if outcome.projected_bytes is None else f"{outcome.projected_bytes / 1e9:.1f} GB",
        ]
        for outcome in run.outcomes
    ]
    return ["paddock", "would be", "memory at most"], rows


def _net(run: FarmRun) -> str:
    """Net return of all paddocks with its range, "" where it cannot be added up."""
    rows = run.tallies[(run.tallies["paddock"] == ALL_PADDOCKS) & (run.tallies["item"] == "net return")]
    row = {name: float(rows[name].iloc[0]) if len(rows) else float("nan") for name in ("amount", "low", "high")}
    if not isfinite(row["amount"]):
        return ""
    currency = next(iter(run.results.values())).totals.currency
    span = f" ({row['low']:,.0f} to {row['high']:,.0f})" if isfinite(row["low"]) else ""
    return f", expected to return {row['amount']:,.0f} {currency}{span}"


def _duration(seconds: float) -> str:
    if seconds < 60.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
