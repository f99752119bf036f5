"""Outlines of paddocks in a metric plane around their middle: concave, holed, in parts, densified, wound either way."""

import numpy as np
import shapely
from shapely import affinity

TRACK_M = 30.0
"""Between parts of a paddock, as a road or a creek parts them."""


def boundary_of(recipe, rng: np.random.Generator) -> shapely.MultiPolygon:
    """The paddock, of the recipe's area, parts, holes and vertices, in m around 0, 0."""
    weights = rng.uniform(0.4, 1.0, recipe.parts)
    areas_m2 = recipe.area_ha * 1e4 * weights / weights.sum()
    parts, east_m = [], 0.0
    for area_m2 in areas_m2:
        one = _scaled(_outline(recipe.outline, rng), area_m2)
        one = _scaled(_holed(one, recipe.holes, rng), area_m2)
        west, south, east, _ = one.bounds
        parts.append(affinity.translate(one, east_m - west, -south + rng.uniform(-50.0, 50.0)))
        east_m += east - west + TRACK_M
    whole = shapely.MultiPolygon(parts)
    whole = affinity.rotate(whole, rng.uniform(0.0, 360.0), origin="centroid")
    middle = whole.centroid
    whole = affinity.translate(whole, -middle.x, -middle.y)
    whole = _densified(whole, recipe.vertices, rng)
    return wound(_doubled(whole) if recipe.flaw == "doubled" else whole, recipe.clockwise)


def _outline(kind: str, rng: np.random.Generator) -> shapely.Polygon:
    if kind == "square":
        return shapely.box(0, 0, 1, rng.uniform(0.5, 1.0))
    if kind == "strip":
        return shapely.box(0, 0, 1, rng.uniform(0.12, 0.3))
    if kind == "triangle":
        return shapely.Polygon([(0, 0), (1, rng.uniform(-0.2, 0.2)), (rng.uniform(0.2, 0.8), rng.uniform(0.6, 1.0))])
    if kind == "hook":
        inner = rng.uniform(0.35, 0.6)
        return shapely.box(0, 0, 1, 1).difference(shapely.box(inner, inner, 1.1, 1.1))
    turn = np.linspace(0.0, 2.0 * np.pi, 96, endpoint=False)
    radius = np.ones(turn.size)
    if kind == "wavy":
        for wave in range(2, 6):
            radius += rng.uniform(0.0, 0.5 / wave) * np.cos(wave * turn + rng.uniform(0.0, 2.0 * np.pi))
    if kind == "star":
        arms = int(rng.integers(3, 7))
        radius = 0.65 + 0.35 * np.abs(np.cos(arms * turn / 2.0 + rng.uniform(0.0, np.pi)))
    return shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))


def _scaled(shape: shapely.Polygon, area_m2: float) -> shapely.Polygon:
    by = (area_m2 / shape.area) ** 0.5
    return affinity.scale(shape, by, by, origin=(0, 0))


def _holed(shape: shapely.Polygon, holes: int, rng: np.random.Generator) -> shapely.Polygon:
    """Cut round holes (dams, clumps of trees) that leave ground all around them."""
    size_m = shape.area**0.5
    for _ in range(holes):
        hole = within(shape, rng).buffer(size_m * rng.uniform(0.02, 0.09))
        if shape.buffer(-0.01 * size_m).contains(hole):
            shape = shape.difference(hole)
    return shape


def within(shape: shapely.Geometry, rng: np.random.Generator) -> shapely.Point:
    """A random point of a shape."""
    west, south, east, north = shape.bounds
    shapely.prepare(shape)
    while True:
        point = shapely.Point(rng.uniform(west, east), rng.uniform(south, north))
        if shape.contains(point):
            return point


def _densified(shape: shapely.MultiPolygon, vertices: int, rng: np.random.Generator) -> shapely.MultiPolygon:
    """The shape with many vertices, trembling by centimetres as a walked outline does."""
    if shapely.get_num_coordinates(shape) >= vertices:
        return shape
    dense = shapely.segmentize(shape, shape.length / vertices)
    tremble = min(0.03, 0.2 * shape.length / vertices)

    def shaken(xy: np.ndarray) -> np.ndarray:
        moved = xy + rng.normal(0.0, tremble, xy.shape)
        moved[-1] = moved[0]
        return moved

    parts = [
        shapely.Polygon(
            shaken(shapely.get_coordinates(part.exterior)),
            [shaken(shapely.get_coordinates(ring)) for ring in part.interiors],
        )
        for part in shapely.get_parts(dense)
    ]
    shaky = shapely.MultiPolygon(parts)
    return shaky if shaky.is_valid else dense


def _doubled(shape: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """The shape with every third vertex twice, as a receiver at rest writes it."""

    def twice(ring: shapely.LinearRing) -> np.ndarray:
        xy = shapely.get_coordinates(ring)
        return np.repeat(xy, np.where(np.arange(len(xy)) % 3 == 1, 2, 1), axis=0)

    parts = shapely.get_parts(shape)
    return shapely.MultiPolygon(
        [shapely.Polygon(twice(part.exterior), [twice(hole) for hole in part.interiors]) for part in parts]
    )


def wound(shape: shapely.MultiPolygon, clockwise: tuple[bool, bool]) -> shapely.MultiPolygon:
    """The shape with shells and holes wound as asked, whatever a standard says."""

    def ring(one: shapely.LinearRing, turn: bool) -> shapely.LinearRing:
        return one.reverse() if shapely.is_ccw(one) == turn else one

    return shapely.MultiPolygon(
        [
            shapely.Polygon(ring(part.exterior, clockwise[0]), [ring(hole, clockwise[1]) for hole in part.interiors])
            for part in shapely.get_parts(shape)
        ]
    )
