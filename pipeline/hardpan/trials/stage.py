"""The trial: points cleaned, laid on the strips, effects, and what follows from them."""

import logging
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd

from hardpan.core.errors import InputError
from hardpan.geostat import Effect
from hardpan.records.issues import Issue, Issues
from hardpan.records.trial import (
    EFFECT,
    LEVEL,
    UNEXPECTED,
    Harvest,
    Method,
    Payback,
    Planned,
    Rule,
    Treatment,
    TrialInputs,
    TrialResult,
    TrialSettings,
    TrialStrips,
)
from hardpan.trials.effects import (
    StripEffects,
    on_strips,
    pair_differences,
    pair_up,
    paired_t,
    pool,
    segments,
    strip_effects,
    strip_means,
)
from hardpan.trials.harvest import clean, estimate_delay, number_passes, shifted
from hardpan.trials.updating import list_response, pay_back, update

_LEAST_POINTS = 8
"""On all strips; fewer leave nothing to tell an error from."""

logger = logging.getLogger(__name__)


class _Used(NamedTuple):
    points: pd.DataFrame
    cleaning: pd.DataFrame
    delay_s: float


def evaluate_trial(inputs: TrialInputs, settings: TrialSettings, planned: Planned | None = None) -> TrialResult:
    """What ripping gave, by zone and depth, and what it returned where a plan is known.

    Raises
    ------
    InputError
        No point lies on a strip, or one of the treatments was not harvested.
    """
    strips, harvest = inputs.strips, inputs.harvest
    used = _on_strips(harvest, strips, settings)
    table = strips.table.assign(pair=pair_up(strips.table))
    means = strip_means(used.points, table)
    _refuse_too_little(used, means, settings)
    found = strip_effects(segments(used.points, table), table)
    logger.info("%d points on %d strips; model %s", len(used.points), len(means), dict(found.model))
    response, payback, issues = _consequences(found, means, harvest, planned, settings)
    return TrialResult(
        strips=TrialStrips(table=table, crs=strips.crs),
        points=used.points,
        unit=harvest.unit,
        cleaning=used.cleaning,
        delay_s=used.delay_s,
        means=means,
        effects=_rows(found, means),
        by_depth=_by_depth(found, means),
        mean_unripped=float(means.loc[means["treatment"] == Treatment.UNRIPPED, "mean"].mean()),
        model=found.model,
        response=response,
        payback=payback,
        issues=(*inputs.issues, *_remarks(means), *issues),
    )


def _on_strips(harvest: Harvest, strips: TrialStrips, settings: TrialSettings) -> _Used:
    """Points that are kept and lie on strips, and what each rule took."""
    points, delay_s = harvest.points, 0.0
    number = number_passes(points)
    if settings.clean:
        asked = settings.cleaning.delay_s
        delay_s = estimate_delay(points, number) if isinstance(asked, str) else float(asked)
        points = points.assign(value=shifted(points, number, delay_s)) if delay_s else points
    had_value = np.isfinite(harvest.points["value"].to_numpy(dtype=float))
    kept, cleaning = clean(points, number, settings.cleaning, had_value=had_value, everything=not settings.clean)
    points, timed = points[kept], bool((number >= 0).any())
    end_m = settings.cleaning.strip_end_m if settings.clean and timed else 0.0
    strip, inner = on_strips(points, strips.table, end_m)
    off = {Rule.OFF_STRIP: int((strip == 0).sum())} | (
        {Rule.STRIP_END: int(((strip > 0) & (inner == 0)).sum())} if end_m else {}
    )
    more = pd.DataFrame({"rule": list(off), "points": list(off.values())})
    return _Used(
        points=points.assign(strip=inner)[inner > 0].reset_index(drop=True),
        cleaning=pd.concat([cleaning, more], ignore_index=True),
        delay_s=delay_s,
    )


def _refuse_too_little(used: _Used, means: pd.DataFrame, settings: TrialSettings) -> None:
    file, points, taken = settings.points.name, used.points, used.cleaning.set_index("rule")["points"]
    if points.empty and not taken.get(Rule.OFF_STRIP) and taken.any():
        raise InputError(
            what=f"cleaning left no point; of most, {taken.max()}: {taken.idxmax()}", where=file,
            do="check the column of yield and its unit, and [trial.cleaning]",
        )  # fmt: skip
    if points.empty:
        raise InputError(what="no point lies on a strip", where=file, do="check trial.crs and the strips")
    missing = [str(one) for one in Treatment if one not in set(means["treatment"])]
    if missing:
        raise InputError(what=f"no {missing[0]} strip was harvested", where=file, right="points on both treatments")
    if len(points) < _LEAST_POINTS:
        raise InputError(what=f"{len(points)} points lie on strips", where=file, right=f"at least {_LEAST_POINTS}")


