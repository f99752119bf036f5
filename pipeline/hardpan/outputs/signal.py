"""What the machine does where the position is not known."""

import pandas as pd


def depth_without_position(zones: pd.DataFrame, exclusions: pd.DataFrame) -> int:
    """Depth in mm before the first position and after the last: the shallowest planned, 0 where a service is buried.

    Without a position nobody knows how near the tines are to what lies buried.

    Parameters
    ----------
    zones : DataFrame
        `depth_mm` of each zone of the plan.
    exclusions : DataFrame
        `buried` of each exclusion.
    """
    ripped = zones.loc[zones["depth_mm"] > 0, "depth_mm"]
    return 0 if exclusions["buried"].any() or ripped.empty else round(ripped.min())
