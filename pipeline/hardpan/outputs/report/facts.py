"""What the report says of each zone and of the run as a whole, taken from the records."""

import numpy as np
import pandas as pd
import shapely

from hardpan.core.said import Measure
from hardpan.outputs.words.columns import restated, squared, tabulated, tallied
from hardpan.outputs.words.interface import Words
from hardpan.outputs.words.told import (
    told_conditions,
    told_issues,
    told_machine,
    told_models,
    told_moisture,
    told_steps,
)
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Verdict
from hardpan.records.evidence import PaddockRun
from hardpan.records.issues import Issues
from hardpan.records.pan import Bottom
from hardpan.records.quantity import Quantity
from hardpan.records.survey import DatumMove

_STEP_MM = 25.0
"""Readings are pooled in steps of this depth for the profile chart."""

_LIKELY_LOSS = 0.25
"""A zone with a larger chance of a loss is named among the doubts."""

_SURE = 0.8
"""A smaller chance of finishing is named among the doubts."""

_STOPPED = ("refusal", "device limit")

_LEAST_SHARE = 0.005
"""Inputs with a smaller share of the variance are not told."""

_MAP = "kriging"
"""Method of `Surfaces.scores` that the maps are made by."""

FEW_SITES = 10
"""Fewer sites than this are called few (common practice: under about 10 a map is hardly more than a mean)."""


NO_READINGS = pd.DataFrame(columns=["depth_mm", "low_kpa", "mid_kpa", "high_kpa", "kpa"], dtype=float)
"""Stands for a zone in which nobody probed."""


def zone_profiles(run: PaddockRun) -> dict[int, tuple[pd.DataFrame, pd.DataFrame]]:
    """What was read in each zone, by zone with any insertion.

    Returns
    -------
    dict
        Zone to two tables. `depth_mm`, `low_kpa`, `mid_kpa`, `high_kpa` (10, 50 and 90 %) of the insertions that went
        all the way: with those that stopped left in, the line would soften where the hard ones drop out. And
        `depth_mm`, `kpa` of the last reading of each that stopped.
    """
    readings = run.survey.profiles.readings
    points = shapely.points(readings["x_m"].to_numpy(), readings["y_m"].to_numpy())
    row, owner = shapely.STRtree(run.plan.zones.geometry.array).query(points, predicate="intersects")
    zone = pd.Series(run.plan.zones["zone"].to_numpy()[owner], index=row)
    zone = zone[~zone.index.duplicated()].reindex(range(len(points)))
    n_samples = readings.sizes["sample"]
    table = pd.DataFrame(
        {
            "zone": np.repeat(zone.to_numpy(float), n_samples),
            "insertion": np.repeat(np.arange(len(points)), n_samples),
            "stopped": np.repeat(np.isin(readings["stop"].to_numpy(), _STOPPED), n_samples),
            "depth_mm": readings["depth_mm"].to_numpy().ravel(),
            "kpa": readings["cone_index_kpa"].to_numpy().ravel(),
        }
    ).dropna()
    last = table[table["stopped"]].groupby("insertion").tail(1)
    whole = table[~table["stopped"]]
    pooled = whole.groupby(["zone", (whole["depth_mm"] / _STEP_MM).round() * _STEP_MM])["kpa"]
    ends = {"low_kpa": 0.1, "mid_kpa": 0.5, "high_kpa": 0.9}
    spread = pd.DataFrame({name: pooled.quantile(end) for name, end in ends.items()}).reset_index()
    zones = sorted(table["zone"].unique())
    return {int(number): (spread[spread["zone"] == number], last[last["zone"] == number]) for number in zones}


def zone_pans(run: PaddockRun) -> dict[int, tuple[float, float]]:
    """Mean mapped top and bottom of the pan in each zone, mm; NaN where none is mapped."""
    labels = run.zones.labels.ravel()
    maps = {name: run.surfaces.maps[name].to_numpy().ravel() for name in ("pan_top_mm", "pan_bottom_mm")}
    means = pd.DataFrame({"zone": labels, **maps}).groupby("zone").mean()
    return {
        int(number): (float(top), float(bottom))
        for number, (top, bottom) in zip(means.index, means.to_numpy(), strict=True)
    }


