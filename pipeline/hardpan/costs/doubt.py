"""How sure the plan is: what the doubt about its return comes from, and what of its money other paddocks share."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.costs.lines import Lines
from hardpan.records.ledger import Driver, Rates, Total
from hardpan.records.options import Options
from hardpan.records.plan import Plan

EITHER_WAY = (0.4, 0.6)
"""Ripping or leaving is open where ripping pays in this share of the draws."""

_FEW = 4
"""Draws for each common input that are needed to tell what follows it; with fewer, all counts as shared."""


def doubt_by_input(plan: Plan, options: Options, rates: Rates) -> pd.DataFrame:
    """One row an input, largest first: `input`, `share` of the variance of the plan's net return.

    The share is the squared correlation with the return over the joint draws; the inputs are drawn apart from one
    another, so the shares add up to about 1; what is left is that of the pan and of the exponents of draft. No rows
    where nothing is ripped or nothing varies.
    """
    shares = _shares(plan.returns, plan.zones["depth_mm"].to_numpy() > 0, plan, options, rates)
    table = pd.DataFrame({"input": [str(one) for one in shares], "share": list(shares.values())})
    return table[table["share"] > 0.0].sort_values("share", ascending=False, kind="stable", ignore_index=True)


def _shares(returns: Floats, rows: Bools, plan: Plan, options: Options, rates: Rates) -> dict[Driver, float]:
    """Share of each input in the variance of `returns` (n_zones, n_draws) of some rows; empty where nothing varies."""
    net = returns[rows].sum(axis=0)
    if net.std() == 0.0:
        return {}
    drawn = _inputs(plan.zones[rows], options, rates)
    shares = {name: _squared_correlation(draws, net) for name, draws in drawn.items()}
    return shares | {Driver.PAN: max(0.0, 1.0 - sum(shares.values()))}


def _inputs(zones: pd.DataFrame, options: Options, rates: Rates) -> dict[Driver, Floats]:
    """Draws of each input, shape (n_draws,); those by soil type weighted by the ground of `zones`."""
    ripped_ha = zones.groupby("soil_type")["area_ha"].sum()
    by_soil = rates.scenarios.sel(soil_type=list(ripped_ha.index))
    return {
        Driver.GAIN: by_soil["first_year_t_per_ha"].to_numpy() @ ripped_ha.to_numpy(),
        Driver.LASTING: by_soil["lasting"].to_numpy() @ ripped_ha.to_numpy(),
        Driver.GRAIN: rates.scenarios["grain_per_t"].to_numpy(),
        Driver.FUEL: rates.scenarios["fuel"].to_numpy(),
        Driver.MACHINES: rates.scenarios["per_hour"].to_numpy(),
        Driver.WEAR: rates.scenarios["wear_per_ha"].to_numpy(),
        Driver.DRAFT: options.draft.factor,
    }


def _squared_correlation(drawn: Floats, net: Floats) -> float:
    """Squared correlation, 0 where the input is known."""
    most = np.abs(drawn).max()
    if drawn.shape != net.shape or most == 0.0 or np.ptp(drawn / most) <= 1e-9:
        return 0.0
    return float(np.corrcoef(drawn / most, net)[0, 1] ** 2)


def open_ha(plan: Plan) -> float:
    """Area of the ground where ripping, as planned or as the next best to leaving, may as well pay as not, ha."""
    return float(plan.zones.loc[_is_open(plan), "area_ha"].sum())


def open_by(plan: Plan, options: Options, rates: Rates) -> Driver | None:
    """Input that most of the doubt about the return of the open ground comes from; None where nothing is open."""
    shares = _shares(_ripping(plan), _is_open(plan), plan, options, rates)
    return max(shares, key=lambda one: shares[one], default=None)


def _ripping(plan: Plan) -> Floats:
    """Returns of ripping, as planned or as the next best to leaving, (n_zones, n_draws)."""
    ripped = plan.zones["depth_mm"].to_numpy() > 0
    return np.where(ripped[:, np.newaxis], plan.returns, plan.runner_up_returns)


def _is_open(plan: Plan) -> Bools:
    pays = (_ripping(plan) > 0.0).mean(axis=1)
    is_open: Bools = (pays >= EITHER_WAY[0]) & (pays <= EITHER_WAY[1])
    return np.asarray(is_open & (plan.zones["kind"] == "ground").to_numpy())


def split_totals(drawn: Lines, lines: pd.DataFrame, plan: Plan, rates: Rates, draft: Floats) -> Mapping[str, Total]:
    """Every total of the ledger with its draws in two parts, shared and own, that add up to them.

    Parameters
    ----------
    drawn : Lines
        Draws of every zone and item.
    lines : DataFrame
        Lines of the ledger, for the figures that are told.
    draft : (n_draws,)
        Factor on the draft of the soil, the same draws in every paddock.
    """
    common = _common(plan, rates, draft)
    told = lines[lines["zone"] == "total"].set_index("item")
    out = {}
    for item, row in told.iterrows():
        money = np.sum([each for (_, name), (_, _, each) in drawn.items() if name == item], axis=0)
        shared = follow(money, common)
        out[str(item)] = Total(
            quantity=float(row["quantity"]), unit=str(row["unit"]), amount=float(row["amount"]),
            low=float(row["low"]), high=float(row["high"]), shared=shared, own=money - shared,
        )  # fmt: skip
    return out


def follow(money: Floats, common: Floats) -> Floats:
    """Part of some draws, (n_draws,), that follows others, by least squares with an intercept.

    Parameters
    ----------
    money : (n_draws,)
    common : (n_draws, n_inputs)
        Inputs; all of `money` where the draws are fewer than `_FEW` for each.

    Notes
    -----
    Money is linear in these inputs, with factors that depend on the paddock's readings: what is left has mean 0 given
    them. With n draws and k inputs the share k / n of the own part falls to the shared part by chance, which makes sums
    over paddocks look a little less sure than they are.

    >>> price = np.array([1.0, 2.0, 3.0, 4.0, 1.0, 2.0, 3.0, 4.0])
    >>> own = np.array([1.0, -1.0, -1.0, 1.0, -1.0, 1.0, 1.0, -1.0])
    >>> follow(10.0 * price + own, price[:, np.newaxis]).round(6).tolist()
    [10.0, 20.0, 30.0, 40.0, 10.0, 20.0, 30.0, 40.0]
    """
    varying = common[:, np.ptp(common, axis=0) > 0.0]
    if money.size < _FEW * (varying.shape[1] + 1):
        return money
    inputs = np.column_stack([np.ones_like(money), (varying - varying.mean(axis=0)) / varying.std(axis=0)])
    factors = np.linalg.lstsq(inputs, money, rcond=1e-9)[0]
    return np.asarray(inputs @ factors)


def _common(plan: Plan, rates: Rates, draft: Floats) -> Floats:
    """Inputs that paddocks share, (n_draws, n_inputs): worth on each soil type ripped, prices, draft and its cost."""
    drawn = rates.scenarios
    ripped = sorted(set(plan.zones.loc[plan.zones["depth_mm"] > 0, "soil_type"]))
    worth = drawn["worth_per_ha"].sel(soil_type=ripped).to_numpy().reshape(draft.size, len(ripped))
    names = [str(name) for name in drawn.data_vars if drawn[name].dims == ("draw",)]
    prices = np.column_stack([drawn[name].to_numpy() for name in names])
    by_draft = [draft, *(draft * drawn[name].to_numpy() for name in ("per_hour", "per_litre"))]
    return np.column_stack([worth, prices, *by_draft])
