"""Rules on readings in kPa and mm: order, repeats, drift, implausible values, the device's limit, errors of means."""

from dataclasses import replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, depth, percent, strength
from hardpan.records.issues import Issue, Issues
from hardpan.survey.columns import LEAST_INSERTIONS, ProbeReadings, Spread
from hardpan.survey.notes import counted, listed, warned
from hardpan.survey.settings import ProbeSettings

MOST_IMPLAUSIBLE = 0.25
"""Share of implausible readings beyond which the unit is wrong, not the readings."""
MOST_INSERTIONS, MOST_OF_INSERTION = 0.5, 0.1
"""Share of insertions, each with a larger share of implausible readings, beyond which it is the unit or the sign: a pan
that is always left out would make soft ground of hard."""
LIMIT_SHARE, LIMIT_INSERTIONS, LIMIT_BAND, LIMIT_STEPS = 0.05, 6, 0.95, 3
"""The highest value is taken as the device's limit where it recurs in this share and number of insertions (half of it
where each holds it twice), and more often than all values within the band below, which is at least so many steps of the
display wide: soil does not repeat to the digit, and its peaks grow rarer upward."""


def join_fixes(readings: ProbeReadings, spread_m: float) -> tuple[ProbeReadings, Issues]:
    """Readings in which an insertion whose position was logged anew with every reading is one insertion.

    Parts of one site, insertion, date and file within `spread_m` are joined at their mean position where they have no
    depth in common.
    """
    table = readings.insertions
    keys = ["site", "insertion", "date", "file"]
    group = table.groupby(keys, sort=False).ngroup().to_numpy()
    if group.max(initial=0) + 1 == len(table) or (table["site"] == "").all():
        return readings, ()
    places = table.groupby(group)[["x_m", "y_m"]]
    reach = (places.max() - places.min()).to_numpy()
    near = np.hypot(reach[:, 0], reach[:, 1]) <= spread_m
    depths = pd.DataFrame({"group": group[readings.code], "depth": readings.depth_mm})
    shared = np.zeros(len(near), dtype=bool)
    shared[depths["group"][depths.duplicated()].unique()] = True
    several = np.bincount(group) > 1
    join = (near & ~shared & several)[group]
    if not join.any():
        return readings, ()
    target = np.where(join, group, len(near) + np.arange(len(table)))
    code, first = np.unique(target, return_inverse=True)[1], np.unique(target, return_index=True)[1]
    mean = table.groupby(code)[["x_m", "y_m"]].mean()
    merged = table.iloc[first].reset_index(drop=True).assign(x_m=mean["x_m"].to_numpy(), y_m=mean["y_m"].to_numpy())
    issue = warned(
        "several-fixes",
        f"the position changes within {counted(int((near & ~shared & several).sum()), 'insertion')}",
        "their mean position is used",
        file=", ".join(sorted(set(table["file"][join]))),
        place=f"site {listed(list(dict.fromkeys(table['site'][join])))}",
    )
    return replace(readings, insertions=merged, code=code[readings.code].astype(np.int64)), (issue,)


def order(readings: ProbeReadings) -> tuple[ProbeReadings, Issues]:
    """Readings sorted by insertion and depth, each depth once: exact repeats dropped, others averaged.

    Raises
    ------
    AmbiguousInputError
        Every depth of an insertion comes equally often, so several insertions carry one name.
    """
    code, depth = readings.code, readings.depth_mm
    same, step = np.diff(code) == 0, np.diff(depth)
    if ((np.diff(code) > 0) | (same & (step > 0))).all():
        return readings, ()
    issues: list[Issue] = []
    back = np.append(False, same & (step < 0))
    if back.any():
        count = len(np.unique(code[back]))
        issues.append(
            readings.told("depth-order", back, f"above the one before, in {counted(count, 'insertion')}", "sorted")
        )
    by_depth = readings.take(np.lexsort((readings.row, readings.kpa, depth, code)))
    first = np.append(True, (np.diff(by_depth.code) != 0) | (np.diff(by_depth.depth_mm) != 0))
    if first.all():
        return by_depth, tuple(issues)
    again = ~first & np.append(False, by_depth.kpa[1:] == by_depth.kpa[:-1])
    other = ~first & ~again & ~np.isnan(by_depth.kpa)
    if again.any():
        issues.append(by_depth.told("repeated-rows", again, "the same as another", "dropped once"))
    if other.any():
        _ask_for_replicates(by_depth.take(~again))
        what = "at a depth met before, with another value"
        issues.append(by_depth.told("repeated-depth", other, what, "the mean is used"))
    return _averaged(by_depth, first, again), tuple(issues)


