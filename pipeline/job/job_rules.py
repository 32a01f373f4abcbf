"""What the keys of a job file must be to one another: rules that no single key can break alone."""

import os
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from pipeline.files.regular_files import COPY, other_kind
from pipeline.job.field_rules import check_field_shifts
from pipeline.job.key_lines import Where
from pipeline.job.model import (
    CodesSection,
    ControlSection,
    Points,
    Quality,
    Session,
    SessionsFile,
    Setup,
    Source,
    Target,
)
from pipeline.job.own_crs import own_crs
from pipeline.job.time_format import COUNTS, from_tokens, parts_of
from pipeline.job.time_zones import zone_problem
from pipeline.job.toml_text import quoted
from pipeline.job.written_clock import clock_problem
from pipeline.near import beside, nearest
from pipeline.problems import Problems
from pipeline.words import counted, plural

#: Characters of a CRS that is a code, not a definition.
_CODE = 20

#: Columns of a position that are one coordinate each; a height's two words may share theirs.
_COORDINATES = (
    ("longitude", "latitude", "height"),
    ("longitude", "latitude", "ellipsoid_height"),
    ("easting", "northing", "height"),
    ("easting", "northing", "ellipsoid_height"),
    ("x", "y", "z"),
    ("base_longitude", "base_latitude", "base_height"),
    ("base_easting", "base_northing", "base_height"),
)

#: Metres: a larger difference that was noted is in another unit. Ours, no source.
_NOTED = 3.0

#: The determinant of correlations below which nothing is independent in them any more.
NOTHING_INDEPENDENT = 1e-8


#: What is wrong with a site's own system without a register, and what to do.
SITE_ALONE = (
    "the site's own system is found from marks of the register, but there is no [control]",
    "name the register that has the site's marks too in [control]",
)


def fill_points(points: Points, source: Source) -> Points:
    """Return ``points`` with what it leaves open taken from ``source``, then from the house's defaults."""
    given = {key: getattr(source, key) for key in Source.model_fields if getattr(points, key) is None}
    filled = points.model_copy(update=given)
    defaults = {"time_zone": "UTC", "angles": "decimal"}
    return filled.model_copy(update={key: word for key, word in defaults.items() if getattr(filled, key) is None})


def check_reading(points: Points, folder: Path, where: Where, problems: Problems) -> None:
    """Note what is wrong with a filled ``[[points]]`` block: crs, time zone and format, encoding, delimiter.

    A CRS is stated even where a layer says one of its own: programs write there what they are not asked for.
    """
    if points.crs is None:
        own = own_crs(points, folder)
        code = own if own is not None and len(own) <= _CODE else "EPSG:..."
        theirs = " if the layer's own is right" if own == code else ""
        fix = f'write crs = "{code}" in [source] or in this block{theirs}'
        problems.add(*where("crs"), "no crs is given for these points", fix)
    if points.time_zone is not None:
        _check_time_zone(points.time_zone, where("time_zone"), problems)
    if points.time_format is not None:
        _check_time_format(points.time_format, points.time_zone, where("time_format"), problems)
    _check_not_measured(points, where, problems)
    _check_written(points, where, problems)
    _check_header(points, where, problems)
    _check_apart(points, where, problems)


def _check_not_measured(points: Points, where: Where, problems: Problems) -> None:
    """Note a position that is mapped and said not to have been measured."""
    columns = points.columns
    mapped = {columns.longitude, columns.latitude, columns.easting, columns.northing, columns.height}
    both = [name for name in points.not_measured or () if name in mapped]
    if both:
        what = (
            f"{' and '.join(map(quoted, both))} in not_measured {plural(len(both), 'is', 'are')} mapped as a position"
        )
        fix = "map what was measured, and name the columns of the other position in not_measured"
        problems.add(*where("not_measured"), what, fix)


