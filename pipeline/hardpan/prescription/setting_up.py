"""How to set tractor and ripper up before the first run, what to dig for after it, and the ripping before."""

from collections.abc import Iterator, Mapping

import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.said import Amount, Measure, Said, depth
from hardpan.core.units import W_PER_HP
from hardpan.options import change_cost, ridge_mm
from hardpan.records.advice import Step, Topic
from hardpan.records.catalog import Catalog
from hardpan.records.decision import HistorySettings
from hardpan.records.issues import Issue, Issues, Outcome


def steps_of(catalog: Catalog, machine: pd.DataFrame, zones: pd.DataFrame, fitting_h: Floats) -> tuple[Step, ...]:
    """What to set, in the order it is done.

    Parameters
    ----------
    machine : DataFrame
        `Plan.machine`.
    zones : DataFrame
        `Plan.zones`.
    fitting_h : (n_zones,)
        `Plan.fitting_h`.
    """
    drive, effort = catalog.tractor.drive, catalog.effort
    usual = effort.ballast.get(drive)
    source = "common practice" if usual is None else usual.source
    steps = [Step(topic=Topic.BALLAST, source=source, figures=ballast_figures(catalog))]
    front = effort.front_share.get(drive)
    if front is not None:
        low, high = front.span
        figures = {"low": low, "high": high} if high > low else {"low": front.value, "high": front.value}
        steps.append(Step(topic=Topic.BALANCE, source=front.source, figures=figures))
    if len(machine):
        hardest, slip = machine["zone"].iloc[int(machine["slip"].argmax())], effort.slip[drive]
        figures = {"slip": float(machine["slip"].max()), "zone": float(hardest), "usual": slip.span[1]}
        steps.append(Step(topic=Topic.SLIP, source=slip.source, figures=figures))
    steps.append(Step(topic=Topic.LEVEL, source="common practice"))
    if len(machine) and machine["tines"].iloc[0] < catalog.ripper.tines:
        figures = {"tines": float(machine["tines"].iloc[0]), "all_tines": float(catalog.ripper.tines)}
        steps.append(Step(topic=Topic.TINES, source="common practice", figures=figures))
    if hours := float(fitting_h.sum()):
        changes = zones.loc[zones["depth_mm"] > 0, "setup"].nunique() - 1
        figures = {"changes": float(changes), "hours": hours, "money": float(change_cost(catalog, hours))}
        steps.append(Step(topic=Topic.FITTINGS, source=effort.fitting_time.source, figures=figures))
    for name in dict.fromkeys(zones.loc[zones["depth_mm"] > 0, "setup"]):
        steps += _fitting(catalog, name, zones)
    return tuple(steps)


def ballast_figures(catalog: Catalog) -> Mapping[str, float]:
    """Mass, PTO power and the usual mass a horsepower, figures of `Topic.BALLAST`; none where none is stated."""
    tractor, effort = catalog.tractor, catalog.effort
    usual = effort.ballast.get(tractor.drive)
    if usual is None:
        return {}
    pto_hp = tractor.engine_power.value * effort.fuel["engine_to_pto"].value * 1000.0 / W_PER_HP
    return {"mass_kg": tractor.mass.value, "pto_hp": pto_hp, "low": usual.span[0], "high": usual.span[1]}


def ballast_issues(catalog: Catalog) -> Issues:
    """Remark on a tractor much lighter or heavier than usual for its power."""
    found = ballast_figures(catalog)
    if not found or found["low"] <= found["mass_kg"] / found["pto_hp"] <= found["high"]:
        return ()
    each = found["mass_kg"] / found["pto_hp"]
    mass = {name: Amount(kg, Measure.MASS) for name, kg in (("each", each), ("high", found["high"]))}
    what = Said(
        "{mass} on {pto_hp} PTO horsepower is {each} a horsepower, {verdict} the usual {low} to {high}.",
        mass=Amount(found["mass_kg"], Measure.MASS),
        pto_hp=f"{found['pto_hp']:.0f}",
        verdict="below" if each < found["low"] else "above",
        low=Amount(found["low"], Measure.MASS, bare=True),
        **mass,
    )
    done = "grip and slip were reckoned with that weight; more of it packs the soil deeper"
    return (Issue(stage="prescription", code="ballast", what=what, done=done, place="tractor"),)


def _fitting(catalog: Catalog, name: str, zones: pd.DataFrame) -> Iterator[Step]:
    """What to set and to dig for with one set-up."""
    setup = catalog.setups[name]
    worked = zones[zones["setup"] == name]
    depths, numbers = worked["depth_mm"], tuple(map(int, worked["zone"]))
    lead = setup.leading_depth_share
    if lead is not None:
        low, high = (10.0 * round(lead.value * mm / 10) for mm in (depths.min(), depths.max()))
        figures = {"share": lead.value, "low_mm": low, "high_mm": high}
        yield Step(topic=Topic.LEADING, source=lead.source, figures=figures, setup=name, zones=numbers)
    ridge = float(ridge_mm(setup.foot_width.value, catalog.ripper.spacing.value, setup.side_angle.value))
    figures = {"ridge_mm": 10.0 * round(ridge / 10)}
    yield Step(topic=Topic.DIG, source=setup.side_angle.source, figures=figures, setup=name, zones=numbers)


def last_ripping(history: HistorySettings) -> Issues:
    """Remark on how deep the paddock was ripped before."""
    if history.last_depth_mm is None:
        return ()
    when = f" in {history.last_ripped}" if history.last_ripped is not None else ""
    return (
        Issue(
            outcome=Outcome.ACCEPT,
            stage="prescription",
            code="ripped-before",
            what=Said("the paddock was ripped to {depth}{when}", depth=depth(history.last_depth_mm), when=when),
            done="the depths follow the pan that was probed since",
            place="[history]",
        ),
    )
