"""Takes files for exports of which all is known but their times, their position or their heights: that is asked for.

Where a folder has an export that is read whole, nobody needs these; where it has none, they are what there is to start
from.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from pipeline.job.toml_text import value_text
from pipeline.new_job.column_places import may_be_heights
from pipeline.new_job.column_questions import height_question_of
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.folder import Contents, register_looks
from pipeline.new_job.headings import rank
from pipeline.new_job.headings_like import like_degrees
from pipeline.new_job.look import FileLook
from pipeline.new_job.numbers_together import numbers_together
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.time_notation import is_day, is_day_run, is_time_of_day
from pipeline.new_job.torn_rows import mostly_torn
from pipeline.new_job.unread import no_position
from pipeline.new_job.unread_times import UnreadTimes, unread_time_columns
from pipeline.replace import replace

#: Columns of times by our words.
_OF_TIME = ("date", "time", "time_end", "gps_week", "gps_seconds")
#: What only readings have.
_OF_READINGS = ("solution", "base", "pdop", "satellites", "correction_age", "sigma_east", "sigma_up")
_DEGREES, _PLANE = ("latitude", "longitude"), ("easting", "northing")
_ONCE = "once its values are as asked: until then rows cannot be read"


class HalfRead(Struct, frozen=True):
    """A file that is an export but for what is asked for.

    ``asks`` are the questions after its columns, ``times`` why its times are not read, None where they are;
    ``placed`` tells that its positions are read.
    """

    found: FileFound
    asks: tuple[Question, ...]
    times: UnreadTimes | None
    placed: bool = True


def take_half_read(found: Contents) -> list[HalfRead]:
    """Return the files that are exports but for some columns, and take them for such; none where there are exports.

    A table that looks like a register is one, whatever times it has, unless it says how positions were solved.
    """
    if found.exports:
        return []
    every = [*_of_unread_times(found), *_of_refused(found), *_of_no_position(found)]
    # of rows that are taken apart wrongly no column is known
    taken = [one for one in every if mostly_torn(one.found.look) is None and not numbers_together(one.found.look)]
    for one in taken:
        look = one.found.look
        found.registers = [each for each in found.registers if each.look is not look]
        found.unplaced = [each for each in found.unplaced if each is not look]
        found.told = [told for told in found.told if told[0] != look.called]
        lacks = "its times" if one.times is not None and one.placed else "what is asked for in [points.columns]"
        lacks = "its times and positions" if one.times is not None and not one.placed else lacks
        found.told.append((look.called, "export", f"readings, but for {lacks}, which cannot be read: see below"))
    found.told.sort()
    found.exports = [one.found for one in taken]
    return taken


def _of_unread_times(found: Contents) -> Iterator[HalfRead]:
    for one in found.registers:
        told = unread_time_columns(one.look, one.mapped)
        if told is None or ((told.guessed or register_looks(one)) and "solution" not in one.mapped.columns):
            continue
        columns = dict(one.mapped.columns)
        if "height" not in columns and one.look.place is None:
            names = may_be_heights(one.look, [name for name in one.look.names if name not in columns.values()])
            asks = "which column holds the heights? no heading shows it; if none does, export the heights too"
            heights = height_question_of(one, names, asks) or [Question("height", asks)]
        else:
            heights = []
        questions, known = _times_asked(one.look, told)
        mapped = replace(one.mapped, columns=columns | known)
        yield HalfRead(FileFound(one.look, mapped), (*questions, *heights), told)


def _of_refused(found: Contents) -> Iterator[HalfRead]:
    for one, why in found.refused:
        mapped = one.mapped
        if "name" not in mapped.columns or (register_looks(one) and "solution" not in mapped.columns):
            continue
        told = _unread_times(one)
        if mapped.times is None and told is None:
            continue
        questions, known = _times_asked(one.look, told) if told is not None else ([], {})
        columns = mapped.columns | known
        if mapped.refused_times:
            told = UnreadTimes(why, {word: columns[word] for word in ("date", "time") if word in columns})
            questions, known = _times_asked(one.look, told, again="date" if "date" in columns else "time")
            columns = {word: name for word, name in columns.items() if word not in _OF_TIME} | known
        elif mapped.refused:
            words: Sequence[str] = _DEGREES if mapped.kind == "degrees" else _PLANE
            words = [word for word in words if word in columns] or words
            asks = f"which columns hold {' and '.join(words)}? {why}"
            questions += _columns_asked(one.look, words, asks, {word: columns.get(word, "") for word in words})
            columns = {word: name for word, name in columns.items() if word not in words}
        else:
            asks = f"which column holds the heights? {why}"
            questions += _columns_asked(one.look, ("height",), asks, {"height": _like_height(one.look)})
        yield HalfRead(FileFound(one.look, replace(mapped, columns=columns, refused="")), tuple(questions), told,
                       placed=bool(mapped.refused_times) or not mapped.refused)  # fmt: skip


def _of_no_position(found: Contents) -> Iterator[HalfRead]:
    for one in found.half_placed:
        look, mapped = one.look, one.mapped
        if look not in found.unplaced or "name" not in mapped.columns or register_looks(one):
            continue
        if all(any(rank(word, name) is not None for name in look.names) for word in ("base", "pole")):
            continue  # a list of base set-ups
        told = _unread_times(one)
        if mapped.times is None and told is None:
            continue
        free = [name for name in look.names if name not in mapped.columns.values()]
        plane = {word: next((name for name in free if rank(word, name) is not None), "") for word in _PLANE}
        named = {word: like_degrees(word, free) for word in _DEGREES}
        words = _PLANE if all(plane.values()) and not all(named.values()) else _DEGREES
        if not (all(plane.values()) or all(named.values()) or any(word in mapped.columns for word in _OF_READINGS)):
            continue  # nothing tells that it has positions at all
        questions, known = _times_asked(look, told) if told is not None else ([], {})
        asks = f"which columns hold {' and '.join(words)}? {no_position(look)}"
        questions += _columns_asked(look, words, asks, plane if words is _PLANE else named)
        kind = "plane" if words is _PLANE else "degrees"
        columns = mapped.columns | known
        yield HalfRead(FileFound(look, replace(mapped, columns=columns, kind=kind)), tuple(questions), told, False)


def _unread_times(one: FileFound) -> UnreadTimes | None:
    """Return why the times of a file are not read, None where they are, or where it may well be no export."""
    told = unread_time_columns(one.look, one.mapped) if one.mapped.times is None else None
    return None if told is not None and told.guessed and "solution" not in one.mapped.columns else told


def _like_height(look: FileLook) -> str:
    return next((name for name in look.names if rank("height", name) is not None), "")


def _times_asked(look: FileLook, told: UnreadTimes, again: str = "") -> tuple[list[Question], dict[str, str]]:
    """Return the questions after columns of times that cannot be read, and the columns of them that are known.

    Those whose format can be stated are known, and the format is asked for besides. ``again`` is the one that has to
    be exported otherwise, "" for that of the time of day, or for both.
    """
    if told.statable and told.columns and "gps_week" not in told.columns:
        return [], dict(told.columns)
    lacking = [again] if again else _lacking(look, told.columns)
    known = {word: name for word, name in told.columns.items() if word not in lacking}
    candidates = {word: told.columns.get(word, "") for word in lacking}
    what = "dates" if lacking == ["date"] else "times"
    asks = f"which column holds the {what} of the readings? times are not recognised: {told.why}"
    return _columns_asked(look, lacking, asks, candidates), known


def _lacking(look: FileLook, columns: dict[str, str]) -> list[str]:
    """Return the words of the columns of times that have to be exported otherwise, or found; no date that is sound."""
    if "gps_week" in columns:
        return ["gps_week", "gps_seconds"]
    if "date" not in columns or "time" not in columns:
        return ["time"]
    day, clock = (look.columns[columns[word]] for word in ("date", "time"))
    if is_time_of_day(clock):  # it is the date that does not go with it
        return ["date"]
    return ["time"] if is_day(day) or is_day_run(day) else ["date", "time"]


def _columns_asked(look: FileLook, words: Sequence[str], asks: str, candidates: dict[str, str]) -> list[Question]:
    """Return a question for the first of some columns and one that repeats it for each further one.

    ``candidates`` are the columns that may be each, "" where nothing tells any.
    """
    made = list[Question]()
    for word in words:
        name = candidates.get(word, "")
        told = (Candidate(value_text(look.named({word: name})[word]), _ONCE),) if name else ()
        made.append(Question(word, f"as for {words[0]}" if made else asks, told, repeats=bool(made)))
    return made
