"""Own or hire: how much use a year it takes until owning costs no more."""

import numpy as np

from hardpan.core.arrays import Floats


def yearly_cost(owned_per_year: float, running_per_ha: float, use_ha: Floats | float) -> Floats:
    """Cost a year of owning and running a machine that works `use_ha` a year (`field-solie`).

    >>> float(yearly_cost(1000.0, 4.0, 100.0))
    1400.0
    """
    return np.asarray(owned_per_year + running_per_ha * np.asarray(use_ha, dtype=float))


def break_even_use(owned_per_year: Floats | float, saved_per_ha: Floats | float) -> Floats:
    """Use a year at which owning costs no more than hiring, BEU = AOC / (CR - OPC) (`field-solie`).

    Parameters
    ----------
    owned_per_year : array
        AOC: what owning costs a year.
    saved_per_ha : array
        CR - OPC: what hiring costs more a hectare than running the own machine, or what the own machine brings more.

    Returns
    -------
    array
        Hectares a year; infinite where running the own machine saves nothing.

    >>> break_even_use(1000.0, np.array([17.0, 0.0])).round(1).tolist()
    [58.8, inf]
    """
    saved = np.asarray(saved_per_ha, dtype=float)
    safe = np.where(saved > 0.0, saved, 1.0)
    return np.asarray(np.where(saved > 0.0, np.asarray(owned_per_year) / safe, np.inf))
