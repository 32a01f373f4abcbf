"""Recognises a list of sessions under headings of its own: base, start and end, as an office keeps them."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pyarrow as pa
from msgspec import Struct

from pipeline.clock import moment
from pipeline.files.heading_words import words_of
from pipeline.job.time_zones import localised
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.headings import bare, rank
from pipeline.new_job.look import FileLook
from pipeline.new_job.time_notation import day_and_time, is_day, is_time_of_day, time_notation
from pipeline.new_job.values import given
from pipeline.read.clock_headings import zone_in_heading
from pipeline.read.times import clock

_STARTS_SAID = """
    start started begin began begins beginning from since on beginn anfang von ab debut depuis commencement inicio desde
    comienzo inizio dalle aanvang begintijd van fra starttid startet fran borjan alku alkaen algus poczatek od zacatek
    kezdet kezdete baslangic starttime startzeit startuhrzeit beginnzeit starttijd heuredebut horainicio orainizio
    alkuaika algusaeg starttidspunkt
"""
_STARTS = frozenset(_STARTS_SAID.split())
_ENDS_SAID = """
    end ended ends until till to stop stopped finish finished off ende bis schluss fin jusqua hasta fim ate termino fine
    alle einde eindtijd tot slut slutt til till loppu paattyen lopp koniec konec do vege bitis endtime endzeit endezeit
    enduhrzeit stoptime stopzeit heurefin horafin horafim orafine loppuaika lopuaeg sluttid slutttid eindetijd
"""
_ENDS = frozenset(_ENDS_SAID.split())
_SESSIONS_SAID = """
    session sessions sessionid sessionname sitzung seance sesion sessao sessione sessie okt sesjon istunto sessioon
    sesja relace ules oturum setup aufstellung
