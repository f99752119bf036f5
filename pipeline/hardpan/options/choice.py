"""Which depth, set-up and number of tines each zone gets and the paddock is worked with."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options.economy import Economy
from hardpan.records.catalog import Catalog
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.options import Draft, Uniform

Limits: TypeAlias = NDArray[np.object_]
"""Array of `Held` or None."""

LEAVE = 0
"""Option of leaving the ground."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evaluation:
    """What each place, a zone or a node, could do; arrays of shape (n_places, n_options)."""

    net: Floats
    """Expected net return per ha; -inf where the option is forbidden."""
    covered: Floats
    """Share of the place where the foot passes below the pan by the margin asked for, or there is no pan."""
    ha: Floats
    """(n_places,) area."""
    depth_mm: Floats
    """(n_options,)."""
    setup: Ints
    """(n_options,) position of the set-up, -1 for leaving."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneEvaluation(Evaluation):
    """What each zone could do, and why; arrays of shape (n_zones, n_options)."""

    cost: Floats
    """Expected cost per ha."""
    loosened: Floats
    """Share of the pan's excess broken where there is a pan."""
    breach: Floats
    """Probability that the depth reaches the pan's bottom or there is no pan."""
    held: Limits
    """Limit that forbids an option; None where none does."""
    credit: Floats
    """(n_zones, n_options, 3): gain with the option's set-up over that of breaking the pan alone, low end, value and
    high end; `gain` and `net` have the value in."""
    gain: Floats
    """Expected worth per ha of what is broken, `credit` included; 0 on ground where the option is forbidden."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitting:
    """Option of each place, and the set-ups the ripper is fitted with."""

    option: Ints
    """(n_places,)."""
    setups: Ints
    """Positions of those that may be fitted; all of them where nothing is ripped."""
    worth: tuple[int, float]
    """Places ripped, under the rule `cover` alone, and money: what the choice is made by."""


def choose(evaluation: Evaluation, n_setups: int, asked: PrescriptionSettings, change: float) -> Fitting:
    """Option of each place and the set-ups fitted, by the depth rule asked for.

    Parameters
    ----------
    change : float
        What changing the fittings once costs, money.
    """
    cover = asked.rule == "cover"
    if cover:
        best, value = by_cover(evaluation, n_setups, asked.cover_share, asked.least_cover_share)
    else:
        best, value = by_return(evaluation, n_setups)
    return fit_setups(best, value, evaluation.ha, asked.setups_per_paddock, cover=cover, change=change)


def positions(setups: Iterable[str], names: list[str]) -> Ints:
    """Position of each set-up in `names`, -1 for leaving ("")."""
    return np.array([names.index(name) if name else -1 for name in setups], dtype=np.int64)


def by_return(evaluation: Evaluation, n_setups: int) -> tuple[Ints, Floats]:
    """Each place's best option with each set-up and its net return per ha; leaving is worth 0.

    Returns
    -------
    (n_places, n_setups) options, (n_places, n_setups) net; -inf where it does not pay or is forbidden.
    """
    nets = [np.where(evaluation.setup == setup, evaluation.net, -np.inf) for setup in range(n_setups)]
    best = np.stack([net.argmax(axis=1) for net in nets], axis=1)
    value = np.stack([net.max(axis=1) for net in nets], axis=1)
    return best, np.where(value > 0.0, value, -np.inf)


def by_cover(evaluation: Evaluation, n_setups: int, share: float, least: float = 0.0) -> tuple[Ints, Floats]:
    """Each place's shallowest option with each set-up that covers `share` of it, and its net return per ha.

    Where none does, the deepest that is allowed; -inf where none is allowed, where the deepest covers less than
    `least`, or where leaving covers the share already.
    """
    best = np.full((len(evaluation.net), n_setups), LEAVE)
    value = np.full(best.shape, -np.inf)
    idle = evaluation.covered[:, LEAVE] >= share
    for setup in range(n_setups):
        options = np.flatnonzero(evaluation.setup == setup)
        options = options[np.argsort(evaluation.depth_mm[options], kind="stable")]
        if not options.size:
            continue
        allowed: Bools = np.isfinite(evaluation.net[:, options])
        reached: Bools = allowed & (evaluation.covered[:, options] >= share)
        deepest = options.size - 1 - allowed[:, ::-1].argmax(axis=1)
        pick = np.where(reached.any(axis=1), reached.argmax(axis=1), deepest)
        best[:, setup] = options[pick]
        places = np.arange(pick.size)
        open_to = allowed.any(axis=1) & ~idle & (evaluation.covered[places, options[deepest]] >= least)
        value[:, setup] = np.where(open_to, evaluation.net[places, best[:, setup]], -np.inf)
    return best, value


def fit_setups(best: Ints, value: Floats, ha: Floats, n_fitted: int, *, cover: bool, change: float = 0.0) -> Fitting:
    """Each place's option, and the set-ups fitted, when at most `n_fitted` set-ups are fitted in the paddock.

    Of all ways to fit the ripper the one with most money in all, each further set-up paid with `change`; under the rule
    `cover` the one that rips most places comes first. Where nothing is ripped every set-up counts as fitted.

    Parameters
    ----------
    best, value : (n_places, n_setups)
        Each place's best option with each set-up and its net return per ha, -inf where it is not to be taken.
    ha : (n_places,)
    """
    places, n_setups, ways = np.arange(len(best)), best.shape[1], []
    most = min(n_fitted, n_setups)
    for fitted in (way for count in range(1, most + 1) for way in combinations(range(n_setups), count)):
        columns = np.array(fitted)
        pick = columns[value[:, columns].argmax(axis=1)]
        ripped = np.isfinite(value[places, pick])
        money = float((value[places, pick][ripped] * ha[ripped]).sum())
        money -= change * max(0, np.unique(pick[ripped]).size - 1)
        worth = int(ripped.sum()) if cover else 0, money
        ways.append(Fitting(option=np.where(ripped, best[places, pick], LEAVE), setups=columns, worth=worth))
    chosen = max(ways, key=lambda way: way.worth)
    return chosen if (chosen.option != LEAVE).any() else replace(chosen, setups=np.arange(n_setups))


def runner_up(evaluation: ZoneEvaluation, chosen: Ints, fitted: Ints) -> Ints:
    """Next best option of each zone with the set-ups fitted: another depth, or leaving."""
    net = np.where(np.isin(evaluation.setup, [-1, *fitted]), evaluation.net, -np.inf)
    net[np.arange(len(chosen)), chosen] = -np.inf
    return np.asarray(net.argmax(axis=1))


def change_hours(catalog: Catalog, tines: int) -> float:
    """Time it takes to change the fittings of `tines`, h."""
    return tines * catalog.effort.fitting_time.value / 60.0


def change_cost(catalog: Catalog, hours: Floats | float) -> Floats:
    """What so many hours of changing fittings cost, money: their labour, since the machine stands."""
    prices = catalog.prices
    return np.asarray(hours * prices.labour_per_h.value * prices.labour_factor.value)


def change_price(catalog: Catalog, tines: int) -> float:
    """What one change of the fittings of `tines` costs, money."""
    return float(change_cost(catalog, change_hours(catalog, tines)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worked:
    """The ground worked with one number of tines."""

    economy: Economy
    pullable: Bools
    """(n_soils, n_options)."""
    cost: Floats
    """(n_soils, n_draws, n_options), money per ha."""

    def evaluated(self, gained: Evaluation) -> Evaluation:
        """What each node returns, where `gained` has the gain of each option as its net, -inf where it is barred."""
        soil = self.economy.ground.soil
        barred = ~np.isfinite(gained.net) | ~self.pullable[soil]
        return replace(gained, net=np.where(barred, -np.inf, gained.net - self.cost.mean(axis=1)[soil]))


def work_with(economy: Economy, catalog: Catalog, draft: Draft, counts: Sequence[int]) -> list[Worked]:
    """The ground worked with each number of tines."""
    each = [economy if tines == economy.tines else economy.pulled(catalog, draft, tines) for tines in counts]
    return [Worked(economy=one, pullable=one.pullable(), cost=one.cost()) for one in each]


def choose_number(
    worked: Sequence[Worked], gained: Evaluation, catalog: Catalog, asked: PrescriptionSettings
) -> tuple[Worked, Fitting]:
    """The number of tines by what the whole paddock's choice is made by; of equals the first."""
    fits = [
        choose(one.evaluated(gained), len(catalog.setups), asked, change_price(catalog, one.economy.tines))
        for one in worked
    ]
    best = max(range(len(fits)), key=lambda k: fits[k].worth)
    return worked[best], fits[best]


