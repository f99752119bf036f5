"""What the report says of each zone and of the run as a whole, taken from the records."""

import numpy as np
import pandas as pd
import shapely

from hardpan.outputs.people import MISSING, People, share
from hardpan.records.evidence import PaddockRun
from hardpan.records.survey import DatumMove

_STEP_MM = 25.0
"""Readings are pooled in steps of this depth for the profile chart."""

_LIKELY_LOSS = 0.25
"""A zone with a larger chance of a loss is named among the doubts."""

_STOPPED = ("refusal", "device limit")

_COUNTED = {"hours": "hours", "fuel_l": "fuel"}
"""Quantity to the ledger's item."""

_PARTS = {
    "for fuel and lubricant": ["fuel", "lubricant"],
    "for labour": ["labour"],
    "for owning tractor and ripper (depreciation, interest, housing)": ["tractor ownership", "ripper ownership"],
    "for repairs": ["tractor repairs", "ripper repairs"],
    "for points and wear": ["points and wear"],
    "for setting further zones": ["further zone"],
}
"""What a reader knows the cost by, and the ledger's items in it."""

_RESPONSES = {
    "break_even_t_per_ha": ("extra grain that pays the cost", "{:.2f} t/ha"),
    "gain_t_per_ha": ("gain expected in the first season", "{:.2f} t/ha"),
    "break_even_first_year_t_per_ha": ("gain in the first season that just pays", "{:.2f} t/ha"),
    "lime_removed_kg_per_ha": ("lime the extra grain takes off", "{:.1f} kg/ha"),
}
"""Column of the ledger to its heading and how its numbers are written."""

FEW_SITES = 10
"""Fewer sites than this are called few (GEOSTATISTICS: under about 10 a map is hardly more than a mean)."""


NO_READINGS = pd.DataFrame(columns=["depth_mm", "low_kpa", "mid_kpa", "high_kpa", "kpa"], dtype=float)
"""Stands for a zone in which nobody probed."""


def zone_profiles(run: PaddockRun) -> dict[int, tuple[pd.DataFrame, pd.DataFrame]]:
    """Give what was read in each zone, by zone with any insertion.

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
    """Give the mean mapped top and bottom of the pan in each zone, mm; NaN where none is mapped."""
    labels = run.zones.labels.ravel()
    maps = {name: run.surfaces.maps[name].to_numpy().ravel() for name in ("pan_top_mm", "pan_bottom_mm")}
    means = pd.DataFrame({"zone": labels, **maps}).groupby("zone").mean()
    return {
        int(number): (float(top), float(bottom))
        for number, (top, bottom) in zip(means.index, means.to_numpy(), strict=True)
    }


def doubts(run: PaddockRun) -> list[str]:
    """Give what could be wrong, most telling first, one sentence each."""
    said = [run.surfaces.verdict]
    readings, insertions = run.survey.profiles.readings, run.pan.insertions
    sites = len(np.unique(readings["site"].to_numpy()))
    n, stopped = len(insertions), int((insertions["bottom_kind"] == "right-censored").sum())
    said.append(f"{n} insertions at {sites} sites carry the map" + (": that is few." if sites < FEW_SITES else "."))
    if stopped:
        said.append(
            f"{stopped} of {n} insertions stopped inside or above the pan: there its bottom is at least as deep as the "
            "rod went, and the map says so by a wider range."
        )
    dates = [str(date) for date in run.pan.dates["date"] if str(date)]
    said.append(
        f"The readings were taken on {', '.join(dates)}: soil reads harder when dry, so they stand for that moisture."
        if dates
        else "No date is known for the readings: soil reads harder when dry, so the pan may be over- or understated."
    )
    said += [*_threshold(run), run.ledger.hiring]
    ripped = run.plan.zones.loc[run.plan.zones["depth_mm"] > 0, "zone"]
    moisture = run.plan.moisture[run.plan.moisture["zone"].isin(ripped)]
    if (moisture["verdict"] == "not known").any():
        said.append("Whether the soil is moist to working depth is not known: dig and test by hand before starting.")
    shaky = unverified(run)
    if len(shaky):
        count = "One number" if len(shaky) == 1 else f"{len(shaky)} numbers"
        said.append(f"{count} behind the decision could not be checked against a source; see the list below.")
    losing = run.plan.zones[(run.plan.zones["depth_mm"] > 0) & (run.plan.zones["loss_probability"] > _LIKELY_LOSS)]
    if len(losing):
        chances = zip(losing["zone"], losing["loss_probability"], strict=True)
        named = ", ".join(f"zone {zone} (chance of a loss {share(chance)})" for zone, chance in chances)
        said.append(f"May well not pay back: {named}.")
    return [one for one in said if one]


def _threshold(run: PaddockRun) -> list[str]:
    table = sensitivity(run)
    if len(table) < 2:
        return []
    found = [
        f"{share:.0%} at {kpa / 1000:g} MPa (about {hectares:.0f} ha)"
        for share, kpa, hectares in zip(table["present_share"], table["threshold_kpa"], table["pan_ha"], strict=True)
    ]
    return [f"The threshold matters: of the insertions a pan is found in {', '.join(found)}."]


def sensitivity(run: PaddockRun) -> pd.DataFrame:
    """Give what other thresholds would have found, with the ground that share of the insertions stands for."""
    ground_ha = run.plan.zones.loc[run.plan.zones["kind"] == "ground", "area_ha"].sum()
    table = run.pan.sensitivity
    return table.assign(pan_ha=table["present_share"] * ground_ha)


def unverified(run: PaddockRun) -> pd.DataFrame:
    """Give the shipped numbers the decision used that nobody could check."""
    table = run.plan.defaults
    return table[table["standing"].isin(["unverified", "from memory"])]


def zone_quantities(run: PaddockRun) -> dict[int, dict[str, float]]:
    """Give hours and litres of each zone as the ledger counts them, 0 where nothing is ripped."""
    lines = run.ledger.lines
    counted = {name: lines[lines["item"] == item].set_index("zone")["quantity"] for name, item in _COUNTED.items()}
    return {
        int(zone): {name: float(numbers.get(str(zone), 0.0)) for name, numbers in counted.items()}
        for zone in run.plan.zones["zone"]
    }


def strategies(run: PaddockRun, people: People) -> pd.DataFrame:
    """Give the strategies in the reader's units, one row each."""
    rows = [
        {
            "strategy": row["strategy"],
            "depth": people.depth(row["depth_mm"]) if row["depth_mm"] > 0 else MISSING,
            "ripped": people.area(row["ripped_ha"]),
            "cost": row["cost"],
            "fuel": people.fuel(row["fuel_l"]),
            "time": people.hours(row["hours"]),
            "benefit": row["benefit"],
            "return": row["net"],
            "likely from": row["net_low"],
            "likely to": row["net_high"],
            "chance of a loss": share(row["loss_probability"]),
            "chance the plan beats it": share(row.get("worse_probability", np.nan)) if number else MISSING,
        }
        for number, row in enumerate(run.ledger.strategies.to_dict("records"))
    ]
    return pd.DataFrame(rows)


