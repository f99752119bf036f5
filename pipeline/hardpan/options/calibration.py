"""What moves draft off the equation: the strength of the ground, a measured pass, and what is not known."""

import numpy as np
from scipy.special import ndtri

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.options.effort import Passes, Puller
from hardpan.options.returns import along_span
from hardpan.options.settings import MachineSettings
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.machines import Effort
from hardpan.records.quantity import Quantity

Anchor = tuple[float, float]
"""Depth, mm, and strength of the pan, kPa, at which draft is known whatever the exponents of depth and strength."""


def calibrate(
    catalog: Catalog, texture: str, machine: MachineSettings, strength_kpa: float = np.nan
) -> tuple[float, Anchor | None, Issues]:
    """Give draft measured over draft expected, where it was measured, and what was taken for the measured pass.

    Parameters
    ----------
    strength_kpa : float
        Expected strength of the pan in soil of `texture`, taken for that of the pass where the user states none.

    Returns
    -------
    1 and None where nothing was measured. Else the draft is the measured one at that depth and strength, whatever the
    exponents are.

    Raises
    ------
    SettingsError
        Fuel and slip are both given, the fuel is below what the engine burns idling, or slip says nothing here.
    """
    fuel, slip = machine.observed_fuel_l_per_ha, machine.observed_slip
    if fuel is None and slip is None:
        return 1.0, None, ()
    if fuel is not None and slip is not None:
        raise SettingsError(
            what="observed_fuel_l_per_ha and observed_slip are both given", where="[machine]", right="one of them"
        )
    depth_mm = catalog.ripper.usual_depth.value if machine.observed_depth_mm is None else machine.observed_depth_mm
    setup = next(iter(catalog.setups.values())) if machine.setup is None else catalog.setups[machine.setup]
    puller = Puller(catalog=catalog, texture=texture, setups=(setup,), depth_mm=np.array([depth_mm]))
    usual_kmh = np.nan_to_num(puller.plan().speed_kmh[0], nan=catalog.tractor.min_speed.value)
    speed_kmh = float(usual_kmh) if machine.observed_speed_kmh is None else machine.observed_speed_kmh
    expected = puller.pull_at(speed_kmh)
    factor = _by_slip(slip, expected, catalog) if fuel is None else _by_fuel(fuel, expected)
    measured = f"slip of {slip:.0%}" if fuel is None else f"{fuel:g} L/ha"
    depth = f"{depth_mm:g} mm" + (" (assumed)" if machine.observed_depth_mm is None else "")
    speed = f"{speed_kmh:g} km/h" + (" (assumed)" if machine.observed_speed_kmh is None else "")
    at_kpa = known_strength(catalog.effort, machine.observed_strength_kpa or strength_kpa)
    pan = f"a pan of {at_kpa:.0f} kPa" + (" (assumed)" if machine.observed_strength_kpa is None else "")
    said = Issue(
        outcome=Outcome.WARN,
        stage="prescription",
        code="draft-calibrated",
        what=f"{measured} measured at {depth} and {speed} with {setup.says}"
        + ("" if catalog.effort.strength_exponent is None else f", through {pan}"),
        done=f"all drafts are {factor:.2f} times those of the equation{_beyond(factor, catalog)}",
        place="[machine]",
    )
    return factor, (depth_mm, at_kpa), (said,)


def _by_fuel(fuel_l_per_ha: float, expected: Passes) -> float:
    idle = float(expected.idle_l_per_ha[0])
    if fuel_l_per_ha <= idle:
        raise SettingsError(
            what=f"observed_fuel_l_per_ha = {fuel_l_per_ha:g} is less than the engine burns idling, {idle:.1f} L/ha",
            where="[machine]",
            right="the whole fuel of a ripping pass over its area",
        )
    return (fuel_l_per_ha - idle) / float(expected.pull_l_per_ha[0])


def _by_slip(slip: float | None, expected: Passes, catalog: Catalog) -> float:
    """Slip grows in proportion to pull up to what the drive holds at its usual slip."""
    drive = catalog.tractor.drive
    if slip is None or drive not in catalog.effort.pull_ratio:
        raise SettingsError(what=f"slip says nothing of the draft of a {drive} tractor here", where="[machine]")
    return slip / float(expected.slip[0])


