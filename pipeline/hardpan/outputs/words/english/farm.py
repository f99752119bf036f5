"""What is said of many paddocks."""

from collections import Counter
from math import isfinite

from hardpan.outputs.words.units import MISSING
from hardpan.records.across import FarmRun
from hardpan.records.farm import Job, Outcome, Status
from hardpan.records.totals import ALL_PADDOCKS

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
