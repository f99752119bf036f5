"""Which hard layer is the pan, and what its bottom was seen to do."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.pan.settings import PanSettings
from hardpan.records.pan import Bottom, Seen, State
from hardpan.records.survey import Stop

_OUTCOME = {
    **dict.fromkeys((Seen.REFUSAL, Seen.LIMIT, Seen.STILL_HARD), (State.PRESENT, Bottom.CENSORED)),
    **dict.fromkeys((Seen.TOO_DEEP, Seen.SOFT, Seen.MARGINAL, Seen.SHORT), (State.ABSENT, Bottom.ABSENT)),
    **dict.fromkeys((Seen.SHALLOW, Seen.STONE), (State.UNUSABLE, Bottom.UNUSABLE)),
    Seen.CLOSED: (State.PRESENT, Bottom.OBSERVED),
}
"""State and bottom that follow from what was seen."""


def choose_pan(
    layers: pd.DataFrame, reached_mm: Floats, marginal_mm: Floats, stop: np.ndarray, settings: PanSettings
) -> pd.DataFrame:
    """The pan of each insertion: the hard layer that is one, if any is, and what is known of it.

    The pan is the shallowest hard layer that does not end above `crust_mm` and starts within `search_to_mm`: roots
    meet it first, and a ripper that works a deeper one breaks it on the way. A layer that is still hard at the last
    reading has a censored bottom, whatever ended the insertion. A probe refused straight from soft ground stands on
    a stone and cannot tell whether there is a pan. One that ends in soft ground before `search_to_mm` tells that there
    is none down to where it ends, be that the rod's end or short of it.

    Parameters
    ----------
    layers : pd.DataFrame
        Of `hardpan.pan.layers.find_layers`.
    reached_mm : Floats
        Depth of each insertion's last reading, shape (insertion,); 0 without readings.
    marginal_mm : Floats
        Depth of each insertion's first reading at or above the threshold below a crust, shape (insertion,), or NaN.
    stop : np.ndarray
        `hardpan.records.survey.Stop` of each insertion, shape (insertion,).
    settings : PanSettings
        `crust_mm` and `search_to_mm`.

    Returns
    -------
    pd.DataFrame
        `state`, `bottom_kind`, `top_mm`, `bottom_mm` (last hard reading where censored), `top_at`, `bottom_at` (-1
        without a pan), `soft_to_mm`, `layer_mm` and `next_mm` (tops of the first and second hard layer below a crust,
        NaN without), `crusted` (a hard layer ends above `crust_mm`), `seen` (a `Seen`) and `reached_mm`.
    """
    row = pd.RangeIndex(len(reached_mm))
    crust = layers["bottom_mm"] < settings.crust_mm
    below = layers[~crust]
    first = below[~below.duplicated("row")].set_index("row").reindex(row)
    others = below[below.duplicated("row")]
    second = others[~others.duplicated("row")].set_index("row")["top_mm"].reindex(row)
    only_crust = row.isin(layers.loc[crust & ~layers["closed"].astype(bool), "row"])

    layer_mm = first["top_mm"].to_numpy(dtype=float)
    pan = layer_mm <= settings.search_to_mm
    closed = pan & (first["closed"] == True).to_numpy()  # noqa: E712  missing rows are neither
    deep = reached_mm >= settings.search_to_mm
    seen = np.select(
        [
            closed,
            pan & (stop == Stop.REFUSAL),
            pan & (stop == Stop.LIMIT),
            pan,
            np.isfinite(layer_mm),
            only_crust | (reached_mm <= settings.crust_mm),
            ~deep & (stop == Stop.REFUSAL),
            np.isfinite(marginal_mm),
            ~deep & (stop == Stop.SHORT),
        ],
        [
            Seen.CLOSED,
            Seen.REFUSAL,
            Seen.LIMIT,
            Seen.STILL_HARD,
            Seen.TOO_DEEP,
            Seen.SHALLOW,
            Seen.STONE,
            Seen.MARGINAL,
            Seen.SHORT,
        ],
        Seen.SOFT,
    )
    state = [_OUTCOME[Seen(key)][0] for key in seen]
    absent = np.isin(state, [State.ABSENT])
    return pd.DataFrame(
        {
            "state": state,
            "bottom_kind": [_OUTCOME[Seen(key)][1] for key in seen],
            "top_mm": np.where(pan, layer_mm, np.nan),
            "bottom_mm": first["bottom_mm"].where(pan).to_numpy(dtype=float),
            "top_at": first["top_at"].where(pan, -1).to_numpy(dtype=np.int64),
            "bottom_at": first["bottom_at"].where(pan, -1).to_numpy(dtype=np.int64),
            "soft_to_mm": np.where(absent, np.minimum(reached_mm, settings.search_to_mm), np.nan),
            "layer_mm": np.where(seen == Seen.MARGINAL, marginal_mm, layer_mm),
            "next_mm": second.to_numpy(dtype=float),
            "crusted": row.isin(layers.loc[crust, "row"]),
            "seen": seen,
            "reached_mm": reached_mm,
        }
    )
