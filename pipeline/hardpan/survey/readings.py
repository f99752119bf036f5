"""Rules on values: units, sentinels, drift, implausible readings, spikes, repeats, zero tails, the device's limit."""

from dataclasses import replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.units import KPA_PER, MM_PER
from hardpan.records.issues import Issue
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.words import Numbers, Readings, TextReadings, listed, warned

SENTINELS = (-1.0, -9.0, -99.0, -999.0, -9999.0, -99999.0, -32768.0, 9999.0, 99999.0, 999999.0, 32767.0, 65535.0)
"""Values that loggers write for "not measured", in the unit of the file."""


UNIT_GAP = 100.0
"""No two insertions of one paddock differ so much; kPa and MPa differ by 1000."""


def kpa_factor(unit: str, settings: ProbeSettings) -> float:
    """Give kPa in one `unit`, corrected for a worn cone: cone index is force over the true base area.

    A device divides by the area of the new cone; a cone worn from D to d reads low by (d/D)^2 (`usfs0524`).
    """
    area_mm2 = np.pi / 4 * settings.cone_diameter_mm**2
    factor = 1e3 / area_mm2 if unit == "N" else KPA_PER[unit]
    worn = settings.worn_diameter_mm
    return float(factor if worn is None else factor * (settings.cone_diameter_mm / worn) ** 2)


def drop_sentinels(values: Floats, insertions: pd.DataFrame, code: Ints, file: str) -> tuple[Floats, tuple[Issue, ...]]:
    """Give the values, in the unit of the file, with sentinels as NaN."""
    hit = np.isin(values, SENTINELS)
    if not hit.any():
        return values, ()
    which = sorted(set(values[hit].tolist()))
    issue = warned(
        "sentinel",
        f"{int(hit.sum())} readings are {listed([f'{value:g}' for value in which])}: a mark, no measurement",
        "taken as missing",
        file=file,
        place=f"site {listed(_sites(insertions, code, hit))}",
    )
    return np.where(hit, np.nan, values), (issue,)


def _sites(insertions: pd.DataFrame, code: Ints, hit: Bools) -> list[str]:
    return sorted(set(insertions["site"].to_numpy()[np.unique(code[hit])]))


def cell_issues(value: Numbers, text: TextReadings) -> tuple[Issue, ...]:
    """Give what the cells of resistance carried beside plain numbers."""
    told = {
        "unreadable-cell": (value.unreadable, "hold text that is no number", "taken as missing"),
        "approximate-cell": (value.rough, "are marked as approximate", "taken at face value"),
        "regrouped-cell": (
            value.regrouped & ~value.rough,
            "carry thousands marks, apostrophes or units",
            "read without",
        ),
    }
    return tuple(
        warned(
            code,
            f"{int(hit.sum())} cells {what}",
            done,
            file=text.file,
            place=f"row {listed(sorted(set(text.row[hit].tolist())))}",
        )
        for code, (hit, what, done) in told.items()
        if hit.any()
    )


def point_down(depth_mm: Floats, file: str) -> tuple[Floats, tuple[Issue, ...]]:
    """Give depths positive downward.

    Raises
    ------
    InputError
        Some depths are above and some below the surface.
    """
    below, above = np.nanmin(depth_mm, initial=0.0) < 0, np.nanmax(depth_mm, initial=0.0) > 0
    if not below:
        return depth_mm, ()
    if above:
        raise InputError(what="depths are negative and positive", where=file, right="positive downward")
    return -depth_mm, (warned("depth-sign", "depths are negative downward", "sign turned", file=file),)


def check_mixed_units(values: Floats, insertions: pd.DataFrame, code: Ints, file: str) -> None:
    """Refuse a column in which some insertions are a hundred times smaller than the others.

    Raises
    ------
    AmbiguousInputError
        There is an empty gap of a factor of 100 or more between the medians of the insertions.
    """
    middles = pd.Series(np.where(values > 0, values, np.nan)).groupby(code).median().dropna().sort_values()
    if len(middles) < 2:
        return
    ratio = middles.to_numpy()[1:] / middles.to_numpy()[:-1]
    at = int(np.argmax(ratio))
    low = middles.index[: at + 1]
    if ratio[at] >= UNIT_GAP:
        names = sorted(insertions["site"].to_numpy()[low])
        raise AmbiguousInputError(
            what=f"{len(low)} insertions have a median of {middles.iloc[at]:g} or less, the others of "
            f"{middles.iloc[at + 1]:g} or more: the column mixes units",
            where=f"{file} site {listed(names)}",
            do="bring the readings to one unit, or give two files each with its own unit in the header",
        )


