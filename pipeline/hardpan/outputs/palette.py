"""One colour a depth, the same in every map: perceptually even and safe for colour-blind eyes."""

from collections.abc import Iterable, Mapping

from matplotlib import colormaps
from matplotlib.colors import to_hex

UNRIPPED = "#e8e6df"
EXCLUDED = "#ffffff"


def depth_colours(depths_mm: Iterable[float]) -> Mapping[int, str]:
    """Give a hex colour for each depth; depth 0 (left unripped) is a pale grey outside the scale.

    Ripped depths are spread evenly over cividis, shallow bright and deep dark, so neighbours in the list stay apart
    however close they are in millimetres.
    """
    ripped = sorted({round(depth) for depth in depths_mm} - {0})
    steps = [0.5] if len(ripped) == 1 else [0.92 - 0.87 * k / max(len(ripped) - 1, 1) for k in range(len(ripped))]
    return {0: UNRIPPED} | {
        depth: to_hex(colormaps["cividis"](step)) for depth, step in zip(ripped, steps, strict=True)
    }


def text_on(colour: str) -> str:
    """Give black or white, whichever reads better on `colour` (relative luminance of WCAG 2)."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#000000" if luminance > 0.179 else "#ffffff"
