"""What a user should know of the readings: one issue a kind, with counts and places."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.core.said import Said, depth, joined, strength
from hardpan.pan.readings import Readings
from hardpan.pan.settings import PanSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.pan import DATES_TO_MM, Bottom, Seen, State

_NAMED = 6
"""Insertions named in an issue; the rest is counted. Every one has its sentence in the features."""


def remark(pan: pd.DataFrame, readings: Readings, stones: Bools, dates: pd.DataFrame, settings: PanSettings) -> Issues:
    """Issues of the pan room, apart from those of moisture.

    Parameters
    ----------
    pan : pd.DataFrame
        Of `hardpan.pan.stage.read_pans`, with `insertion`.
    readings : Readings
        Packed readings.
    stones : Bools
        Readings taken for stones, shape (insertion, sample).
    dates : pd.DataFrame
        Of `hardpan.pan.tables.compare_dates`.
    settings : PanSettings
        The `[pan]` table.
    """
    return (
        *_none(pan, readings, settings),
        *_stopped(pan, settings),
        *_judged(pan, stones, readings.held, settings),
        *_resolution(pan, readings, settings),
        *_dates(dates),
    )


def _none(pan: pd.DataFrame, readings: Readings, settings: PanSettings) -> Issues:
    """Remark that no insertion shows a pan, and how hard the ground was."""
    if (pan["state"] == State.PRESENT).any() or not np.isfinite(readings.cone_index_kpa).any():
        return ()
    highest = np.nanmax(readings.cone_index_kpa)
    return _plain(
        "no-pan-met",
        Said(
            "No insertion shows a pan at the threshold of {threshold}; the highest reading is {highest}.",
            threshold=strength(settings.critical_kpa, None),
            highest=strength(float(highest)),
        ),
        "Nothing to rip at this threshold; if the ground is hard, check the unit of the readings, or set"
        " pan.critical_kpa.",
    )


def _stopped(pan: pd.DataFrame, settings: PanSettings) -> Issues:
    """Issues of bottoms and pans that were not seen."""
    censored = (pan["bottom_kind"] == Bottom.CENSORED).to_numpy()
    ends = pan.loc[censored, "seen"].value_counts().sort_index()
    ways = ", ".join(f"{count} by {_ENDS[Seen(str(reason))]}" for reason, count in ends.items())
    n_present = int((pan["state"] == State.PRESENT).sum())
    unusable = (pan["state"] == State.UNUSABLE).to_numpy()
    return (
        *_issue(
            pan,
            censored,
            "bottom-not-seen",
            "The bottom was not seen by {n} of the {n_present} insertions with a pan: {ways}.",
            "Their bottom counts as deeper than their last hard reading, not as that reading.",
            n_present=n_present,
            ways=ways,
        ),
        *_issue(
            pan,
            unusable,
            "nothing-known",
            "Insertions refused straight from soft ground, or that ended within the depth of a crust: {n}.",
            "They say nothing of the pan and are left out of its presence, top and bottom.",
        ),
        *_issue(
            pan,
            (pan["missed"] > 0).to_numpy(),
            "soft-to-its-end",
            "Insertions in soft ground that ended above {search}, the depth searched to: {n}. A pan of this paddock"
            " would begin below them with a chance of up to {chance} %.",
            "They count as no pan down to where they ended, and are held open to one below with that chance.",
            search=depth(settings.search_to_mm, None),
            chance=f"{100.0 * pan['missed'].max():.0f}",
        ),
    )


_ENDS = {
    Seen.REFUSAL: "refusal",
    Seen.LIMIT: "the device's limit",
    Seen.STILL_HARD: "the end of the record in hard ground",
}


def _judged(pan: pd.DataFrame, stones: Bools, held: Bools, settings: PanSettings) -> Issues:
    """Issues of readings and layers that were passed over."""
    return (
        *_issue(
            pan,
            np.any(stones, axis=1),
            "stone",
            "Single readings far harder than both neighbours: {stones}, in insertions: {n}.",
            "Taken for stones hit in passing and replaced by the mean of the neighbours.",
            stones=stones.sum(),
        ),
        *_issue(
            pan,
            (pan["seen"] == Seen.MARGINAL).to_numpy(),
            "marginal",
            "Insertions with readings at or above the threshold that make no hard layer: {n}.",
            "They count as ground without a pan; too thin, or less than {by} above it over {least}.",
            by=strength(settings.hysteresis_kpa, None),
            least=depth(settings.min_thickness_mm, None),
        ),
        *_issue(
            pan,
            np.any(held, axis=1),
            "held-readings",
            "Insertions with readings that repeat a value the sensor or logger held: {n}.",
            "A top or bottom beside them can be anywhere since the last measured value, and its error is so wide.",
        ),
        *_issue(
            pan,
            pan["crusted"].to_numpy(),
            "crust",
            "Insertions with a hard layer that ends above the depth of a crust: {n}.",
            "It is not taken for the pan.",
        ),
        *_issue(
            pan,
            (pan["seen"] == Seen.TOO_DEEP).to_numpy(),
            "below-reach",
            "Insertions that turn hard only below a ripper's reach: {n}.",
            "They count as ground without a pan.",
        ),
        *_issue(
            pan,
            pan["next_mm"].notna().to_numpy() & (pan["state"] == State.PRESENT).to_numpy(),
            "hard-again-below",
            "Insertions that turn hard again below the pan (a second pan, or a clay subsoil): {n}.",
            "The upper layer is the pan; `why` gives the depth of the next one.",
        ),
    )


def _resolution(pan: pd.DataFrame, readings: Readings, settings: PanSettings) -> Issues:
    """Issues of thick layers, wide steps and the device's limit."""
    layered = readings.layered
    step = np.nan_to_num(np.diff(readings.depth_mm, axis=1)).max(axis=1, initial=0.0)
    wide = ~layered & (step > settings.min_thickness_mm)
    sd = pan.loc[layered, "bottom_sd_mm"].median()
    known = "" if np.isnan(sd) else " A bottom is known to about {sd} (one standard deviation)."
    thick = float(readings.thickness_mm.max(initial=0.0))
    low_limit = np.any(readings.at_least & (readings.cone_index_kpa < settings.critical_kpa), axis=1)
    return (
        *_issue(
            pan,
            layered,
            "layer-means",
            "Insertions that are means of layers up to {thick} thick: {n}. A pan thinner than a layer is"
            " hidden in its mean, and top and bottom can be anywhere in the layers beside them.",
            f"The interval of every bottom holds both layers.{known}",
            thick=depth(thick),
            sd=depth(float(sd)),
        ),
        *_issue(
            pan,
            wide,
            "wide-steps",
            "Insertions with steps of up to {step}, wider than the least thickness of a pan ({least}): {n}.",
            "A single hard reading counts as a layer there; thinner layers can be missed.",
            step=depth(float(step[wide].max(initial=0.0))),
            least=depth(settings.min_thickness_mm, None),
        ),
        *_issue(
            pan,
            low_limit,
            "limit-below-threshold",
            "Insertions with readings at a device limit below the threshold of {threshold}: {n}.",
            "They count as hard.",
            threshold=strength(settings.critical_kpa, None),
        ),
    )


