"""Which insertions are the same, which share a site, and what each is called."""

import re

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.core.said import Said, distance
from hardpan.records.issues import Issue
from hardpan.survey.notes import counted, listed, warned

SAME_PLACE_M = 1.0
"""Two positions of one site nearer than this are one, written twice."""


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts P2 before P10."""
    parts = re.split(r"(\d+)", text)
    return tuple((1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts)


def ordered(insertions: pd.DataFrame, depth_mm: Floats, kpa: Floats, usable: Bools) -> Ints:
    """Rows of usable insertions in an order that does not depend on the order of rows in the file."""
    table = insertions[usable]
    keys = [_rank(table[name]) for name in ("site", "insertion")]
    keys += [table[name].to_numpy(dtype=np.float64) for name in ("x_m", "y_m")]
    keys += [_rank(table[name]) for name in ("date", "file")]
    twice = pd.DataFrame(dict(enumerate(keys))).duplicated(keep=False).to_numpy()
    at = np.flatnonzero(usable)
    body = [depth_mm[i].tobytes() + kpa[i].tobytes() if tied else b"" for i, tied in zip(at, twice, strict=True)]
    ties = {one: rank for rank, one in enumerate(sorted(set(body)))}
    return at[np.lexsort([np.asarray([ties[one] for one in body]), *keys[::-1]])]


def _rank(names: pd.Series) -> Ints:
    codes, unique = pd.factorize(names.to_numpy(dtype=object))
    rank = np.empty(len(unique), dtype=np.int64)
    rank[sorted(range(len(unique)), key=lambda at: natural(str(unique[at])))] = np.arange(len(unique))
    return rank[codes]


def number_nameless(table: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Issue, ...]]:
    """Names to sites that have none, by the order of their places, and a remark where none has."""
    if not (table["site"] == "").all():
        return table.assign(site=table["site"].where(table["site"] != "", "unnamed")), ()
    place = table.groupby(["x_m", "y_m"], sort=True).ngroup() + 1
    issue = warned(
        "nameless-sites",
        "no column names the sites",
        f"each of {counted(int(place.max()), 'place')} is taken as a site; name the column in probes.columns.site",
        file=", ".join(sorted(set(table["file"]))),
    )
    return table.assign(site=place.astype(str).astype(object)), (issue,)


def join_places(table: pd.DataFrame, places: pd.DataFrame, file: str) -> tuple[pd.DataFrame, tuple[Issue, ...]]:
    """Insertions with `x_m`, `y_m` of their site, NaN where the second file does not have it.

    Names are compared without case.

    Raises
    ------
    AmbiguousInputError
        A site has several positions.
    InputError
        No site of the readings is in the second file.
    """
    keyed = places.assign(key=places["site"].map(_key)).dropna(subset=["x_m", "y_m"])
    reach = keyed.groupby("key")[["x_m", "y_m"]].agg(np.ptp).max(axis=1)
    several = reach.index[reach > SAME_PLACE_M]
    if len(several):
        names = list(dict.fromkeys(keyed["site"][keyed["key"].isin(several)]))
        raise AmbiguousInputError(
            what=f"several positions of one site, up to {reach.max():.0f} m apart: {listed(names, 3)}",
            where="probes.positions",
            do="keep one position a site",
        )
    keyed = keyed.drop_duplicates("key").set_index("key")
    found = keyed.reindex(table["site"].map(_key))
    lost = sorted(set(table["site"].to_numpy()[found["x_m"].isna().to_numpy()]), key=natural)
    if len(lost) == table["site"].nunique():
        raise InputError(
            what=f"no site of the readings ({listed(lost, 3)}) is among the positions "
            f"({listed(list(places['site']), 3)})",
            where=file,
            do="name the columns in probes.columns.site",
        )
    placed = table.assign(x_m=found["x_m"].to_numpy(), y_m=found["y_m"].to_numpy())
    if not lost:
        return placed, ()
    what = f"{len(lost)} sites have no position in the second file"
    return placed, (warned("no-position", what, "dropped", file=file, place=f"site {listed(lost, 20)}"),)


def _key(name: str) -> str:
    plain = name.casefold().strip()
    return plain.removesuffix(".0") if plain.replace(".", "").isdecimal() else plain


def repeats(table: pd.DataFrame, depth_mm: Floats, kpa: Floats) -> tuple[Bools, tuple[Issue, ...]]:
    """Which insertions repeat an earlier one in site, place, date and every reading."""
    body = [row.tobytes() for row in np.nan_to_num(np.hstack([depth_mm, kpa]), nan=-1.0)]
    again = table[["site", "x_m", "y_m", "date"]].assign(body=body).duplicated().to_numpy()
    if not again.any():
        return again, ()
    what = f"{int(again.sum())} insertions are exact repeats of another at their site"
    return again, (_told("repeated-insertion", what, "dropped once", table[again]),)


def _told(code: str, what: str, done: str, table: pd.DataFrame) -> Issue:
    names = list(dict.fromkeys(table["site"]))
    return warned(code, what, done, file=", ".join(sorted(set(table["file"]))), place=f"site {listed(names)}")


def name_sites(table: pd.DataFrame, spread_m: float) -> tuple[pd.DataFrame, tuple[Issue, ...]]:
    """Table with one name a site, replicates numbered within it, and a unique `label` an insertion.

    One name at places further apart than `spread_m` stands for several sites; several names at one spot for one, where
    `parted` is the same.
    """
    issues: list[Issue] = []
    site = table["site"].to_numpy(dtype=object, copy=True)
    places = table.groupby("site", sort=False)[["x_m", "y_m"]]
    reach = (places.transform("max") - places.transform("min")).to_numpy()
    for name, group in table[np.hypot(reach[:, 0], reach[:, 1]) > spread_m].groupby("site", sort=False):
        place = _clusters(group[["x_m", "y_m"]].to_numpy(), spread_m)
        if place.max() > 0:
            site[group.index] = [name if at == 0 else f"{name} ({at + 1})" for at in place]
            apart = Said(
                "site {name} stands at {places} places more than {spread} apart",
                name=name,
                places=place.max() + 1,
                spread=distance(spread_m),
            )
            issues.append(_told("site-at-two-places", apart, "taken as that many sites", group))
    keys = (table["x_m"].round(2), table["y_m"].round(2), table["parted"])
    spot = pd.Series(list(zip(*keys, strict=True)), dtype=object)
    lead = pd.Series(site).groupby(spot, sort=False).transform("first").to_numpy()
    moved = lead != site
    if moved.any():
        what = f"{int(moved.sum())} insertions stand exactly where another site stands"
        issues.append(_told("same-spot", what, "kept as replicates of that site", table[moved]))
    replicate = pd.Series(lead).groupby(lead, sort=False).cumcount().to_numpy() + 1
    labels = [f"{name}/{number}" for name, number in zip(lead, replicate, strict=True)]
    return table.assign(site=lead, replicate=replicate, label=labels), tuple(issues)


def _clusters(xy: Floats, spread_m: float) -> Ints:
    """0, 1, ... for places apart, in the order given, by the distance to each place's first point."""
    heads: list[int] = []
    place = np.zeros(len(xy), dtype=np.int64)
    for at, point in enumerate(xy):
        near = [k for k, head in enumerate(heads) if np.hypot(*(point - xy[head])) <= spread_m]
        if not near:
            heads.append(at)
        place[at] = near[0] if near else len(heads) - 1
    return place
