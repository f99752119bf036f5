"""The command line: arguments to a configuration and one call; with `terminal` the only file that prints or exits."""

import atexit
import gc
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hardpan.core.allocator import collect_rarely
from hardpan.records.farm import RunnerKind
from hardpan.terminal import plainly, print_table, shown

if TYPE_CHECKING:
    from hardpan.outputs.settings import OutputSettings
    from hardpan.records.evidence import PaddockRun

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="From cone-penetrometer readings to a variable-depth ripping prescription.",
)
ConfigPath = Annotated[Path, typer.Argument(help="TOML configuration; `hardpan new` writes a template.")]
OutFolder = Annotated[
    Path, typer.Option("--out", help="Folder for the results: new, empty, or holding an earlier result nobody changed.")
]
NewFolder = Annotated[Path, typer.Argument(help="Folder for the configuration.")]
Given = Annotated[Path | None, typer.Option("--from", help="Folder of files: what they say for sure is filled in.")]
TableFolder = Annotated[Path | None, typer.Option("--out", help="Folder for the table as CSV; none if left out.")]
Keep = Annotated[
    bool,
    typer.Option("--keep", help="Leave files that are read back wrong in OUT.unchecked, for the report of the fault."),
]
Force = Annotated[
    bool, typer.Option("--force", help="Write the files for the display although the soil is too wet (outputs.force).")
]
Verbose = Annotated[
    bool, typer.Option("--verbose", help="Log what each stage does to stderr, and show the traceback of an error.")
]


@app.command()
def run(config: ConfigPath, out: OutFolder, keep: Keep = False, force: Force = False, verbose: Verbose = False) -> None:
    """Make zones, depths, set-ups and a prescription with area and cost tallies."""
    with plainly(verbose=verbose):
        _run(config, out, keep=keep, force=force, verbose=verbose)


@app.command()
def demo(out: OutFolder, keep: Keep = False, verbose: Verbose = False) -> None:
    """Run the shipped, invented demo paddock."""
    from hardpan.core.shipped import shipped

    with plainly(verbose=verbose):
        _run(shipped("demo") / "demo.toml", out, keep=keep, force=False, verbose=verbose)
        folder = shipped("demo")
        typer.echo("Go on: was the pan broken, what did it give (an invented season), and where to probe again:")
        typer.echo(f"  hardpan verify {out} {folder / 'after.toml'} --out {out}-after")
        typer.echo(f"  hardpan trial {folder / 'trial.toml'} --run {out} --out {out}-harvest")
        typer.echo(f"  hardpan sites {folder / 'demo.toml'} --out {out}-sites")


@app.command()
def check(config: ConfigPath, verbose: Verbose = False) -> None:
    """Read and check every input, refuse what `run` would, list what was found; write nothing."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import clear_leftovers
        from hardpan.outputs.words.summary import check_summary
        from hardpan.run.chain import prepare
        from hardpan.run.config import read_config
        from hardpan.run.faults import checked

        clear_leftovers(Path.cwd(), config.parent)
        settings = checked(config, read_config)
        with shown(verbose=verbose) as clock:
            ready = prepare(settings, clock)
        issues = (*ready.survey.issues, *ready.pan.issues)
        remarks, found = check_summary(ready.survey, issues, ready.catalog, settings.outputs)
        if len(remarks[1]):
            print_table(*remarks)
        typer.echo(found)


@app.command()
def sites(config: ConfigPath, out: OutFolder, verbose: Verbose = False) -> None:
    """Choose where to probe: a first survey, or further sites beside those of [probes]."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import check_folder, clear_leftovers
        from hardpan.outputs.sites import write_sites
        from hardpan.outputs.words.summary import site_summary
        from hardpan.run.config import read_paddock_config
        from hardpan.run.faults import checked
        from hardpan.run.probing import plan_sites

        clear_leftovers(Path.cwd(), config.parent, out.parent)
        settings = checked(config, read_paddock_config)
        check_folder(out, (config, *settings.inputs))
        with shown(verbose=verbose) as clock:
            result = plan_sites(settings, clock)
            with clock.stage("outputs"):
                paths = write_sites(result, settings.outputs, out)
        table, says = site_summary(result, settings.outputs)
        print_table(*table)
        typer.echo(says)
        typer.echo(f"{len(paths)} files in {out}")


