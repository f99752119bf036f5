"""Checked readings to profiles: where each insertion ends and why, which are usable, which share a site."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.core.said import Said, depth
from hardpan.records.issues import Issue
from hardpan.records.survey import Profiles, Stop
from hardpan.survey.columns import LEAST_INSERTIONS, ProbeReadings
from hardpan.survey.notes import counted, listed, warned
from hardpan.survey.settings import ProbeSettings

LEAST_READINGS = 2
"""An insertion with fewer readings says nothing of a pan."""
TOGETHER, TOGETHER_SHARE, MOST_SHARE = 3, 0.1, 0.5
"""So many insertions, and this share of those that end in soft ground, end at one depth only where the rod does;
against a stated depth it takes the last share."""
_VARIABLES = ("depth_mm", "thickness_mm", "cone_index_kpa", "at_least", "held")
_WHERE_MEASURED = ("theta", "se_kpa")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dense:
    """Readings padded at the end: every grid has shape (n_insertions, n_samples)."""

    insertions: pd.DataFrame
    grids: dict[str, np.ndarray]
    usable: Bools

    def take(self, at: Ints | Bools) -> "Dense":
        """Insertions `at`, in that order."""
        table = self.insertions.iloc[np.flatnonzero(at) if at.dtype == bool else at].reset_index(drop=True)
        grids = {name: values[at] for name, values in self.grids.items()}
        return Dense(insertions=table, grids=grids, usable=self.usable[at])


def dense(readings: ProbeReadings, settings: ProbeSettings) -> tuple[Dense, tuple[Issue, ...]]:
    """Sorted, judged readings as dense arrays, zero tails cut, and which insertions are usable.

    Raises
    ------
    InputError
        Fewer than three usable insertions.
    """
    grids = _pad(readings)
    kpa, issues = _cut_zero_tails(grids["cone_index_kpa"], readings.insertions, settings)
    grids["cone_index_kpa"] = kpa
    measured = np.isfinite(kpa)
    stuck = _stuck(kpa, measured, settings)
    usable = (measured.sum(axis=1) >= LEAST_READINGS) & ~stuck & (np.nan_to_num(kpa).max(axis=1, initial=0.0) > 0)
    issues += _unusable_issues(readings.insertions, usable, stuck)
    if usable.sum() < LEAST_INSERTIONS:
        raise InputError(
            what=f"{int(usable.sum())} of {counted(len(usable), 'insertion')} can be used ({int(stuck.sum())} read one"
            f" value throughout, {int((~usable & ~stuck).sum())} have fewer than {LEAST_READINGS} readings above zero)",
            where=_files(readings.insertions),
            right=f"at least {LEAST_INSERTIONS} for a map",
            do="add probe sites, or check the columns and the boundary",
        )
    return Dense(insertions=readings.insertions, grids=grids, usable=usable), tuple(issues)


def _pad(readings: ProbeReadings) -> dict[str, np.ndarray]:
    """Dense arrays (insertion, sample), padded with NaN at the end, from sorted readings."""
    code = readings.code
    count = np.bincount(code, minlength=len(readings.insertions))
    start = np.cumsum(count) - count
    sample = np.arange(len(code)) - start[code]
    shape = (len(readings.insertions), int(count.max(initial=0)))
    columns = {
        "depth_mm": readings.depth_mm,
        "thickness_mm": readings.thickness_mm,
        "cone_index_kpa": readings.kpa,
        "theta": readings.theta,
        "se_kpa": readings.se_kpa,
    }
    grids: dict[str, np.ndarray] = {}
    for name, values in columns.items():
        grids[name] = np.full(shape, np.nan)
        grids[name][code, sample] = values
    for name, marks in {"at_least": readings.at_least, "held": readings.held}.items():
        grids[name] = np.zeros(shape, dtype=bool)
        grids[name][code, sample] = marks
    return grids


def _last(mask: Bools) -> Ints:
    """Index of the last true value in each row, -1 where there is none."""
    width = mask.shape[1]
    found = width - 1 - np.argmax(mask[:, ::-1], axis=1)
    return np.where(mask.any(axis=1), found, -1)


def _cut_zero_tails(kpa: Floats, insertions: pd.DataFrame, settings: ProbeSettings) -> tuple[Floats, list[Issue]]:
    if not settings.zero_tail_is_refusal:
        return kpa, []
    last_positive = _last(kpa > 0)
    tail = (np.arange(kpa.shape[1])[None, :] > last_positive[:, None]) & (kpa == 0) & (last_positive >= 0)[:, None]
    hit = tail.any(axis=1)
    if not hit.any():
        return kpa, []
    issue = warned(
        "zero-tail",
        f"{int(tail.sum())} zeros to the end of {int(hit.sum())} insertions, below readings above zero",
        "taken as not measured: the probe had stopped",
        file=_files(insertions[hit]),
        place=f"site {listed(sorted(set(insertions['site'][hit])))}",
    )
    return np.where(tail, np.nan, kpa), [issue]


def _stuck(kpa: Floats, measured: Bools, settings: ProbeSettings) -> Bools:
    filled = np.where(measured, kpa, np.nan)
    low = np.fmin.reduce(filled, axis=1, initial=np.inf)
    high = np.fmax.reduce(filled, axis=1, initial=-np.inf)
    one_value: Bools = np.equal(low, high) & (measured.sum(axis=1) >= settings.stuck_readings)
    return one_value


def _unusable_issues(insertions: pd.DataFrame, usable: Bools, stuck: Bools) -> list[Issue]:
    why = {
        "stuck-sensor": (stuck, "read one value from top to end", "dropped: the sensor was stuck"),
        "unusable": (~usable & ~stuck, f"have fewer than {LEAST_READINGS} readings above zero", "dropped: unusable"),
    }
    return [
        warned(
            code,
            f"{int(hit.sum())} insertion(s) {what}",
            done,
            file=_files(insertions[hit]),
            place=f"site {listed(sorted(set(insertions['site'][hit])))}",
        )
        for code, (hit, what, done) in why.items()
        if hit.any()
    ]


def _files(insertions: pd.DataFrame) -> str:
    return ", ".join(sorted(set(insertions["file"])))


def profile(read: Dense, settings: ProbeSettings) -> tuple[Profiles, tuple[Issue, ...]]:
    """Profiles of named insertions (`label`, `site`, `replicate` in `read.insertions`)."""
    table, grids = read.insertions, read.grids
    kpa, depth_mm = grids["cone_index_kpa"], grids["depth_mm"]
    reach_mm = np.where(np.isfinite(kpa), depth_mm + grids["thickness_mm"] / 2, np.nan)
    hard = _ends_hard(kpa, reach_mm, settings)
    limit_mm, shorter = _rod_ends(table, hard, reach_mm, settings)
    stop, stop_mm = _stops(grids, hard, reach_mm, limit_mm)
    used = np.isfinite(depth_mm).any(axis=0)
    names = [*_VARIABLES, *(name for name in _WHERE_MEASURED if np.isfinite(grids[name]).any())]
    per_insertion = {
        "insertion": table["label"].to_numpy(dtype=object),
        "site": table["site"].to_numpy(dtype=object),
        "replicate": table["replicate"].to_numpy(dtype=np.int64),
        "x_m": table["x_m"].to_numpy(dtype=np.float64),
        "y_m": table["y_m"].to_numpy(dtype=np.float64),
        "date": table["date"].to_numpy(dtype=object),
        "stop": stop,
        "stop_mm": stop_mm,
        "source_file": table["file"].to_numpy(dtype=object),
        "source_row": table["row"].to_numpy(dtype=np.int64),
    }
    dataset = xr.Dataset(
        {name: (("insertion", "sample"), grids[name][:, used]) for name in names},
        coords={name: ("insertion", values) for name, values in per_insertion.items()},
    )
    profiles = Profiles(readings=dataset, depth_limit_mm=float(limit_mm.max()))
    return profiles, (*shorter, *_stop_issues(table, stop))


def _stops(grids: dict[str, np.ndarray], hard: Bools, reach_mm: Floats, limit_mm: Floats) -> tuple[np.ndarray, Floats]:
    """Why and where each insertion ended."""
    kpa, depth_mm = grids["cone_index_kpa"], grids["depth_mm"]
    rows, last = np.arange(len(kpa)), _last(np.isfinite(kpa))
    stop_mm = reach_mm[rows, last]
    steps = np.diff(depth_mm, axis=1)
    half_step_mm = float(np.nanmedian(steps)) / 2 if np.isfinite(steps).any() else 0.0
    at_limit, at_end = grids["at_least"][rows, last], stop_mm >= limit_mm - half_step_mm
    kinds = [Stop.LIMIT.value, Stop.ROD_END.value, Stop.REFUSAL.value]
    return np.select([at_limit, at_end, hard], kinds, Stop.SHORT.value).astype(object), stop_mm


def _ends_hard(kpa: Floats, reach_mm: Floats, settings: ProbeSettings) -> Bools:
    """Which insertions read hard enough for a refusal just above where they end."""
    stop_mm = np.fmax.reduce(reach_mm, axis=1, initial=0.0)
    late = (reach_mm >= (stop_mm - settings.refusal_window_mm)[:, None]) & np.isfinite(kpa)
    hard: Bools = np.where(late, kpa, 0.0).max(axis=1, initial=0.0) >= settings.refusal_kpa
    return hard


def _rod_ends(
    table: pd.DataFrame, hard: Bools, reach_mm: Floats, settings: ProbeSettings
) -> tuple[Floats, list[Issue]]:
    """Depth at which the rod of each insertion ends, mm, shape (insertion,), and where it is not the stated one.

    Of each file, date and device as stated, or the deepest at which several insertions end together in ground that
    cannot have refused them: each has its own rod, and one insertion that went deeper makes the others no shorter.
    Where most of those end together above the stated depth, the rod did not go so deep.
    """
    stop_mm = np.fmax.reduce(reach_mm, axis=1, initial=0.0)
    limit_mm, issues = np.empty(len(table)), []
    for rows in table.reset_index(drop=True).groupby(["file", "date", "device"]).indices.values():
        file, device = (str(table[name].iloc[rows[0]]) for name in ("file", "device"))
        depth_mm, count = np.unique(stop_mm[rows][~hard[rows]], return_counts=True)
        stated = settings.stated("depth_limit_mm", (device, file))
        share = TOGETHER_SHARE if stated is None else MOST_SHARE
        together = depth_mm[count >= max(TOGETHER, share * np.sum(~hard[rows]))].max(initial=0.0)
        limit_mm[rows] = min(together, stated or np.inf) if together else stated or stop_mm[rows].max()
        if stated is not None and limit_mm[rows[0]] < stated:
            what = Said(
                "{count} end together in soft ground at {depth}, above the stated end of the rod",
                count=counted(int(count[depth_mm == together][0]), "insertion"),
                depth=depth(together, None),
            )
            issues.append(warned("shorter-rod", what, "taken as the end of the rod", file=file))
    return limit_mm, issues


def _stop_issues(table: pd.DataFrame, stop: np.ndarray) -> list[Issue]:
    done = {
        Stop.REFUSAL: "what lies below the stop is unknown, not soft",
        Stop.LIMIT: "the last readings count as at least so much",
        Stop.SHORT: "nothing is known below the stop",
    }
    return [
        warned(
            kind.name.lower().replace("_", "-"),
            f"{int((stop == kind.value).sum())} insertions end early: {kind.value}",
            said,
            file=_files(table[stop == kind.value]),
            place=f"site {listed(list(dict.fromkeys(table['site'][stop == kind.value])))}",
        )
        for kind, said in done.items()
        if (stop == kind.value).any()
    ]
