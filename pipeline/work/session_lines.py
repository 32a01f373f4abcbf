"""Sessions written as the lines of a job file, ready to paste."""

import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from pipeline.job.model import GivenShift, Session, SessionsFile


def instead(name: str, sessions: SessionsFile | None) -> Iterator[str]:
    """Yield the comment that says what the lines take the place of; ``sessions`` is the CSV with them, if any."""
    if sessions is None:
        yield f"# in place of the [[session]] called {name}: its base moved"
    else:
        yield f"# in place of session {name}: its base moved"
        yield f"# sessions stand in {sessions.file.name}: write these as its rows, with the same names as columns"


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
    yield f"name = {_text(name)}"
    yield f"start = {iso(since)}"
    yield f"end = {iso(until)}"
    if given.base is not None:
        yield f"base = {_text(given.base)}"
    field = given.field_shift
    if field is not None and (begins := round(field.start.timestamp() * 1000)) < until:
        model = "" if field.model == "geocentric" else f", model = {_text(field.model)}"
        yield (
            f"field_shift = {{ from = {iso(begins)}, east = {field.east!r}, north = {field.north!r},"
            f" up = {field.up!r}{model} }}"
        )


def set_up_lines(given: Session) -> Iterator[str]:
    """Yield what a session has of its base besides occupations."""
    if (over := given.setup) is not None:
        yield (
            f"setup = {{ mark = {_text(over.mark)}, longitude = {over.longitude!r}, latitude = {over.latitude!r},"
            f" ellipsoid_height = {over.ellipsoid_height!r}, antenna_height = {over.antenna_height!r} }}"
        )
    if isinstance(given.shift, GivenShift):
        said = ", ".join(f"{key} = {value!r}" for key, value in given.shift.model_dump().items())
        yield f"shift = {{ {said} }}"
    elif given.shift != "derive":
        yield f"shift = {_text(given.shift)}"


def occupation_lines(key: str, pairs: Iterable[tuple[str | None, str]]) -> Iterator[str]:
    """Yield ``ties`` or ``checks`` of point and mark; those without a name are found by their code again."""
    named = dict.fromkeys((point, mark) for point, mark in pairs if point)
    if named:
        said = ", ".join(f"{{ point = {_text(point)}, mark = {_text(mark)} }}" for point, mark in named)
        yield f"{key} = [{said}]"


def _text(value: str) -> str:
    """Return a basic string of TOML: JSON's escapes are among its own."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def iso(milliseconds: int) -> str:
    """Return UTC milliseconds as a job file has a time."""
    moment = datetime.fromtimestamp(milliseconds / 1000, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
