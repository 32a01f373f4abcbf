"""Names that a job file, a register and exports encode differently, with accents set apart or not: one name each."""

import unicodedata
from collections.abc import Iterable, Mapping
from typing import Literal, TypeVar

from pipeline.job.model import Noted, Occupation, Session, Setup
from pipeline.letter_case import one_form
from pipeline.replace import replace
from pipeline.sessions.windows import SessionWindow

_Naming = TypeVar("_Naming", Occupation, Noted, Setup)

#: Both forms that programs write accents in.
_FORMS: tuple[Literal["NFC", "NFD"], ...] = ("NFC", "NFD")


def spellings(names: Iterable[str]) -> dict[str, str]:
    """Return the other encodings that a file may have of some names, each with the name that it stands for."""
    told = [name for name in names if not name.isascii()]
    other = {unicodedata.normalize(form, name): name for name in told for form in _FORMS}
    return {spelled: name for spelled, name in other.items() if spelled not in told}


def with_marks_of(windows: tuple[SessionWindow, ...], marks: Iterable[str]) -> tuple[SessionWindow, ...]:
    """Return sessions that name marks as the register spells them, whose accents they may encode otherwise."""
    spelled = {one_form(mark): mark for mark in marks if not mark.isascii()}
    if not spelled:
        return windows
    return tuple(replace(window, session=_respelled(window.session, spelled)) for window in windows)


def _respelled(session: Session, spelled: Mapping[str, str]) -> Session:
    def of(one: _Naming) -> _Naming:
        return one.model_copy(update={"mark": spelled.get(one_form(one.mark), one.mark)})

    told: dict[str, object] = {key: tuple(map(of, getattr(session, key))) for key in ("ties", "checks", "noted")}
    return session.model_copy(update=told | ({} if session.setup is None else {"setup": of(session.setup)}))
