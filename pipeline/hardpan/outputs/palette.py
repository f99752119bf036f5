"""One colour a depth, the same in every map: perceptually even and safe for colour-blind eyes."""

from collections.abc import Iterable, Mapping

INK = "#262b31"
"""Lines and text on the page; the report puts the page's own colour in its place."""

EDGE = "#262b32"
"""Lines on coloured ground, which stay dark on a dark page too."""

UNRIPPED = "#e4e1d8"
"""Ground left alone: a pale grey outside the scale of depths."""

EXCLUDED = "#ffffff"
"""Ground to keep out of, under a hatch."""

SHUT = "#bdb8ac"
"""Days on which ground may not be worked: a grey that shows on a bright page and on a dark one."""

ACCENT = "#b5482f"
"""The one thing to look at in a chart; at least 4.5 : 1 against white and against the dark page."""

SOILS = ("#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#999999")
"""Soil types: Okabe and Ito's colours."""


def depth_colours(depths_mm: Iterable[float]) -> Mapping[int, str]:
    """Hex colour for each depth, bright when shallow and dark when deep.

    Ripped depths are spread evenly over viridis, so neighbours in the list stay apart however close they are in
    millimetres, and none is a grey that could be taken for ground left alone.
    """
    from matplotlib import colormaps
    from matplotlib.colors import to_hex

    ripped = sorted({round(depth) for depth in depths_mm} - {0})
    steps = [0.45] if len(ripped) == 1 else [0.95 - 0.87 * k / (len(ripped) - 1) for k in range(len(ripped))]
    scale = colormaps["viridis"]
    return {0: UNRIPPED} | {depth: to_hex(scale(step)) for depth, step in zip(ripped, steps, strict=True)}


def text_on(colour: str) -> str:
    """Black or white, whichever reads better on `colour` (relative luminance of WCAG 2)."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if luminance > 0.179 else "#ffffff"
