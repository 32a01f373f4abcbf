"""The mapping of a file's columns, and the lookup of a column by its word."""

from collections.abc import Callable, Sequence

from msgspec import Struct, field

from pipeline.new_job.headings import rank
from pipeline.new_job.questions import Question
from pipeline.new_job.time_notation import TimeNotation


class Mapped(Struct):
    """Which column of a file is what.

    ``columns`` are our words and the file's headings. ``kind`` of its position is "degrees", "plane", "geocentric", or
    "" where there is none; ``dms`` whether angles are degrees, minutes and seconds. ``height`` says what its heading
    says of heights: "ellipsoid", "level" (above a height datum) or "". ``turned`` tells that headings X and Y leave
    open which is the easting. ``times`` is how times are written. ``feet`` is the unit that a heading says where it is
    no metre. ``left`` are headings that mean something that is not mapped, with why;
    ``poles`` is the heading of pole heights, ``slant`` the one that says that they were measured slantwise, ``still``
    that of times that are one and the same in all rows.
    ``heights`` are the headings of numbers that may be heights, where none says that it is. ``notes`` is what is to be
    told besides; ``rivals`` are, by our words, headings of which any may be meant, the likeliest first.
    ``beside_z`` tells that those of the height are columns beside the geometries' Z, which may be meant as well.
    ``separation`` is the heading of separations of a geoid, "" for none.
    ``levels`` are the headings of other heights than those above the ellipsoid beside them, which may be above a height
    datum, the plainest first.
    ``naming`` is the heading of texts that name marks here and there beside the names of points, "" for none.
    ``asks`` are questions after columns of which only the meaning is open.
    ``unheaded`` tells that no heading is known as that of a position: its columns were found by what they hold.
    ``refused`` says why the file cannot be read, "" where nothing speaks against it; ``refused_times`` that it is its
    times that cannot be.
    """

    columns: dict[str, str] = field(default_factory=dict)
    kind: str = ""
    dms: bool = False
    height: str = ""
    turned: bool = False
    times: TimeNotation | None = None
    feet: str = ""
    left: list[tuple[str, str]] = field(default_factory=list)
    poles: str | None = None
    slant: str = ""
    notes: list[str] = field(default_factory=list)
    rivals: dict[str, list[str]] = field(default_factory=dict)
    beside_z: bool = False
    unheaded: bool = False
    refused: str = ""
    refused_times: bool = False
    still: str | None = None
    heights: tuple[str, ...] = ()
    separation: str = ""
    levels: tuple[str, ...] = ()
    naming: str = ""
    asks: list[Question] = field(default_factory=list)


def plainest(word: str, free: Sequence[str], fits: Callable[[str], bool]) -> str | None:
    """Return the free column that fits and whose heading says a word most plainly, None where none does."""
    ranked = sorted((rank_, at, name) for at, name in enumerate(free) if (rank_ := rank(word, name)) is not None)
    return next((name for _, _, name in ranked if fits(name)), None)
