"""Stationary covariance: nested structures, site micro-scale and insertion noise kept apart."""

from dataclasses import dataclass
from typing import Literal

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
