"""A log beside the plan: hectares as planned, too shallow, too deep and not worked; lag, speed, hours and fuel."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.after import Earlier
from hardpan.records.applied import ALL, APPLIED, Applied, AppliedAs, LogRule, MachineLog, Observed
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.issues import Issue, Issues
from hardpan.spatial.polygons import first_holding
from hardpan.verify.lag import estimate_lag
from hardpan.verify.log import (
    TURN_RAD,
    Swaths,
    clean_log,
    deepest_at,
    not_measured,
    sample_points,
    speed_kmh,
    squares,
    swaths_of,
)

DRAWN_POINTS = 20_000
"""Points of the map; a finer one looks the same on a page."""
_WORKED = (AppliedAs.WITHIN, AppliedAs.SHALLOW, AppliedAs.DEEP, AppliedAs.NOT_MEASURED)
_IN_WORK = ("", LogRule.NOT_MEASURED, LogRule.OUTSIDE)
"""Records that worked ground; from those outside it begins within the paddock."""


def compare_with_plan(earlier: Earlier, log: MachineLog, *, level: float) -> Applied:
    """What became of each zone by the machine's log.

    Parameters
    ----------
    level : float
        Level of the interval of the lag.
    """
    zones = earlier.zones.sort_values("zone", ignore_index=True)  # of two that share a border the first holds a point
    taken, rules = clean_log(log.records, shapely.union_all(zones.geometry.to_numpy()), log.settings)
    working, known = np.isin(taken, _IN_WORK), ~np.isin(taken, (LogRule.NO_FIX, LogRule.JUMP))
    depth_mm = np.where(not_measured(log.records), np.nan, log.records["depth_mm"].to_numpy(float))
    width_m = _widths(log, zones)
    swaths = swaths_of(log.records, working, known, depth_mm, width_m)
    points, row, _ = sample_points(zones, float(np.nanmedian(width_m)), turn_rad=TURN_RAD)
    step_mm = _step_mm(earlier, log)
    covered, found_mm = deepest_at(points, swaths)
    planned_mm = zones["depth_mm"].to_numpy(float)
    outcome = outcomes(planned_mm[row], covered, found_mm, step_mm)
    shapes = zones.geometry.to_numpy()
    zone_at = first_holding(np.nan_to_num(log.records[["x_m", "y_m"]].to_numpy(float)), shapes)
    table = _table(zones, row, outcome, found_mm, _driven(log.records, taken, zone_at, len(zones)))

    def planned_at(xy: Floats) -> Floats:
        at = first_holding(np.nan_to_num(xy), shapes)
        return np.where((at >= 0) & (planned_mm[at] > 0), planned_mm[at], np.nan)

    return Applied(
        zones=table,
        rules=rules,
        lag=estimate_lag(
            log.records, planned_at, taken == "", speed_kmh=speed_kmh(log.records), step_mm=step_mm, level=level
        ),
        observed=_observed(table, zones),
        pieces=_pieces(zones, swaths, float(np.nanmedian(width_m)), step_mm),
        step_mm=step_mm,
        issues=_issues(rules, log),
    )


def outcomes(planned_mm: Floats, covered: Bools, found_mm: Floats, step_mm: float) -> np.ndarray:
    """`AppliedAs` of each place, (n,): within one step of the plan, beyond it, not measured or not worked.

    Where nothing was to be ripped, ground that was left is as planned, and ripped ground too deep.
    """
    out = np.full(len(planned_mm), AppliedAs.NOT_WORKED, dtype=object)
    out[covered] = AppliedAs.NOT_MEASURED
    known = covered & np.isfinite(found_mm)
    out[known & (np.abs(found_mm - planned_mm) <= step_mm)] = AppliedAs.WITHIN
    out[known & (found_mm < planned_mm - step_mm)] = AppliedAs.SHALLOW
    out[known & (found_mm > planned_mm + step_mm)] = AppliedAs.DEEP
    left = planned_mm <= 0
    out[left] = np.where(covered[left], AppliedAs.DEEP, AppliedAs.WITHIN)
    return out


def _widths(log: MachineLog, zones: gpd.GeoDataFrame) -> Floats:
    """Working width of each record: stated, logged, or planned."""
    planned = float(zones.loc[zones["depth_mm"] > 0, "width_m"].median())
    logged = log.records["width_m"].to_numpy(float)
    if log.settings.width_m is not None:
        return np.full(len(logged), log.settings.width_m)
    return np.where(logged > 0, logged, planned)


def _step_mm(earlier: Earlier, log: MachineLog) -> float:
    if log.settings.step_mm is not None:
        return log.settings.step_mm
    given = earlier.settings.get("prescription")
    return float((given if isinstance(given, dict) else {}).get("step_mm", PrescriptionSettings().step_mm))


def _driven(records: pd.DataFrame, taken: np.ndarray, zone_at: Ints, n_zones: int) -> pd.DataFrame:
    """Working speed, hours and fuel on each zone, and of the whole log in the last row; standing is left out."""
    by = records.groupby("stretch", sort=False)
    seconds = by["time_s"].diff().clip(lower=0).to_numpy(float)
    litres = records["fuel_l"].diff().clip(lower=0).to_numpy(float)
    moving = taken != LogRule.STANDING
    working = ((taken == "") | (taken == LogRule.NOT_MEASURED)) & (np.nan_to_num(seconds) > 0)
    km = speed_kmh(records) * seconds
    rows = []
    for there in (*(zone_at == zone for zone in range(n_zones)), np.ones(len(taken), dtype=bool)):
        at = there & working & np.isfinite(km)
        rows.append(
            {
                "speed_kmh": km[at].sum() / seconds[at].sum() if at.any() else np.nan,
                "hours": _sum(seconds[there & moving]) / 3600.0,
                "fuel_l": _sum(litres[there & moving]),
            }
        )
    return pd.DataFrame(rows)


def _sum(values: Floats) -> float:
    """Sum, NaN where nothing is known."""
    known = values[np.isfinite(values)]
    return float(known.sum()) if known.size else np.nan


def _table(
    zones: gpd.GeoDataFrame, row: Ints, outcome: np.ndarray, found_mm: Floats, driven: pd.DataFrame
) -> pd.DataFrame:
    """Columns `APPLIED`: all ripped zones, then each zone."""
    counts = np.bincount(row, minlength=len(zones))
    out = pd.DataFrame(
        {
            "zone": zones["zone"].astype(str), "kind": zones["kind"], "planned_mm": zones["depth_mm"].astype(float),
            "area_ha": zones["area_ha"].astype(float), "planned_speed_kmh": zones["speed_kmh"],
            "planned_hours": zones["hours"], "planned_fuel_l": zones["fuel_l"],
        }
    )  # fmt: skip
    for one in AppliedAs:
        share = np.bincount(row[outcome == one], minlength=len(zones)) / np.maximum(counts, 1)
        out[f"{one.replace(' ', '_')}_ha"] = share * out["area_ha"]
    spread = [_spread(found_mm[row == at]) for at in range(len(zones))]
    out[["applied_mm", "applied_low_mm", "applied_high_mm"]] = pd.DataFrame(spread)
    for name in ("speed_kmh", "hours", "fuel_l"):
        out[name] = driven[name].to_numpy(float)[:-1]
    ripped = out["planned_mm"] > 0
    out.loc[~ripped, ["planned_speed_kmh", "planned_hours", "planned_fuel_l"]] = np.nan
    sums = [name for name in APPLIED if name.endswith("_ha")] + ["planned_hours", "planned_fuel_l"]
    head: dict[str, object] = {"zone": ALL, "kind": "ripped", **out.loc[ripped, sums].sum(min_count=1)}
    spent = out["area_ha"] / out["planned_speed_kmh"]
    head["planned_speed_kmh"] = out.loc[ripped, "area_ha"].sum() / spent[ripped].sum() if ripped.any() else np.nan
    names = ("applied_mm", "applied_low_mm", "applied_high_mm")
    head |= dict(zip(names, _spread(found_mm[ripped.to_numpy()[row]]), strict=True))
    head |= {name: driven[name].iloc[-1] for name in ("speed_kmh", "hours", "fuel_l")}
    return pd.concat([pd.DataFrame([head]), out], ignore_index=True).reindex(columns=list(APPLIED))


def _spread(found_mm: Floats) -> tuple[float, float, float]:
    """Mean depth and its 5 and 95 % points over worked ground."""
    known = found_mm[np.isfinite(found_mm)]
    if not known.size:
        return np.nan, np.nan, np.nan
    low, high = np.quantile(known, (0.05, 0.95))
    return float(known.mean()), float(low), float(high)


def _observed(table: pd.DataFrame, zones: gpd.GeoDataFrame) -> Observed | None:
    """The pass with the set-up that worked most ground; None where none was worked.

    Fuel burnt while turning is part of a pass: it is shared among zones by their own.
    """
    rows = table.iloc[1:].reset_index(drop=True)
    worked = rows[[f"{one.replace(' ', '_')}_ha" for one in _WORKED]].sum(axis=1).where(rows["planned_mm"] > 0, 0.0)
    by_setup = worked.groupby(zones["setup"].to_numpy()).sum()
    if not len(by_setup) or not by_setup.max() > 0:
        return None
    setup = str(by_setup.idxmax())
    of = ((zones["setup"] == setup) & (worked > 0)).to_numpy()
    weight = worked[of].to_numpy(float)
    ripped = rows[(rows["planned_mm"] > 0).to_numpy()]
    share = float(table["fuel_l"].iloc[0] / ripped["fuel_l"].sum()) if ripped["fuel_l"].sum() > 0 else np.nan
    return Observed(
        setup=setup,
        zones=tuple(int(zone) for zone in rows.loc[of, "zone"]),
        worked_ha=float(weight.sum()),
        depth_mm=_mean(rows.loc[of, "applied_mm"], weight),
        speed_kmh=_mean(rows.loc[of, "speed_kmh"], weight),
        fuel_l_per_ha=float(rows.loc[of, "fuel_l"].sum()) * share / float(weight.sum()),
    )


def _mean(values: pd.Series, weight: Floats) -> float:
    value = values.to_numpy(float)
    known = np.isfinite(value)
    return float(np.average(value[known], weights=weight[known])) if known.any() else np.nan


def _pieces(zones: gpd.GeoDataFrame, swaths: Swaths, width_m: float, step_mm: float) -> gpd.GeoDataFrame:
    """Ground by outcome for the map; ground that was to be left and was is not drawn."""
    points, row, step = sample_points(zones, width_m, DRAWN_POINTS)
    covered, found_mm = deepest_at(points, swaths)
    planned_mm = zones["depth_mm"].to_numpy(float)[row]
    outcome = outcomes(planned_mm, covered, found_mm, step_mm)
    shown = {one: (outcome == one) & ((planned_mm > 0) | (one is AppliedAs.DEEP)) for one in AppliedAs}
    shapes = [shapely.union_all(squares(points[at], step, zones.crs).to_numpy()) for at in shown.values()]
    return gpd.GeoDataFrame({"outcome": [str(one) for one in shown]}, geometry=shapes, crs=zones.crs)


def _issues(rules: pd.DataFrame, log: MachineLog) -> Issues:
    count = rules.set_index("rule")["records"]
    unknown, kept = int(count[LogRule.NOT_MEASURED]), int(count[""])
    found = []
    if unknown and not kept:
        found.append(
            ("depth-not-measured", "the log tells no depth of any record in work", "only ground worked is told")
        )
    if not unknown and not kept:
        found.append(("nothing-in-work", "no record of the log is in work within the paddock", "all is not worked"))
    if not np.isfinite(log.records["time_s"]).any() or log.records["time_s"].max() <= 0:
        found.append(("no-time", "the log tells no time that passes", "nothing is said of speed, hours, fuel and lag"))
    return tuple(Issue("verify", code, what, done, file=log.name) for code, what, done in found)
