"""What is there, drawn by one who knows how the ground was made: no map of the same readings is expected to do better.

Means, covariances, noise and the correlation of strength and depth are those of the recipe; only the fields are
unknown. A Gibbs sampler draws them at the sites, and simple kriging with the true covariance carries each draw to the
cells. All of a stopped insertion is used: where it stopped ties its pan's bottom to its strength.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from fields import BOTTOM_MM, PEAK_KPA, READ_MM, THRESHOLD_KPA, TOP_MM, TOP_NOISE_MM, Recipe, Truth, soil_at
from hardpan.records.pan import Bottom, State

BURN, THIN = 100, 3
STRONGER = np.linspace(0.0, 0.6, 121)
"""Logarithm of a stopped insertion's peak over the limit; nine standard deviations of its noise."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """What the insertions with a pan read, and the sites they belong to."""

    xy: np.ndarray
    """(n_sites, 2)."""
    soil: np.ndarray
    """(n_sites,)."""
    has_pan: np.ndarray
    """(n_sites,)."""
    site: np.ndarray
    """(n,): site of each insertion with a pan."""
    top_mm: np.ndarray
    bottom_mm: np.ndarray
    """NaN where it stopped."""
    stop_mm: np.ndarray
    log_peak: np.ndarray
    """The limit's where it stopped."""


def draw_known(truth: Truth, recipe: Recipe, *, draws: int, seed: int) -> tuple[np.ndarray, ...]:
    """Draws of top and bottom (mm), presence and peak (kPa), (draws, n_cells) each, cells in reading order."""
    rng = np.random.default_rng(seed)
    frame, read = truth.survey.frame, _read(truth)
    cells = np.stack([grid.ravel() for grid in np.meshgrid(frame.x_m, frame.y_m)], axis=1)
    soil, across = soil_at(truth.survey.soils, cells), _correlation(recipe, cells, read.xy)
    weights = np.linalg.solve(_correlation(recipe, read.xy, read.xy), across.T)
    spread = np.sqrt(np.maximum(1.0 - (weights.T * across).sum(axis=1), 0.0))
    sites = _fields_at_sites(read, recipe, truth.least_present, rng)
    kept = [at for number, at in zip(range(BURN + THIN * draws), sites, strict=False) if number >= BURN][::THIN]
    strength, other, shallow, there = np.stack(kept, axis=1) @ weights + spread * rng.standard_normal(
        (4, draws, len(cells))
    )
    top = np.array(TOP_MM)[soil] + recipe.top_mm * shallow
    depth = recipe.together * strength + np.sqrt(1.0 - recipe.together**2) * other
    micro = recipe.micro_mm * rng.standard_normal(depth.shape)
    bottom = np.array(BOTTOM_MM)[soil] + recipe.field_mm * depth + micro
    return top, bottom, there > truth.least_present, np.array(PEAK_KPA)[soil] * np.exp(recipe.strength * strength)


def _read(truth: Truth) -> Read:
    table = truth.pan.insertions
    site = table["site"].str[1:].astype(int).to_numpy()
    _, first = np.unique(site, return_index=True)
    xy = np.stack([table.geometry.x, table.geometry.y], axis=1)[first]
    pan = (table["state"] == State.PRESENT).to_numpy()
    stopped = (table["bottom_kind"] == Bottom.CENSORED).to_numpy()
    return Read(
        xy=xy,
        soil=soil_at(truth.survey.soils, xy),
        has_pan=np.bincount(site, weights=pan) > 0,
        site=site[pan],
        top_mm=table["top_mm"].to_numpy()[pan],
        bottom_mm=table["bottom_mm"].to_numpy()[pan],
        stop_mm=np.where(stopped, table["bottom_low_mm"], np.nan)[pan],
        log_peak=np.log(table["peak_kpa"].to_numpy()[pan]),
    )