def _rows(found: StripEffects, means: pd.DataFrame) -> pd.DataFrame:
    """Table of effects, columns `EFFECT`: all first, then the zones; each method in turn."""
    rows = [_row("all", found.overall, Method.SPATIAL, means), _paired("all", means)]
    pooled = pool(found.by_zone, found.zone_cov) if found.by_zone else {}
    for zone, effect in found.by_zone.items():
        of_zone = means[means["zone"] == zone]
        rows += [
            _row(str(zone), effect, Method.SPATIAL, of_zone),
            _paired(str(zone), of_zone),
            _row(str(zone), pooled[zone], Method.POOLED, of_zone),
        ]
    return pd.DataFrame([row for row in rows if row], columns=list(EFFECT))


def _paired(group: str, means: pd.DataFrame) -> dict[str, object] | None:
    effect = paired_t(pair_differences(means).to_numpy(dtype=float))
    return None if effect is None else _row(group, effect, Method.PAIRED, means[means["pair"] > 0])


def _row(group: str, effect: Effect, method: Method, means: pd.DataFrame) -> dict[str, object]:
    low, high = effect.interval(LEVEL)
    return {
        "group": group,
        "effect": effect.estimate,
        "low": low,
        "high": high,
        "level": LEVEL,
        "method": str(method),
        "df": effect.df,
        "points": int(means["points"].sum()),
        "strips": len(means),
    }


def _by_depth(found: StripEffects, means: pd.DataFrame) -> pd.DataFrame:
    """Effects of working depths that several zones share or that differ between zones; columns `EFFECT`."""
    depths = means[means["depth_mm"] > 0].groupby("zone")["depth_mm"].max()
    known = [zone for zone in found.by_zone if zone in depths.index]
    rows = []
    for depth in sorted(set(depths[known])) if len(set(depths[known])) > 1 else []:
        zones = [zone for zone in known if depths[zone] == depth]
        rows.append(_row(f"{depth:g}", _mean_effect(found, zones), Method.SPATIAL, means[means["zone"].isin(zones)]))
    return pd.DataFrame(rows, columns=list(EFFECT))


def _mean_effect(found: StripEffects, zones: list[int]) -> Effect:
    """Mean of the effects of several zones, each weighing as much as it is sure."""
    order = list(found.by_zone)
    at = [order.index(zone) for zone in zones]
    precision = 1.0 / found.zone_cov[at, at]
    share = precision / precision.sum()
    effects = [found.by_zone[zone] for zone in zones]
    variance = float(share @ found.zone_cov[at][:, at] @ share)
    return Effect(
        estimate=float(share @ [effect.estimate for effect in effects]),
        se=variance**0.5,
        df=sum(effect.df for effect in effects),
    )


def _consequences(
    found: StripEffects, means: pd.DataFrame, harvest: Harvest, planned: Planned | None, settings: TrialSettings
) -> tuple[pd.DataFrame, Payback | None, Issues]:
    """Response of the soil types, what came back, and what to know of them; nothing without a plan or a unit."""
    tried, nothing = _tried(found, means), pd.DataFrame(columns=["soil_type"])
    if planned is None or harvest.unit != "t/ha" or not set(tried) & set(planned.zones["zone"]):
        return nothing, None, ()
    tried = {zone: effect for zone, effect in tried.items() if zone in set(planned.zones["zone"])}
    posterior = update(tried, planned, settings.season, seed=settings.seed)
    if not posterior.believable:
        what = "the harvest lies far outside of what the gains of the soil types and the season allow"
        done = "no response and no return is worked out; check trial.season and the gains in [soil.types] of the run"
        unexpected = Issue("trials", UNEXPECTED, what, done)
        return nothing, None, (unexpected,)
    return list_response(posterior, planned, tried), pay_back(posterior, planned), ()


def _tried(found: StripEffects, means: pd.DataFrame) -> Mapping[int, Effect]:
    """Effect of each zone that was tried; with one zone that is the effect of all."""
    zones = set(means["zone"]) - {0}
    return found.by_zone or ({zones.pop(): found.overall} if len(zones) == 1 else {})


def _remarks(means: pd.DataFrame) -> Issues:
    """What limits a trial of few strips."""
    fewest = int(means["treatment"].value_counts().min())
    if fewest >= 2:
        return ()
    what = "a treatment stands in one strip only"
    done = "the interval holds if strips differ by nothing but the ripping and the soil beneath"
    return (Issue("trials", "no-repeat", what, done),)
