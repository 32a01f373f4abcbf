"""Matches the job file's column names with the columns of an export."""

import unicodedata
from collections.abc import Sequence

import pyarrow as pa
from msgspec import Struct

from pipeline.job.model import Columns, Points
from pipeline.job.time_format import says_its_clock
from pipeline.tables import READING

#: A position is one of these; what is in degrees is said in `DEGREES`, the rest are lengths.
POSITIONS = (("longitude", "latitude", "height"), ("easting", "northing", "height"), ("x", "y", "z"))
#: Where the base stood, on every point: all of one of these, or none.
BASE_POSITIONS = (("base_longitude", "base_latitude", "base_height"), ("base_easting", "base_northing", "base_height"))
DEGREES = frozenset(("longitude", "latitude", "base_longitude", "base_latitude"))
LENGTHS = frozenset(word for position in (*POSITIONS, *BASE_POSITIONS) for word in position) - DEGREES | frozenset(
    ("sigma_east", "sigma_north", "sigma_up", "antenna_height", "sigma_horizontal", "drms", "pole_height")
)
#: What another word is made from: it stands in no column of a reading, so it is carried along besides.
PARTS = frozenset(("date", "gps_week", "gps_seconds", "sigma_horizontal", "drms", "pole_height"))
TEXTS = frozenset(("name", "code", "solution", "base", "mark"))
TIMES = frozenset(("time", "time_end", "date"))
#: Those of a position that are counted along the ground, and its heights; what CRSs say of their units.
ALONG = frozenset(("easting", "northing", "x", "y", "z", "base_easting", "base_northing"))
UPWARD = frozenset(("height", "base_height"))


class Position(Struct, frozen=True):
    """The words of a position's three parts, those that are mapped, and whether X and Y are the geometry's."""

    words: tuple[str, str, str]
    mapped: frozenset[str]
    from_geometry: bool


def mapped(columns: Columns) -> dict[str, str]:
    """Return our words and the export's names, or numbers as text, for the columns that the job file maps."""
    return {word: str(name) for word, name in columns.model_dump().items() if name is not None}


def mapped_by_name(columns: Columns) -> dict[str, str]:
    """Return our words and the export's names for the columns that the job file maps by name."""
    return {word: name for word, name in columns.model_dump().items() if isinstance(name, str)}


def mapped_by_number(columns: Columns) -> dict[str, int]:
    """Return our words and the numbers of the columns that the job file maps by number."""
    return {word: name for word, name in columns.model_dump().items() if isinstance(name, int)}


def fitted(points: Points, there: Sequence[str]) -> Points:
    """Return the block with its columns' names as the file spells them.

    A name differs from the file's where an accent is written as a sign of its own or not, or in blanks: hard ones, two
    for one, some at its ends. Only a name that is not there and fits one of the file's alone is exchanged. Columns
    that are mapped by their number get the name of that place.
    """
    places = mapped_by_number(points.columns)
    by_place = {word: there[place - 1] for word, place in places.items() if place <= len(there)}
    spelled: dict[str, list[str]] = {}
    for name in there:
        spelled.setdefault(spelling(name), []).append(name)
    wanted = {word: name for word, name in mapped_by_name(points.columns).items() if name not in there}
    found = {word: spelled.get(spelling(name), []) for word, name in wanted.items()}
    update = by_place | {word: names[0] for word, names in found.items() if len(names) == 1}
    return points.model_copy(update={"columns": points.columns.model_copy(update=update)}) if update else points


def spelling(name: str) -> str:
    """Return a column's name in the form in which two are compared: one Unicode form, single blanks, none outside."""
    return " ".join(unicodedata.normalize("NFC", name).replace("\ufeff", "").replace("\u200b", "").split())


def numeric_names(points: Points) -> frozenset[str]:
    """Return the export's names of columns that hold plain numbers."""
    return frozenset(name for word, name in mapped(points.columns).items() if word in numeric_words(points))


def numeric_words(points: Points) -> frozenset[str]:
    """Return the words of the mapped columns that hold plain numbers."""
    skipped = TEXTS | TIMES | (DEGREES if points.angles == "dms" else frozenset())
    return frozenset(mapped(points.columns)) - skipped


class ColumnsMissing(ValueError):
    """A position is mapped in part: ``missing`` are our words for what it lacks."""

    def __init__(self, words: str, missing: tuple[str, ...]) -> None:
        super().__init__(words)
        self.missing = missing


