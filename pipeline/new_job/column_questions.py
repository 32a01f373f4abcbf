"""Asks which column is meant, or what the values of one are, where a file leaves it open."""

from collections.abc import Sequence

import numpy as np

from pipeline.files.heading_words import words_of
from pipeline.job.toml_text import quoted, value_text
from pipeline.new_job.clocks import ClockState
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.height_references import why_meant
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.repeated_headings import heading_of, told_apart
from pipeline.new_job.two_heights import ROUNDED
from pipeline.new_job.unread import unread_heights
from pipeline.new_job.values import given, numbers_of, words
from pipeline.replace import replace

#: What is asked where several columns may be meant.
_WHICH = {
    "solution": "which of these columns shows how a position was solved? they differ, and float must not pass as fixed",
    "height": "which of these columns holds the heights? they differ",
}
#: What is asked where columns have other heights than the geometries.
_Z_OR_COLUMN = (
    "which heights are meant, those of the geometry (Z) or of a column? they differ; if those of the geometry, which"
    " are above the ellipsoid unless crs names a height datum, delete these lines"
)
#: Words of headings that say the antenna on top of the pole, not the ground.
_ANTENNA = frozenset(
    [
        "antenna",
        "ant",
        "antenne",
        "antennen",
        "antena",
        "anteny",
        "antenn",
        "anten",
        "антенны",
        "антенна",
        "антени",
        "антена",
    ]
)
#: Words of a position that `unheaded_positions` may have taken by what columns hold.
POSITION = ("longitude", "latitude", "easting", "northing")


def rival_questions(one: FileFound, columns: dict[str, str]) -> list[Question]:
    """Return the questions after columns of which any may be meant, and take them out of those that are known."""
    asks = []
    for word, names in one.mapped.rivals.items():
        word = next((each for each, name in columns.items() if name == names[0]), word)  # X and Y may be turned
        columns.pop(word, None)
        shown = one.look.named({name: name for name in names})
        beside_z = word == "height" and one.mapped.beside_z
        first = _beside_z(one, names) if beside_z else told_apart(one.look, names)
        if word == "height":
            heads = [heading_of(name) if one.look.numbered else name for name in names]
            first = [f"{why}, {at}" if (why := why_meant(name)) else at for name, at in zip(heads, first, strict=True)]
        candidates = [Candidate(value_text(shown[name]), why) for name, why in zip(names, first, strict=True)]
        which = f'which of these columns is the {word.replace("_", " ")}? they are called "{names[0]}", and differ'
        which += "; start and end of the sessions go with it" if word in ("time", "date") else ""
        if word in ("name", "mark") and heading_of(names[0]) != heading_of(names[1]):
            which = "which of these columns holds the names? both may; ties and checks below use the first"
        if one.mapped.unheaded and word in POSITION:
            which = (
                f"which of these columns is the {word}? no heading of {one.look.called} is known as that of a position"
            )
        asks.append(Question(word, _Z_OR_COLUMN if beside_z else _WHICH.get(word, which), tuple(candidates)))
    return asks


def _beside_z(one: FileFound, names: Sequence[str]) -> list[str]:
    """Return of columns that have other heights than the geometries' Z what either is where they first differ."""
    assert one.look.place is not None
    z, told = one.look.place[2], list[str]()
    for name in names:
        values = numbers_of(one.look.columns[name])
        assert values is not None
        at = int(np.nanargmax(np.abs(values - z) > ROUNDED))
        told.append(f"{one.look.columns[name][at]} where Z is {z[at]:.12g}")
    return told


def single_time_questions(one: FileFound) -> list[Question]:
    """Return the question after the time of observation where all rows have one and the same; none elsewhere."""
    name = one.mapped.still
    if name is None:
        return []
    (text,) = words(one.look.columns[name])
    asks = f'when were the readings made? "{name}" has "{text}" in all rows'
    asks += ", like the time of an export or a date alone"
    named = one.look.named({"time": name})["time"]
    why = "if that is right; else export the time of each reading, and map its column"
    return [Question("time", asks, (Candidate(value_text(named), why),))]


def half_of_day_questions(one: FileFound, clock: ClockState) -> list[Question]:
    """Return the question whether times are of a 12-hour clock that says no half of the day; none elsewhere."""
    if not clock.half or one.mapped.still is not None:
        return []
    named = one.look.named({"time": one.mapped.columns["time"]})["time"]
    why = "if a 24-hour clock: the rows are out of order; else export the times again, as above"
    return [Question("time", clock.half, (Candidate(value_text(named), why),))]


def meaning_questions(one: FileFound) -> list[Question]:
    """Return the questions after columns of which only the meaning is open, with the columns as they are mapped."""
    shown = one.look.named(one.mapped.columns)
    return [
        replace(each, candidates=tuple(replace(way, value=value_text(shown[each.key])) for way in each.candidates))
        if each.key in shown
        else each
        for each in one.mapped.asks
    ]


def height_questions(one: FileFound) -> list[Question]:
    """Return the question which column holds the heights where no heading says it; none elsewhere."""
    unread = "; ".join(why for _, why in unread_heights(one.look))
    shows = f"no heading shows one that can be read: {unread}" if unread else "no heading shows it"
    asks = f"which column holds the heights? {shows}; if none does, export the heights too"
    return height_question_of(one, one.mapped.heights, asks)


def height_question_of(one: FileFound, names: Sequence[str], asks: str) -> list[Question]:
    """Return a question after the heights, of which each of some columns is a candidate; none without any."""
    candidates = []
    for name in names:
        value = one.look.named({"height": name})["height"]
        which = f"{quoted(name)}, " if isinstance(value, int) and not one.look.numbered else ""
        which += f'the first is "{given(one.look.columns[name])[0]}"'
        if one.mapped.poles is None and _ANTENNA.intersection(words_of(name)):
            which += "; of the antenna by its heading: right only where every pole had the same length"
        candidates.append(Candidate(value_text(value), which))
    return [Question("height", asks, tuple(candidates))] if candidates else []


def pole_height_questions(one: FileFound) -> list[Question]:
    """Return the question whether heights are of the pole's foot or of its top; none where all poles are one length.

    A length that is the same in all rows is taken up by the shift from the ties.
    """
    if one.mapped.poles is None or len(words(one.look.columns[one.mapped.poles])) < 2:
        return []
    heading = quoted(one.mapped.poles)
    asks = f"are heights those of the ground, or of the antenna on top of the pole, whose length is in {heading}?"
    if one.mapped.slant:
        which = "that" if one.mapped.slant == one.mapped.poles else quoted(one.mapped.slant)
        asks += (
            f" {which} is a slant measure, which needs the antenna dimensions to become a height, so it cannot be"
            " subtracted. If ground heights: delete these lines; if antenna heights: export vertical heights, and run"
            " `tiedown new` again"
        )
        return [Question("pole_height", asks)]
    texts = one.look.columns[one.mapped.poles]
    if numbers_of(texts) is None:
        odd = next(text for text in given(texts) if numbers_of([text]) is None)
        asks += (
            f' its cells, such as "{odd}", are not plain numbers, so it cannot be subtracted as it is. If ground'
            " heights: delete these lines; if antenna heights: export it without units in its cells, and run"
            " `tiedown new` again"
        )
        return [Question("pole_height", asks)]
    candidates = (
        Candidate(
            value_text(one.look.named({"pole_height": one.mapped.poles})["pole_height"]),
            "if antenna heights: the pole height is subtracted; if ground heights: delete this line",
        ),
    )
    return [Question("pole_height", asks, candidates)]