def doubts(run: PaddockRun, words: Words) -> list[str]:
    """What could be wrong, most telling first, one sentence each."""
    page = words.page
    readings, insertions = run.survey.profiles.readings, run.pan.insertions
    sites, n = len(np.unique(readings["site"].to_numpy())), len(insertions)
    stopped = int((insertions["bottom_kind"] == Bottom.CENSORED).sum())
    said = [words.money.moves_most(run.ledger.drivers), words.ground.map_verdict(run.surfaces.verdict)]
    said += [words.ground.plain_map(*one, near=near) for *one, near in plain_maps(run)]
    said.append(page.insertions(n, sites, few=sites < FEW_SITES))
    said += [page.stopped(stopped, n)] if stopped else []
    said.append(page.dates([str(date) for date in run.pan.dates["date"] if str(date)]))
    found = sensitivity(run)
    if len(found) > 1:
        rows = found[["present_share", "threshold_kpa", "pan_ha"]].itertuples(index=False, name=None)
        said.append(page.thresholds(list(rows)))
    said.append(words.money.hiring(run.ledger.hiring))
    ripped = run.plan.zones[run.plan.zones["depth_mm"] > 0]
    moisture = run.plan.moisture[run.plan.moisture["zone"].isin(ripped["zone"])]
    if (moisture["verdict"] == Verdict.UNKNOWN).any():
        said.append(page.label("moisture_unknown"))
    if run.outlook is not None and run.outlook.finishing is not None and run.outlook.finishing.chance < _SURE:
        said.append(words.weather.finishing(run.outlook))
    if shaky := len(unverified(run)):
        said.append(page.unverified(shaky))
    losing = ripped[ripped["loss_probability"] > _LIKELY_LOSS]
    if len(losing):
        said.append(page.losing(list(zip(losing["zone"], losing["loss_probability"], strict=True))))
    return [one for one in said if one]


def plain_maps(run: PaddockRun) -> list[tuple[str, str, bool]]:
    """Maps that forecast worse than the better yardstick: variable, yardstick, and whether at sites left out singly.

    Each is named once; of the pan's bottom at sites left out singly the verdict tells.
    """
    found: dict[str, tuple[str, str, bool]] = {}
    for (folds, variable), rows in run.surfaces.scores.groupby(["folds", "variable"], sort=False):
        score = rows.set_index("method")["crps"].dropna()
        near = folds == "site"
        if _MAP not in score or len(score) < 2 or (near and variable == "bottom"):
            continue
        plain = score.drop(_MAP)
        best = str(plain.idxmin())
        if float(score[_MAP]) > float(plain.min()):
            found.setdefault(str(variable), (str(variable), best, bool(near)))
    return list(found.values())


def tables(run: PaddockRun, issues: Issues, move: DatumMove, words: Words) -> dict[str, pd.DataFrame]:
    """Every table of the page by its key, in the units of tables."""
    plan, units = run.plan, words.units
    found = {
        "drivers": drivers(run, words),
        "lines": totals(run, words),
        "worth": run.rates.worth,
        "scores": restated(run.surfaces.scores, units, dict.fromkeys(("rmse", "bias", "crps"), 1)),
        "models": squared(told_models(run.surfaces, words), units, ("sill", "micro", "noise", "sill_se")),
        "sensitivity": sensitivity(run),
        "dates": run.pan.dates,
        "counts": run.zones.indices,
        "machine": told_machine(plan, words),
        "setting_up": told_steps(plan, words),
        "moisture": told_moisture(plan, words),
        "conditions": told_conditions(plan, run.catalog, words),
        "remarks_caption": told_issues(issues, words),
        "replaced": replaced(run, units),
        "unverified": restated(unverified(run), units, {"value": 1}),
        "defaults": restated(plan.defaults, units, {"value": 1}),
        "sources": sources(run),
        "moves": datum_moves((*run.survey.datum_moves, move)),
        "trail": trail(run),
    }
    return {name: tabulated(table, words) for name, table in found.items()}


def money_tables(run: PaddockRun, words: Words) -> dict[str, pd.DataFrame]:
    """Tables that are text all over."""
    money, ledger = words.money, run.ledger
    return {
        "fit_days": words.weather.fit_table(run.outlook),
        "weeks": words.weather.weeks(run.outlook),
        "machines_compared": money.machine_table(run.machines),
        "ways": money.ways(ledger.ways),
        "strategies": money.strategies(ledger.strategies),
        "investment": money.investment(ledger.investment),
        "when_again": money.when_again(ledger.when_again),
    }