def check_table(table: ControlSection | SessionsFile | CodesSection, where: Where, problems: Problems) -> None:
    """Note what cannot be true of how the register, or a table of sessions or codes, is said to be written."""
    sign = table.delimiter
    if sign is not None and (not sign.isascii() or sign in '"\r\n\0' or sign.isalnum()):
        problems.add(*where("delimiter"), f"'{sign}' cannot be a delimiter", r'such as ";", or "\t" for a tab')
    _check_written(table, where, problems)
    if isinstance(table, ControlSection):
        _check_header(table, where, problems)
        _check_apart(table, where, problems)


def _check_written(
    table: Points | ControlSection | SessionsFile | CodesSection, where: Where, problems: Problems
) -> None:
    """Note an encoding that is not known, and a delimiter that is the decimal sign."""
    if table.encoding is not None and not _is_encoding(table.encoding):
        problems.add(
            *where("encoding"),
            f"the encoding '{table.encoding}' is not known",
            'such as "utf-8", "cp1252" (Windows, western Europe), "cp932" (Windows, Japan), "utf-16"',
        )
    if table.delimiter is not None and table.delimiter == table.decimal:
        problems.add(
            *where("delimiter"),
            f"'{table.delimiter}' cannot be both the delimiter and the decimal sign",
            'a decimal comma goes with delimiter = ";" or a tab, "\\t"',
        )


def _check_header(points: Points | ControlSection, where: Where, problems: Problems) -> None:
    """Note columns by number without a word on the header, by name without a header, and a header that is skipped."""
    columns = {word: name for word, name in points.columns.model_dump().items() if name is not None}
    names = [word for word, name in columns.items() if isinstance(name, str)]
    if points.header is None and columns and not names:
        what = "the columns are mapped by number, and it is not stated whether a line names them"
        problems.add(*where("columns"), what, "state header = 0 if none does, else its number, such as header = 1")
    if points.header == 0 and names:
        what = f"header = 0 states that no line names the columns, but {names[0]} is mapped by name"
        problems.add(*where("columns", names[0]), what, f"write its number, such as {names[0]} = 1")
    if isinstance(points, Points) and points.header and points.skip and points.header <= points.skip:
        what = f"header = {points.header} is a line that skip = {points.skip} skips"
        problems.add(*where("header"), what, "leave skip out: lines above the header are skipped anyway")


def _check_apart(points: Points | ControlSection, where: Where, problems: Problems) -> None:
    """Note one column that is mapped as two coordinates of one position."""
    columns = {word: name for word, name in points.columns.model_dump().items() if name is not None}
    told: set[str] = set()
    for axes in _COORDINATES:
        first: dict[object, str] = {}
        for word in axes:
            name = columns.get(word)
            if name is None:
                continue
            other = first.setdefault(name, word)
            if other != word and word not in told:
                told.add(word)
                what = f"{other} and {word} are the same column, {quoted(name) if isinstance(name, str) else name}"
                problems.add(*where("columns", word), what, f"map {other} and {word} each to its own column")


def check_target(target: Target, where: Where, problems: Problems) -> None:
    """Note a geoid that would go unused, and a base of the grid that is no code."""
    if target.geoid is not None and target.height == "ellipsoid":
        problems.add(
            *where("geoid"),
            'a geoid is named, but height = "ellipsoid" asks for heights above the ellipsoid',
            "name the height datum in 'height', or leave the geoid out",
        )
    if target.base is not None and not re.fullmatch(r"[A-Za-z]+:\S+", target.base):
        problems.add(
            *where("base"),
            f"the base '{target.base}' is not the code of a registered CRS",
            'write the geographic CRS that the grid is based on, such as base = "EPSG:4959"',
        )


def check_solutions(quality: Quality, points: Iterable[Points], where: tuple[str, int], problems: Problems) -> None:
    """Note an empty list of accepted solutions where exports have a column of them: nothing would be accepted."""
    if not quality.solutions and any(block.columns.solution is not None for block in points):
        problems.add(*where, "no solution is accepted", 'name those that are, as solutions = ["fix"]')


