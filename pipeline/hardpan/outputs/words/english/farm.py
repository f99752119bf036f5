"""What is said of many paddocks."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from math import isfinite

from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.ledger import net_of_all
from hardpan.records.past import FarmRun, FarmSeason
from hardpan.records.season import Fate

_LISTED = 3
"""More paddocks than this are counted, not named."""

_LEAST_MONEY = 0.5
"""Less is printed as none."""

LABELS = {
    "head": "The season over",
    "map": "Working depths; paddocks by number",
    "reading": "How to read it",
    "list": "Paddocks by what an hour of the machine returns",
    "list_caption": "Expected returns less costs, with the machine each paddock was worked out with; the range holds "
    "them with 90 % probability.",
    "failed": "Not worked out",
    "failed_caption": "The same command again tries them once more.",
    "leave": "leave unripped",
    "paddock": "Paddock",
    "ripped": "To rip, {area}",
    "net": "Net return, {money}",
    "range": "Range",
    "hours": "Hours",
    "per_hour": "Return per hour, {money}",
    "fuel": "Fuel, {volume}",
    "place": "In the list",
    "reason": "Reason",
    "all": "All",
    "calendar": "The days of the season",
    "calendar_caption": "In the order they are begun. Chance of being finished: share of the years of weather in which "
    "it is ripped, when this order is changed to make the best of the days each of them has.",
    "days": "Day by day: which machine is in which paddock",
    "closed": "not fit, or not allowed",
    "when": "When",
    "machine": "Machine",
    "finished": "Chance",
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


def headline(run: FarmRun, units: Units) -> str:
    """What came of the list, in one sentence."""
    counts = Counter(outcome.status for outcome in run.outcomes)
    told = ", ".join(f"{counts[status]} {words}" for status, words in _STATUS.items() if counts[status])
    paddocks = "paddock" if len(run.outcomes) == 1 else "paddocks"
    if not run.results:
        return f"{len(run.outcomes)} {paddocks}: {told}."
    hours = sum(result.hours for result in run.results.values())
    ripped_ha = sum(result.ripped_ha for result in run.results.values())
    by = "" if run.season is None else " by the machines they were worked out with"
    work = f"in all {units.area(ripped_ha)} to rip in {units.hours(hours)}{by}"
    return f"{len(run.outcomes)} {paddocks}: {told}; {work}{_expected(net_of_all(run.tallies), units)}."


def answer(run: FarmRun, units: Units) -> list[str]:
    """What the grower asks first: the answer of the season where there is one; then what came of the list."""
    return [*([] if run.season is None else _season(run, run.season, units)), headline(run, units)]


def _season(run: FarmRun, season: FarmSeason, units: Units) -> list[str]:
    """Where each machine begins and what is ripped returns, what is left and why, and which machine has no work."""
    plan, fates, names = season.plan, run.fates, run.names
    first = plan.work.drop_duplicates("rig").to_dict("records")
    begin = "; ".join(f"{_day(plan.days[row['day']])} in {names[row['paddock']]} ({row['rig']})" for row in first)
    done = [slug for slug, what in fates.items() if what is Fate.DONE]
    told = "No paddock is ripped on these days."
    if done:
        area = units.area(sum(run.results[slug].ripped_ha for slug in done))
        hours = units.hours(float(plan.work["hours"].sum()))
        many = f"{len(done)} of {len(fates)} paddocks {'is' if len(done) == 1 else 'are'} ripped"
        told = f"Begin {begin}. {many}: {area} in {hours}{_expected(season.returns, units)}."
    left = {
        what: [names[slug] for slug, its in fates.items() if its is what] for what in _FATES if what is not Fate.DONE
    }
    idle = [f"No paddock for {', '.join(season.idle)}."] if done and season.idle else []
    return [told, *(f"{_some(its)} {fate(what)}." for what, its in left.items() if its), *idle]


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


def per_hour(net: float, units: Units) -> str:
    """Why a paddock is ripped when it is."""
    return f"returns {_money(net, units)} an hour"


def span_of_days(first: date, last: date) -> str:
    """First and last day in words.

    >>> span_of_days(date(2027, 3, 1), date(2027, 3, 4))
    '1 to 4 Mar'
    """
    if first == last:
        return _day(last)
    begin = f"{first.day}" if (first.year, first.month) == (last.year, last.month) else _day(first)
    return f"{begin} to {_day(last)}"


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


def season_says(season: FarmSeason, names: Mapping[str, str], units: Units) -> list[str]:
    """What the plan of the season is worth beside the simple one, and what it rests on."""
    plan = season.plan
    waiting = float(plan.jobs["waiting"].sum())
    waits = f", {_money(waiting, units)} for waiting taken off" if waiting >= _LEAST_MONEY else ""
    gap = units.quantity(100.0 * plan.gap, 1, "%")
    told = [f"The plan is worth {_money(plan.worth, units)}{waits}, within {gap} of the best there can be."]
    if isfinite(plan.ranked_worth):
        told[-1] += f" Going by return per hour alone is worth {_money(plan.ranked_worth, units)}."
    if season.planned_with is not None:
        told.append(
            f"It counts on the fit days of {season.planned_with}: {units.share(season.sure)} of the years have as many "
            "or more."
        )
    if season.stress is not None:
        shares = season.stress.jobs[season.stress.jobs["done_share"] < 1.0].head(_LISTED)
        first = ", ".join(
            f"{names[row['paddock']]} ({units.share(row['done_share'])})" for row in shares.to_dict("records")
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


def _expected(returns: Iterable[float], units: Units) -> str:
    """Net return with its range, "" where it is not known."""
    amount, low, high = returns
    if not isfinite(amount):
        return ""
    span = f" (likely range {units.figure(low, 0)} to {units.figure(high, 0)})" if isfinite(low) else ""
    return f", expected to return {_money(amount, units)}{span}"


def _some(names: Sequence[str]) -> str:
    """The first of some names, how many more there are, and the verb."""
    more = [f"{len(names) - _LISTED} more"] if len(names) > _LISTED else []
    told = ", ".join(names[:_LISTED])
    return f"{' and '.join([told, *more])} {'is' if len(names) == 1 else 'are'}"


def _money(amount: float, units: Units) -> str:
    return units.quantity(amount, 0, units.currency)


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


def _duration(seconds: float) -> str:
    if seconds < 60.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
