"""Reports the strings of a job: how many are drawn, which of the others are not, where, and why, and what looks odd."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.codes.writing import String, Writing
from pipeline.draft.joined import DRAWN_ELSEWHERE, UNJOINED, Joined, join
from pipeline.draft.line_rows import names_of
from pipeline.draft.line_spikes import spike_notes
from pipeline.draft.second_pass import Drafter
from pipeline.draft.string_rows import Gathered, StringRows
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import CodeUnknown, LineworkNoted, StringNotDrawn
from pipeline.near import nearest, plain
from pipeline.words import REASONS, Unjoined, counted, plural

#: Strings that the record lists, and those that a note does.
LISTED, _SHOWN = 200, 8
#: Codes with words of strings that the record lists.
_MISREAD = 50

_WHY = {
    Unjoined.NO_START: "it has no start",
    Unjoined.NO_END: "it has no end",
    Unjoined.NEITHER: "no start and no end: these readings are in no string",
    Unjoined.ONE_POINT: "it has one point only",
    Unjoined.TOO_FEW: "two points cannot be closed",
}


def look_at_strings(drafter: Drafter) -> list[str]:
    """Read the exports once more, and return in words what is to be told of their strings."""
    gathered = Gathered.of(drafter)
    if gathered is None:
        return []
    for drafted in drafter.batches():
        gathered.take(drafted)
    return noted_and_told(join(gathered.rows(), drafter, gathered.writing), gathered)[1]


def noted_and_told(joined: Joined, gathered: Gathered) -> tuple[LineworkNoted, list[str]]:
    """Return what the record says of the strings of a job, and in words what is to be told of them."""
    noted = _noted(joined, gathered)
    return noted, [*_notes(noted), *spike_notes(joined, gathered)]


def _noted(joined: Joined, gathered: Gathered) -> LineworkNoted:
    survey, writing = gathered.drafter.survey, gathered.writing
    drawn, why = joined.drawn, joined.why
    left = np.flatnonzero((why > 0) & (why != DRAWN_ELSEWHERE))
    stray = why[left] == UNJOINED.index(Unjoined.NEITHER) + 1
    first = joined.rows.number[joined.segments.rows[joined.segments.first[left]]]
    left = left[np.lexsort((first, stray))]
    return {
        "lines": len(drawn),
        "closed": int(joined.closed[drawn].sum()),
        "points": int(joined.sizes(drawn).sum()),
        "not_drawn": int((~stray).sum()),
        "by_reason": {
            str(word): int((why[left] == code).sum())
            for code, word in enumerate(UNJOINED, 1)
            if (why[left] == code).any()
        },
        "stray_readings": int(joined.sizes(np.flatnonzero(why == UNJOINED.index(Unjoined.NEITHER) + 1)).sum())
        + len(joined.strays),
        "left_out": [_left_out(joined, string, survey, writing) for string in left[:LISTED].tolist()],
        "misread": list(_misread(gathered)),
        "without_readings": _without_readings(joined.rows, writing, survey),
    }


def _left_out(joined: Joined, string: int, survey: Survey, writing: Writing) -> StringNotDrawn:
    rows, found = joined.rows, joined.segments
    first, last = int(found.rows[found.first[string]]), int(found.rows[found.last[string]])
    word, session = UNJOINED[int(joined.why[string]) - 1], int(rows.session[first])
    (name,) = names_of(rows, np.array([first]), writing)
    at = int(joined.at[string])
    return {
        "string": name,
        "reason": str(word),
        "what": _WHY.get(word) or (_held if word is Unjoined.HELD_BACK else _not_understood)(rows, at, survey),
        "readings": int(joined.sizes(np.array([string]))[0]),
        "session": survey.windows[session].session.name if session >= 0 else None,
        "first": _called(rows, first, survey),
        "last": _called(rows, last, survey),
    }


def _called(rows: StringRows, row: int, survey: Survey) -> str:
    """Return name, file and row of a reading."""
    where = f"{survey.exports[int(rows.export[row])].shown}:{rows.source_row[row]}"
    name = rows.names[row].as_py()
    return f"{name} ({where})" if name else where


def _held(rows: StringRows, row: int, survey: Survey) -> str:
    called = _called(rows, row, survey)
    if rows.on_mark[row]:
        return f"{called} in it is on a mark, and is not a point"
    if not rows.held[row]:
        return f"{called} in it is not issued at its own place"
    return f"{called} in it is held back as {REASONS[int(rows.held[row]) - 1]}"


def _not_understood(rows: StringRows, row: int, survey: Survey) -> str:
    word = rows.words[int(rows.word[row])]
    return f"{_called(rows, row, survey)} in it has '{word}' behind its code, which has no meaning"


def _misread(gathered: Gathered) -> Iterator[CodeUnknown]:
    """Yield the codes that have a word of strings and are none of strings, with the nearest that are."""
    survey, known = gathered.drafter.survey, [one.code for one in gathered.writing.strings]
    order = sorted(gathered.misread.items(), key=lambda item: (-item[1].readings, item[0]))
    for text, seen in order[:_MISREAD]:
        yield {
            "code": text,
            "readings": seen.readings,
            "first": [f"{survey.exports[export].shown}:{row}" for export, row in seen.first],
            "nearest": nearest(text.split()[0] if text.split() else text, known),
        }


def _without_readings(rows: StringRows, writing: Writing, survey: Survey) -> list[str]:
    """Return the codes of ``[linework]`` that no reading has; of a table of codes most are not in every job."""
    linework = survey.job.linework
    named = {plain(code) for code in linework.codes} if linework is not None else set()
    there = set(np.unique(rows.code).tolist())
    strings: Sequence[String] = writing.strings
    return [one.code for place, one in enumerate(strings) if place not in there and plain(one.code) in named]


def _notes(noted: LineworkNoted) -> list[str]:
    """Return in words which strings are not drawn, and what else of codes seems not to be as it was meant."""
    told, strays = [], [one for one in noted["left_out"] if one["reason"] == Unjoined.NEITHER]
    left = [one for one in noted["left_out"] if one["reason"] != Unjoined.NEITHER]
    if count := noted["not_drawn"]:
        are = plural(count, "is", "are")
        told.append(f"{counted(count, 'string')} {are} not drawn: {_listed(left, count)}")
    if count := noted["stray_readings"]:
        belong = plural(count, "belongs", "belong")
        where = _listed(strays, noted["by_reason"].get(str(Unjoined.NEITHER), 0))
        said = f": {where}" if where else ", as they have no time or no session"
        told.append(f"{counted(count, 'reading')} of strings {belong} to no string, and no line is drawn to them{said}")
    for one in noted["misread"][:_SHOWN]:
        near = f"; nearest {' or '.join(map(repr, one['nearest']))}" if one["nearest"] else ""
        first = f"{counted(one['readings'], 'reading')}, first {', '.join(one['first'])}"
        told.append(f"the code '{one['code']}' ({first}) has a string word, but is not a string code{near}")
    for code in noted["without_readings"]:
        told.append(f"[linework] names the code '{code}', but no reading has it")
    return told


def _listed(found: Sequence[StringNotDrawn], count: int) -> str:
    parts = [_told(one) for one in found[:_SHOWN]]
    more = [f"and {count - len(parts):,} more, in issue.json"] if parts and count > len(parts) else []
    return "; ".join([*parts, *more])


def _told(one: StringNotDrawn) -> str:
    place = one["first"] if one["readings"] == 1 else f"{one['first']} to {one['last']}"
    if one["reason"] == Unjoined.NEITHER:
        return f"{one['string']}, {counted(one['readings'], 'reading')}, {place}"
    return f"{one['string']}, {place}: {one['what']}"