def _ask_for_replicates(readings: ProbeReadings) -> None:
    repeats = pd.Series(readings.depth_mm).groupby([readings.code, readings.depth_mm]).size()
    each = repeats.groupby(level=0).agg(["min", "max", "size"])
    whole = each[(each["min"] == each["max"]) & (each["min"] > 1) & (each["size"] >= 3)]
    if len(whole):
        table = readings.insertions.iloc[whole.index]
        raise AmbiguousInputError(
            what=f"{counted(len(whole), 'site')} have every depth {whole['min'].iloc[0]} times with other values: "
            "several insertions under one name",
            where=f"{table['file'].iloc[0]} site {listed(list(table['site']))}",
            do="name the column that tells them apart in probes.columns.insertion",
        )


def _averaged(readings: ProbeReadings, first: Bools, again: Bools) -> ProbeReadings:
    group, at = np.cumsum(first) - 1, np.flatnonzero(first)

    def mean(values: Floats) -> Floats:
        return np.asarray(pd.Series(np.where(again, np.nan, values)).groupby(group).mean(), dtype=np.float64)

    return replace(
        readings.take(at),
        kpa=mean(readings.kpa),
        theta=mean(readings.theta),
        se_kpa=mean(readings.se_kpa),
        at_least=np.logical_or.reduceat(readings.at_least, at),
    )


def judge(readings: ProbeReadings, settings: ProbeSettings) -> tuple[ProbeReadings, Issues]:
    """Sorted readings with drift at zero, implausible values and spikes missing, and the device's limit marked.

    Raises
    ------
    InputError
        Too many readings are implausible.
    """
    kpa, drift_kpa, plausible_kpa = readings.kpa, settings.zero_drift_kpa, settings.plausible_kpa
    drift, below, above = (kpa < 0) & (kpa >= -drift_kpa), kpa < -drift_kpa, kpa > plausible_kpa
    _refuse_implausible(readings, below | above, plausible_kpa)
    kpa = np.where(drift, 0.0, np.where(below | above, np.nan, kpa))
    spike = _spikes(readings, kpa, settings)
    kpa = np.where(spike, np.nan, kpa)
    limit_kpa = _limits(readings, kpa, settings)[readings.code]
    at_limit = kpa >= limit_kpa * (1 - 1e-9)
    held, repeats = _held(readings, kpa, settings)
    said = [
        (
            "zero-drift",
            drift,
            Said("below zero by up to {limit}", limit=strength(drift_kpa, None)),
            "set to zero: drift of the load cell",
        ),
        ("negative", below, Said("below -{limit}", limit=strength(drift_kpa, None)), "taken as missing"),
        ("implausible", above, Said("above {limit}", limit=strength(plausible_kpa, None)), "taken as missing"),
        ("spike", spike, "far above both neighbours", "taken as missing: a stone or a knock"),
        *(
            (
                "device-limit",
                at_limit & (limit_kpa == one),
                Said("at the device's limit of {limit}", limit=strength(one, None)),
                "taken as at least so much",
            )
            for one in np.unique(limit_kpa[at_limit]).tolist()
        ),
        (
            "held-reading",
            held,
            Said(_HELD, depth=depth(settings.held_mm, None)),
            "kept with the error of not knowing: only the first reading of a run was measured",
        ),
    ]
    issues = tuple(readings.told(code, hit, what, done) for code, hit, what, done in said if hit.any())
    marked = (readings.at_least | at_limit) & np.isfinite(kpa)
    # a limit repeats its value for a reason of its own
    return replace(readings, kpa=kpa, at_least=marked, held=repeats & ~marked), issues


def _refuse_implausible(readings: ProbeReadings, hit: Bools, plausible_kpa: float) -> None:
    """Refuse where a large part of the readings, or several of most insertions, are implausible."""
    each = pd.Series(hit).groupby(readings.code).mean() > MOST_OF_INSERTION
    share = hit.mean()
    if share > MOST_IMPLAUSIBLE or (each.mean() > MOST_INSERTIONS and each.sum() >= LEAST_INSERTIONS):
        raise InputError(
            what=f"{percent(share)} of the readings, in {percent(each.mean())} of the insertions more than"
            f" {percent(MOST_OF_INSERTION)} of them, are negative or exceed {plausible_kpa:g} kPa",
            where=", ".join(sorted(set(readings.insertions["file"]))),
            do="check probes.resistance_unit and the header, or set probes.plausible_kpa and probes.zero_drift_kpa",
        )


_HELD = "in runs of one value over {depth} or more: a sensor that stuck or a logger that keeps its last value"


def _spikes(readings: ProbeReadings, kpa: Floats, settings: ProbeSettings) -> Bools:
    """Which point readings stand alone above both neighbours; the last of an insertion has only one."""
    hit = np.zeros(len(kpa), dtype=bool)
    code, depth_mm = readings.code, readings.depth_mm
    inside = (code[2:] == code[:-2]) & (depth_mm[2:] - depth_mm[:-2] <= 2 * settings.spike_step_mm)
    inside &= (readings.thickness_mm[1:-1] == 0) & (kpa[2:] > 0)
    beside = np.fmax(kpa[:-2], kpa[2:])
    hit[1:-1] = inside & (kpa[1:-1] > settings.spike_ratio * beside) & (kpa[1:-1] - beside > settings.spike_kpa)
    return hit


