"""Where the command begins: it answers signals before it loads anything that takes time."""

import sys
from collections.abc import Callable

from pipeline.cli.signals import answer_signals


def main() -> None:
    """Enter the command line."""
    answer_signals()
    from pipeline.cli.within import within

    within(_command())


def _command() -> Callable[[], object]:
    """Return what the arguments ask for."""
    from pipeline.cli.plain_run import plain_run

    if (plain := plain_run(sys.argv[1:])) is not None:
        return plain
    from pipeline.cli.main import app

    return app


if __name__ == "__main__":
    main()