def order(readings: Readings) -> Readings:
    """Give readings sorted by insertion and depth, each depth once: exact repeats dropped, others averaged."""
    code, depth = readings.code, readings.depth_mm
    issues = list(readings.issues)
    back = (np.diff(depth) < 0) & (np.diff(code) == 0)
    if back.any():
        issues.append(
            warned(
                "depth-order",
                f"depths run backwards in {len(np.unique(code[1:][back]))} insertions",
                "sorted by depth",
                file=_file(readings, code[1:][back]),
                place=f"site {listed(_sites(readings.insertions, code[1:], back))}",
            )
        )
    rising = (np.diff(code) > 0) | ((np.diff(code) == 0) & (np.diff(depth) > 0))
    if rising.all():
        return readings
    sorted_ = _take(readings, np.lexsort((readings.row, readings.kpa, depth, code)))
    first = np.ones(len(code), dtype=bool)
    first[1:] = (np.diff(sorted_.code) != 0) | (np.diff(sorted_.depth_mm) != 0)
    if first.all():
        return replace(sorted_, issues=tuple(issues))
    group = np.cumsum(first) - 1
    same = _same_as_before(sorted_.kpa) & ~first
    issues += _repeat_issues(sorted_, first, same)
    mean = np.asarray(pd.Series(np.where(same, np.nan, sorted_.kpa)).groupby(group).mean(), dtype=np.float64)
    single = replace(_take(sorted_, np.flatnonzero(first)), issues=tuple(issues))
    return replace(single, kpa=mean, at_least=np.logical_or.reduceat(sorted_.at_least, np.flatnonzero(first)))


def _same_as_before(kpa: Floats) -> Bools:
    same = np.zeros(len(kpa), dtype=bool)
    same[1:] = (kpa[1:] == kpa[:-1]) | (np.isnan(kpa[1:]) & np.isnan(kpa[:-1]))
    return same


def _repeat_issues(readings: Readings, first: Bools, same: Bools) -> list[Issue]:
    issues = []
    differ = ~first & ~same & ~np.isnan(readings.kpa)
    if (~first & same).any():
        issues.append(
            warned(
                "repeated-rows",
                f"{int((~first & same).sum())} readings are exact repeats",
                "dropped once",
                file=_file(readings, readings.code[~first & same]),
                place=f"site {listed(_sites(readings.insertions, readings.code, ~first & same))}",
            )
        )
    if differ.any():
        issues.append(
            warned(
                "repeated-depth",
                f"{int(differ.sum())} readings repeat a depth of their insertion with another value",
                "their mean is used",
                file=_file(readings, readings.code[differ]),
                place=f"site {listed(_sites(readings.insertions, readings.code, differ))}",
            )
        )
    return issues


def _file(readings: Readings, code: Ints) -> str:
    return ", ".join(sorted(set(readings.insertions["file"].to_numpy()[np.unique(code)])))


def _take(readings: Readings, at: Ints) -> Readings:
    return replace(
        readings,
        code=readings.code[at],
        depth_mm=readings.depth_mm[at],
        thickness_mm=readings.thickness_mm[at],
        kpa=readings.kpa[at],
        at_least=readings.at_least[at],
        theta=readings.theta[at],
        row=readings.row[at],
    )


def judge(readings: Readings, settings: ProbeSettings) -> Readings:
    """Give sorted readings with drift at zero, implausible values and spikes missing, and the device's limit marked."""
    kpa, issues = readings.kpa.copy(), list(readings.issues)

    def note(code: str, hit: Bools, what: str, done: str) -> None:
        if hit.any():
            place = f"site {listed(_sites(readings.insertions, readings.code, hit))}"
            text = f"{int(hit.sum())} readings {what}"
            issues.append(warned(code, text, done, file=_file(readings, readings.code[hit]), place=place))

    drift = (kpa < 0) & (kpa >= -settings.zero_drift_kpa)
    note(
        "zero-drift", drift, f"are negative by up to {settings.zero_drift_kpa:g} kPa", "set to zero: drift of the cell"
    )
    below = kpa < -settings.zero_drift_kpa
    note("negative", below, f"are below -{settings.zero_drift_kpa:g} kPa", "taken as missing")
    above = kpa > settings.plausible_kpa
    if above.mean() > 0.25:
        raise InputError(
            what=f"{above.mean():.0%} of the readings exceed {settings.plausible_kpa:g} kPa",
            where=_file(readings, readings.code),
            do="check probes.resistance_unit",
        )
    note("implausible", above, f"exceed {settings.plausible_kpa:g} kPa", "taken as missing")
    kpa = np.where(drift, 0.0, np.where(below | above, np.nan, kpa))
    spike = _spikes(readings, kpa, settings)
    note("spike", spike, "stand alone far above both neighbours", "taken as missing: a stone or a knock")
    kpa[spike] = np.nan
    at_least = readings.at_least & np.isfinite(kpa)
    if settings.device_limit_kpa is not None:
        at_least |= kpa >= settings.device_limit_kpa * (1 - 1e-9)
    return replace(readings, kpa=kpa, at_least=at_least, issues=tuple(issues))


def _spikes(readings: Readings, kpa: Floats, settings: ProbeSettings) -> Bools:
    hit = np.zeros(len(kpa), dtype=bool)
    code, depth = readings.code, readings.depth_mm
    if len(kpa) < 3:
        return hit
    inside = (code[2:] == code[:-2]) & (depth[2:] - depth[:-2] <= 2 * settings.spike_step_mm)
    inside &= (readings.thickness_mm[1:-1] == 0) & (kpa[2:] > 0)
    beside = np.fmax(kpa[:-2], kpa[2:])
    high = (kpa[1:-1] > settings.spike_ratio * beside) & (kpa[1:-1] - beside > settings.spike_kpa)
    hit[1:-1] = inside & high
    return hit


def mm_factor(unit: str) -> float:
    """Give mm in one `unit` of depth."""
    return MM_PER[unit]
