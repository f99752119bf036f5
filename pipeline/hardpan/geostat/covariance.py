"""Stationary covariance: nested structures, site micro-scale and insertion noise kept apart."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.spatial.distance import cdist

from hardpan.core.arrays import Floats

Family = Literal["exponential", "spherical", "matern32", "matern52"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Structure:
    """One spatially correlated part.

    With r = h / length_m: exponential exp(-r) (Matérn 0.5); spherical 1 - 1.5 r + 0.5 r^3 for r < 1;
    matern32 (1 + sqrt(3) r) exp(-sqrt(3) r); matern52 (1 + sqrt(5) r + 5/3 r^2) exp(-sqrt(5) r).
    """

    family: Family
    sill: float
    """Partial sill (variance)."""
    length_m: float
    """Model length along the major axis."""
    ratio: float = 1.0
    """Minor over major length, in (0, 1]."""
    heading_deg: float = 0.0
    """Major axis, clockwise from north."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Covariance:
    """Sum of structures, plus micro-scale variance shared within a site, plus noise of each insertion."""

    structures: tuple[Structure, ...]
    micro: float = 0.0
    """Variance shared by insertions at one site and by nothing else (micro-scale of the field)."""
    noise: float = 0.0
    """Variance of one insertion (measurement and repeat), never part of the field."""


def structured_sill(covariance: Covariance) -> float:
    """Give the variance of the spatially correlated parts together."""
    return float(sum(structure.sill for structure in covariance.structures))


def total_sill(covariance: Covariance) -> float:
    """Give the variance of the field at a point: structures and micro-scale, without noise."""
    return structured_sill(covariance) + covariance.micro


def scaling(structure: Structure) -> Floats:
    """Give the (2, 2) matrix M such that the norm of `offset @ M` is h / length along the offset's direction."""
    heading = np.deg2rad(structure.heading_deg)
    major = np.array([np.sin(heading), np.cos(heading)])
    minor = np.array([np.cos(heading), -np.sin(heading)])
    return np.column_stack([major / structure.length_m, minor / (structure.length_m * structure.ratio)])


def correlation(family: Family, r: Floats) -> Floats:
    """Give the correlation at scaled distance `r`; `r` is overwritten."""
    if family == "spherical":
        np.minimum(r, 1.0, out=r)
        return 1.0 - r * (1.5 - 0.5 * r * r)
    if family == "exponential":
        return np.exp(np.negative(r, out=r), out=r)
    if family == "matern32":
        r *= np.sqrt(3.0)
        return (1.0 + r) * np.exp(-r)
    r *= np.sqrt(5.0)
    return (1.0 + r * (1.0 + r / 3.0)) * np.exp(-r)


def evaluate(covariance: Covariance, offsets_m: Floats) -> Floats:
    """Give the structured covariance at offsets of shape (..., 2), without micro-scale and noise."""
    return covariance_between(covariance, offsets_m.reshape(-1, 2), np.zeros((1, 2))).reshape(offsets_m.shape[:-1])


def covariance_between(covariance: Covariance, a_xy: Floats, b_xy: Floats) -> Floats:
    """Give the structured covariance of places (n, 2) with places (m, 2), shape (n, m); no micro-scale, no noise."""
    # distances are taken about one of the places so that map coordinates of millions of metres keep their digits
    origin = b_xy[0] if len(b_xy) else np.zeros(2)
    total: Floats | None = None
    for structure in covariance.structures:
        matrix = scaling(structure)
        part = correlation(structure.family, cdist((a_xy - origin) @ matrix, (b_xy - origin) @ matrix))
        part *= structure.sill
        total = part if total is None else total + part
    return np.zeros((len(a_xy), len(b_xy))) if total is None else total
