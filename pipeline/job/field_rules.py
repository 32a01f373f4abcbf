"""What the keys of a session's field shifts must be to one another, and to the session."""

from collections.abc import Iterator, Sequence

from pipeline.job.key_lines import Where
from pipeline.job.model import TYPED, FieldShift, Session
from pipeline.letter_case import folded
from pipeline.problems import Problems

#: A key to point at, what is wrong, and what to do.
_Wrong = tuple[str, str, str]

_VECTOR = ("east", "north", "up")
_FORMS = 'write tie = "..." and mark = "...", or east, north and up as they were applied'
_DATE = "check the date and the offset from UTC"


def check_field_shifts(session: Session, where: Where, problems: Problems) -> None:
    """Note what is wrong with each field shift of a session: its form, its time, its base."""
    for position, stated in enumerate(session.field_shifts):
        place = session.place_of_field_shift(position)
        for key, what, fix in (*_form(stated), *_time(stated, session), *_base(stated, session)):
            problems.add(*where(*place, key), f"the field shift of session '{session.name}' {what}", fix)


def _form(stated: FieldShift) -> Iterator[_Wrong]:
    """Yield what is wrong with how a shift says what was applied: as a vector, or by a tie and its mark."""
    vector, tied = _given(stated, _VECTOR), _given(stated, ("tie", "mark"))
    if vector and tied:
        yield tied[0], f"has both {' and '.join(tied)} and {' and '.join(vector)}", "keep what was done in the field"
    elif len(tied) == 1:
        other = "mark" if tied == ["tie"] else "tie"
        yield tied[0], f"has a {tied[0]} and no {other}", f'write {other} = "..." as well'
    elif vector and len(vector) < len(_VECTOR):
        yield vector[0], f"has {' and '.join(vector)} and no {_lacking(vector, _VECTOR)}", "write 0 for none"
    elif not vector and not tied:
        yield "from", "does not state what was applied", _FORMS
    yield from _typed(stated, bool(tied))


def _typed(stated: FieldShift, tied: bool) -> Iterator[_Wrong]:
    """Yield what is wrong with coordinates of a mark that were typed in the field, ``tied`` where there is a tie."""
    typed = [_given(stated, keys) for keys in TYPED]
    if all(typed):
        yield typed[0][0], "has its mark's coordinates twice, on the grid and in degrees", "keep those that were typed"
        return
    for keys, given in zip(TYPED, typed, strict=True):
        if given and len(given) < len(keys):
            what = f"has {' and '.join(given)} of its mark and no {_lacking(given, keys)}"
            yield given[0], what, "write all three"
        elif given and not tied:
            yield given[0], f"has a mark's {given[0]} and no mark", 'write tie = "..." and mark = "..."'


def _given(stated: FieldShift, keys: Sequence[str]) -> list[str]:
    return [key for key in keys if getattr(stated, key) is not None]


def _lacking(given: Sequence[str], keys: Sequence[str]) -> str:
    return " and no ".join(key for key in keys if key not in given)


def _time(stated: FieldShift, session: Session) -> Iterator[_Wrong]:
    """Yield what is wrong with a shift's time, unless the session's own time is."""
    if session.end <= session.start:
        return
    if stated.start >= session.end:
        yield "from", "starts after the session's end", _DATE
    elif stated.until is not None and stated.until <= stated.start:
        yield "until", f"ends at {stated.until.isoformat()}, which is not after its start", _DATE
    elif stated.until is not None and stated.until <= session.start:
        yield "until", f"ends at {stated.until.isoformat()}, before the session begins", _DATE
    if stated.earliest is not None and stated.earliest >= stated.start:
        yield "earliest", "has `earliest` at or after `from`", "set `earliest` before `from`"
    if stated.latest is not None and stated.until is None:
        yield "latest", "has `latest` and no `until`", "set `until`, and `latest` after it"
    elif stated.latest is not None and stated.until is not None and stated.latest <= stated.until:
        yield "latest", "has `latest` at or before `until`", "set `latest` after `until`"


def _base(stated: FieldShift, session: Session) -> Iterator[_Wrong]:
    if stated.base is not None and not stated.base:
        yield "base", "has an empty base", "leave it out where every base's readings carry it"
    elif stated.base and session.base and folded(stated.base) != folded(session.base):
        what = f"is for base '{stated.base}', but the session's base is '{session.base}'"
        yield "base", what, "write it in the session of that base, or leave the base out"
