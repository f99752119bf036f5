"""Equations of the pull: draft, its uncertainty, power, field capacity, fuel and wear."""

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.money import Draws, log_normal_factors
from hardpan.records.machines import DraftRow, Effort, SetUp
from hardpan.records.options import Draft


def draft_per_tine_n(
    row: DraftRow,
    *,
    texture_factor: float,
    depth_mm: Floats | float,
    speed_kmh: Floats | float,
    anchor_mm: float,
    exponent: float,
) -> Floats:
    """Draft of one tine, N, of the shape that depth and speed broadcast to (`d497`).

    Notes
    -----
    D = F (A + B S + C S^2) T0 (T / T0)^p with S in km/h and T in cm; p = 1 is the equation as published, and at the
    anchor depth T0 every p gives the same.
    """
    speed = np.asarray(speed_kmh, dtype=float)
    rate = row.a.value + row.b.value * speed + row.c.value * speed**2
    return np.asarray(texture_factor * rate * (anchor_mm / 10.0) * (np.asarray(depth_mm) / anchor_mm) ** exponent)


def strength_factor(effort: Effort, strength_kpa: Floats, anchor_kpa: float, exponent: Floats | float) -> Floats:
    """Draft over that at the anchor's strength K0: (K / K0)^e within the bound, 1 where a strength is not known (NaN).

    1 everywhere where the catalogue states no exponent of strength.
    """
    if effort.strength_exponent is None:
        return np.ones(np.broadcast_shapes(np.shape(strength_kpa), np.shape(exponent)))
    bound = np.inf if effort.strength_bound is None else effort.strength_bound.value
    ratio = np.nan_to_num(np.asarray(strength_kpa) / anchor_kpa, nan=1.0)
    return np.asarray(np.clip(ratio**exponent, 1.0 / bound, bound))


def least_strength_factor(effort: Effort) -> float:
    """Draft in the softest ground over that of the equation: the lower bound of `strength_factor`."""
    if effort.strength_exponent is None:
        return 1.0
    return 0.0 if effort.strength_bound is None else 1.0 / effort.strength_bound.value


def dry_factor(effort: Effort, depth_mm: Floats, moist_mm: float) -> Floats:
    """Draft over that in soil moist to the foot, (n_options,), where it is moist down to `moist_mm` only.

    Notes
    -----
    Draft to a depth d goes with d^p, so dry soil below the moist depth m carries 1 - (m / d)^p of it, and there it is
    k^e times as high: k is how much harder dry soil reads (`uf-subsoiling`), e the exponent of strength.
    """
    if effort.dry_strength is None or effort.strength_exponent is None or np.isinf(moist_mm):
        return np.ones(depth_mm.shape)
    harder = effort.dry_strength.value**effort.strength_exponent.value
    moist = np.minimum(moist_mm / np.maximum(depth_mm, 1.0), 1.0) ** effort.depth_exponent.value
    return np.asarray(1.0 + (harder - 1.0) * (1.0 - moist))


def known_strength_kpa(effort: Effort, strength_kpa: float) -> float:
    """Strength of a pan, kPa, or that at which the draft equation holds where it is not known (NaN)."""
    reference = np.nan if effort.reference_strength is None else effort.reference_strength.value
    return float(strength_kpa if np.isfinite(strength_kpa) else reference)


def draft_spread(effort: Effort, depth_mm: Floats, strength_kpa: Floats, draft: Draft) -> Floats:
    """Draft over expected draft in each draw, (n_soils, n_draws, n_options), of mean 1 over the draws.

    Parameters
    ----------
    depth_mm : (n_options,)
        0 for leaving.
    strength_kpa : (n_draws, n_soils)
        Strength of the pan, NaN where not known.

    Notes
    -----
    The expected draft at each depth stays that of the stated exponent, which is what published fuel supports.
    """
    drawn, exponent = Draws(n_draws=draft.factor.size, seed=None), effort.depth_exponent
    depth_ratio = np.where(depth_mm > 0, depth_mm / draft.anchor_mm, 1.0)
    by_depth = depth_ratio ** (drawn.between("depth exponent of draft", np.array([exponent.ends])) - exponent.value)
    by_strength = np.ones(strength_kpa.T.shape)
    if effort.strength_exponent is not None:
        powers = drawn.between("strength exponent of draft", np.array([effort.strength_exponent.ends]))[:, 0]
        by_strength = strength_factor(effort, strength_kpa.T, draft.anchor_kpa, powers)
    spread = by_strength[:, :, None] * (by_depth * draft.factor[:, None])
    return np.asarray(spread / spread.mean(axis=1, keepdims=True))