"""
_SESSIONS = frozenset(_SESSIONS_SAID.split())
#: What to call the columns where a list cannot be read.
_CALL_THEM = (
    "call its columns name, start, end and base, with times such as 2026-03-02T07:30:00+13:00, and run `tiedown new`"
    " again"
)


class SessionList(Struct, frozen=True):
    """A list of sessions: name, start, end, base and line of each, and the first time without an offset, "" for none.

    ``wrong`` is why it cannot be used and what to do, "" where it can; ``headed`` are the headings that it is known by.
    """

    shown: str
    headed: str
    rows: tuple[tuple[str, datetime, datetime, str, int], ...] = ()
    first: str = ""
    wrong: str = ""


def list_with_positions(look: FileLook, columns: dict[str, str]) -> SessionList | None:
    """Return the sessions of a table that says where its bases stood, too; None of one that may have readings.

    Readings have names or codes of their own, or show how they were solved, and of one base there are several at once.
    ``columns`` are our words and the headings of its columns.
    """
    base = _called(look, "base")
    if base is None or not all(look.columns[base]) or "solution" in columns or "code" in columns:
        return None
    name = columns.get("name", base)
    if name != base and len(set(look.columns[name])) > len(set(look.columns[base])):
        return None
    found = session_list(look)
    if found is None or found.wrong:
        return None
    spans = sorted((whose.casefold(), since, until) for _, since, until, whose, _ in found.rows)
    twice = any(one[0] == other[0] and other[1] < one[2] for one, other in pairwise(spans))
    return None if twice else found


def session_list(look: FileLook) -> SessionList | None:
    """Return the sessions that a table lists, whatever else it has; None of one that is no list of sessions."""
    start, end = (_headed(look, words) for words in (_STARTS, _ENDS))
    base = _called(look, "base")
    name = _headed(look, _SESSIONS) or _called(look, "name")
    if start is None or end is None or start == end or (base is None and _headed(look, _SESSIONS) is None):
        return None
    headed = listed([f'"{each}"' for each in (name, base, start, end) if each is not None])
    of_marks = next((each for each in look.names if bare(each) in ("ties", "checks", "tie", "check")), None)
    if of_marks is not None:
        why = (
            f'has "{of_marks}" too, which are read under fixed headings only: call its columns name, start, end, base,'
        )
        return SessionList(look.called, headed, wrong=f"{why} ties and checks, and run `tiedown new` again")
    texts, why = _times(look, start, end)
    if why:
        return SessionList(look.called, headed, wrong=f"{why}: {_CALL_THEM}")
    times, zoned = _read(texts[0] + texts[1])
    times = _over_midnight(times, dated_apart=texts[0] != look.columns[start])
    zone = zone_in_heading(start) or zone_in_heading(end)
    if times is None and not any(":" in text for text in given(texts[0])):
        return None  # a pipe goes from a depth to another, too
    if times is None:
        return SessionList(look.called, headed, wrong=f"{_unread(start, given(texts[0]))}: {_CALL_THEM}")
    if zone and not zoned:
        times = [None if at is None else _on_clock(at, zone) for at in times]
    rows, taken = [], set[str]()
    for row, (since, until) in enumerate(zip(times[: len(texts[0])], times[len(texts[0]) :], strict=True)):
        whose = look.columns[base][row] if base is not None else ""
        called = _name(look.columns[name][row] if name is not None else "", whose, taken)
        if since is None and until is None and not whose:
            continue
        line = look.header_line + 1 + row
        if since is None or until is None or not since < until:
            wrong = f"row {row + 1} below its header has no start and end in this order"
            return SessionList(look.called, headed, wrong=f"{wrong}: correct that, or {_CALL_THEM}")
        rows.append((called, since, until, whose, line))
    first = "" if zone or zoned or not rows else given(texts[0])[0]
    return SessionList(look.called, headed, tuple(rows), first, "" if rows else "has no rows")


def _headed(look: FileLook, words: frozenset[str]) -> str | None:
    """Return the first column whose heading has one of some words, alone or beside others."""
    plain = [name for name in look.names if bare(name) in words]
    return next(iter([*plain, *(name for name in look.names if words.intersection(words_of(name)))]), None)


def _times(look: FileLook, start: str, end: str) -> tuple[tuple[list[str], list[str]], str]:
    """Return the texts of start and end with their dates, which may be in a column of their own; or why not."""
    since, until = look.columns[start], look.columns[end]
    if not (is_time_of_day(since) and is_time_of_day(until)):
        return (since, until), ""
    days = [name for name in look.names if name not in (start, end) and is_day(look.columns[name])]
    if len(days) != 1:
        return (since, until), f'"{start}" holds times of day ("{given(since)[0]}") without a date'
    first, last = (day_and_time(look.columns[days[0]], each) for each in (since, until))
    return (first, last), ""


def _read(texts: Sequence[str]) -> tuple[list[datetime | None] | None, bool]:
    """Return times, without an offset where the texts say none, and whether they do; None where they are not read."""
    some = given(texts)
    how = time_notation(some) if some and not is_day(some) else None
    if how is None or len(how.formats) != 1 or ("%" not in how.formats[0] and how.formats[0]):
        return None, False
    fields = clock(None, how.formats[0] or None).pattern.read(pa.array(list(texts), pa.string()))
    if bool((fields.zoned[fields.real] != fields.zoned[fields.real][:1]).any()):
        return None, False
    zoned = bool(fields.zoned[fields.real].any())
    read = zip(fields.milliseconds.tolist(), fields.real.tolist(), strict=True)
    times = [moment(at).astimezone(UTC) if real else None for at, real in read]
    return [at if at is None or zoned else at.replace(tzinfo=None) for at in times], zoned


def _over_midnight(times: list[datetime | None] | None, *, dated_apart: bool) -> list[datetime | None] | None:
    """Return starts and then ends, with an end on the next day that is before its start by a date of both."""
    if times is None or not dated_apart:
        return times
    starts, ends = times[: len(times) // 2], times[len(times) // 2 :]
    day = timedelta(days=1)
    pairs = zip(starts, ends, strict=True)
    return [*starts, *(until + day if since and until and until < since else until for since, until in pairs)]


def _on_clock(at: datetime, zone: str) -> datetime | None:
    try:
        return localised(at, zone)
    except ValueError:  # it comes twice or never there
        return None


def _unread(heading: str, texts: Sequence[str]) -> str:
    if not texts:
        return f'"{heading}" is empty'
    return f'the times of "{heading}", such as {quoted(texts[0])}, cannot be read in one way only'


def _name(text: str, base: str, taken: set[str]) -> str:
    return free_name(re.sub(r"\s+", " ", text or base).strip() or "session", taken)


def _called(look: FileLook, word: str) -> str | None:
    """Return the first column whose heading may say one of our words; None without one."""
    return next((name for name in look.names if rank(word, name) is not None), None)


def go_together(one: SessionList, other: SessionList) -> bool:
    """Tell whether two lists are of sessions of one job: on one clock, and no base runs twice at once by them."""
    clocks = {row[1].tzinfo is None for row in (*one.rows, *other.rows)}
    if bool(one.first) != bool(other.first) or len(clocks) > 1:
        return False
    return not any(
        start < until and since < end and (base.casefold() == whose.casefold() or not base or not whose)
        for _, start, end, base, _ in one.rows
        for _, since, until, whose, _ in other.rows
    )


def free_name(first: str, taken: set[str]) -> str:
    """Return a name that none of these is, with a number behind it if need be, and add it to them."""
    name, number = first, 2
    while name.casefold() in taken:
        name, number = f"{first}-{number}", number + 1
    taken.add(name.casefold())
    return name