def _dates(dates: pd.DataFrame) -> Issues:
    """Issues of probing dates that differ."""
    if len(dates) < 2:
        known = dates["date"].iloc[0]
        what = f"All insertions are of {known}." if known else "The probing dates are not known."
        return _plain("probing-date", what, "Nothing could be compared between dates.")
    later = dates.iloc[1:]
    lines = [
        _apart(date or "undated", apart, error)
        for date, apart, error in zip(later["date"], later["difference_kpa"], later["difference_se_kpa"], strict=True)
    ]
    apart = (later["difference_kpa"].abs() > 2.0 * later["difference_se_kpa"]).any()
    known = later["difference_se_kpa"].notna().all()
    verdict = "differ by more than twice the standard error" if apart else "do not differ beyond chance"
    code = "probing-dates-differ" if apart else "probing-dates-agree"
    if not apart and not known:
        verdict, code = (
            "cannot all be told from chance: a date with one site has no standard error",
            "probing-dates-few",
        )
    return _plain(
        code,
        Said(
            "Probing dates {verdict} in the mean of {top}-{bottom}, against {first}: {lines}.",
            verdict=verdict,
            top=depth(0.0, bare=True),
            bottom=depth(DATES_TO_MM),
            first=dates["date"].iloc[0] or "undated",
            lines=joined(lines, "; "),
        ),
        "Readings are taken as they are: moisture and ground may both differ between dates.",
    )


def _apart(date: str, apart: float, error: float) -> Said:
    if np.isnan(apart):
        return Said("{date}: no reading to compare", date=date)
    sign = "-" if apart < 0 else "+"
    if np.isnan(error):
        return Said("{date}: {sign}{apart}, error unknown", date=date, sign=sign, apart=strength(abs(apart)))
    return Said(
        "{date}: {sign}{apart} ± {error}", date=date, sign=sign, apart=strength(abs(apart), bare=True),
        error=strength(error),
    )  # fmt: skip


def _plain(code: str, what: str, done: str) -> Issues:
    return (Issue(stage="pan", code=code, what=what, done=done),)


def _issue(pan: pd.DataFrame, rows: Bools, code: str, what: str, done: str, **parts: object) -> Issues:
    """One issue over the insertions in `rows`, none where there are none.

    `what` and `done` are templates of `parts` and of `{n}`, the number of insertions.
    """
    names = sorted(pan.loc[rows, "insertion"])
    if not names:
        return ()
    place = ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
    found, mended = (Said(text, n=len(names), **parts) for text in (what, done))
    return (Issue(stage="pan", code=code, what=found, done=mended, place=place),)