def drivers(run: PaddockRun) -> pd.DataFrame:
    """Give what the doubt about the return comes from, in per cent; inputs under half a per cent are left out."""
    table = run.ledger.drivers
    if table.empty:
        return table
    table = table[table["share"] >= 0.005]
    return table.assign(share=[share(one) for one in table["share"]])


def investment(run: PaddockRun, people: People) -> pd.DataFrame:
    """Give return, payback and break-even response of each ripped zone in the reader's units."""
    table = run.ledger.investment
    said = {"zone": table["zone"], "return": [people.per_area(one) for one in table["npv_per_ha"]]}
    paid = table["payback_seasons"]
    said["paid back after"] = [f"{one:.1f} seasons" if np.isfinite(one) else "never" for one in paid]
    for name, (heading, amount) in _RESPONSES.items():
        if name in table:
            said[heading] = [people.text(amount.format(one)) if np.isfinite(one) else MISSING for one in table[name]]
    return pd.DataFrame(said)


def when_again(run: PaddockRun, people: People) -> pd.DataFrame:
    """Give after how many seasons each ripped zone is due, how deep then, and whether that costs more."""
    table = run.ledger.when_again
    return pd.DataFrame(
        {
            "zone": table["zone"],
            "after seasons": [
                f"{low:g}" if low == high else f"{low:g} to {high:g}"
                for low, high in zip(table["seasons_low"], table["seasons_high"], strict=True)
            ],
            "depth then": [people.depth(depth) for depth in table["depth_mm"]],
            "costs more then": table["costs_rise"],
            "why": [people.text(why) for why in table["why"]],
        }
    )


def cost_made_of(run: PaddockRun, people: People) -> str:
    """Give what the cost per area is made of and how the machines are charged; "" where nothing is ripped."""
    lines = run.ledger.lines
    total = lines[lines["zone"] == "total"].set_index("item")
    if "cost" not in total.index:
        return ""
    per_ha = total["amount"].astype(float) / float(total["quantity"]["cost"])
    sums = {name: float(per_ha.reindex(items).sum()) for name, items in _PARTS.items()}
    parts = [f"{people.per_area(cost)} {name}" for name, cost in sums.items() if cost > 0.0]
    tractor, ripper = (one.hours_per_year.value for one in (run.catalog.tractor, run.catalog.ripper))
    return (
        f"The cost of {people.per_area(float(per_ha['cost']))} is {', '.join(parts)}. Owning is charged as for a "
        f"tractor used {tractor:,.0f} h a year and a ripper used {ripper:,.0f} h a year: used less, they cost more."
    )


def sources(run: PaddockRun) -> pd.DataFrame:
    """Give every source of the shipped tables with its standing."""
    references = run.catalog.references
    names = ("authors", "year", "title", "where", "standing")
    rows = [[key, *(str(getattr(source, name)) for name in names)] for key, source in sorted(references.items())]
    return pd.DataFrame(rows, columns=["key", *names])


def datum_moves(moves: tuple[DatumMove, ...]) -> pd.DataFrame:
    """Give one row a file: from where to where, by which operation, how well."""
    names = ("file", "from_crs", "to_crs", "operation", "accuracy_m")
    return pd.DataFrame([[getattr(move, name) for name in names] for move in moves], columns=list(names))


def trail(run: PaddockRun) -> pd.DataFrame:
    """Give seed, digests and versions."""
    rows = [("seed", str(run.trail.seed)), ("settings, SHA-256", run.trail.settings_digest)]
    rows += [(f"{name}, SHA-256", str(digest)) for name, digest in run.trail.inputs.items()]
    rows += [(f"{name}, version", str(version)) for name, version in run.trail.versions.items()]
    return pd.DataFrame(rows, columns=["what", "value"])
