"""How to set tractor and ripper up before the first run: ballast, balance, level, and what to dig for."""

import numpy as np
import pandas as pd

from hardpan.core.units import W_PER_HP
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome

COLUMNS = ["topic", "advice", "source"]


def setting_up(catalog: Catalog, machine: pd.DataFrame, zones: pd.DataFrame) -> pd.DataFrame:
    """Give one row a topic: `topic`, `advice`, `source`.

    Parameters
    ----------
    machine : DataFrame
        `Plan.machine`.
    zones : DataFrame
        `Plan.zones`.
    """
    rows = [("ballast", ballast_advice(catalog)[0], _source(catalog, "ballast"))]
    front = catalog.effort.front_share.get(catalog.tractor.drive)
    if front is not None:
        low, high = front.span
        share = f"{low:.0%} to {high:.0%}" if high > low else f"{front.value:.0%}"
        rows.append(
            ("balance", f"With the ripper in the ground {share} of the weight sits at the front.", front.source)
        )
    if len(machine):
        slip, hardest = machine["slip"].max(), machine["zone"].iloc[int(machine["slip"].argmax())]
        usual = catalog.effort.slip[catalog.tractor.drive]
        much = f"above {usual.span[1]:.0%} slow down, add weight or go shallower"
        text = f"Expect up to {slip:.0%} slip, in zone {hardest}; {much}."
        rows.append(("slip", text, usual.source))
    level = "Level the frame lengthwise and across at working depth, so that every tine runs equally deep."
    rows.append(("level", level, "common practice"))
    rows += [
        row
        for name in dict.fromkeys(zones.loc[zones["depth_mm"] > 0, "setup"])
        for row in _fitting(catalog, name, zones)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def ballast_advice(catalog: Catalog) -> tuple[str, bool]:
    """Give the ballast check in words, and whether the mass lies in the usual range (also where none is stated)."""
    tractor, effort = catalog.tractor, catalog.effort
    usual = effort.ballast.get(tractor.drive)
    if usual is None:
        return "No usual weight is on file for this drive: follow the tractor's manual.", True
    pto_hp = tractor.engine_power.value * effort.fuel["engine_to_pto"].value * 1000.0 / W_PER_HP
    ratio, (low, high) = tractor.mass.value / pto_hp, usual.span
    verdict = "within" if low <= ratio <= high else ("below" if ratio < low else "above")
    each = f"{tractor.mass.value:,.0f} kg on {pto_hp:.0f} PTO horsepower is {ratio:.0f} kg a horsepower"
    text = f"{each}, {verdict} the usual {low:.0f} to {high:.0f} kg."
    return text, verdict == "within"


def ballast_issues(catalog: Catalog) -> Issues:
    """Say where the tractor is much lighter or heavier than usual for its power."""
    text, usual = ballast_advice(catalog)
    if usual:
        return ()
    done = "grip and slip were reckoned with that weight; more of it packs the soil deeper"
    return (Issue(outcome=Outcome.WARN, stage="prescription", code="ballast", what=text, done=done, place="tractor"),)


def _source(catalog: Catalog, table: str) -> str:
    usual = getattr(catalog.effort, table).get(catalog.tractor.drive)
    return "common practice" if usual is None else str(usual.source)


def _fitting(catalog: Catalog, name: str, zones: pd.DataFrame) -> list[tuple[str, str, str]]:
    """Give what to set and to dig for with one set-up."""
    setup = catalog.setups[name]
    depths = zones.loc[zones["setup"] == name, "depth_mm"]
    rows = []
    if setup.leading_depth_share is not None:
        share = setup.leading_depth_share
        shallow, deep = (10 * round(share.value * depth / 10) for depth in (depths.min(), depths.max()))
        run = f"{shallow} mm" if shallow == deep else f"{shallow} to {deep} mm"
        rows.append(
            ("leading tines", f"Run them in line at {share.value:.0%} of the working depth, {run}.", share.source)
        )
    gap_mm = catalog.ripper.spacing.value - setup.foot_width.value
    ridge_mm = max(0.0, gap_mm) / 2.0 * np.tan(np.radians(setup.side_angle.value))
    ridge = f"expect a ridge of unbroken soil, about {10 * round(ridge_mm / 10)} mm high, midway between them"
    text = f"Dig across two tine lines after the first run: {ridge}."
    rows.append((f"dig behind the {setup.says}", text, setup.side_angle.source))
    return rows
