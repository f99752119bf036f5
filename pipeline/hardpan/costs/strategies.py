"""The plan beside a contractor, uniform depths, leaving the pan alone and other ways to work, from the same draws."""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.said import Said, per_ha
from hardpan.core.units import sign_of
from hardpan.costs.lines import net_figures
from hardpan.records.advice import Cheaper, Hiring
from hardpan.records.issues import Issue, Issues
from hardpan.records.ledger import Strategy
from hardpan.records.options import Options, Uniform
from hardpan.records.plan import Plan, Tried, WaySum
from hardpan.records.prices import PriceTable
from hardpan.records.reasons import Way


def compare_strategies(
    plan: Plan,
    options: Options,
    lines: pd.DataFrame,
    *,
    usual_depth_mm: float,
    your_depth_mm: float | None,
    saved_by_hiring: Floats | None,
) -> pd.DataFrame:
    """One row a strategy, money for the paddock: prescription, it by a contractor, uniform depths, no ripping.

    A uniform depth is the candidate nearest to it, with the set-up that may rip most of the ground, of those the one
    that returns most; ground where a limit forbids it is left, and in proportion what the plan keeps clear: ground in
    which tines rise beside buried services, and check strips. `best uniform` has depth 0 where no uniform depth pays.
    The prescription pays for setting its zones, whoever drives; a uniform depth does not.

    Parameters
    ----------
    your_depth_mm : float or None
        Uniform depth the user asked to compare with.
    saved_by_hiring : array of shape (n_draws,)
        Cost of the own machine less that of a contractor; None: no contractor is compared.
    """
    options = _off_kept_ground(options, plan)
    asked = {Strategy.USUAL: usual_depth_mm, Strategy.YOURS: your_depth_mm}
    chosen = {name: _nearest(options, mm) for name, mm in asked.items() if mm is not None}
    chosen |= {Strategy.BEST: int(_expected(options).argmax()), Strategy.NONE: 0}
    total = lines[lines["zone"] == "total"].set_index("item")
    ours = plan.returns.sum(axis=0)
    rows, nets = [_prescription(plan, total, ours)], [ours]
    if saved_by_hiring is not None:
        nets.append(ours + saved_by_hiring)
        rows.append(_hired(rows[0], nets[-1], saved=float(saved_by_hiring.mean())))
    nets += [options.uniform.returns[option] for option in chosen.values()]
    table = pd.DataFrame([*rows, *(_uniform(*pick, options) for pick in chosen.items())])
    return table.assign(worse_probability=[float((net < ours).mean()) for net in nets])


def _off_kept_ground(options: Options, plan: Plan) -> Options:
    """Options with the uniform passes on no more ground than the plan has outside of exclusions and strips."""
    ground_ha = plan.zones.loc[plan.zones["kind"] == "ground", "area_ha"].sum()
    share = min(1.0, ground_ha / options.node_ha.sum())
    whole = options.uniform
    return replace(options, uniform=Uniform(**{one.name: share * getattr(whole, one.name) for one in fields(whole)}))


def _prescription(plan: Plan, total: pd.DataFrame, net: Floats) -> dict[str, Any]:
    amount, quantity = total["amount"], total["quantity"]
    ripped = plan.zones["depth_mm"] > 0
    return _row(
        Strategy.PLAN,
        net,
        depth_mm=float("nan"),
        ripped_ha=float(plan.zones.loc[ripped, "area_ha"].sum()),
        cost=float(amount.get("cost", 0.0)),
        fuel_l=float(quantity.get("fuel", 0.0)),
        hours=float(quantity.get("hours", 0.0)),
    )


def _hired(prescription: dict[str, Any], net: Floats, *, saved: float) -> dict[str, Any]:
    """Row of the same plan by a contractor, whose hours and fuel are not known."""
    return _row(
        Strategy.CONTRACTOR,
        net,
        depth_mm=float("nan"),
        ripped_ha=prescription["ripped_ha"],
        cost=prescription["cost"] - saved,
        fuel_l=float("nan"),
        hours=float("nan"),
    )


def _uniform(strategy: Strategy, option: int, options: Options) -> dict[str, Any]:
    return _row(
        strategy,
        options.uniform.returns[option],
        depth_mm=float(options.table["depth_mm"].iloc[option]),
        ripped_ha=float(options.uniform.ripped_ha[option]),
        cost=float(options.uniform.costs[option].mean()),
        fuel_l=float(options.uniform.fuel_l[option].mean()),
        hours=float(options.uniform.hours[option].mean()),
    )


