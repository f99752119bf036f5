"""Readings moved to a reference water content, by published models kept in configs/moisture.toml."""

import tomllib
from collections.abc import Mapping
from typing import Any, Literal

import numpy as np
import xarray as xr

from hardpan.core.arrays import Bools, Floats
from hardpan.core.errors import InputError, SettingsError
from hardpan.core.settings import Settings, parse
from hardpan.core.shipped import shipped
from hardpan.core.units import KPA_PER
from hardpan.pan.settings import PanSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.quantity import Quantity

FARTHEST_FACTOR = 2.0
"""A reading moved by more than this is flagged: the models were fitted to scattered field data (busscher1997)."""


class Coefficient(Settings):
    """A coefficient that may depend on texture: intercept + clay * clay_pct + organic_carbon * organic_carbon_pct."""

    intercept: Quantity
    clay: Quantity | None = None
    organic_carbon: Quantity | None = None

    def at(self, clay_pct: float | None, organic_carbon_pct: float | None) -> float:
        """Coefficient for a soil.

        Raises
        ------
        SettingsError
            The coefficient depends on something that is not given.
        """
        total = self.intercept.value
        needs = ((self.clay, clay_pct, "clay_pct"), (self.organic_carbon, organic_carbon_pct, "organic_carbon_pct"))
        for slope, given, key in needs:
            if slope is None:
                continue
            if given is None:
                raise SettingsError(
                    what="the moisture model needs a soil property that is not given",
                    where=f"pan.{key}",
                    do=f"give pan.{key}, or choose another pan.moisture_model",
                )
            total += slope.value * given
        return total


class MoistureModel(Settings):
    """Cone index = multiplier * theta^a * density^b, with theta in m3/m3 and density in Mg/m3."""

    says: str
    link: Literal["identity", "log"]
    """"log": the multiplier's coefficient is its natural logarithm."""
    multiplier: Coefficient
    theta_exponent: Coefficient
    density_exponent: Coefficient
    theta: Quantity | None = None
    """Range of the water content it was fitted to, low to high; None: not known."""
    note: str = ""

    def predict_kpa(
        self,
        theta: Floats,
        density_mg_m3: float,
        *,
        clay_pct: float | None = None,
        organic_carbon_pct: float | None = None,
    ) -> Floats:
        """Cone index (kPa) at water contents `theta` (m3/m3) and a bulk density (Mg/m3)."""
        soil = (clay_pct, organic_carbon_pct)
        multiplier = self.multiplier.at(*soil)
        if self.link == "log":
            multiplier = float(np.exp(multiplier))
        dense = np.power(density_mg_m3, self.density_exponent.at(*soil))
        kpa: Floats = KPA_PER["MPa"] * multiplier * dense * np.power(theta, self.theta_exponent.at(*soil))
        return kpa

    def clamp(self, theta: Floats) -> Floats:
        """Water content `theta` held within the fitted range."""
        return theta if self.theta is None else np.clip(theta, *self.theta.span)


def parse_models(table: Mapping[str, Mapping[str, Any]], *, file: str) -> dict[str, MoistureModel]:
    """Models by name from their table, which was read from `file`."""
    return {name: parse(MoistureModel, values, file=file) for name, values in table.items()}


def read_models() -> dict[str, MoistureModel]:
    """Shipped models by name."""
    path = shipped("configs") / "moisture.toml"
    return parse_models(tomllib.loads(path.read_text(encoding="utf-8")), file=path.name)


