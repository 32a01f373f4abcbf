"""The `tiedown` command."""

import sys
from importlib.abc import MetaPathFinder
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="tiedown",
    help="Turn raw GNSS rover exports into proven coordinates on the job's grid and height datum.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Jobs = Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (TOML).", show_default=False)]


class _NoDataFrames(MetaPathFinder):
    """Hides the data frame libraries from this process, which makes none.

    pyarrow and pyogrio load them wherever they find them; that would take half a second of every command.
    """

    def find_spec(self, name: str, path: object = None, target: object = None) -> None:
        """Refuse the libraries; leave every other name to the finders that follow."""
        if name in ("pandas", "geopandas", "shapely"):
            raise ModuleNotFoundError(f"{name} is not used here", name=name)


@app.callback()
def _all() -> None:
    """Turn raw GNSS rover exports into proven coordinates on the job's grid and height datum."""


@app.command()
def run(
    jobs: Jobs,
    workers: Annotated[int, typer.Option(min=1, help="Number of processes for several jobs.")] = 1,
    json: Annotated[
        bool, typer.Option("--json", help='Print the issue record instead; of several jobs {"jobs": [...]}.')
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print what needs attention and nothing else.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Do everything but write.")] = False,
) -> None:
    """Run one or many jobs: read, attach, adjust, correct, check, issue.

    Exit codes: 0 issued, or nothing changed; 1 fault in the program; 2 wrong usage, job file or input; 3 issued, but a
    check failed, points were held back as suspect or untied, a doubt takes proof away, or a file, session or day was
    wholly held back, as long as that issue stands; 4 this job is already being run. Of several jobs, the highest.
    """
    from pipeline.cli.run_command import run_jobs

    raise typer.Exit(run_jobs(jobs, workers=workers, as_json=json, quiet=quiet, dry_run=dry_run))


@app.command()
def check(jobs: Jobs) -> None:
    """Read job, register, inputs and transformations; report all problems at once; write nothing."""
    from pipeline.cli.check_command import check_jobs

    raise typer.Exit(check_jobs(jobs))


Job = Annotated[Path, typer.Argument(metavar="JOB", help="Job file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print it as JSON.")]


@app.command()
def trace(
    job: Job,
    point: Annotated[str, typer.Argument(metavar="POINT", help="Name of the point.", show_default=False)],
    json: AsJson = False,
) -> None:
    """Follow one point from its raw coordinates through every stage and every issue; write nothing.

    Exit codes: 0; 1 the newest issue says otherwise although nothing has changed; 2 wrong job file, input or name.
    """
    from pipeline.cli.trace_command import trace_point

    raise typer.Exit(trace_point(job, point, as_json=json))


@app.command()
def history(job: Job, json: AsJson = False) -> None:
    """List the issues of a job, oldest first: when each was made, what changed in it and why."""
    from pipeline.cli.history_command import show_history

    raise typer.Exit(show_history(job, as_json=json))


@app.command()
def verify(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The job's folder of issues.", show_default=False)],
    json: AsJson = False,
) -> None:
    """Compare every file of every issue with the checksums in its record; write nothing.

    Exit codes: 0 every issue is what was issued; 2 there is no issue in the folder; 3 something differs.
    """
    from pipeline.cli.verify_command import verify_folder

    raise typer.Exit(verify_folder(folder, as_json=json))


def main() -> None:
    """Enter the command line."""
    from pipeline.cli.console import console
    from pipeline.sealed import sealed_off

    sys.meta_path.insert(0, _NoDataFrames())
    with console(), sealed_off():
        try:
            app()
        except Exception as error:
            from pipeline.cli.faults import report

            sys.exit(report("tiedown", error))


if __name__ == "__main__":
    main()
