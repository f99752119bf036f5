"""Daily water balance of bare ground: a layer that evaporates, and the soil below it, wetted from above."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from hardpan.core.arrays import Bools, Floats


class Drawn(NamedTuple):
    """The layer that evaporates after a day."""

    reduction: Floats
    """K_r before the day's evaporation."""
    coefficient: Floats
    """K_e."""
    depletion_mm: Floats
    """D_e at the end of the day."""
    through_mm: Floats
    """DP_e: what passes to the soil below."""


def total_evaporable_mm(field_capacity: Floats, wilting_point: Floats, depth_mm: float) -> Floats:
    """TEW of a layer, mm (`fao56`, equation 73); FAO 56 has the depth in metres and a factor of 1000.

    >>> float(total_evaporable_mm(np.array(0.23), np.array(0.10), 100.0))  # FAO 56 example 35: 18 mm
    18.0
    """
    return np.asarray((field_capacity - 0.5 * wilting_point) * depth_mm)


def most_evaporation(wind_ms: Floats, humidity_pct: Floats, height_m: float, crop: float) -> Floats:
    """K_c max: most of evaporation and crop together, over the reference (`fao56`, equation 72).

    Parameters
    ----------
    wind_ms : Floats
        Wind at 2 m.
    humidity_pct : Floats
        Lowest relative humidity of the day.
    height_m : float
        Of the plants.
    crop : float
        K_cb.

    >>> most_evaporation(np.array([1.6]), np.array([35.0]), 0.3, 0.3).round(4)  # FAO 56 example 35: 1.21
    array([1.212])
    """
    weather = 0.04 * (wind_ms - 2.0) - 0.004 * (humidity_pct - 45.0)
    return np.asarray(np.maximum(1.2 + weather * (height_m / 3.0) ** 0.3, crop + 0.05))


def stress(available_mm: Floats, depletion_mm: Floats, share: float) -> Floats:
    """K_s: use over that of plants that lack no water (`fao56`, equation 84); `share` is p."""
    least = np.maximum((1.0 - share) * available_mm, 1e-12)
    return np.asarray(np.clip((available_mm - depletion_mm) / least, 0.0, 1.0))