def check_file(path: Path, shown: str, what: str, most: int, where: tuple[str, int], problems: Problems) -> None:
    """Note a file that the job names and that is not there, is no file, or has more than ``most`` bytes."""
    # os.path, not Path: what may not be looked at (no permission, a name too long) is not there for us either
    if not os.path.isfile(path):
        kind = other_kind(path) if os.path.exists(path) else None
        state = f"is {kind}" if kind is not None else "is not there"
        fix = COPY if kind not in (None, "a folder") else "paths are relative to the job file's folder"
        if near := beside(str(path)):
            fix = f"did you mean {' or '.join(near)}? {fix}"
        if "\\" in shown:
            fix += "; write / between folders, also on Windows"
        problems.add(*where, f"{what} {shown} {state}", fix)
    elif os.path.getsize(path) > most:
        problems.add(*where, f"{what} {shown} has more than {most >> 20:,} MB", "check that it is the right file")


def check_folder(path: Path, show: Callable[[Path], str], where: tuple[str, int], problems: Problems) -> None:
    """Note a folder that cannot be made, because it, or one that it would lie in, is a file."""
    there = next((each for each in (path, *path.parents) if os.path.lexists(each)), path)
    if os.path.lexists(there) and not os.path.isdir(there):
        problems.add(*where, f"{show(there)} is a file, not a folder", "name a folder; it is made where it is missing")


def too_many(count: int, what: str, most: int) -> tuple[str, str]:
    """Return what is wrong with so many sessions, say, and what to do."""
    return f"there are {counted(count, what)}, the maximum is {most:,}", "split them among several jobs"


def check_sessions(sessions: Sequence[tuple[Session, Where]], has_control: bool, problems: Problems) -> None:
    """Note what is wrong with sessions, each alone and among one another (overlaps: `pipeline.sessions.windows`)."""
    first: dict[str, Where] = {}
    for session, where in sessions:
        _check_times(session, where, problems)
        check_field_shifts(session, where, problems)
        _check_occupations(session, where, problems)
        _check_noted(session, where, problems)
        if session.setup is not None and not _is_definite(session.setup):
            what = (
                f"the set-up of session '{session.name}' has covariances that do not match its standard uncertainties"
            )
            fix = "all of sigma_east, sigma_north and sigma_up with them, and a matrix that is positive definite"
            problems.add(*where("setup"), what, fix)
        earlier = first.setdefault(session.name, where)
        if earlier is not where:
            file, line = earlier("name")
            problems.add(
                *where("name"),
                f"there is a session '{session.name}' already, at {file}:{line}",
                "give each session a name of its own",
            )
    if not has_control:
        _check_control_needed(sessions, problems)


def _is_definite(setup: Setup) -> bool:
    """Say whether a set-up's covariances, where it has any, make a positive definite matrix."""
    if not (setup.cov_en or setup.cov_eu or setup.cov_nu):
        return True
    east, north, up = setup.sigma_east, setup.sigma_north, setup.sigma_up
    if not east * north * up > 0.0:
        return False
    a, b, c = setup.cov_en / (east * north), setup.cov_eu / (east * up), setup.cov_nu / (north * up)
    return max(abs(a), abs(b), abs(c)) < 1.0 and 1.0 + 2.0 * a * b * c - a * a - b * b - c * c > NOTHING_INDEPENDENT


def _check_times(session: Session, where: Where, problems: Problems) -> None:
    if session.end <= session.start:
        problems.add(
            *where("end"),
            f"session '{session.name}' ends at {session.end.isoformat()}, "
            f"which is not after its start at {session.start.isoformat()}",
            "check the date and the offset from UTC",
        )


