"""What the command line shows: tables, progress, and errors in one line."""

import logging
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from hardpan.core.errors import HardpanError

if TYPE_CHECKING:
    from hardpan.run.manifest import Clock


def print_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write a table to stdout, a row to a line where that is a pipe."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    for row in rows:
        table.add_row(*(Text(str(cell)) for cell in row))
    console = Console()
    if not console.is_terminal:
        # A pipe has no width: wide enough that no cell is folded, so that one row stays one line.
        console.width = 2 * len(columns) + sum(max(map(len, cells)) for cells in zip(columns, *rows, strict=True))
    console.print(table)


@contextmanager
def shown(*, verbose: bool) -> "Iterator[Clock]":
    """Clock of a run: a progress bar on a terminal, silence in a pipe or beside a log."""
    from datetime import UTC, datetime

    from hardpan.run.manifest import Clock

    now = datetime.now(UTC)
    if verbose or not sys.stderr.isatty():
        yield Clock(now=now)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.description:12}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("", total=1.0)
        yield Clock(
            now=now,
            announce=lambda stage: bar.update(task, description=stage, completed=0.0),
            progress=lambda share: bar.update(task, completed=share),
        )


@contextmanager
def plainly(*, verbose: bool) -> Iterator[None]:
    """Turn an error that a user can cause into one line and exit code 2, any other fault into one line and 1.

    Where `verbose`, errors keep their traceback and the package's log goes to stderr.
    """
    log, lines = logging.getLogger("hardpan"), logging.StreamHandler(sys.stderr)
    if verbose:
        lines.setFormatter(logging.Formatter("%(asctime)s %(name)s: %(message)s", datefmt="%H:%M:%S"))
        log.addHandler(lines)
        log.setLevel(logging.INFO)
    try:
        yield
    except HardpanError as err:
        if verbose:
            raise
        for line in str(err).splitlines():
            typer.echo(f"hardpan: {line}", err=True)
        raise typer.Exit(2) from err
    except (typer.Exit, KeyboardInterrupt):
        raise
    except Exception as err:
        if verbose:
            raise
        typer.echo(
            f"hardpan: unexpected fault ({type(err).__name__}: {' '.join(str(err).split())[:200]}); "
            "--verbose shows where, please report it",
            err=True,
        )
        raise typer.Exit(1) from err
    finally:
        log.removeHandler(lines)
