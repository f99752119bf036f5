"""Units of what was read: of the header or the settings, else of the cells; sizes that belie them."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, depth, percent
from hardpan.core.units import KPA_PER, MM_PER
from hardpan.records.issues import Issue
from hardpan.survey.columns import Heading, Numbers, TextReadings
from hardpan.survey.notes import listed, warned
from hardpan.survey.settings import ProbeSettings
from hardpan.survey.vocabulary import SENTINELS, fold, length_unit, pressure_unit

UNIT_GAP = 100.0
"""No two insertions of one paddock differ so much; kPa and MPa differ by 1000."""
PSI_GAP = 3.0
"""Insertions of one paddock rarely leave so wide a gap, with several on either side."""
PSI_SPREAD = 1.35
"""Two groups whose middles differ by the factor of psi, give or take this, look like a mix of psi and kPa."""
SMALL = 20.0
"""Readings from here on are no MPa."""
LEAST_SUNKEN = 3
"""So many readings far below their neighbours are no accident."""
STANDARD_ANGLE_DEG = 30.0
"""Full angle of both standard cones (`usfs0524`)."""
WEAR_LIMIT = 0.03
"""Loss of diameter at which a cone is renewed (`usfs0524`)."""
SHALLOWEST_MM, DEEPEST_MM = 90.0, 3000.0
"""A survey that ends above or below was not made with a hand or vehicle cone penetrometer, or has another unit."""
SOFTEST_KPA = 60.0
"""Where the median of the peaks is lower, no soil was probed, or the unit is another."""


def settle_units(heading: Heading, value: Numbers, depth: Numbers | Floats, file: str) -> tuple[str, str]:
    """Units of resistance and depth; never a guess.

    Raises
    ------
    AmbiguousInputError
        Nobody states a unit; the message suggests one by size.
    InputError
        The cells name several units, or another than the header.
    """
    unit = heading.resistance_unit or _cell_unit(value.units, pressure_unit, None, file)
    _cell_unit(value.units, pressure_unit, unit, file)
    if unit is None:
        raise AmbiguousInputError(
            what="the unit of resistance is stated nowhere",
            where=file,
            do=f"set probes.resistance_unit ({_likely(value)})",
        )
    depth_unit = heading.depth_unit
    if not isinstance(depth, np.ndarray):
        depth_unit = depth_unit or _cell_unit(depth.units, length_unit, None, file)
        _cell_unit(depth.units, length_unit, depth_unit, file)
    if depth_unit is None:
        raise AmbiguousInputError(
            what="the unit of depth is stated nowhere", where=file, do="set probes.depth_unit to mm, cm, m or in"
        )
    return unit, depth_unit


def _cell_unit(units: np.ndarray, read: Callable[[str], str | None], stated: str | None, file: str) -> str | None:
    named = sorted({str(unit) for unit in pd.unique(units)} - {""})
    found = {read(fold(unit)) for unit in named}
    if None in found or len(found) > 1 or (stated and found - {stated}):
        but = f" but {stated} is stated" if stated else ""
        raise InputError(what=f"cells carry units {listed(named)}{but}", where=file, right="one unit throughout")
    return next(iter(found), None)


def _likely(value: Numbers) -> str:
    middle = float(np.nanmedian(np.where(value.value > 0, value.value, np.nan))) if (value.value > 0).any() else 0.0
    return f"the median {middle:.4g} {'suggests MPa' if middle < 15 else 'may be kPa or psi'}"


def kpa_factor(unit: str, settings: ProbeSettings) -> float:
    """KPa in one `unit`, corrected for a worn cone: cone index is force over the true base area.

    A device divides by the area of the new cone; a cone worn from D to d reads low by (d/D)^2 (`usfs0524`).
    """
    area_mm2 = np.pi / 4 * settings.cone_diameter_mm**2
    factor = 1e3 / area_mm2 if unit == "N" else KPA_PER[unit]
    factor *= settings.cone_factor or 1.0
    worn = settings.worn_diameter_mm
    return float(factor if worn is None else factor * (settings.cone_diameter_mm / worn) ** 2)


def cone_issues(settings: ProbeSettings, file: str) -> tuple[Issue, ...]:
    """What the cone means for the readings.

    Raises
    ------
    InputError
        The cone is not of 30 degrees, or is worn to more than its new diameter.
    """
    told: tuple[Issue, ...] = ()
    if settings.cone_factor is not None:
        what = f"readings of a cone of {settings.cone_angle_deg:g} degrees"
        done = f"multiplied by probes.cone_factor = {settings.cone_factor:g}, as stated; pan.critical_kpa must fit them"
        told = (warned("other-cone", what, done, file=file),)
    elif settings.cone_angle_deg != STANDARD_ANGLE_DEG:
        raise InputError(
            what=f"a cone of {settings.cone_angle_deg:g} degrees reads another variable than one of 30 degrees",
            where=file,
            do="state in probes.cone_factor what turns its readings into cone index; 1 keeps them, with a"
            " pan.critical_kpa that fits the cone",
        )
    worn, new = settings.worn_diameter_mm, settings.cone_diameter_mm
    if worn is None:
        return told
    if worn > new:
        raise InputError(what=f"worn to {worn:g} mm from {new:g} mm", where="probes.worn_diameter_mm", right="less")
    done = f"readings raised by {percent((new / worn) ** 2 - 1, 1)}, the loss of base area"
    limit = f", beyond the {percent(WEAR_LIMIT)} at which it is to be renewed" if worn < new * (1 - WEAR_LIMIT) else ""
    what = Said(
        "the cone is worn from {new} to {worn}{limit}",
        new=depth(new, None, bare=True),
        worn=depth(worn, None),
        limit=limit,
    )
    return (*told, warned("worn-cone", what, done, file=file))


def drop_sentinels(value: Floats, text: TextReadings) -> tuple[Floats, tuple[Issue, ...]]:
    """Values, in the unit of the file, with sentinels as NaN."""
    hit = np.isin(value, SENTINELS)
    if not hit.any():
        return value, ()
    which = listed([f"{one:g}" for one in sorted(set(value[hit].tolist()))])
    issue = warned(
        "sentinel",
        f"{int(hit.sum())} readings are {which}: a mark, no measurement",
        "taken as missing",
        file=text.file,
        place=f"site {listed(sorted(set(text.insertions['site'].to_numpy()[np.unique(text.code[hit])])))}",
    )
    return np.where(hit, np.nan, value), (issue,)


def check_mixed(value: Floats, depth: Floats, text: TextReadings) -> None:
    """Refuse a column in which some insertions, or stretches of one, are a hundred times smaller than the others.

    Raises
    ------
    AmbiguousInputError
        There is an empty gap of a factor of 100 or more.
    """
    do = "bring the readings to one unit, or give two files each with its own unit in the header"
    middles = pd.Series(np.where(value > 0, value, np.nan)).groupby(text.code).median().dropna().sort_values()
    ratio = middles.to_numpy()[1:] / middles.to_numpy()[:-1]
    if len(ratio) and ratio.max() >= UNIT_GAP:
        at = int(np.argmax(ratio))
        names = sorted(text.insertions["site"].to_numpy()[middles.index[: at + 1]])
        raise AmbiguousInputError(
            what=f"{at + 1} insertions have a median of {middles.iloc[at]:g} or less, the others of "
            f"{middles.iloc[at + 1]:g} or more: the column mixes units",
            where=f"{text.file} site {listed(names)}",
            do=do,
        )
    small = _sunken(value, depth, text.code)
    if small.sum() >= LEAST_SUNKEN:
        raise AmbiguousInputError(
            what=f"{int(small.sum())} readings are {UNIT_GAP:g} times smaller than both those above and below them: "
            "the column mixes units",
            where=f"{text.file} row {listed(sorted(set(text.row[small].tolist())))}",
            do=do,
        )


def suspect_psi(value: Floats, text: TextReadings) -> tuple[Issue, ...]:
    """Remark on two groups of insertions that differ as psi and kPa do, with none in between; soil can do that too."""
    peaks = pd.Series(value).groupby(text.code).max().loc[lambda peak: peak > 0].sort_values()
    ratio = peaks.to_numpy()[1:] / peaks.to_numpy()[:-1]
    if len(peaks) < 4 or ratio.max() < PSI_GAP:
        return ()
    at = int(np.argmax(ratio)) + 1
    apart = peaks.iloc[at:].median() / peaks.iloc[:at].median() / KPA_PER["psi"]
    if min(at, len(peaks) - at) < 2 or not 1.0 / PSI_SPREAD <= apart <= PSI_SPREAD:
        return ()
    names = sorted(text.insertions["site"].to_numpy()[peaks.index[:at]])
    return (
        warned(
            "psi-suspected",
            f"{at} insertions peak about {apart * KPA_PER['psi']:.1f} times lower than the others, none in between: "
            "a mix of psi and kPa looks like this",
            "read as one unit; if it is a mix give two files, each with its own unit in the header",
            file=text.file,
            place=f"site {listed(names)}",
        ),
    )


def _sunken(value: Floats, depth: Floats, code: Ints) -> Bools:
    """Which readings lie a hundredfold below the highest above and the highest below in their insertion."""
    small = (value > 0) & (value < SMALL)
    if small.sum() < LEAST_SUNKEN:
        return small & False
    rank = np.lexsort((depth, code))
    by_depth = pd.Series(np.where(value > 0, value, np.nan)[rank])
    above = by_depth.groupby(code[rank]).cummax()
    below = by_depth[::-1].groupby(code[rank][::-1]).cummax()[::-1]
    hit = np.zeros(len(value), dtype=bool)
    hit[rank] = (by_depth * UNIT_GAP <= np.minimum(above, below)).to_numpy()
    return hit & small


def check_sizes(kpa: Floats, depth_mm: Floats, code: Ints, file: str) -> None:
    """Refuse sizes that belie the stated units.

    Raises
    ------
    AmbiguousInputError
        Peaks are far too low for kPa, or depths too small or too large for their unit.
    """
    deepest = float(np.nanmax(depth_mm, initial=0.0))
    if not SHALLOWEST_MM <= deepest <= DEEPEST_MM:
        other = "" if deepest < SHALLOWEST_MM else ", and a geotechnical cone is another instrument"
        raise AmbiguousInputError(
            what=f"the deepest reading is at {deepest:g} mm{other}",
            where=file,
            right=f"{SHALLOWEST_MM:g} to {DEEPEST_MM:g} mm",
            do="check probes.depth_unit and the header",
        )
    peaks = pd.Series(kpa).groupby(code).max()
    middle = float(peaks[peaks > 0].median()) if (peaks > 0).any() else np.nan
    if middle < SOFTEST_KPA:
        raise AmbiguousInputError(
            what=f"half of the insertions peak below {middle:.3g} kPa",
            where=file,
            do="check probes.resistance_unit and the header: the readings may be in MPa",
        )


def point_down(depth_mm: Floats, file: str) -> tuple[Floats, tuple[Issue, ...]]:
    """Depths positive downward.

    Raises
    ------
    InputError
        Some depths are above and some below the surface.
    """
    below, above = np.nanmin(depth_mm, initial=0.0) < 0, np.nanmax(depth_mm, initial=0.0) > 0
    if not below:
        return depth_mm, ()
    if above:
        raise InputError(what="depths are negative and positive", where=file, right="positive downward")
    return -depth_mm, (warned("depth-sign", "depths are negative downward", "sign turned", file=file),)


def mm_factor(unit: str) -> float:
    """Mm in one `unit` of depth."""
    return MM_PER[unit]


def factor_in(name: str, role: str) -> float:
    """Size of one unit that a column's name states, for comparing columns of one role; 1 where it states none."""
    folded = fold(name)
    if role == "depth":
        return MM_PER.get(length_unit(folded) or "mm", 1.0)
    if role == "resistance":
        return KPA_PER.get(pressure_unit(folded) or "kPa", 1.0)
    return 0.01 if "%" in name or "pct" in folded.split() else 1.0
