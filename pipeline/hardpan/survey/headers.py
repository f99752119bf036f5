"""The header of a table: where it is, what each column stands for, in which unit."""

import difflib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.survey.column_names import (
    PLACE,
    dated,
    depth_columns,
    find_rivals,
    find_roles,
    find_spread,
    other_numbers,
    tangled,
)
from hardpan.survey.columns import HEADER_ROWS, DepthColumn, Heading, TextTable
from hardpan.survey.notes import counted, listed, warned
from hardpan.survey.settings import ColumnSettings, ProbeSettings
from hardpan.survey.vocabulary import OTHER_CONE, OTHER_DEVICE, fold, is_unit, length_unit, pressure_unit

LEAST_DEPTHS = 3
"""Fewer depth columns are no profile."""


def score(grid: TextTable, settings: ProbeSettings) -> int:
    """How much of a header of readings the first rows hold, 0 for none."""
    head = grid.rows(HEADER_ROWS)
    at = _header_row(head, settings)
    if at is None:
        return 0
    return len(find_roles(head[at], settings.columns)) + len(depth_columns(head[at], settings.layers))


def names_insertions(grid: TextTable, settings: ProbeSettings) -> bool:
    """Whether the header of readings also says to which insertion each belongs."""
    head = grid.rows(HEADER_ROWS)
    at = _header_row(head, settings)
    return at is not None and not {"site", "insertion", "x", "y"}.isdisjoint(find_roles(head[at], settings.columns))


def score_places(grid: TextTable, columns: ColumnSettings) -> int:
    """How much of a header of positions the first rows hold, 0 for none."""
    head = grid.rows(HEADER_ROWS)
    at = _place_row(head, columns)
    return 0 if at is None else len(find_roles(head[at], columns))


def find_places(grid: TextTable, columns: ColumnSettings) -> Heading:
    """Heading of a table of positions: site, x and y.

    Raises
    ------
    InputError
        There is none.
    """
    head = grid.rows(HEADER_ROWS)
    at = _place_row(head, columns)
    if at is None:
        raise InputError(
            what="no header with site, x and y", where=grid.file, do="name the columns in [probes.columns]"
        )
    roles = find_roles(head[at], columns)
    return Heading(row=at, names=head[at], roles={role: roles[role] for role in ("site", "x", "y")})


def _place_row(head: list[list[str]], columns: ColumnSettings) -> int | None:
    wanted = {"site", "x", "y"}
    return next((at for at, row in enumerate(head) if wanted <= find_roles(row, columns).keys()), None)


def find_heading(grid: TextTable, settings: ProbeSettings) -> Heading:
    """Heading of a table of readings.

    Raises
    ------
    InputError
        No header is found, a named column is absent, names are doubled or dates, or another device is named.
    AmbiguousInputError
        The header and the settings name different units.
    """
    head = grid.rows(HEADER_ROWS + 1)
    at = _header_row(head[:HEADER_ROWS], settings)
    if at is None:
        raise _no_header(grid.file, head, settings)
    names, where = head[at], f"row {grid.lines[at]}"
    roles, depths = find_roles(names, settings.columns), depth_columns(names, settings.layers)
    if settings.layout == "long" or len(depths) < LEAST_DEPTHS:
        depths = ()
    _check_named(names, settings, grid.file)
    if depths and not settings.layers and dated(names):
        raise _dates(dated(names), f"{grid.file} {where}")
    _refuse_other_variable(head[: at + 1], settings, grid.file)
    issues = _doubled(names, [*roles.values(), *(column.index for column in depths)], where, grid.file)
    if at > 0:
        issues += (
            warned("title-rows", f"{counted(at, 'row')} before the header", "skipped", file=grid.file, place=where),
        )
    if depths and not settings.layers and other_numbers(names):
        what = f"columns {listed(other_numbers(names))} start with a number but name no depth"
        issues += (warned("column-not-used", what, "not used as readings", file=grid.file, place=where),)
    units = _unit_rows(head, at)
    if depths and "site" not in roles and roles.get("depth") == 0:
        roles["site"] = 0  # the corner of a table with insertions across names its depths
    depth_unit, value_unit = _units(names, roles, depths, units, grid.file)
    spread = find_spread(names, depths, roles, units.values())
    if depths and spread is None and not {"se", "sd"}.isdisjoint(roles):
        alone = [names[roles[role]] for role in ("se", "sd") if role in roles]
        what = f"column {listed(alone)} does not say of which of {len(depths)} depths it is the error"
        issues += (warned("column-not-used", what, "not used", file=grid.file, place=where),)
    idle = {"se", "sd", "n"} - ({spread.kind, "n"} if spread else set())
    roles = {role: index for role, index in roles.items() if role not in idle}
    if depths:
        roles = {role: index for role, index in roles.items() if role not in {"depth", "resistance"}}
    if value_unit is None:
        value_unit = _only(pressure_unit(fold(cell)) for row in head[:at] for cell in row)
    return Heading(
        row=at,
        names=names,
        roles=roles,
        depths=depths,
        depth_unit=_agreed(depth_unit, settings.depth_unit, "probes.depth_unit", grid.file),
        resistance_unit=_agreed(value_unit, settings.resistance_unit, "probes.resistance_unit", grid.file),
        skip=frozenset(units),
        rivals=find_rivals(names, roles, settings.columns),
        spread=spread,
        issues=issues,
    )