def draft_factors(range_pct: float, n_draws: int) -> Floats:
    """Draft at the anchor over that expected, (n_draws,), mean 1; 5 and 95 % points at the stated range, +/- %.

    >>> factor = draft_factors(50.0, 1000)
    >>> float(factor.mean().round(12))
    1.0
    >>> (np.quantile(factor, [0.05, 0.95]) * 1.03).round(2).tolist()
    [0.67, 1.5]
    """
    return log_normal_factors(range_pct, Draws(n_draws=n_draws, seed=None).levels("draft"))


def draft_range_pct(effort: Effort, *, measured: bool) -> float:
    """Range of the draft, +/- %: that of the equation, or what is left of it once a pass was measured."""
    if measured and effort.calibrated_range is not None:
        return effort.calibrated_range.value
    return max(row.range_pct.value for row in effort.rows.values())


def drawbar_power_kw(draft_kn: Floats | float, speed_kmh: Floats | float) -> Floats:
    """Drawbar power D S / 3.6, kW.

    >>> float(drawbar_power_kw(72.0, 5.0))
    100.0
    """
    return np.asarray(np.asarray(draft_kn) * np.asarray(speed_kmh) / 3.6)


def engine_power_kw(drawbar_kw: Floats, effort: Effort, drive: str) -> Floats:
    """Engine power behind a drawbar power, kW: through tractive efficiency and the losses to the axle."""
    return drawbar_kw / (effort.engine_to_axle.value * effort.tractive_efficiency[drive].value)


def fuel_l_per_h(pto_kw: Floats | float, rated_pto_kw: float, effort: Effort) -> Floats:
    """Fuel at full throttle Q = 0.22 P + 0.096 P_rated, L/h (`grisso2004`, from memory)."""
    return effort.fuel["load"].value * np.asarray(pto_kw) + effort.fuel["idle"].value * rated_pto_kw


def throttle_factor(effort: Effort, load_share: Floats | float) -> Floats:
    """Fuel over that at full throttle, where the driver throttles back as the load allows (`grisso2004`, memory).

    Notes
    -----
    1 - n (t - u X), with X the share of rated power and n the cut of engine speed in per cent: as much as leaves the
    power asked for, and no more than drivers do.
    """
    if effort.throttle_back is None:
        return np.ones(np.shape(load_share))
    load = np.asarray(load_share, dtype=float)
    cut = 100.0 * np.clip(1.0 - load / effort.usable_power.value, 0.0, effort.throttle_back.value)
    return np.asarray(1.0 - cut * (effort.fuel["throttle"].value - effort.fuel["throttle_load"].value * load))


def work_rate_ha_per_h(speed_kmh: Floats | float, width_m: Floats | float, efficiency: float) -> Floats:
    """Field capacity C = S W E / 10, ha/h (`pm696`).

    >>> float(work_rate_ha_per_h(5.0, 4.0, 0.8))
    1.6
    """
    return np.asarray(np.asarray(speed_kmh) * np.asarray(width_m) * efficiency / 10.0)


def change_distance_m(
    change_mm: Floats | float, speed_kmh: Floats | float, *, rate_mm_s: float, latency_s: float
) -> Floats:
    """Ground driven from the signal until the tines have risen or sunk by `change_mm`, m: S (latency + change / rate).

    >>> float(change_distance_m(500.0, 7.2, rate_mm_s=50.0, latency_s=1.0))
    22.0
    """
    return np.asarray(np.asarray(speed_kmh) / 3.6 * (latency_s + np.asarray(change_mm) / rate_mm_s))


def field_efficiency(effort: Effort, run_m: Floats | float, speed_kmh: Floats | float) -> Floats:
    """Field efficiency over runs of `run_m`: the usual one, or less where turns weigh against short runs."""
    run_s = np.asarray(run_m) / (np.asarray(speed_kmh) / 3.6)
    return np.minimum(effort.field_efficiency.value, 1.0 / (1.0 + effort.turn_time.value / run_s))


def relative_wear(setup: SetUp, effort: Effort, depth_mm: Floats | float, passes: Floats | float = 1.0) -> Floats:
    """Wear over that of one pass of plain tines at the depth the price of wear holds for: in proportion to depth."""
    reference = effort.anchor_depth if effort.wear_depth is None else effort.wear_depth
    return np.asarray(setup.wear_factor.value * np.asarray(depth_mm, dtype=float) / reference.value * passes)