def position_of(columns: Columns) -> Position:
    """Return which position the block maps; without plan columns it is the geometry's, with ``height`` if mapped.

    Raises ValueError, with what is wrong in words, where it is none in full or more than one; `ColumnsMissing` where
    columns are missing.
    """
    found = frozenset(mapped(columns)) & {word for position in POSITIONS for word in position}
    if not found - {"height"}:
        return Position(("longitude", "latitude", "height"), found, True)
    kinds = [position for position in POSITIONS if found & set(position) - {"height"}]
    if len(kinds) > 1 or not found <= set(kinds[0]):
        raise ValueError(f"the columns map more than one kind of position ({', '.join(sorted(found))})")
    missing = tuple(word for word in kinds[0] if word not in found)
    if missing:
        have = ", ".join(word for word in kinds[0] if word in found)
        raise ColumnsMissing(f"the columns map {have} but not {', '.join(missing)}", missing)
    return Position(kinds[0], found, False)


def time_of(points: Points) -> dict[str, tuple[str, str]]:
    """Return which times of the block are put together from two columns: by our word, the words of the two.

    Raises ValueError, with what is wrong in words, where it maps no time, or more than one.
    """
    columns = mapped(points.columns)
    gps: list[str] = [word for word in ("gps_week", "gps_seconds") if word in columns]
    if not gps:
        if "time" not in columns:
            raise ValueError("the columns map no time" if "date" not in columns else "the columns map date but no time")
        if "date" not in columns:
            return {}
        if says_its_clock(points.time_format):
            raise ValueError(f'the columns map date, but times of "{points.time_format}" already have their date')
        return {word: ("date", word) for word in ("time", "time_end") if word in columns}
    others: list[str] = [word for word in ("time", "date") if word in columns]
    if others:
        raise ValueError(f"the columns map more than one time ({', '.join(gps + others)})")
    if len(gps) == 1:
        raise ValueError(f"the columns map {gps[0]} but not {'gps_seconds' if 'gps_week' in gps else 'gps_week'}")
    return {"time": ("gps_week", "gps_seconds")}


def sigma_of(columns: Columns) -> str | None:
    """Return the word of the one precision that stands for east and north, None where each has its own or none.

    Raises ValueError, with what is wrong in words, where more than one is mapped.
    """
    both: list[str] = [word for word in ("sigma_horizontal", "drms") if word in mapped(columns)]
    each: list[str] = [word for word in ("sigma_east", "sigma_north") if word in mapped(columns)]
    if len(both) + bool(each) > 1:
        raise ValueError(f"the columns map more than one horizontal precision ({', '.join(both + each)})")
    return both[0] if both else None


def base_of(columns: Columns) -> tuple[str, str, str] | None:
    """Return which position of the base the block maps, None where it maps none.

    Raises ValueError, with what is wrong in words, where it is none in full or more than one.
    """
    found = frozenset(mapped(columns)) & {word for position in BASE_POSITIONS for word in position}
    if not found:
        return None
    kinds = [position for position in BASE_POSITIONS if found & set(position[:2])]
    if len(kinds) != 1:
        raise ValueError(f"the columns map {', '.join(sorted(found))}, which is not a base position")
    missing = [word for word in kinds[0] if word not in found]
    if missing:
        raise ValueError(f"the columns map {', '.join(w for w in kinds[0] if w in found)} but not {', '.join(missing)}")
    return kinds[0]


def carried_fields(points: Points, schema: pa.Schema) -> tuple[tuple[str, pa.Field], ...]:
    """Return the columns that are not mapped: the name in the file, and the field as delivered.

    One that is called like a column of a reading becomes ``base_export``, say; the later of two alike gets a number.
    Names that differ only in case, which a GeoPackage cannot tell apart, stay as they are: those of all exports are.
    """
    used = {name for word, name in mapped(points.columns).items() if word not in PARTS}
    taken: set[str] = set()
    found: list[tuple[str, pa.Field]] = []
    for source in schema:
        if source.name in used:
            continue
        stem = f"{source.name}_export" if source.name in READING.names else source.name
        name, number = stem, 2
        while name in taken:
            name, number = f"{stem}_{number}", number + 1
        taken.add(name)
        found.append((source.name, pa.field(name, source.type)))
    return tuple(found)
