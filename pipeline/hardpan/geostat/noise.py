"""Standard normals of numbered draws, each at its place.

A draw meets the same chance at a place whatever else is drawn there or elsewhere: what differs between the draws of two
runs with one seed is then what the runs differ in, not luck.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.covariance import COINCIDENT_M

LATTICE, AROUND, NODES, BETWEEN, SITES, ERRORS, TREND = range(7)
"""What the chance is of: the field on its lattice and around it, micro-scale of nodes, what nodes leave open between
them, micro-scale of sites, errors of sites, coefficients of the trend."""

_MODULUS = 2**32
"""Places count round in this many steps, to keep the numbers of a seed positive."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """Standard normals of d draws.

    Examples
    --------
    >>> few, many = (Noise.seeded(np.random.default_rng(1), n) for n in (2, 5))
    >>> places = np.array([[0.0, 0.0], [30.0, 10.0]])
    >>> bool(np.all(few.at(SITES, places[1:])[:, 0] == many.at(SITES, places)[:2, 1]))
    True
    """

    seed: int
    draws: Ints
    """(d,) numbers of the draws."""

    @classmethod
    def seeded(cls, rng: np.random.Generator, n_draws: int) -> "Noise":
        """Noise of the draws 0 to n_draws - 1."""
        return cls(seed=int(rng.integers(2**62)), draws=np.arange(n_draws))

    def only(self, which: Ints | Bools) -> "Noise":
        """Noise of some of the draws."""
        return replace(self, draws=self.draws[which])

    def at(self, what: int, xy_m: Floats) -> Floats:
        """Normals (d, n) at n places, those of a place being its own."""
        normals, last = np.empty((len(self.draws), len(xy_m))), int(self.draws.max(initial=-1)) + 1
        steps = (np.rint(xy_m / COINCIDENT_M) % _MODULUS).astype(np.uint64)
        for place, (east, north) in enumerate(steps.tolist()):
            own = np.random.default_rng([self.seed, what, east, north])
            normals[:, place] = own.standard_normal(last)[self.draws]
        return normals

    def each(self, what: int, count: int) -> Floats:
        """Normals (d, count) of numbered things."""
        streams = (self._stream(what, draw) for draw in self.draws.tolist())
        normals = [stream.standard_normal(count) for stream in streams]
        return np.stack(normals) if normals else np.empty((0, count))

    def on_torus(self, draw: int, torus: tuple[int, ...], inner: tuple[slice, slice]) -> NDArray[np.float32]:
        """White noise of one draw on a torus of nodes, whose `inner` part does not depend on the torus about it."""
        noise = self._stream(AROUND, draw).standard_normal(torus, dtype=np.float32)
        noise[inner] = self._stream(LATTICE, draw).standard_normal(noise[inner].shape, dtype=np.float32)
        return noise

    def _stream(self, what: int, draw: int) -> np.random.Generator:
        return np.random.default_rng([self.seed, what, draw])