@app.command()
def verify(
    run_folder: Annotated[Path, typer.Argument(metavar="RUN", help="Folder that `hardpan run` wrote.")],
    after: Annotated[Path, typer.Argument(help="TOML file that names the insertions after the pass.")],
    out: OutFolder,
    verbose: Verbose = False,
) -> None:
    """Say zone by zone whether the pass broke the pan, on the line of the tines and midway."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import check_folder, clear_leftovers
        from hardpan.run.followup import read_after, verify_run

        clear_leftovers(Path.cwd(), after.parent, out.parent)
        settings = read_after(after)
        check_folder(out, (after, run_folder / "run.json", *settings.inputs))
        with shown(verbose=verbose) as clock:
            found = verify_run(run_folder, settings, clock)
            from hardpan.outputs.verify import headlines, write_verify

            with clock.stage("outputs"):
                paths = write_verify(found, out)
        for line in headlines(found):
            typer.echo(line)
        typer.echo(f"{len(paths)} files in {out}")


@app.command()
def machines(config: ConfigPath, out: TableFolder = None, verbose: Verbose = False) -> None:
    """Compare the machine with the [[alternatives]]: other tractors, rippers, set-ups, contractors' offers."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import check_folder, clear_leftovers
        from hardpan.outputs.stage import write_machines
        from hardpan.outputs.words.summary import machine_summary
        from hardpan.run.chain import weigh_machines
        from hardpan.run.config import read_config
        from hardpan.run.faults import checked

        clear_leftovers(Path.cwd(), config.parent, *(() if out is None else (out.parent,)))
        settings = checked(config, read_config)
        if out is not None:
            check_folder(out, (config, *settings.inputs))
        with shown(verbose=verbose) as clock:
            result = weigh_machines(settings, clock)
        table, says = machine_summary(result, settings.outputs)
        print_table(*table)
        typer.echo(says)
        if out is not None:
            typer.echo(f"{len(write_machines(result, out))} files in {out}")


@app.command()
def new(folder: NewFolder, given: Given = None, verbose: Verbose = False) -> None:
    """Write a commented configuration: a template, or what the files of a folder say and what is left to settle."""
    with plainly(verbose=verbose):
        from hardpan.run.template import write_filled, write_template

        path, questions = (write_template(folder), []) if given is None else write_filled(folder, given)
        typer.echo("\n".join([f"wrote {path}", *(f"to settle: {line}" for line in questions)]))


