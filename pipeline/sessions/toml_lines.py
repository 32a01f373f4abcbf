"""Sessions written as the lines of a job file, ready to paste."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from pipeline.clock import iso, moment, stamp
from pipeline.job.model import FieldShift, GivenShift, Session, SessionsFile, Setup
from pipeline.job.toml_text import quoted

#: A point's name, the mark it stands on, and when it was observed, UTC milliseconds.
Reading = tuple[str | None, str, int]


def instead(name: str, sessions: SessionsFile | None) -> Iterator[str]:
    """Yield the comment that says what the lines take the place of; ``sessions`` is the CSV with them, if any."""
    if sessions is None:
        yield f"# in place of the [[session]] called {quoted(name)}: its base moved"
    else:
        yield f"# in place of session {quoted(name)}: its base moved"
        yield f"# sessions are in {sessions.file.name}: write these as its rows, with the same names as columns"


def part_names(name: str, taken: Iterable[str], count: int) -> list[str]:
    """Return names for the parts of a session: its own first, and the first free ones after it."""
    names, found, number = set(taken), [name], 2
    while len(found) < count:
        if f"{name}-{number}" not in names:
            found.append(f"{name}-{number}")
        number += 1
    return found


def table_lines(name: str, given: Session, since: int, until: int) -> Iterator[str]:
    """Yield a session's table with what of it does not depend on where the base stood.

    Args:
        name: of the session.
        given: the session that it is a part of.
        since, until: UTC milliseconds.
    """
    yield "[[session]]"
    yield f"name = {quoted(name)}"
    yield f"start = {iso(moment(since))}"
    yield f"end = {iso(moment(until))}"
    if given.base is not None:
        yield f"base = {quoted(given.base)}"
    carried = [field_shift_text(one) for one in given.field_shifts if _within(one, since, until)]
    if carried:
        several = f"[{', '.join(carried)}]"
        yield f"field_shift = {carried[0] if len(carried) == 1 else several}"


def _within(one: FieldShift, since: int, until: int) -> bool:
    """Tell whether a field shift reaches into a part of its session; one of a tie before it may."""
    begins = round(one.start.timestamp() * 1000)
    return begins < until and (one.until is None or round(one.until.timestamp() * 1000) > since)


def field_shift_text(one: FieldShift) -> str:
    """Return a field shift as the inline table of a job file."""
    said = [f"{key} = {_value(value)}" for key, value in one.model_dump(by_alias=True).items() if key != "model"]
    model = [] if one.model == "geocentric" else [f"model = {quoted(one.model)}"]
    return f"{{ {', '.join([*said, *model])} }}"


def _value(value: object) -> str:
    if isinstance(value, datetime):
        return iso(moment(round(value.timestamp() * 1000)))
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    return quoted(value) if isinstance(value, str) else repr(value)


def set_up_lines(given: Session) -> Iterator[str]:
    """Yield what a session has of its base besides occupations."""
    if (over := given.setup) is not None:
        yield (
            f"setup = {{ mark = {quoted(over.mark)}, longitude = {over.longitude!r}, latitude = {over.latitude!r},"
            f" ellipsoid_height = {over.ellipsoid_height!r}, antenna_height = {over.antenna_height!r}"
            f"{_how_well(over)} }}"
        )
    if isinstance(given.shift, GivenShift):
        yield shift_text(given.shift)
    elif given.shift != "derive":
        yield f"shift = {quoted(given.shift)}"


def shift_text(given: GivenShift) -> str:
    """Return the key ``shift`` of a session that states one; uncertainties that are zero go without saying."""
    said = (
        f"{key} = {value!r}" for key, value in given.model_dump().items() if value or key in ("east", "north", "up")
    )
    return f"shift = {{ {', '.join(said)} }}"


def _how_well(over: Setup) -> str:
    keys = ("sigma_east", "sigma_north", "sigma_up", "cov_en", "cov_eu", "cov_nu")
    return "".join(f", {key} = {value!r}" for key in keys if (value := getattr(over, key)))


def needs_ties(given: Session) -> bool:
    """Say whether a session's shift follows from nothing but its ties."""
    return given.setup is None and given.shift == "derive"


def sayable(readings: Iterable[Reading]) -> set[str]:
    """Return the names that say in a session which mark their readings stand on: those on one mark alone."""
    marks: dict[str, set[str]] = {}
    for point, mark, _ in readings:
        marks.setdefault(point or "", set()).add(mark)
    return {point for point, on in marks.items() if point and len(on) == 1}


def occupation_lines(
    ties: Sequence[Reading], checks: Sequence[Reading], since: int, until: int, needed: bool
) -> Iterator[str]:
    """Yield ``ties`` and ``checks`` of a session, and where it needs ties that cannot be listed, what would be one.

    Readings without a name, and names that stand for several marks, cannot be listed; their code finds them again.

    Args:
        ties, checks: readings of the session.
        since, until: of the session, UTC milliseconds.
        needed: whether the session needs ties.
    """
    names = sayable([*ties, *checks])
    listed = [reading for reading in ties if reading[0] in names]
    yield from _list("ties", listed)
    yield from _list("checks", [reading for reading in checks if reading[0] in names])
    if not needed or listed:
        return
    if not ties:
        yield f"# ties = [...]   which reading stood on a control mark from {stamp(since)} to {stamp(until)} UTC?"
        return
    point, mark, time = ties[0]
    why = f"is one of several named {quoted(point)}" if point else "has no name"
    yield f"# ties = [...]   the reading on {quoted(mark)} at {stamp(time)} UTC {why}: give it a name of its own"


def noted_lines(given: Session, since: int, until: int) -> Iterator[str]:
    """Yield the tables of the checks that were noted in a part of a session, which stand below all its keys."""
    for one in given.noted:
        if since <= round(one.time.timestamp() * 1000) < until:
            yield "[[session.noted]]"
            for key, value in one.model_dump(exclude_none=True).items():
                yield f"{key} = {_value(value)}"


def more_occupations(given: Session, key: str, pairs: Iterable[tuple[str, str]], sessions: SessionsFile | None) -> str:
    """Say what to write in a session so that readings are occupations of it.

    Args:
        given: the session as it stands.
        key: ``ties`` or ``checks``.
        pairs: of each reading its point's name and the mark that it stands on.
        sessions: the table that the sessions are kept in, if any.
    """
    there = bool(getattr(given, key))
    if sessions is not None:
        cells = "; ".join(point if point == mark else f"{point}={mark}" for point, mark in pairs)
        return f"{'add' if there else 'write'} {cells} in the column {key} of session {given.name}"
    tables = ", ".join(f"{{ point = {quoted(point)}, mark = {quoted(mark)} }}" for point, mark in pairs)
    if there:
        return f"add {tables} to the {key} of session {given.name}"
    return f"write {key} = [{tables}] in session {given.name}"


def _list(key: str, readings: Iterable[Reading]) -> Iterator[str]:
    pairs = dict.fromkeys((point or "", mark) for point, mark, _ in readings)
    if pairs:
        said = ", ".join(f"{{ point = {quoted(point)}, mark = {quoted(mark)} }}" for point, mark in pairs)
        yield f"{key} = [{said}]"
