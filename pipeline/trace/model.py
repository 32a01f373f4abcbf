"""What a trace says. Lengths are metres, angles degrees, times UTC; what is not known is None.

Vectors are X, Y, Z of the target grid's datum, or east, north, up at the place that is named, or easting, northing,
height of the target, as each field says.
"""

from datetime import datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict

from pipeline.clock import iso

Vector = tuple[float, float, float]


class Tie(Struct, frozen=True, kw_only=True):
    """One observation that ties the reading's session.

    ``use`` is "tie" (a rover over a mark), "set-up" (the base over a mark) or "stated" (a shift of the job file).
    ``register`` is the mark's easting, northing, height in the register, in the issued frame; ``register_sigma`` how
    well it is known, east, north, up, and None in the components that are not held; ``mark_xyz`` the mark as adjusted,
    which is the register's plus ``correction`` (east, north, up) where that is held; ``raw_xyz`` the observation, field
    shifts taken out; ``own_shift`` the one minus the other. The session's shift is that plus ``residual``, which is
    given as east, north, up at the mark; ``sigma`` likewise, centring included. ``sessions`` are the other sessions
    that occupy the mark: where the register does not hold it, they carry it.
    """

    use: str
    point: str | None
    mark: str | None
    observed: datetime | None
    register: tuple[float | None, ...]
    register_sigma: tuple[float | None, ...]
    mark_xyz: Vector | None
    correction: tuple[float | None, ...]
    raw_xyz: Vector | None
    own_shift: Vector
    residual: Vector
    sigma: Vector
    sessions: tuple[str, ...]


class Shift(Struct, frozen=True):
    """A session's shift: X, Y, Z; east, north, up with standard uncertainties at the reading; what it comes from."""

    xyz: Vector
    local: Vector
    sigma: Vector
    verdict: str
    ties: tuple[Tie, ...]


class Step(Struct, frozen=True):
    """One sum: ``before`` plus ``added`` is ``after``; ``frame`` is "X Y Z" or "easting northing height"."""

    name: str
    frame: str
    before: Vector
    added: Vector
    after: Vector


class Applied(Struct, frozen=True):
    """One PROJ operation that the reading went through."""

    step: str
    name: str
    definition: str
    accuracy: float | None
    grids: tuple[str, ...]


class Uncertainty(Struct, frozen=True):
    """The 95 % figures and what they are made of, standard uncertainties east, north, up.

    ``observed`` is the export's (or the job's default where ``by_default``) with ``distance`` times the job's ppm in
    it; ``geoid`` is that of the separation, ``site`` of a site's localisation; ``together`` the root of the sum of
    squares of it all. ``semi_axes`` are those of the standard ellipse, which the shift's covariance may turn. hu95 is
    the radius of the circle that holds 95 %, vu95 is 1.96 times the uncertainty of the height.
    """

    observed: Vector
    by_default: tuple[bool, bool, bool]
    distance: float | None
    ppm: float
    shift: Vector
    geoid: float
    site: Vector
    together: Vector
    semi_axes: tuple[float, float]
    hu95: float
    vu95: float


class OccupiedAround(Struct, frozen=True):
    """An occupation of a mark that speaks for or against a time."""

    point: str | None
    mark: str
    observed: datetime
    role: str
    d_horizontal: float | None
    d_height: float | None
    passed: bool


class Found(Struct, frozen=True):
    """The reading as an issue has it: its layer, coordinates, and how they differ from the previous issue.

    ``word`` is the proof word, the reason for holding it back, or the role on a mark. ``because`` is what the issue's
    layer of changes says.
    """

    issue: int
    layer: str
    observed: datetime | None
    easting: float | None
    northing: float | None
    height: float | None
    word: str | None
    source_file: str | None
    source_row: int | None
    moved: Vector | None
    because: tuple[str, ...]


class Reading(Struct, frozen=True):
    """One row of an export, followed to what is issued of it.

    ``raw`` pairs the coordinates' names with their values, metres to the east, north and up, and degrees; ``raw_xyz``
    is them in the working frame. ``issued`` is as the grid writes it, ``issued_metres`` the same in metres to the east,
    north and up. ``outcome`` is "point", "on mark" or "held back", the last with reason and detail; the detail of a
    point says that it bears a mean. ``difference`` is the newest issue's easting, northing, height minus those worked
    out here; None where it has no such row.
    """

    file: str
    row: int
    code: str | None
    solution: str | None
    observed: datetime | None
    base: str | None
    crs: str
    raw: tuple[tuple[str, float | None], ...]
    session: str | None
    session_why: str
    raw_xyz: Vector | None
    shift: Shift | None
    steps: tuple[Step, ...]
    operations: tuple[Applied, ...]
    geographic: Vector | None
    separation: float | None
    issued: Vector | None
    issued_metres: Vector | None
    uncertainty: Uncertainty | None
    outcome: str
    reason: str | None
    detail: str | None
    proof: str | None
    before: OccupiedAround | None
    after: OccupiedAround | None
    found: tuple[Found, ...]
    difference: Vector | None


class Agreement(Struct, frozen=True):
    """Whether the newest issue says what is worked out here.

    ``issue`` is its number, 0 where there is none. ``changed`` says what has changed since then: with it, a difference
    is no fault. ``differences`` are in words.
    """

    issue: int
    changed: tuple[str, ...]
    differences: tuple[str, ...]

    @property
    def is_fault(self) -> bool:
        """Say whether the issue differs although nothing has changed since."""
        return bool(self.differences) and not self.changed


class Trace(Struct, frozen=True):
    """Every reading of one name, and what became of it in every issue; ``gone`` are issued rows without a reading.

    ``written`` says in words how issued coordinates are written: "metres" in the usual way.
    """

    job: str
    point: str
    written: str
    readings: tuple[Reading, ...]
    gone: tuple[Found, ...]
    agreement: Agreement

    def as_record(self) -> dict[str, Any]:
        """Return the trace in plain JSON values."""
        record = _plain(self)
        assert isinstance(record, dict)
        return record


def _plain(value: Any) -> Any:
    if isinstance(value, Struct):
        return _plain(asdict(value))
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(inner) for inner in value]
    if isinstance(value, datetime):
        return iso(value)
    return value
