"""Draws of a stationary field without data: on a lattice, by circulant embedding [dietrich1997], and between."""

from dataclasses import dataclass

import numpy as np
from scipy.fft import fft2, next_fast_len

from hardpan.core.arrays import Floats, Ints
from hardpan.spatial.covariance import Family, correlation
from hardpan.spatial.parameters import EFFECTIVE

_NEIGHBOURS = 4
"""A point between the nodes is drawn given the nearest 4 x 4: nodes behind those are screened."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """Rows run south, columns east; (0, 0) is at `origin_m`."""

    origin_m: tuple[float, float]
    """x, y of the first node."""
    step_m: float
    shape: tuple[int, int]

    @classmethod
    def covering(cls, xy_m: Floats, *, anchor_m: tuple[float, float], step_m: float) -> "Lattice":
        """Give the lattice through `anchor_m` that reaches two steps beyond all points."""
        off = np.column_stack([(xy_m[:, 0] - anchor_m[0]) / step_m, (anchor_m[1] - xy_m[:, 1]) / step_m])
        low, high = np.floor(off.min(axis=0)).astype(int) - 2, np.ceil(off.max(axis=0)).astype(int) + 2
        return cls(
            origin_m=(anchor_m[0] + low[0] * step_m, anchor_m[1] - low[1] * step_m),
            step_m=step_m,
            shape=(int(high[1] - low[1]) + 1, int(high[0] - low[0]) + 1),
        )

    def position(self, xy_m: Floats) -> Floats:
        """Give (row, column) of points, in steps."""
        return np.column_stack(
            [(self.origin_m[1] - xy_m[:, 1]) / self.step_m, (xy_m[:, 0] - self.origin_m[0]) / self.step_m]
        )


def draw_lattice(lattice: Lattice, family: Family, range_m: float, n_draws: int, rng: np.random.Generator) -> Floats:
    """Give draws (n_draws, rows, columns) of a field of mean 0 and variance 1.

    The covariance on the lattice is exact where the torus of twice the size embeds it; negative eigenvalues, which
    ranges near the size of the lattice bring, are set to 0 and the variance restored.
    """
    size = [next_fast_len(2 * n) for n in lattice.shape]
    rows, cols = (np.minimum(np.arange(n), n - np.arange(n)) * lattice.step_m for n in size)
    torus = correlation(family, np.hypot(rows[:, None], cols[None, :]) * (EFFECTIVE[family] / range_m))
    spectrum = np.maximum(fft2(torus).real, 0.0)
    root = np.sqrt(spectrum / spectrum.sum())
    pairs = -(-n_draws // 2)
    draws = np.empty((2 * pairs, *lattice.shape))
    for j in range(pairs):
        noise = rng.standard_normal((2, *size))
        field = fft2(root * (noise[0] + 1j * noise[1]))[: lattice.shape[0], : lattice.shape[1]]
        draws[2 * j], draws[2 * j + 1] = field.real, field.imag
    return draws[:n_draws]


def draw_between(
    lattice: Lattice, draws: Floats, xy_m: Floats, family: Family, *, range_m: float, rng: np.random.Generator
) -> Floats:
    """Give the draws (n_draws, n) at points, given those on the lattice."""
    around, weights, spread = _weights_between(lattice, xy_m, family, range_m)
    near = draws[:, around[:, :, 0], around[:, :, 1]]
    known: Floats = np.einsum("dnk,nk->dn", near, weights)
    return known + spread * rng.standard_normal((len(draws), len(xy_m)))


def _weights_between(lattice: Lattice, xy_m: Floats, family: Family, range_m: float) -> tuple[Ints, Floats, Floats]:
    """Give the nodes (n, 16, 2) about each point, their kriging weights (n, 16) and what they leave unknown (n,)."""
    position = lattice.position(xy_m)
    first = np.clip(np.floor(position).astype(int) - 1, 0, np.array(lattice.shape) - _NEIGHBOURS)
    offset = np.stack(np.meshgrid(np.arange(_NEIGHBOURS), np.arange(_NEIGHBOURS), indexing="ij"), axis=-1).reshape(
        -1, 2
    )
    around = first[:, None, :] + offset

    def shape(steps: Floats) -> Floats:
        return correlation(family, steps * (lattice.step_m * EFFECTIVE[family] / range_m))

    among = shape(np.linalg.norm((offset[:, None, :] - offset[None, :, :]).astype(float), axis=2))
    among[np.diag_indices_from(among)] += 1e-9
    onto = shape(np.linalg.norm(around - position[:, None, :], axis=2))
    weights = np.asarray(np.linalg.solve(among, onto.T).T, dtype=np.float64)
    return around, weights, np.sqrt(np.maximum(1.0 - np.sum(weights * onto, axis=1), 0.0))