@app.command()
def trial(
    file: Annotated[Path, typer.Argument(help="TOML file of the trial: its strips and its harvest.")],
    out: OutFolder,
    run: Annotated[
        Path | None, typer.Option("--run", help="Result that laid the strips out, in place of trial.run.")
    ] = None,
    verbose: Verbose = False,
) -> None:
    """Say what ripping gave, from the harvest of its strips, and write the response for the next plan."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import check_folder, clear_leftovers
        from hardpan.run.followup import read_trial_settings, run_trial, trial_files

        clear_leftovers(Path.cwd(), file.parent, out.parent)
        settings = read_trial_settings(file, run=run)
        check_folder(out, (file, *trial_files(settings)))
        with shown(verbose=verbose) as clock:
            found = run_trial(settings, clock)
            from hardpan.outputs.trial import trial_words, write_trial

            with clock.stage("outputs"):
                paths = write_trial(found, out)
        typer.echo(trial_words(found).headline(found.result))
        typer.echo(f"{len(paths)} files in {out}")


@app.command()
def compare(
    before: Annotated[Path, typer.Argument(help="Result of `hardpan run`.")],
    after: Annotated[Path, typer.Argument(help="Another result of the same paddock.")],
    out: OutFolder,
    verbose: Verbose = False,
) -> None:
    """Say what changed between two results, in map, depth, area and money, and why."""
    with plainly(verbose=verbose):
        from hardpan.outputs.folder import check_folder, clear_leftovers
        from hardpan.outputs.ownership import changes_since
        from hardpan.run.followup import run_compare

        clear_leftovers(Path.cwd(), out.parent)
        check_folder(out, (before, after))
        with shown(verbose=verbose) as clock:
            found = run_compare(before, after, clock)
            from hardpan.outputs.comparison import comparison_words, write_comparison

            with clock.stage("outputs"):
                paths = write_comparison(found, out, clock.started)
        typer.echo("\n".join((comparison_words(found).headline(found), *changes_since(before, after))))
        typer.echo(f"{len(paths)} files in {out}")


@app.command()
def farm(  # noqa: PLR0917 - a command has as many options as it has
    file: Annotated[
        Path, typer.Argument(help="List of paddocks: TOML with [[paddocks]], or CSV with a column config.")
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder for the results, one folder a paddock.")],
    runner: Annotated[
        RunnerKind, typer.Option("--runner", help="One after the other, in processes here, or on a cluster.")
    ] = RunnerKind.PROCESSES,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", help="Address of a running scheduler, tcp://host:port; else one is started here."),
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Paddocks at a time; as many as processors if left out.")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check every paddock and project its memory; write nothing.")
    ] = False,
    verbose: Verbose = False,
) -> None:
    """Work out a list of paddocks, going on where an earlier call ended; exit code 3 where one failed."""
    with plainly(verbose=verbose):
        from hardpan.outputs.words.english import farm as words
        from hardpan.run.farm import FarmOptions, run_farm

        options = FarmOptions(runner=runner, scheduler=scheduler, workers=workers, dry=dry_run)
        with shown(verbose=verbose) as clock:
            found = run_farm(file, out, clock, options, tell=lambda *far: clock.announce(words.progress(*far)))
            from hardpan.outputs.farm import tell_farm, write_farm

            if not dry_run:
                with clock.stage("outputs"):
                    write_farm(found, out)
        if dry_run:
            print_table(*words.memory_table(found))
        typer.echo("\n".join(tell_farm(found)))
        for job, outcome in found.failed:
            typer.echo(f"hardpan: {words.failure(job, outcome)}", err=True)
        if found.fault:
            typer.echo(f"hardpan: {found.fault}", err=True)
        if found.failed or found.fault:
            raise typer.Exit(3 if found.failed else 2)


def main() -> None:
    """Run the command line."""
    collect_rarely()
    # what is left at the end goes with the process: the interpreter would look all of it through several times over
    atexit.register(gc.freeze)
    app()


def _run(config_path: Path, out: Path, *, keep: bool, force: bool, verbose: bool) -> None:
    from hardpan.core.allocator import map_large_blocks
    from hardpan.outputs.stage import check_folder, clear_leftovers, write_outputs
    from hardpan.run.chain import run_paddock
    from hardpan.run.config import read_config
    from hardpan.run.faults import checked

    map_large_blocks()
    clear_leftovers(Path.cwd(), config_path.parent, out.parent)
    config = checked(config_path, read_config)
    if force:
        config = config.forced()
    check_folder(out, (config_path, *config.inputs))
    with shown(verbose=verbose) as clock:
        result = run_paddock(config, clock)
        with clock.stage("outputs"):
            paths = write_outputs(result, config.outputs, out, keep=keep)
    _print_summary(result, config.outputs)
    typer.echo(f"{len(paths)} files in {out}")


def _print_summary(result: "PaddockRun", settings: "OutputSettings") -> None:
    from hardpan.outputs.words.summary import headline, zone_summary

    print_table(*zone_summary(result, settings))
    typer.echo(headline(result, settings))