def normalise(
    readings: xr.Dataset, settings: PanSettings, models: Mapping[str, MoistureModel] | None = None
) -> tuple[xr.Dataset, Issues]:
    """Profiles with cone index moved to `settings.reference_theta`, and what to know of it.

    An insertion is moved only where water content was measured at every one of its readings: a profile half moved
    would show a pan where the two halves meet. Water content is held within the model's fitted range.

    Raises
    ------
    InputError
        A model is asked for and there is no water content, or it is not a fraction.
    SettingsError
        The model needs clay or organic carbon that is not given.
    """
    if settings.moisture_model == "none":
        return readings, (_reading_limits(measured="theta" in readings),)
    theta = _water_content(readings)
    model = (read_models() if models is None else models)[settings.moisture_model]
    soil = {"clay_pct": settings.clay_pct, "organic_carbon_pct": settings.organic_carbon_pct}
    reference = model.predict_kpa(model.clamp(np.array(settings.reference_theta)), 1.0, **soil)
    value = readings["cone_index_kpa"].to_numpy()
    known = np.isfinite(theta) & (theta > 0)
    complete = (known | np.isnan(value)).all(axis=1)
    move = known & np.isfinite(value) & complete[:, None]
    held = model.clamp(np.where(move, theta, settings.reference_theta))
    factor = np.where(move, reference / model.predict_kpa(held, 1.0, **soil), 1.0)
    moved = readings.assign(
        {name: readings[name] * factor for name in ("cone_index_kpa", "se_kpa") if name in readings}
    )
    outside = move & (held != theta)
    far = np.maximum(factor, 1.0 / factor) > FARTHEST_FACTOR
    return moved, _remarks(settings, model, complete=complete, outside=int(outside.sum()), far=int(far.sum()))


def _water_content(readings: xr.Dataset) -> Floats:
    if "theta" not in readings or not np.isfinite(readings["theta"]).any():
        raise InputError(
            what="a moisture model is asked for but the probe file has no water content",
            where="pan.moisture_model",
            right="volumetric water content beside every reading",
            do="name its column in [probes.columns] moisture, or leave pan.moisture_model out",
        )
    theta: Floats = readings["theta"].to_numpy()
    if np.nanmax(theta) >= 1.0:
        raise InputError(
            what=f"water content up to {np.nanmax(theta):g}",
            where="probes.columns.moisture",
            right="m3/m3, below 1",
            do="give it as a fraction",
        )
    return theta


def _reading_limits(*, measured: bool) -> Issue:
    beside = "was measured but no pan.moisture_model is chosen" if measured else "at reading is not known"
    what = f"Water content {beside}. Drier soil reads harder: about twice from 0.25 to 0.15 m3/m3 (leao2005)."
    done = "Readings are taken as they are; top, bottom and strength of the pan stand for the days of probing."
    return Issue("pan", "moisture-unknown", what, done)


def _remarks(settings: PanSettings, model: MoistureModel, *, complete: Bools, outside: int, far: int) -> Issues:
    """Issues of what the move did, one a kind."""
    name, reference = settings.moisture_model, f"{settings.reference_theta:g} m3/m3"
    n_moved, n_left = int(complete.sum()), int((~complete).sum())
    low, high = (np.nan, np.nan) if model.theta is None else model.theta.span
    found = [
        (
            True,
            "moisture-normalised",
            f"Readings were moved to {reference} by the model {name}, in insertions: {n_moved}. {model.note}",
            "Top, bottom and strength of the pan stand for that water content, as far as the model fits this soil.",
        ),
        (
            n_left > 0,
            "moisture-missing",
            f"Insertions that lack water content at some of their readings: {n_left}.",
            "Their readings are taken as they are.",
        ),
        (
            model.theta is None,
            "moisture-range-unknown",
            f"The water contents that the model {name} was fitted to are not known.",
            "No range was checked.",
        ),
        (
            outside > 0,
            "moisture-outside-range",
            f"Readings taken outside {low:g} to {high:g} m3/m3, the range of the model {name}: {outside}.",
            "The nearer end of the range was used.",
        ),
        (
            far > 0,
            "moisture-far",
            f"Readings moved by more than a factor of {FARTHEST_FACTOR:g}: {far}.",
            "They are used; a pan that rests on them should be probed again in moister soil.",
        ),
    ]
    return tuple(Issue("pan", code, what, done) for holds, code, what, done in found if holds)
