"""What the same zones return at cash cost, by a contractor and with a stronger tractor, each at its own best depths."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.money import at_cash_cost, by_contractor, with_tractor_of
from hardpan.options import LEAVE, POWER_STEP_KW, Limits, ZoneEvaluation, rounded_up
from hardpan.prescription.context import Context, ZoneOutcome
from hardpan.prescription.evaluation import evaluate_zones, zone_work
from hardpan.prescription.limits import limits_of
from hardpan.prescription.setting import choose_and_set
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Rates
from hardpan.records.plan import Tried
from hardpan.records.reasons import MACHINE_LIMITS, Alternative, Way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """What a way takes on the plan's zones; arrays follow their rows."""

    way: Way
    context: Context
    evaluation: ZoneEvaluation
    chosen: Ints
    """(n_zones,): option."""
    beyond: Floats
    """(n_zones,): money for setting each zone and for changing the fittings."""

    def option(self, row: int) -> int:
        """Option of the zone of a row."""
        return int(self.chosen[row])

    @property
    def rips(self) -> Bools:
        """(n_zones,): whether each zone is ripped."""
        return np.asarray(self.chosen != LEAVE)


def choose_ways(context: Context, unset: ZoneEvaluation, chosen: Ints) -> tuple[Choice, ...]:
    """What every way but that of the plan takes, at its own best depths and area.

    A stronger tractor is tried where the plan rips nothing and the present one is too small for some depth.

    Parameters
    ----------
    unset : ZoneEvaluation
        That of the plan, before any zone is set.
    chosen : (n_zones,)
        Options of the plan.
    """
    return tuple(_choices(context, unset, chosen))


def way_tried(choice: Choice, outcomes: Sequence[ZoneOutcome]) -> Tried:
    """What comes of a way; `outcomes` know the worth of its options, which does not hang on who does the work."""
    shape = choice.chosen.size, choice.context.rates.scenarios.sizes["draw"]
    cost, worth, hours, fuel_l = (np.zeros(shape) for _ in range(4))
    for row in np.flatnonzero(choice.rips).tolist():
        work = zone_work(choice.context, row, choice.chosen[[row]])
        worth[row] = outcomes[row].worth[choice.option(row)]
        cost[row] = work.cost[:, 0] + choice.beyond[row]
        hours[row], fuel_l[row] = work.hours[:, 0], work.fuel_l[:, 0]
    known = np.nan if choice.way is Way.CONTRACTOR else 1.0
    tractor = choice.context.catalog.tractor
    return Tried(
        way=choice.way,
        best=tuple(_alternative(choice, row) for row in range(choice.chosen.size)),
        ripped_ha=choice.context.table["area_ha"].to_numpy(float) * choice.rips,
        cost=cost,
        net=worth - cost,
        hours=hours * known,
        fuel_l=fuel_l * known,
        power_kw=tractor.engine_power.value if choice.way is Way.STRONGER else np.nan,
    )


def _alternative(choice: Choice, row: int) -> Alternative | None:
    option = choice.option(row)
    if option == LEAVE:
        return None
    chosen = choice.context.options.table.iloc[option]
    return Alternative(
        depth_mm=int(chosen["depth_mm"]),
        setup=str(chosen["setup"]),
        cost_per_ha=float(choice.evaluation.cost[row, option]),
        gain_per_ha=float(choice.evaluation.gain[row, option]),
    )


def _choices(context: Context, unset: ZoneEvaluation, chosen: Ints) -> Iterator[Choice]:
    catalog, rates, prices = context.catalog, context.rates, context.catalog.prices
    yield _choose(Way.CASH, _with(context, catalog, at_cash_cost(rates)), unset.held)
    share = _too_small(context)
    if prices.contractor_per_ha is not None:
        left = 0.0 if prices.contractor_fuel is None else prices.contractor_fuel.value
        limited = any(held is not None and held.limit in MACHINE_LIMITS for held in unset.held.ravel())
        sound = _unlimited(catalog, max(1.0, float(share.max()))) if limited else catalog
        hired = _with(context, sound, by_contractor(rates, left))
        held = limits_of(hired) if limited else unset.held
        yield _choose(Way.CONTRACTOR, hired, held, only=np.flatnonzero(context.depth_mm <= prices.contractor_reach_mm))
    if (chosen == LEAVE).all() and (share > 1.0).any():
        yield from _stronger(context, share)


def _too_small(context: Context) -> Floats:
    """Power and mass over the tractor's that pull each option with all tines, (n_options,); 0 for leaving."""
    loads = [passes.tractor_load for passes in context.economy.passes.values()]
    return np.asarray(np.where(context.depth_mm > 0, np.max(loads, axis=0), 0.0))


def _stronger(context: Context, share: Floats) -> Iterator[Choice]:
    """The present ripper behind the least tractor that pulls its best depths with all tines, if it would rip any."""
    most = _with_tractor(context, float(share.max()))
    held = limits_of(most)
    first = _choose(Way.STRONGER, most, held)
    ripped = first.chosen[first.rips]
    if ripped.size and share[ripped].max() > 1.0:
        least = _with_tractor(context, float(share[ripped].max()))
        found = _choose(Way.STRONGER, least, held, only=ripped)
        if found.rips.any():
            yield found


def _with_tractor(context: Context, share: float) -> Context:
    """The same context with a tractor about `share` times as strong, heavy and dear: its power is a round figure."""
    power_kw = context.catalog.tractor.engine_power.value
    size = rounded_up(share * power_kw, POWER_STEP_KW) / power_kw
    return _with(context, _scaled(context.catalog, size), with_tractor_of(context.rates, size))


def _scaled(catalog: Catalog, size: float) -> Catalog:
    """Catalogue with a tractor `size` times as strong and heavy."""
    tractor = catalog.tractor
    power, mass = (one.model_copy(update={"value": size * one.value}) for one in (tractor.engine_power, tractor.mass))
    return catalog.model_copy(update={"tractor": tractor.model_copy(update={"engine_power": power, "mass": mass})})


def _unlimited(catalog: Catalog, size: float) -> Catalog:
    """Catalogue of a contractor: a tractor `size` times the present one, and a ripper that does not give."""
    scaled = _scaled(catalog, size)
    firm = scaled.ripper.model_copy(update={"draft_rating": None, "breakout_rating": None})
    return scaled.model_copy(update={"ripper": firm})


def _with(context: Context, catalog: Catalog, rates: Rates) -> Context:
    """The same zones with another machine or other rates."""
    economy = replace(context.economy, rates=rates)
    if catalog is not context.catalog:
        economy = economy.pulled(catalog, context.options.draft, catalog.ripper.tines)
    return replace(context, catalog=catalog, rates=rates, economy=economy)


def _choose(way: Way, context: Context, held: Limits, only: Ints | None = None) -> Choice:
    """Depth and set-up of each zone that a way takes, of the options `only` where they are given."""
    unset = evaluate_zones(context, held)
    if only is not None:
        open_to: Bools = np.isin(np.arange(unset.depth_mm.size), [LEAVE, *only])
        unset = replace(unset, net=np.where(open_to, unset.net, -np.inf))
    settled = choose_and_set(context, unset)
    beyond = settled.paid(settled.chosen)
    return Choice(way=way, context=context, evaluation=settled.evaluation, chosen=settled.chosen, beyond=beyond)