def _limits(readings: ProbeReadings, kpa: Floats, settings: ProbeSettings) -> Floats:
    """The device's limit at each insertion, shape (insertion,), infinite without one.

    As stated, else of the file and device, else of all.
    """
    table = readings.insertions.reset_index(drop=True)
    limit = np.full(len(table), _limit(kpa, readings.code) or np.inf)
    groups = table.groupby(["file", "device"]).indices
    for rows in groups.values():
        own = settings.stated("device_limit_kpa", (table["device"][rows[0]], table["file"][rows[0]]))
        if own is None and len(groups) > 1:
            here = np.isin(readings.code, rows)
            own = _limit(kpa[here], readings.code[here])
        limit[rows] = limit[rows] if own is None else own
    return limit


def _limit(kpa: Floats, code: Ints) -> float | None:
    """The highest value where it piles up as at a device's limit; repeats of an insertion count once."""
    top = float(np.nanmax(kpa, initial=0.0))
    steps = np.diff(np.unique(kpa[np.isfinite(kpa)]))
    step = float(steps[steps > 1e-6 * top].min(initial=top))
    at_top = kpa == top
    near_top = (kpa < top) & (kpa > min(LIMIT_BAND * top, top - (LIMIT_STEPS + 0.5) * step))
    holders = np.unique(code[at_top])
    starts, ends = np.searchsorted(code, holders), np.searchsorted(code, holders, side="right")
    insertions = len({kpa[start:end].tobytes() for start, end in zip(starts, ends, strict=True)})
    count = int(at_top.sum()) * insertions // max(len(holders), 1)
    need = LIMIT_INSERTIONS / 2 if count >= 2 * insertions else LIMIT_INSERTIONS
    piled = insertions >= max(need, LIMIT_SHARE * len(np.unique(code)))
    return top if top > 0 and piled and count > near_top.sum() else None


def _held(readings: ProbeReadings, kpa: Floats, settings: ProbeSettings) -> tuple[Bools, Bools]:
    """Which readings belong to a run of one value, longer than soil gives, and which of them repeat its first."""
    new = np.append(True, (np.diff(readings.code) != 0) | ~(kpa[1:] == kpa[:-1]))
    run = np.cumsum(new) - 1
    start, end = np.flatnonzero(new), np.append(np.flatnonzero(new)[1:], len(kpa)) - 1
    long = readings.depth_mm[end] - readings.depth_mm[start] >= settings.held_mm
    held: Bools = (long & (end - start >= settings.stuck_readings))[run] & (kpa > 0)
    return held, held & ~new


def standard_errors(
    spread: Floats, count: Floats | None, kpa: Floats, of: Spread, file: str
) -> tuple[Floats, tuple[Issue, ...]]:
    """Standard errors (kPa) of readings that are means, NaN where none is known, shape (n,).

    A standard deviation between k insertions is over the root of k the standard error of their mean. One of zero would
    make a mean certain and is taken as not stated.

    Parameters
    ----------
    spread : Floats
        Standard errors or deviations, kPa, shape (n,).
    count : Floats or None
        Insertions that each reading is the mean of, shape (n,).
    kpa : Floats
        The readings, shape (n,).
    of : Spread
        What `spread` is.
    file : str
        The file.

    Raises
    ------
    AmbiguousInputError
        Nobody says how many insertions the deviations are of.
    InputError
        They are as large as the readings.
    """
    if of.kind == "sd":
        if count is None:
            raise AmbiguousInputError(
                what=f"the standard deviations in {of.name!r} stand beside no number of insertions",
                where=file,
                do="add a column with the number each mean is of and name it in probes.columns.n, or give standard "
                "errors",
            )
        spread = spread / np.sqrt(np.where(count > 0, count, np.nan))
    known = spread > 0
    if not known.any():
        return np.full(len(kpa), np.nan), ()
    both = known & (kpa > 0)
    if both.any() and np.median(spread[both] / kpa[both]) > 1.0:
        raise InputError(
            what=f"the standard errors in {of.name!r} are larger than the readings"
            f" ({np.median(spread[both]):.4g} kPa on the median)",
            where=file,
            right="those of the means, in the unit that their header states or that of the readings",
            do="check that column and the unit in its header",
        )
    zero = spread == 0
    done = "taken as the readings' error in place of pan.noise_share and of chance between insertions"
    issues = [warned("site-means", f"{counted(int(known.sum()), 'reading')} with a standard error", done, file=file)]
    if zero.any():
        what = f"{counted(int(zero.sum()), 'standard error')} of 0"
        issues.append(warned("zero-error", what, "taken as not stated: no mean is certain", file=file))
    return np.where(known, spread, np.nan), tuple(issues)
