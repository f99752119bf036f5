"""What of a paddock's money follows prices and response, which other paddocks share, and what its own readings."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.costs.lines import Lines
from hardpan.records.ledger import Rates
from hardpan.records.plan import Plan
from hardpan.records.totals import Total

_FEW = 4
"""Draws for each common input that are needed to tell what follows it; with fewer, all counts as shared."""


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