def _beyond(factor: float, catalog: Catalog) -> str:
    limit = 1.0 + max(row.range_pct.value for row in catalog.effort.rows.values()) / 100.0
    told = ", outside its stated range: check depth, speed and area of the pass"
    return "" if 1.0 / limit <= factor <= limit else told


def equation_anchor(effort: Effort) -> Anchor:
    """Give the depth and strength at which the equation holds as published."""
    return effort.anchor_depth.value, known_strength(effort, np.nan)


def known_strength(effort: Effort, strength_kpa: float) -> float:
    """Give a strength, or that at which the equation holds where it is not known, kPa."""
    reference = np.nan if effort.reference_strength is None else effort.reference_strength.value
    return float(strength_kpa if np.isfinite(strength_kpa) else reference)


def strength_factor(effort: Effort, strength_kpa: Floats, anchor_kpa: float, exponent: Floats | float) -> Floats:
    """Give draft over that at the anchor's strength: (K / K0)^e within the bound, 1 where a strength is not known."""
    if effort.strength_exponent is None:
        return np.ones(np.broadcast_shapes(np.shape(strength_kpa), np.shape(exponent)))
    bound = np.inf if effort.strength_bound is None else effort.strength_bound.value
    ratio = np.nan_to_num(np.asarray(strength_kpa) / anchor_kpa, nan=1.0)
    return np.asarray(np.clip(ratio**exponent, 1.0 / bound, bound))


def draft_spread(effort: Effort, depth_mm: Floats, strength_kpa: Floats, anchor: Anchor, factor: Floats) -> Floats:
    """Give draft over expected draft, (n_soils, n_draws, n_options), of mean 1 over the draws.

    Parameters
    ----------
    depth_mm : (n_options,)
        0 for leaving.
    strength_kpa : (n_draws, n_soils)
        Strength of the pan, NaN where not known.
    anchor : depth and strength at which neither exponent matters.
    factor : (n_draws,)
        What is not known of the draft at the anchor (`draft_factors`).

    Notes
    -----
    The expected draft at each depth stays that of the stated exponent, which is what published fuel supports.
    """
    n_draws, draft, (anchor_mm, anchor_kpa) = factor.size, effort.depth_exponent, anchor
    depth_ratio = np.where(depth_mm > 0, depth_mm / anchor_mm, 1.0)
    by_depth = depth_ratio ** (span_draws(draft, n_draws, np.sqrt(3.0)) - draft.value)[:, None]
    by_strength = np.ones(strength_kpa.T.shape)
    if effort.strength_exponent is not None:
        exponent = span_draws(effort.strength_exponent, n_draws, np.sqrt(7.0))
        by_strength = strength_factor(effort, strength_kpa.T, anchor_kpa, exponent)
    spread = by_strength[:, :, None] * (by_depth * factor[:, None])
    return np.asarray(spread / spread.mean(axis=1, keepdims=True))


def span_draws(quantity: Quantity, n_draws: int, step: float) -> Floats:
    """Give draws of a quantity, (n_draws,), as `along_span`."""
    return along_span(np.array([quantity.ends]), n_draws, step)[:, 0]


def draft_factors(range_pct: float, n_draws: int) -> Floats:
    """Give a draft factor for each draw, mean 1, spread so that 5 and 95 % points stand at the stated range.

    Quantiles of a log-normal at the points of the golden-ratio sequence: evenly spread, the same whatever the seed, and
    unrelated to the order of any other draws. Before scaling to mean 1 the upper end is 1 + range, the lower its
    inverse.
    """
    at = np.modf(0.5 + np.arange(n_draws) * (np.sqrt(5.0) - 1.0) / 2.0)[0]
    sigma = np.log1p(range_pct / 100.0) / ndtri(0.95)
    drawn = np.exp(sigma * ndtri(np.clip(at, 1e-3, 1.0 - 1e-3)))
    return np.asarray(drawn / drawn.mean())


def draft_range_pct(effort: Effort, *, measured: bool) -> float:
    """Give the range of the draft, +/- %: that of the equation, or that left once a pass was measured."""
    if measured and effort.calibrated_range is not None:
        return effort.calibrated_range.value
    return max(row.range_pct.value for row in effort.rows.values())
