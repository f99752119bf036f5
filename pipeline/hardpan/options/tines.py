"""The number of tines that a paddock is worked with: one for all its zones, the one that returns most."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.options.choice import Evaluation, Fitting, change_price, choose
from hardpan.options.economy import Economy
from hardpan.records.catalog import Catalog
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.options import Draft, Uniform


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