def evaporate(
    depletion_mm: Floats,
    wetting_mm: Floats,
    et0_mm: Floats,
    *,
    total_mm: Floats,
    readily_mm: Floats,
    most: Floats,
    crop: Floats,
    exposed: Floats | float = 1.0,
    early: bool = True,
) -> Drawn:
    """The layer that evaporates after a day of `wetting_mm` of rain (`fao56`, equations 71, 74, 77 to 79).

    Parameters
    ----------
    depletion_mm : Floats
        D_e at the end of the day before.
    total_mm, readily_mm : Floats
        TEW and REW.
    most, crop : Floats
        K_c max and K_cb.
    exposed : Floats or float
        f_ew, share of the ground that is wet and bare.
    early : bool
        It rains before the day's evaporation, as in the examples of FAO 56; else after.
    """
    wetted = np.maximum(depletion_mm - wetting_mm, 0.0)
    through = np.maximum(wetting_mm - depletion_mm, 0.0)
    before = wetted if early else depletion_mm
    reduction = np.clip((total_mm - before) / (total_mm - readily_mm), 0.0, 1.0)
    coefficient = np.minimum(reduction * (most - crop), exposed * most)
    after = np.clip(depletion_mm - wetting_mm + coefficient * et0_mm / exposed + through, 0.0, total_mm)
    return Drawn(reduction, coefficient, after, through)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Soils of the balance; all arrays (n_soils,)."""

    total_mm: Floats
    """TEW."""
    readily_mm: Floats
    """REW."""
    surface_mm: float
    """Depth of the layer that evaporates."""
    above: Floats
    """Available water of the soil below it, mm per mm."""
    clay_mm: Floats
    """Depth at which the clay begins, infinite where there is none in reach."""
    clay: Floats
    """Available water of the clay, mm per mm."""
    reach_mm: float
    """Depth to which the balance is kept."""
    drains_days: Floats
    clay_drains_days: float
    most: float
    weeds: float
    depletion: float
    ignored: float
    moist_share: float

    def holds(self, depth_mm: Floats) -> Floats:
        """Available water of the soil from the layer that evaporates down to a depth, mm."""
        top = np.maximum(np.minimum(depth_mm, self.clay_mm) - self.surface_mm, 0.0)
        below = np.maximum(depth_mm - np.maximum(self.clay_mm, self.surface_mm), 0.0)
        return np.asarray(top * self.above + below * self.clay)

    def wetted_mm(self, water_mm: Floats) -> Floats:
        """Depth to which water fills the soil below the layer that evaporates, at most the reach, mm."""
        sand = self.holds(np.minimum(self.clay_mm, self.reach_mm))
        depth = self.surface_mm + np.minimum(water_mm, sand) / self.above
        return np.asarray(np.minimum(depth + np.maximum(water_mm - sand, 0.0) / self.clay, self.reach_mm))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State:
    """Water in the soils at the end of a day; all arrays (..., n_soils)."""

    depletion_mm: Floats
    """D_e."""
    water_mm: Floats
    """Available water below the layer that evaporates."""
    front_mm: Floats
    """Depth to which that has been wetted."""
    since_rain: Floats
    """Days since water passed the layer that evaporates."""
    since_clay: Floats
    """Days since water reached the clay."""


def dry(profile: Profile, shape: tuple[int, ...]) -> State:
    """Soils at the wilting point, air-dry at the surface."""
    long_ago = np.full(shape, np.inf)
    return State(
        depletion_mm=np.broadcast_to(profile.total_mm, shape).copy(),
        water_mm=np.zeros(shape),
        front_mm=np.full(shape, profile.surface_mm),
        since_rain=long_ago,
        since_clay=long_ago,
    )


def full(profile: Profile, shape: tuple[int, ...]) -> State:
    """Soils at field capacity down to the reach."""
    return replace(
        dry(profile, shape),
        depletion_mm=np.zeros(shape),
        water_mm=np.broadcast_to(profile.holds(np.full_like(profile.above, profile.reach_mm)), shape).copy(),
        front_mm=np.full(shape, profile.reach_mm),
        since_rain=np.zeros(shape),
        since_clay=np.zeros(shape),
    )


def next_day(
    state: State, rain_mm: Floats, et0_mm: Floats, profile: Profile, most: Floats | float | None = None
) -> State:
    """State after a day of rain and reference evapotranspiration, each (..., 1) or (..., n_soils).

    `most` is K_c max of the day; that of the profile where it is left out.

    Water that passes the upper layer first fills what the wetted soil lacks of field capacity, then wets deeper; what
    passes the reach is lost. Weeds take from the wetted soil. There is no run-off and no rise of ground water.
    """
    rain = np.where(rain_mm < profile.ignored * et0_mm, 0.0, rain_mm)
    drawn = evaporate(
        state.depletion_mm,
        rain,
        et0_mm,
        total_mm=profile.total_mm,
        readily_mm=profile.readily_mm,
        most=np.asarray(profile.most if most is None else most),
        crop=np.asarray(profile.weeds),
    )
    water = state.water_mm + drawn.through_mm
    front = np.maximum(state.front_mm, profile.wetted_mm(water))
    held = profile.holds(front)
    water = np.minimum(water, held)
    use = profile.weeds * et0_mm * stress(held, held - water, profile.depletion)
    passed = drawn.through_mm > 0
    on_clay = passed & (front > profile.clay_mm)
    return State(
        depletion_mm=drawn.depletion_mm,
        water_mm=np.maximum(water - use, 0.0),
        front_mm=front,
        since_rain=np.where(passed, 0.0, state.since_rain + 1.0),
        since_clay=np.where(on_clay, 0.0, state.since_clay + 1.0),
    )


def moist_mm(state: State, profile: Profile) -> Floats:
    """Depth to which the soil is moist: wetted, and with water for it to hold the least share down there.

    Where nothing has passed the upper layer it is the share of that which is wet.
    """
    spread = profile.wetted_mm(state.water_mm / profile.moist_share)
    upper = profile.surface_mm * (1.0 - state.depletion_mm / profile.total_mm)
    return np.asarray(np.where(state.water_mm > 0, np.minimum(state.front_mm, spread), upper))


def draining(state: State, profile: Profile) -> Bools:
    """Whether water still moves through the soil."""
    return np.asarray(state.since_rain < profile.drains_days)


def perched(state: State, profile: Profile) -> Bools:
    """Whether water stands on the clay."""
    return np.asarray(state.since_clay < profile.clay_drains_days)
