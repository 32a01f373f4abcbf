"""The `tiedown` command."""

import math
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.wrong_usage import Commands
from pipeline.words import FailOn

app = typer.Typer(
    name="tiedown",
    cls=Commands,
    help="Turn raw GNSS rover exports into proven coordinates on the job's grid and height datum.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

# Paths are looked at where they are used: else one that may not be read would keep all others of a batch from running.
# Those of a run are texts here: the command-line library looks at paths, and is held by one that does not answer.


@app.callback()
def _all() -> None:
    """Turn raw GNSS rover exports into proven coordinates on the job's grid and height datum."""


def _seconds(value: float | None) -> float | None:
    """Refuse what is no length of time."""
    if value is not None and not (0 < value < math.inf):
        raise typer.BadParameter(f"must be a number of seconds greater than 0, not {value:g}.")
    return value


def _metres(value: float | None) -> float | None:
    """Refuse what is no distance."""
    if value is not None and not (0 < value < math.inf):
        raise typer.BadParameter(f"must be a number of metres greater than 0, not {value:g}.")
    return value


def _words(value: str | None) -> str | None:
    """Refuse what is no command."""
    import shlex

    try:
        if value is not None and not shlex.split(value):
            raise typer.BadParameter("it does not name a program.")
    except ValueError as error:
        raise typer.BadParameter(f"'{value}' is not a command: {error}.") from error
    return value


def _fail_on(values: list[str] | None) -> list[str]:
    """Return the words chosen, each once; refuse what is none of them."""
    words = [word for value in values or () for word in value.split(",")]
    for word in words:
        if word not in list(FailOn):
            raise typer.BadParameter(f"'{word}' is not one of {', '.join(FailOn)}.")
    return list(dict.fromkeys(words))


@app.command()
def run(
    context: typer.Context,
    jobs: Annotated[list[str], typer.Argument(metavar="JOB", help="Job files (TOML).", show_default=False)],
    workers: Annotated[int, typer.Option(min=1, metavar="N", help="Number of processes for several jobs.")] = 1,
    timeout: Annotated[
        float | None,
        typer.Option(metavar="SECONDS", callback=_seconds, help="End a job that runs longer; it exits with 2."),
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help='Print the issue record instead; for several jobs {"jobs": [...]}.')
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only what needs attention.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Do everything except write.")] = False,
    fail_on: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WORDS",
            callback=_fail_on,
            help="What makes the exit code 3 or 2, separated by commas: failed, untied, suspect, unclosed, unchecked,"
            " outside_sessions, wholly_held, pending, refused. Default: as listed under Exit codes.",
        ),
    ] = None,
    notify: Annotated[
        str | None,
        typer.Option(
            metavar="COMMAND",
            callback=_words,
            help="Command to call when a job's state changes, instead of the one in the job file's [notify].",
        ),
    ] = None,
    no_notify: Annotated[bool, typer.Option("--no-notify", help="Do not call any notify command.")] = False,
    cluster: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Let the workers of a Dask scheduler run the jobs, which must be in a folder that all of them share.",
        ),
    ] = None,
) -> None:
    """Run one or many jobs: read, attach, adjust, correct, check, issue.

    Exit codes: 0 issued, or nothing changed; 1 fault in the program; 2 wrong usage, job file or input; 3 issued, but a
    check failed, points were held back as suspect or untied, a doubt takes the proof away, all of a file, session or
    day was held back, or the issue waits to be released (and again on every later run while that is so); 4 this job is
    already being run. For several jobs, the highest.

    If a job's process dies or runs out of memory, the other jobs go on. That job is tried once more, alone, and exits
    with 1 if that fails too. A job that runs longer than --timeout is ended and exits with 2. The previous issue of
    such a job is kept.
    """
    from pipeline.cli.run_command import Batch, run_jobs
    from pipeline.job.command_named import callers_command

    if cluster is not None and workers > 1:
        context.fail("--workers cannot be used with --cluster: the scheduler has its own workers.")
    chosen = frozenset(map(FailOn, fail_on)) if fail_on else None
    own = callers_command(notify) if notify is not None and not no_notify else None
    batch = Batch(
        list(map(Path, jobs)),
        as_json=json,
        quiet=quiet,
        dry_run=dry_run,
        fail_on=chosen,
        notify=own,
        silent=no_notify,
    )
    raise typer.Exit(run_jobs(batch, workers=workers, timeout=timeout, cluster=cluster))