def _correlation(recipe: Recipe, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.exp(-np.linalg.norm(one[:, None] - other, axis=2) * 2.996 / recipe.range_m)


def _fields_at_sites(read: Read, recipe: Recipe, least: float, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Draws of the fields of strength, the rest of the bottom, top and presence at the sites, (4, n_sites)."""
    n = len(read.xy)
    near = np.linalg.inv(_correlation(recipe, read.xy, read.xy))
    of_site, none = np.eye(n)[read.site], np.zeros((n, n))
    shallow = _Normal(near, of_site * recipe.top_mm, np.full(len(read.site), TOP_NOISE_MM**2))
    seen = np.isfinite(read.bottom_mm)
    variance = recipe.noise_mm**2 + np.where(seen, READ_MM**2, 0.0)
    along = np.array([recipe.together, np.sqrt(1.0 - recipe.together**2)]) * recipe.field_mm
    to_bottom = np.hstack([of_site * along[0], of_site * along[1], of_site * recipe.micro_mm])
    to_peak = np.hstack([of_site * recipe.strength, np.zeros((len(read.site), 2 * n))])
    prior = np.block([[near, none, none], [none, near, none], [none, none, np.eye(n)]])
    pan = _Normal(
        prior,
        np.vstack([to_bottom, to_peak]),
        np.append(variance, np.full(len(read.site), recipe.strength_noise**2)),
    )
    bottom_0, peak_0 = np.array(BOTTOM_MM)[read.soil][read.site], np.log(PEAK_KPA)[read.soil][read.site]
    fields, there = np.zeros(3 * n), np.where(read.has_pan, least + 0.5, least - 0.5)
    while True:
        bottom, log_peak = read.bottom_mm - bottom_0, read.log_peak - peak_0
        if not seen.all():
            middle = (to_bottom @ fields + bottom_0)[~seen], (to_peak @ fields + peak_0)[~seen]
            stopped = _stopped(read, ~seen, middle, recipe, rng)
            bottom[~seen], log_peak[~seen] = stopped[0] - bottom_0[~seen], stopped[1] - peak_0[~seen]
        fields = pan.draw(np.append(bottom, log_peak), rng)
        there = _presence(there, read.has_pan, near, least, rng)
        top = shallow.draw(read.top_mm - np.array(TOP_MM)[read.soil][read.site], rng)
        yield np.stack([fields[:n], fields[n : 2 * n], top, there])


class _Normal:
    """Normal values z with a prior precision, of which `design @ z` is read with independent noise."""

    def __init__(self, prior: np.ndarray, design: np.ndarray, variance: np.ndarray) -> None:
        self.back = design.T / variance
        self.root = np.linalg.inv(np.linalg.cholesky(prior + self.back @ design))

    def draw(self, values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        return self.root.T @ (self.root @ (self.back @ values) + rng.standard_normal(len(self.root)))


def _stopped(read: Read, which: np.ndarray, middle: tuple[np.ndarray, np.ndarray], recipe: Recipe, rng) -> np.ndarray:
    """Draws of bottom and log peak of the insertions that stopped, given the means: each peak has its bottom.

    Resistance rises straight from the threshold at the top to the peak midway, so (stop - top) / (bottom - top) is half
    the limit's excess over the peak's.
    """
    log_peak = read.log_peak[which, None] + STRONGER
    excess, limit = np.exp(log_peak) - THRESHOLD_KPA, np.exp(read.log_peak[which, None]) - THRESHOLD_KPA
    top, stop = read.top_mm[which, None], read.stop_mm[which, None]
    bottom = top + 2.0 * (stop - top) * excess / limit
    off = ((bottom - middle[0][:, None]) / recipe.noise_mm) ** 2
    off += ((log_peak - middle[1][:, None]) / recipe.strength_noise) ** 2
    chance = np.cumsum(excess * np.exp(-0.5 * (off - off.min(axis=1, keepdims=True))), axis=1)
    pick = (chance < chance[:, -1:] * rng.uniform(size=(len(chance), 1))).sum(axis=1)
    rows = np.arange(len(pick))
    return np.stack([bottom[rows, pick], log_peak[rows, pick]])


def _presence(there: np.ndarray, has_pan: np.ndarray, near: np.ndarray, least: float, rng) -> np.ndarray:
    """The field of presence drawn once more at each site, on its side of `least`."""
    there = there.copy()
    chances = rng.uniform(size=len(there))
    for site, chance in enumerate(chances):
        sd = near[site, site] ** -0.5
        middle = there[site] - near[site] @ there * sd**2
        side = 1.0 if has_pan[site] else -1.0
        below = ndtr(side * (least - middle) / sd)
        there[site] = middle + side * sd * ndtri(np.clip(below + (1.0 - below) * chance, 1e-12, 1.0 - 1e-12))
    return there
