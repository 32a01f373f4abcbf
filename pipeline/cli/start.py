"""Where the command begins: it answers signals before it loads anything that takes time."""

from pipeline.cli.signals import answer_signals


def main() -> None:
    """Enter the command line."""
    answer_signals()
    from pipeline.cli.main import main as enter

    enter()


if __name__ == "__main__":
    main()