def _header_row(head: list[list[str]], settings: ProbeSettings) -> int | None:
    beside = [at for at, row in enumerate(head) if row and not PLACE.isdisjoint(find_roles(row[:1], settings.columns))]
    for at, row in enumerate(head):
        roles = find_roles(row, settings.columns).keys()
        # names of insertions at the head of several rows are of a table turned on its side, not of a header said twice
        named = (roles - {"depth", "resistance"} or settings.layers) and all(head[other] == row for other in beside)
        if settings.layout != "long" and named and len(depth_columns(row, settings.layers)) >= LEAST_DEPTHS:
            return at
        if settings.layout != "wide" and {"depth", "resistance"} <= roles:
            return at
    return None


def _doubled(names: Sequence[str], used: Sequence[int], where: str, file: str) -> tuple[Issue, ...]:
    folded = [fold(name) for name in names]
    seen = Counter(folded)
    doubled = sorted({names[index] for index in used if seen[folded[index]] > 1})
    if doubled:
        what = f"column names are doubled: {listed(doubled)}"
        raise InputError(what=what, where=f"{file} {where}", do="give every column its own name")
    others = sorted(name for name, count in seen.items() if count > 1 and name)
    if not others:
        return ()
    return (warned("doubled-header", f"columns {listed(others)} are doubled", "not used", file=file, place=where),)


def _unit_rows(head: Sequence[Sequence[str]], at: int) -> dict[int, Sequence[str]]:
    """Rows beside the header that hold units, folded."""
    found: dict[int, Sequence[str]] = {}
    for beside in (at - 1, at + 1):
        if 0 <= beside < len(head):
            cells = [fold(cell).strip("()[] ") for cell in head[beside]]
            filled = [cell for cell in cells if cell]
            known = sum(map(is_unit, filled))
            if known >= 2 and known * 2 >= len(filled):
                found[beside] = cells
    return found


def _units(
    names: Sequence[str],
    roles: Mapping[str, int],
    depths: Sequence[DepthColumn],
    units: Mapping[int, Sequence[str]],
    file: str,
) -> tuple[str | None, str | None]:
    """Units of depth and resistance that the header and the rows of units state."""
    depth_at = [roles["depth"]] if "depth" in roles else []
    value_at = [column.index for column in depths] or [roles[role] for role in ("resistance",) if role in roles]
    in_depth = {column.unit for column in depths} | {length_unit(fold(names[at])) for at in depth_at}
    in_value = {pressure_unit(fold(names[at])) for at in value_at}
    for row in units.values():
        in_depth |= {length_unit(row[at]) for at in depth_at if at < len(row)}
        in_value |= {pressure_unit(row[at]) for at in value_at if at < len(row)}
    return _one(in_depth - {None}, file), _one(in_value - {None}, file)


def _one(units: set[str] | set[str | None], file: str) -> str | None:
    if len(units) > 1:
        raise InputError(what=f"headers mix units: {listed(sorted(map(str, units)))}", where=file, do="use one unit")
    return next(iter(units), None)


def _only(units: Iterable[str | None]) -> str | None:
    """One unit of force per area that titles name, None where they name none or several."""
    found = set(units) - {None, "N", "bar"}
    return next(iter(found)) if len(found) == 1 else None