@app.command()
def check(
    context: typer.Context,
    jobs: Annotated[
        list[Path] | None,
        typer.Argument(metavar="JOB", help="Job files (TOML).", show_default=False, readable=False),
    ] = None,
    explain: Annotated[
        str | None,
        typer.Option("--explain", metavar="KEY", help='Explain a key of the job file instead, such as "quality.ppm".'),
    ] = None,
) -> None:
    """Read job, register, inputs and transformations; report all problems at once; write nothing.

    With --explain: type, default, unit, meaning and an example of a key or table of the job file.

    Exit codes: 0, also with doubts and warnings; 2 wrong usage, job file or input, or an unknown key.
    """
    if explain is not None:
        from pipeline.cli.explain_command import explain_key

        if jobs:
            context.fail("--explain takes a key and no job.")
        raise typer.Exit(explain_key(explain))
    if not jobs:
        context.fail("Missing argument 'JOB'.")
    from pipeline.run.lean import loaded_for_good

    with loaded_for_good():
        from pipeline.cli.check_command import check_jobs

    raise typer.Exit(check_jobs(jobs))


@app.command()
def new(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="The folder of the exports.", show_default=False, readable=False),
    ],
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="The job file to write (default: FOLDER/NAME.toml).")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Look at a folder of exports and write a job file to start from; an existing file is never overwritten.

    Exit codes: 0 written, no question is open; 2 there is nothing to start from, or the job file already exists;
    3 written, with open questions in it.
    """
    from pipeline.cli.new_command import start_job

    raise typer.Exit(start_job(folder, to, as_json=json))


Job = Annotated[Path, typer.Argument(metavar="JOB", help="Job file (TOML).", show_default=False, readable=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]


@app.command()
def trace(
    job: Job,
    point: Annotated[str, typer.Argument(metavar="POINT", help="Name of the point.", show_default=False)],
    json: AsJson = False,
) -> None:
    """Follow one point from its raw coordinates through every stage and every issue; write nothing.

    Exit codes: 0 traced; 1 the newest issue differs although nothing changed; 2 wrong job file, input or name.
    """
    from pipeline.cli.trace_command import trace_point

    raise typer.Exit(trace_point(job, point, as_json=json))


@app.command()
def marks(
    job: Job,
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="The file to write: .csv, .geojson or .gpkg.", readable=False)
    ],
    within: Annotated[
        float | None,
        typer.Option(
            metavar="METRES", callback=_metres, help="How far from the work a mark may lie (default: 10,000)."
        ),
    ] = None,
    around: Annotated[
        str | None,
        typer.Option(
            metavar="PLACE",
            help="Where the work is: a mark, EASTING,NORTHING as issued or LONGITUDE,LATITUDE in degrees"
            " (default: the area of the job's [plan], or else of its readings).",
        ),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="The page to print (default: FILE.html).", readable=False),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite existing files.")] = False,
    json: AsJson = False,
) -> None:
    """Write the marks around the job for the field: a file that can serve as a register, and a control sheet to print.

    Both hold the marks of the register and those that the newest issue adjusted, on the grid and in degrees.

    Exit codes: 0 written; 2 wrong job file or register, or a file that may not be written; 3 written, and a note needs
    attention.
    """
    from pipeline.cli.marks_command import hand_marks_out

    raise typer.Exit(hand_marks_out(job, to, sheet, around, within, force=force, as_json=json))


@app.command()
def plan(job: Job, json: AsJson = False) -> None:
    """Predict what the day planned in the job's [plan] would give, by the same adjustment as a run; write nothing.

    For each session: the 95 % uncertainty of points at the ends of the work, the smallest blunder that each tie and
    check would reveal, and what would be gained by one more tie or check on each mark nearby.

    Exit codes: 0 no weakness found; 2 wrong job file or register, or no plan; 3 a session would be untied or
    unchecked, or a blunder would go undetected.
    """
    from pipeline.cli.plan_command import show_plan

    raise typer.Exit(show_plan(job, as_json=json))


@app.command()
def history(
    context: typer.Context,
    job: Job,
    between: Annotated[
        tuple[int, int] | None,
        typer.Option(metavar="ISSUE ISSUE", help="Show what differs from the first to the second instead."),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FILE.gpkg", help="With --between: a GeoPackage for the differences, as a layer."),
    ] = None,
    json: AsJson = False,
) -> None:
    """List the issues of a job, oldest first: when each was made, what changed in it and why.

    With --between: what differs between any two of them, point by point.

    Exit codes: 0; 2 wrong usage or job file, no issue, a damaged one, or two that cannot be compared.
    """
    if between is not None:
        from pipeline.cli.between_command import show_between

        raise typer.Exit(show_between(job, *between, to, as_json=json))
    if to is not None:
        context.fail("--to needs --between.")
    from pipeline.cli.history_command import show_history

    raise typer.Exit(show_history(job, as_json=json))


@app.command()
def office(
    context: typer.Context,
    jobs: Annotated[
        list[Path],
        typer.Argument(
            metavar="JOB-OR-FOLDER",
            help="Job files (TOML), and folders to look for them in.",
            show_default=False,
            readable=False,
        ),
    ],
    to: Annotated[Path, typer.Option("--to", metavar="FILE.html", help="The page to write.", readable=False)],
    since: Annotated[
        str,
        typer.Option(
            metavar="WHEN", help="Report changes since then: 24h, 3d, 2026-03-02 or 2026-03-02T18:00 (in UTC)."
        ),
    ] = "24h",
    quiet: Annotated[bool, typer.Option("--quiet", help="Print only what needs attention.")] = False,
) -> None:
    """Write one page on many jobs, for a shared folder, what needs attention first; writes nothing into job folders.

    Exit codes: 0 written, nothing needs attention; 2 wrong usage, no job, or a page that may not be written there;
    3 written, and something needs attention.
    """
    from datetime import UTC, datetime

    from pipeline.cli.office_command import make_page, moment

    now = datetime.now(UTC).replace(microsecond=0)
    try:
        told_since = moment(since, now)
    except (ValueError, OverflowError):
        context.fail(f"--since {since}: write hours or days as 24h or 3d, or a date or time in the past.")
    raise typer.Exit(make_page(jobs, to, told_since, now, quiet=quiet))


@app.command()
def verify(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="The job's folder of issues.", show_default=False, readable=False),
    ],
    json: AsJson = False,
) -> None:
    """Compare every file of every issue with the checksums in its record; write nothing.

    Exit codes: 0 every issue is what was issued; 2 there is no issue in the folder; 3 something differs.
    """
    from pipeline.cli.verify_command import verify_folder

    raise typer.Exit(verify_folder(folder, as_json=json))


@app.command()
def release(
    job: Job,
    issue: Annotated[int, typer.Argument(metavar="ISSUE", help="Number of the issue.", min=1, show_default=False)],
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="Why it may be used; kept in the history.")],
) -> None:
    """Make `current` show an issue: one that is pending, or an older one. When and why is kept beside the issues.

    Exit codes: 0 done, or the issue is current already; 2 wrong job file, no such issue, or one that is damaged;
    4 the job is being run.
    """
    from pipeline.cli.release_command import release_issue

    raise typer.Exit(release_issue(job, issue, because))


@app.command()
def aside(
    job: Job,
    issue: Annotated[int, typer.Argument(metavar="ISSUE", help="Number of the issue.", min=1, show_default=False)],
) -> None:
    """Move a damaged issue out of the way of the next run, to set-aside/ beside the issues, where it is kept.

    Exit codes: 0 moved; 2 wrong job file, no such issue, or one that is not damaged; 4 the job is being run.
    """
    from pipeline.cli.aside_command import set_issue_aside

    raise typer.Exit(set_issue_aside(job, issue))


def main() -> None:
    """Enter the command line."""
    from pipeline.cli.command_frame import run_command

    run_command(app)


if __name__ == "__main__":
    main()
