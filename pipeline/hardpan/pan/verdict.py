"""Which hard layer is the pan, what its bottom was seen to do, and why, in one sentence."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.pan.settings import PanSettings
from hardpan.records.pan import Bottom, State
from hardpan.records.survey import Stop


def choose_pan(layers: pd.DataFrame, reached_mm: Floats, stop: np.ndarray, settings: PanSettings) -> pd.DataFrame:
    """Give one row an insertion: the hard layer that is the pan, if one is, and what is known of it.

    The pan is the shallowest hard layer that does not end above `crust_mm` and starts within `search_to_mm`: roots
    meet it first, and a ripper that breaks a deeper one goes through it. A layer that is still hard at the last
    reading has a censored bottom, whatever ended the insertion.

    Parameters
    ----------
    layers : pd.DataFrame
        Of `hardpan.pan.layers.find_layers`.
    reached_mm : Floats
        Depth of each insertion's last reading, shape (insertion,); NaN without readings.
    stop : np.ndarray
        `hardpan.records.survey.Stop` of each insertion, shape (insertion,).
    settings : PanSettings
        `crust_mm` and `search_to_mm`.

    Returns
    -------
    pd.DataFrame
        `state`, `bottom_kind`, `top_mm`, `bottom_mm` (last hard reading where censored), `top_at`, `bottom_at` (-1
        without a pan), `next_mm` (top of the next hard layer, NaN without one) and `reason`, a key of `explain`.
    """
    n = len(reached_mm)
    crust = layers["bottom_mm"] < settings.crust_mm
    candidates = layers[~crust]
    first = candidates.groupby("row").nth(0).set_index("row").reindex(range(n))
    second = candidates.groupby("row").nth(1).set_index("row")["top_mm"].reindex(range(n))
    stopped_in_crust = np.isin(np.arange(n), layers.loc[crust & ~layers["closed"].astype(bool), "row"])
    found = first["top_mm"].notna().to_numpy()
    within = found & (first["top_mm"].to_numpy(dtype=float) <= settings.search_to_mm)
    closed = within & first["closed"].eq(True).to_numpy()  # noqa: FBT003

    reason = np.select(
        [
            closed,
            within & (stop == Stop.REFUSAL),
            within & (stop == Stop.LIMIT),
            within,
            found,
            ~(reached_mm > settings.crust_mm) | stopped_in_crust,
            reached_mm >= settings.search_to_mm,
            stop == Stop.REFUSAL,
            stop == Stop.SHORT,
        ],
        ["closed", "refusal", "limit", "still hard", "too deep", "too shallow", "soft", "stone", "short"],
        "soft",
    )
    unknown: Bools = np.isin(reason, ["too shallow", "stone", "short"])
    return pd.DataFrame(
        {
            "state": np.select([within, unknown], [State.PRESENT, State.UNUSABLE], State.ABSENT),
            "bottom_kind": np.select(
                [closed, within, unknown], [Bottom.OBSERVED, Bottom.CENSORED, Bottom.UNUSABLE], Bottom.ABSENT
            ),
            "top_mm": first["top_mm"].to_numpy(dtype=float),
            "bottom_mm": first["bottom_mm"].to_numpy(dtype=float),
            "top_at": np.where(within, first["top_at"].to_numpy(dtype=float), -1).astype(np.int64),
            "bottom_at": np.where(within, first["bottom_at"].to_numpy(dtype=float), -1).astype(np.int64),
            "next_mm": second.to_numpy(dtype=float),
            "reason": reason,
        }
    )


_SENTENCES = {
    "closed": "Hard from {top:.0f} to {bottom:.0f} mm, soft below",
    "refusal": "Hard from {top:.0f} mm, the probe was refused at {reached:.0f} mm: the bottom is deeper",
    "limit": "Hard from {top:.0f} mm, the device's limit was met at {reached:.0f} mm: the bottom is deeper",
    "still hard": "Hard from {top:.0f} mm and still hard at the last reading at {reached:.0f} mm: the bottom is deeper",
    "too deep": "First hard at {top:.0f} mm, below a ripper's reach",
    "too shallow": "Read to {reached:.0f} mm only, not below the depth of a crust",
    "soft": "No hard layer down to {reached:.0f} mm",
    "stone": "Refused at {reached:.0f} mm straight from soft ground, as on a stone: nothing is known below",
    "short": "Ends at {reached:.0f} mm in soft ground: nothing is known below",
}


def explain(pan: pd.DataFrame, reached_mm: Floats) -> list[str]:
    """Give the sentence that says why, for each insertion of `choose_pan`."""
    columns = (pan["reason"], pan["top_mm"], pan["bottom_mm"], reached_mm, pan["next_mm"])
    return [
        _SENTENCES[reason].format(top=top, bottom=bottom, reached=reached)
        + ("." if np.isnan(below) else f"; hard again from {below:.0f} mm.")
        for reason, top, bottom, reached, below in zip(*columns, strict=True)
    ]
