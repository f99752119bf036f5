"""What the machine does where the position is not known."""

import pandas as pd

from hardpan.outputs.settings import OutputSettings


def depth_without_position(zones: pd.DataFrame, exclusions: pd.DataFrame, settings: OutputSettings) -> int:
    """Depth in mm before the first position and after the last: the shallowest planned, 0 where a service is buried.

    Without a position nobody knows how near the tines are to what lies buried. An exclusion counts as buried unless its
    `kind` is one of `settings.visible_kinds`, so a missing or unknown kind is on the safe side.

    Parameters
    ----------
    zones : DataFrame
        `depth_mm` of each zone of the plan.
    exclusions : DataFrame
        `kind` of each exclusion.
    settings : OutputSettings
        Holds `visible_kinds`.
    """
    visible = {kind.strip().casefold() for kind in settings.visible_kinds}
    buried = [kind for kind in exclusions["kind"] if str(kind).strip().casefold() not in visible]
    ripped = zones.loc[zones["depth_mm"] > 0, "depth_mm"]
    return 0 if buried or ripped.empty else round(ripped.min())
