"""What every format says of itself beside its rows."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from msgspec import Struct, field

from pipeline.clock import iso
from pipeline.geodesy.axes import Axes


class CodeDrawn(Struct, frozen=True):
    """On which layer a code is drawn, and in which colour (by its index); None: as the rule has it.

    ``description`` is what the table of codes says of it, "" where it says nothing.
    """

    layer: str | None = None
    colour: int | None = None
    description: str = ""


class Drafting(Struct, frozen=True):
    """How a drawing is to be plotted: 1:``scale``, texts of ``text_height`` millimetres on paper, codes by their name.

    ``named`` gives the code by which points are drawn: of a string's without number and words. ``former`` are layers of
    drawings before, each with its description, the newest drawing's first; ``former_colours`` are those of their codes,
    by that description. The defaults are the job file's.
    """

    scale: float = 500.0
    text_height: float = 1.8
    codes: Mapping[str, CodeDrawn] = field(default_factory=dict)
    named: Callable[[str], str] = str
    former: Sequence[tuple[str, str]] = ()
    former_colours: Mapping[str, int] = field(default_factory=dict)


#: What programs take the coordinates of a GeoJSON file to be in (RFC 7946, clause 4).
_READERS_DATUM = "WGS 84"


class FileFacts(Struct, frozen=True):
    """The facts of an issue that its files bear.

    ``data_to`` is the time of the newest observation, the only date in a file. ``grid`` and ``datum`` (the grid's
    geographic CRS) are codes where they are registered, else None; ``definition`` is grid and height datum as WKT, and
    ``axes`` how they write coordinates; ``drafting`` is what the job says of its drawing. ``carried`` names the datums
    that ellipsoidal heights are in where the grid's has none, None where it has. ``judged`` is what became of the
    readings: each fact in words, with its name.
    """

    job: str
    issue: int
    data_to: datetime
    grid: str | None
    grid_name: str
    height_name: str
    datum: str | None
    datum_name: str
    definition: str
    caution: str
    axes: Axes = field(default_factory=Axes)
    drafting: Drafting = field(default_factory=Drafting)
    carried: tuple[str, ...] | None = None
    judged: tuple[tuple[str, str], ...] = ()

    @property
    def judged_text(self) -> tuple[str, ...]:
        """Return what became of the readings, each fact as one text."""
        return tuple(f"{name}: {text}" for name, text in self.judged)

    @property
    def title(self) -> str:
        """Return the name of the issue's files, without their ending."""
        return f"{self.job}-{self.issue:03d}"

    @property
    def data_to_text(self) -> str:
        """Return ``data_to`` as ISO 8601 in UTC, to the millisecond."""
        return iso(self.data_to)

    @property
    def grid_text(self) -> str:
        """Return the grid's name, with its code where it has one."""
        return f"{self.grid_name} ({self.grid})" if self.grid else self.grid_name

    @property
    def datum_text(self) -> str:
        """Return the name of the grid's geographic CRS, with its code where it has one."""
        return f"{self.datum_name} ({self.datum})" if self.datum else self.datum_name

    @property
    def geometry_text(self) -> str:
        """Return what the coordinates of a GeoJSON file are."""
        return geometry_told(self.datum_text, self.carried)


def geometry_told(datum: str, carried: tuple[str, ...] | None) -> str:
    """Return what longitude, latitude and ellipsoidal height are in, ``carried`` as in `FileFacts`."""
    apart = "" if datum.startswith(_READERS_DATUM) else f", not in {_READERS_DATUM}"
    if carried is None:
        return f"longitude, latitude [degrees] and ellipsoidal height [m] in {datum}{apart}"
    return f"longitude, latitude [degrees] in {datum}{apart}; ellipsoidal height [m] {carried_told(carried)}"


def carried_told(carried: tuple[str, ...]) -> str:
    """Return which ellipsoidal heights are carried along."""
    return f"in {' or '.join(carried)}, not transformed" if carried else "as the exports lead to it"
