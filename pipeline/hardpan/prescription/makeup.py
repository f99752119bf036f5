"""What the expected return of each option in each zone is made of."""

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.options import ZoneEvaluation, by_cover, change_price
from hardpan.prescription.context import SETTING_ROUNDS, Context
from hardpan.records.makeup import Makeup


def makeup_of(context: Context, evaluation: ZoneEvaluation) -> Makeup:
    """Parts of the expected return of `evaluation`, before any zone is set."""
    ground, asked = context.ground, context.prescription
    on_soil = ground.soil[:, None] == np.arange(len(ground.soils))
    worth = np.where(context.useful, context.options.gain, 0.0)
    by_soil = np.stack([context.weights @ (worth * on[:, None]) for on in on_soil.T], axis=2)
    shares = context.weights @ on_soil
    parts = [_cost_parts(context, time, share) for time, share in zip(context.turning, shares, strict=True)]
    hours, fuel_l, fuel, capital = (np.stack(part) for part in zip(*parts, strict=True))
    return Makeup(
        zone=context.table["zone"].to_numpy(),
        soil_types=ground.soil_names,
        gain=evaluation.credit[:, :, 1, None] * by_soil,
        fuel=fuel,
        capital=capital,
        other=evaluation.cost - fuel - context.catalog.prices.discount_rate.value * capital,
        hours=hours,
        fuel_l=fuel_l,
        eligible=_eligible(context, evaluation),
        must_pay=asked.rule == "return",
        rounds=SETTING_ROUNDS,
        setups_fitted=asked.setups_per_paddock,
        change=change_price(context.catalog, context.options.tines),
    )


def _cost_parts(context: Context, turning: Floats, share: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Hours, litres, money for fuel and capital per ha, expected, (n_options,) each, in one zone.

    `share` (n_soils,) is that of each soil type in the zone.
    """
    hours, litres = context.economy.work(turning)
    price = {name: context.rates.scenarios[name].to_numpy()[:, None] for name in ("per_litre", "capital_per_hour")}
    each = (hours, litres, litres * price["per_litre"], hours * price["capital_per_hour"])
    expected = [share @ part.mean(axis=1) for part in each]
    return expected[0], expected[1], expected[2], expected[3]


def _eligible(context: Context, evaluation: ZoneEvaluation) -> Bools:
    asked = context.prescription
    ripped = np.isfinite(evaluation.net) & (evaluation.setup >= 0)
    if asked.rule == "return":
        return np.asarray(ripped)
    best, value = by_cover(evaluation, len(context.catalog.setups), asked.cover_share, asked.least_cover_share)
    picked = np.zeros_like(ripped)
    places, setups = np.nonzero(np.isfinite(value))
    picked[places, best[places, setups]] = True
    return np.asarray(ripped & picked)