def sensitivity(run: PaddockRun) -> pd.DataFrame:
    """What other thresholds would have found, with the ground that share of the insertions stands for."""
    ground_ha = run.plan.zones.loc[run.plan.zones["kind"] == "ground", "area_ha"].sum()
    table = run.pan.sensitivity
    return table.assign(pan_ha=table["present_share"] * ground_ha)


def unverified(run: PaddockRun) -> pd.DataFrame:
    """Shipped numbers the decision used that nobody could check, those that move the return most first.

    `moves` is the money that each moves the expected return by, NaN where this plan does not hang on it.
    """
    table = run.plan.defaults
    open_still = table[table["standing"].isin(["unverified", "from memory"])]
    money = {} if run.moves is None else run.moves.set_index("key")["money"].to_dict()
    ranked = open_still.assign(moves=open_still["key"].map(money).astype(float).round())
    return ranked.sort_values("moves", ascending=False, kind="stable", na_position="last", ignore_index=True)


def replaced(run: PaddockRun, units: Units) -> pd.DataFrame:
    """Shipped numbers that the user replaced, each beside his own, with range and unit."""
    rows = [
        (
            one.key,
            _ranged(one.shipped, units),
            _ranged(one.own, units),
            one.own.source if isinstance(one.own, Quantity) else "user",
        )
        for one in run.catalog.replaced
    ]
    return pd.DataFrame(rows, columns=["key", "shipped", "own", "source"])


def _ranged(number: Quantity | float, units: Units) -> str:
    """A number with its unit, and its ends where they differ."""
    if not isinstance(number, Quantity):
        return f"{number:g}"
    scale = units.of_unit(number.unit)
    low, value, high = (end / scale.size for end in number.ends)
    ends = f" ({low:.4g} to {high:.4g})" if low < high else ""
    return f"{value:.4g}{ends} {scale.unit}"


def drivers(run: PaddockRun, words: Words) -> pd.DataFrame:
    """What the doubt about the return comes from, in per cent; inputs under half a per cent are left out."""
    table = run.ledger.drivers
    if table.empty:
        return table
    table = table[table["share"] >= _LEAST_SHARE]
    names = [words.money.label(one) for one in table["input"]]
    return table.assign(input=names, share=[words.units.share(one) for one in table["share"]])


def totals(run: PaddockRun, words: Words) -> pd.DataFrame:
    """Quantities and money in all, one row an item; fuel in whole litres or gallons, as wherever else it is told."""
    total = run.ledger.lines[run.ledger.lines["zone"] == "total"].drop(columns="zone")
    fuel, step_l = total["item"] == "fuel", words.units.scale(Measure.VOLUME).size
    total.loc[fuel, "quantity"] = step_l * (total.loc[fuel, "quantity"] / step_l).round()
    named = total.assign(item=[words.money.label(one) for one in total["item"]])
    return tallied(named, words.units)


def sources(run: PaddockRun) -> pd.DataFrame:
    """Every source of the shipped tables with its standing."""
    references = run.catalog.references
    names = ("authors", "year", "title", "where", "standing")
    rows = [[key, *(str(getattr(source, name)) for name in names)] for key, source in sorted(references.items())]
    return pd.DataFrame(rows, columns=["key", *names])


def datum_moves(moves: tuple[DatumMove, ...]) -> pd.DataFrame:
    """One row a file: from where to where, by which operation, how well."""
    names = ("file", "from_crs", "to_crs", "operation", "accuracy_m")
    return pd.DataFrame([[getattr(move, name) for name in names] for move in moves], columns=list(names))


def trail(run: PaddockRun) -> pd.DataFrame:
    """Seed, digests and versions."""
    rows = [
        ("plan", run.trail.plan_number),
        ("seed", str(run.trail.seed)),
        ("settings, SHA-256", run.trail.settings_digest),
    ]
    rows += [(f"{name}, SHA-256", str(digest)) for name, digest in run.trail.inputs.items()]
    rows += [(f"{name}, version", str(version)) for name, version in run.trail.versions.items()]
    return pd.DataFrame(rows, columns=["what", "value"])