def _check_occupations(session: Session, where: Where, problems: Problems) -> None:
    """A point counts once: a tie is adjusted, a check never is, and nothing stands on two marks."""
    first: dict[str, tuple[str, int]] = {}
    for role, occupations in (("ties", session.ties), ("checks", session.checks)):
        for position, occupation in enumerate(occupations):
            point = occupation.point
            if point in first:
                file, line = first[point]
                problems.add(
                    *where(role, position),
                    f"point '{point}' is listed twice in session '{session.name}', first at {file}:{line}",
                    "a point is either a tie or a check, and on one mark",
                )
            first.setdefault(point, where(role, position))


def _check_noted(session: Session, where: Where, problems: Problems) -> None:
    """Note of checks that were read off the screen a time outside the session, and differences that say nothing."""
    for position, one in enumerate(session.noted):
        of = f"the check noted on {one.mark} in session '{session.name}'"
        if not session.start <= one.time < session.end:
            problems.add(
                *where("noted", position, "time"),
                f"{of} has the time {one.time.isoformat()}, which is outside the session",
                f"the session is from {session.start.isoformat()} to {session.end.isoformat()}",
            )
        plan, alone = (one.d_east, one.d_north), one.d_horizontal is not None
        given = [value for value in (*plan, one.d_horizontal, one.d_height) if value is not None]
        if not given:
            fix = "write d_east and d_north (or d_horizontal), d_height, or those of them that were read, in metres"
            problems.add(*where("noted", position), f"{of} has no difference", fix)
        if (None in plan and plan != (None, None)) or (alone and plan != (None, None)):
            what = f"{of} has {'d_horizontal beside d_east or d_north' if alone else 'one of d_east and d_north alone'}"
            problems.add(*where("noted", position), what, "write d_east and d_north, or d_horizontal instead of both")
        large = max(given, key=abs, default=0.0)
        if abs(large) > _NOTED:
            what = f"{of} has a difference of {large:g} m"
            problems.add(*where("noted", position), what, "differences are metres: 12 mm are written 0.012")


def _check_control_needed(sessions: Iterable[tuple[Session, Where]], problems: Problems) -> None:
    """Without a register, a shift can be derived only through marks shared with a session whose shift is known."""
    deriving = [(session, where) for session, where in sessions if session.shift == "derive"]
    known = {mark for session, _ in sessions if session.shift != "derive" for mark in _marks(session)}
    while tied := [(session, where) for session, where in deriving if _marks(session) & known]:
        known.update(*(_marks(session) for session, _ in tied))
        deriving = [pair for pair in deriving if pair not in tied]
    for session, where in deriving:
        key = "ties" if session.ties else "setup" if session.setup else "name"
        problems.add(
            *where(key),
            f"session '{session.name}' derives its shift, but there is no [control] to derive it from",
            'name the register of control marks in [control], or write shift = "none" or a given shift',
        )
    for session, where in sessions:
        if session.checks or session.noted:
            problems.add(
                *where("checks" if session.checks else "noted"),
                f"session '{session.name}' has checks, but there is no [control] to check against",
                "name the register of control marks in [control]",
            )


def _marks(session: Session) -> set[str]:
    setup = {session.setup.mark} if session.setup is not None else set()
    return setup | {tie.mark for tie in session.ties}


def _check_time_zone(zone: str, where: tuple[str, int], problems: Problems) -> None:
    found = zone_problem(zone)
    if found is not None:
        problems.add(*where, *found)


def _check_time_format(form: str, zone: str | None, where: tuple[str, int], problems: Problems) -> None:
    if form in COUNTS:
        return
    try:
        parts_of(form)
        if zone is not None and zone_problem(zone) is None and (found := clock_problem(form, zone)) is not None:
            problems.add(*where, *found)
    except ValueError as error:
        near = nearest(form, COUNTS, 1) if "%" not in form else []
        meant = from_tokens(form) or (near[0] if near else None) if "%" not in form else None
        problems.add(*where, str(error), f'write "{meant}"' if meant else 'such as "%d/%m/%Y %H:%M:%S"')


def _is_encoding(name: str) -> bool:
    try:
        "a".encode(name)
    except (LookupError, ValueError):
        return False
    return True