def _agreed(header: str | None, setting: str | None, key: str, file: str) -> str | None:
    if header and setting and header != setting:
        raise AmbiguousInputError(
            what=f"the header says {header} but {key} says {setting}", where=file, do=f"take out or mend {key}"
        )
    return header or setting


def _refuse_other_variable(head: Sequence[Sequence[str]], settings: ProbeSettings, file: str) -> None:
    text = " ; ".join(fold(cell) for row in head for cell in row)
    names = {"a dynamic (hammer) device": OTHER_DEVICE}
    if settings.cone_factor is None:
        names["a 60 degree cone"] = OTHER_CONE
    why = next((said for said, pattern in names.items() if pattern.search(text)), None)
    if why is not None:
        raise InputError(
            what=f"the header names {why}: another variable than the cone index of a 30 degree cone pushed steadily",
            where=file,
            do="convert the readings yourself and say how, or for a cone state probes.cone_angle_deg and cone_factor",
        )


def _check_named(names: Sequence[str], settings: ProbeSettings, file: str) -> None:
    """Refuse settings that name a column the table does not have; positions may be in a second file."""
    elsewhere = PLACE if settings.positions is not None else frozenset[str]()
    have = {fold(name) for name in names}
    for role in ColumnSettings.model_fields:
        wanted = settings.columns.asked(role)
        if wanted and role not in elsewhere and fold(wanted) not in have:
            key = f"probes.columns.{role}"
            raise _no_column(key, wanted, [name for name in names if name], file)


def _no_column(key: str, wanted: str, have: Sequence[str], file: str) -> InputError:
    near = difflib.get_close_matches(wanted, have, n=1, cutoff=0.4)
    todo = f"did you mean {near[0]!r}?" if near else f"mend {key}"
    return InputError(what=f"no column {wanted!r} ({key}); the table has {listed(have, 12)}", where=file, do=todo)


def _dates(names: Sequence[str], where: str) -> InputError:
    return InputError(
        what=f"column names are dates ({listed(names, 3)}): a spreadsheet shows depths such as 5-10 as 5-Oct",
        where=where,
        do='write the depths as text such as "5 to 10 cm", or name the columns in [[probes.layers]]',
    )


def _no_header(file: str, head: list[list[str]], settings: ProbeSettings) -> InputError:
    have = [cell for cell in max(head, key=len, default=[]) if cell][:12]
    if not any(map(any, head)):
        return InputError(what="table is empty", where=file, do="export it again")
    wanted = {
        f"probes.columns.{role}": name for role in ColumnSettings.model_fields if (name := settings.columns.asked(role))
    }
    wanted |= {f"probes.layers {layer.top:g}": layer.column for layer in settings.layers}
    cells = {fold(cell) for row in head for cell in row}
    for key, name in wanted.items():
        if fold(name) not in cells:
            return _no_column(key, name, have, file)
    turned = max(map(dated, head), key=len)
    if len(turned) >= LEAST_DEPTHS:
        return _dates(turned, file)
    unused = _unused_depths(file, head, settings)
    if unused is not None:
        return unused
    return InputError(
        what=f"no header with a depth and a resistance column, nor with {LEAST_DEPTHS} or more depth columns that rise"
        f" or fall; the widest of the first rows has {listed(have)}",
        where=file,
        do="name the columns in [probes.columns]",
    )


def _unused_depths(file: str, head: list[list[str]], settings: ProbeSettings) -> InputError | None:
    """Why columns of depths that are there make no header."""
    placed = [row for row in head if not PLACE.isdisjoint(find_roles(row, settings.columns))]
    muddled = max(map(tangled, placed), key=len, default=[])
    if len(muddled) >= LEAST_DEPTHS:
        twice = [name for name, count in Counter(map(fold, muddled)).items() if count > 1]
        if twice:
            what = f"more than one column is called {listed(twice)}"
            return InputError(what=what, where=file, right="each depth once", do="take one out, or rename it")
        what = f"the depths of the columns {listed(muddled)} neither rise nor fall throughout"
        return InputError(what=what, where=file, do="put them in order, each depth once, or name them in probes.layers")
    deep = max(head, key=lambda row: len(depth_columns(row, settings.layers)))
    if settings.layout == "long" or len(depth_columns(deep, settings.layers)) < LEAST_DEPTHS:
        return None
    what = f"no column beside those of depths is known as site, insertion, position or date: {listed(list(deep), 4)}"
    return InputError(what=what, where=file, do="name the columns in [probes.columns]")