def uniform_of(worked: Sequence[Worked], offered: Bools, worth: Floats) -> Uniform:
    """Each option wherever it is `offered`, with the number of tines that costs least of those that pull it there.

    Parameters
    ----------
    worked : sequence
        The last with the fewest tines, which pull whatever any number does.
    offered : (n_nodes, n_options)
        To them.
    worth : (n_draws, n_options)
        That of what is broken there.
    """
    economies, ground = [one.economy for one in worked], worked[-1].economy.ground
    everywhere = np.stack([(one.pullable == worked[-1].pullable).all(axis=0) for one in worked])
    costs = np.stack([one.summed(each.cost, offered) for one, each in zip(economies, worked, strict=True)])
    best = np.where(everywhere, costs.mean(axis=1), np.inf).argmin(axis=0), np.arange(offered.shape[1])
    hours, litres = (
        np.stack([one.summed(part, offered) for one, part in zip(economies, parts, strict=True)])
        for parts in zip(*(one.work() for one in economies), strict=True)
    )
    return Uniform(
        returns=worth.T - costs.swapaxes(1, 2)[best],
        costs=costs.swapaxes(1, 2)[best],
        hours=hours.swapaxes(1, 2)[best],
        fuel_l=litres.swapaxes(1, 2)[best],
        ripped_ha=np.where(worked[-1].economy.section["depth_mm"] > 0, ground.ha @ offered, 0.0),
    )
