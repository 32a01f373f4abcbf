"""How a table of text is written, and as what it is asked for."""

from collections.abc import Collection

from msgspec import Struct

from pipeline.problems import Problems

#: Lines of the beginning among which the header is looked for.
LINES_ABOVE_HEADER = 50

#: What stands for any number of blanks between cells.
BLANKS = " "

#: The line on which a record begins, and its cells.
Record = tuple[int, list[str]]


class Written(Struct, frozen=True):
    """How a table is written, where the job file says so; what is None is found by looking.

    ``header`` is the line that names the columns, 0 where none does. ``places`` are columns that go by their numbers,
    counted from 1: `by_place` is what they are called, whatever the header calls them. ``layer`` is that of a
    GeoPackage, or the sheet of a spreadsheet, where several hold rows. ``pages`` tells whether it may have been printed
    on pages, each with its heading, which are left out then with titles and footers around them.
    """

    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header: int | None = None
    places: frozenset[int] = frozenset()
    layer: str | None = None
    pages: bool = False


#: A table of which the job file says nothing.
AS_FOUND = Written()


class Asked(Struct, frozen=True):
    """A table as it is asked for: what it is called, which columns are known, how it is written; and its problems."""

    shown: str
    problems: Problems
    known: Collection[str]
    how: Written
    every: bool

    def note(self, line: int, what: str, fix: str = "") -> None:
        """Note what is wrong on a line of it."""
        self.problems.add(self.shown, line, what, fix)

    def wants(self, column: str) -> bool:
        """Tell whether the cells of a column are asked for."""
        return not self.known or column in self.known


def by_place(place: int) -> str:
    """Return what a column is called that goes by its number."""
    return f"column_{place}"