def _row(
    strategy: Strategy, net: Floats, *, depth_mm: float, ripped_ha: float, cost: float, fuel_l: float, hours: float
) -> dict[str, Any]:
    figures = net_figures(net)
    return {
        "strategy": str(strategy),
        "depth_mm": depth_mm,
        "ripped_ha": ripped_ha,
        "cost": cost,
        "fuel_l": fuel_l,
        "hours": hours,
        "benefit": figures["net"] + cost,
        **figures,
    }


def _expected(options: Options) -> Floats:
    """Expected return of leaving and of every option that rips some ground, -inf for the others, (n_options,)."""
    some = (options.uniform.ripped_ha > 0.0) | (options.table["depth_mm"].to_numpy() == 0)
    return np.where(some, options.uniform.returns.mean(axis=1), -np.inf)


def _nearest(options: Options, depth_mm: float) -> int:
    """Position of the option nearest in depth, of those the one that may rip most and then returns most.

    0 where the machine can pull none.
    """
    expected, ripped_ha = _expected(options), options.uniform.ripped_ha
    away = np.abs(options.table["depth_mm"].to_numpy(dtype=float) - depth_mm)
    rips = ripped_ha > 0.0
    if not rips.any():
        return 0
    near = rips & (away == away[rips].min())
    most = near & (ripped_ha >= ripped_ha[near].max() - 1e-6)
    return int(np.where(most, expected, -np.inf).argmax())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hire:
    """Drawn money of the same work done by either, shape (n_draws,)."""

    own: Floats
    hired: Floats
    owning: Floats
    """Part of `own` that is paid whether the machine works or not."""

    @property
    def saved(self) -> Floats:
        """What hiring saves."""
        return self.own - self.hired


def judge_hiring(hire: Hire, prices: PriceTable, ripped_ha: float) -> Hiring | None:
    """Comparison of the two by ha, None where the own machine is surely cheaper.

    Sure is what nine draws in ten say: the 5 and 95 % points of what hiring saves lie on one side of nothing.
    """
    low, high = (float(end) / ripped_ha for end in np.quantile(hire.saved, [0.05, 0.95]))
    if high <= 0.0:
        return None
    own, hired, owning = (float(money.mean()) / ripped_ha for money in (hire.own, hire.hired, hire.owning))
    return Hiring(
        cheaper=Cheaper.CONTRACTOR if low > 0.0 else Cheaper.LEVEL,
        own=own,
        hired=hired,
        owning=owning,
        low=low,
        high=high,
        quoted=prices.contractor_per_ha is not None and prices.contractor_per_ha.source == "user",
    )


def hiring_issues(hiring: Hiring | None, currency: str) -> Issues:
    """Remark on a contractor who is cheaper, or of whom it cannot be told."""
    if hiring is None:
        return ()
    sign = sign_of(currency)
    money = {name: per_ha(getattr(hiring, name), sign) for name in ("own", "hired", "owning", "high")}
    end = "hiring saves {low} to {high}"
    low = per_ha(hiring.low, sign, bare=True)
    if hiring.cheaper is Cheaper.LEVEL:
        end = "which is cheaper cannot be told (hiring: {low} dearer to {high} cheaper)"
        low = per_ha(-hiring.low, sign)
    what = Said(
        "the same work costs about {own} with your own machine and {hired} by a contractor{doubt}: "
        + end
        + "; {owning} of your own is for owning it, and is paid whether it works here or not",
        doubt="" if hiring.quoted else " (not a quote)",
        low=low,
        **money,
    )
    done = "priced and decided with your own machine; ask for a quote, with what it includes, and give it in [prices]"
    code = str(hiring.cheaper)
    return (Issue("costs", code, what, done, file="prices.toml"),)


def sum_ways(plan: Plan, prescription: pd.Series) -> tuple[WaySum, ...]:
    """The plan as the ledger has it, then what else was tried; none where nothing else was.

    Parameters
    ----------
    prescription : Series
        Row of the plan in `Ledger.strategies`.
    """
    if not plan.ways:
        return ()
    names = ("ripped_ha", "cost", "net", "net_low", "net_high", "loss_probability", "hours", "fuel_l")
    depths = {int(depth) for depth in plan.zones["depth_mm"] if depth > 0}
    own = WaySum(way=Way.FULL, depths_mm=tuple(sorted(depths)), **{name: float(prescription[name]) for name in names})
    return (own, *(_summed(tried) for tried in plan.ways))


def _summed(tried: Tried) -> WaySum:
    return WaySum(
        way=tried.way,
        ripped_ha=float(tried.ripped_ha.sum()),
        depths_mm=tuple(sorted({best.depth_mm for best in tried.best if best is not None})),
        cost=float(tried.cost.sum(axis=0).mean()),
        hours=float(tried.hours.sum(axis=0).mean()),
        fuel_l=float(tried.fuel_l.sum(axis=0).mean()),
        power_kw=tried.power_kw,
        **net_figures(tried.net.sum(axis=0)),
    )
