"""Wrong usage told in JSON too where that is asked for: stdout gets one document whatever becomes of a call."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, cast

import typer
from typer.core import TyperGroup

from pipeline.cli.console import print_json
from pipeline.cli.faults import error_record
from pipeline.problems import JobError, Problem
from pipeline.run.mishaps import mishap_of

#: What the command-line library raises for any wrong usage.
_WRONG = cast("type[Exception]", typer.BadParameter.__base__)
_ASKED = "tiedown.json"
#: Characters of a command's line in the list of all: its whole first sentence, which is folded where it is too long.
_WHOLE = 1000


class Commands(TyperGroup):
    """The commands of the program. Wrong usage with ``--json`` also prints an entry as of a job that is refused."""

    def make_context(self, info_name: str | None, args: list[str], *others: Any, **extra: Any) -> Any:
        """Read the arguments before the command's name, and remember whether JSON is asked for."""
        asked = _asks_for_json(args)
        with _told(asked):
            context = super().make_context(info_name, args, *others, **extra)
        context.meta[_ASKED] = asked
        return context

    def invoke(self, ctx: Any) -> Any:
        """Read the arguments of a command and do it."""
        with _told(ctx.meta[_ASKED]):
            try:
                return super().invoke(ctx)
            except EOFError as error:  # of which the library says "Aborted!"
                raise mishap_of(error) from error

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """List the commands, each with the whole first sentence of its help, however narrow the terminal is."""
        commands = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        rows = [(name, one.get_short_help_str(_WHOLE)) for name, one in commands if one is not None and not one.hidden]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _asks_for_json(arguments: list[str]) -> bool:
    options = arguments[: arguments.index("--")] if "--" in arguments else arguments
    return "--json" in options


@contextmanager
def _told(in_json: bool) -> Iterator[None]:
    """Print wrong usage as a document where JSON is asked for; the library tells it on stderr as ever."""
    try:
        yield
    except _WRONG as error:
        if in_json:
            command = context.command_path if (context := getattr(error, "ctx", None)) else "tiedown"
            what = str(getattr(error, "format_message", error.__str__)()).rstrip(".")
            print_json(error_record(command, JobError([Problem(command, 0, what, f"see {command} --help")])))
        raise
