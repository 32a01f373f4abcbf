"""Which column of a file is what: by its heading first, and by what it holds where headings leave it open."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from pipeline.arrays import Floats
from pipeline.intake.check_words import mentions_check
from pipeline.new_job.axis_sigmas import by_axes
from pipeline.new_job.calendars import of_no_year
from pipeline.new_job.doubles import double_rivals, doubles_of, heading_of
from pipeline.new_job.halves import half_apart
from pipeline.new_job.headings import axis_of, bare, feet_of, is_known, letter_of, rank, unit_of
from pipeline.new_job.heights import FARTHEST, height_said, is_separation
from pipeline.new_job.hemispheres import against_signs, axis_of_letters, letters_of
from pipeline.new_job.look import Look
from pipeline.new_job.notations import refusal
from pipeline.new_job.precisions import are_lengths, is_of_either, is_score, is_wider
from pipeline.new_job.solutions import are_solutions, is_fixed, tell_float
from pipeline.new_job.values import (
    MOSTLY,
    Times,
    angles,
    counted_times,
    day_and_time,
    decimals,
    given,
    is_clock_run,
    is_day,
    is_day_run,
    is_time_of_day,
    times,
    words,
)
from pipeline.read.mapping import BASE_POSITIONS

#: Columns of our words that hold plain numbers.
_NUMBERS = (
    "pdop", "satellites", "correction_age", "base_longitude", "base_latitude",
    "base_easting", "base_northing", "base_height",
)  # fmt: skip
#: Words of a solution or ids of bases that one export has at most.
_FEW = 15
#: Metres between two heights that are one but for their rounding; and how much of the ground's ups and downs may be
#: between heights above two surfaces: a geoid is flat beside it.
_ROUNDED, _WITH_THEM = 0.006, 0.5
#: Lengths of poles: how many there are in an export, and metres that none has. Common practice, no source.
_POLES, _LONGEST_POLE = 5, 6.0
#: The share of rows that have a name of their own, at least, where only what a column holds tells that it is names.
_OWN = 0.8
#: Decimals of degrees by which they are told from other numbers, and the least easting and northing likewise, metres.
_FINE, _LARGE = 6, 1_000.0
#: The length of a vector from the earth's centre to its surface, metres.
_LEAST_RADIUS, _MOST_RADIUS = 6.3e6, 6.4e6


@dataclass
class Mapped:
    """Which column of a file is what.

    ``columns`` are our words and the file's headings. ``kind`` of its position is "degrees", "plane", "geocentric", or
    "" where there is none; ``dms`` whether angles are degrees, minutes and seconds. ``height`` says what its heading
    says of heights: "ellipsoid", "level" (above a height datum) or "". ``turned`` tells that headings X and Y leave
    open which is the easting. ``times`` is how times are written. ``feet`` is the unit that a heading says where it is
    no metre. ``left`` are headings that mean something that is not mapped, with why;
    ``poles`` is the heading of pole heights, ``still`` that of times that are one and the same in all rows.
    ``heights`` are the headings of numbers that may be heights, where none says that it is. ``notes`` is what is to be
    told besides; ``rivals`` are, by our words, headings of which any may be meant, the likeliest first.
    ``separation`` is the heading of separations of a geoid, "" for none.
    ``refused`` says why the file cannot be read, "" where nothing speaks against it.
    """

    columns: dict[str, str] = field(default_factory=dict)
    kind: str = ""
    dms: bool = False
    height: str = ""
    turned: bool = False
    times: Times | None = None
    feet: str = ""
    left: list[tuple[str, str]] = field(default_factory=list)
    poles: str | None = None
    notes: list[str] = field(default_factory=list)
    rivals: dict[str, list[str]] = field(default_factory=dict)
    refused: str = ""
    still: str | None = None
    heights: tuple[str, ...] = ()
    separation: str = ""


def mapped(look: Look) -> Mapped:
    """Return which column of an export or register is what."""
    found = Mapped()
    doubles = doubles_of(look)
    free = [name for name in look.names if not any(name in names for names in doubles.values())]

    def take(word: str, fits: Callable[[str], bool], called: str = "") -> bool:
        name = _plainest(called or word, free, fits)
        if name is not None:
            found.columns[word] = name
            free.remove(name)
        return name is not None

    _time(look, found, free)
    found.refused = half_apart(look, found.columns, found.times)
    _position(look, found, free, take)
    _sigmas(look, found, free, take)
    for word in _NUMBERS:
        take(word, lambda name: decimals(look.columns[name]) is not None)
    whole = [set(words_) for words_ in BASE_POSITIONS if set(words_) <= found.columns.keys()]
    for word in {word for words_ in BASE_POSITIONS for word in words_} - (whole[0] if whole else set()):
        if word in found.columns:
            free.append(found.columns.pop(word))
    _solution(look, found, free)
    _hemispheres(look, found, free)
    take("base", lambda name: _repeats(look.columns[name]))
    take("mark", lambda name: bool(given(look.columns[name])))
    take("name", lambda name: bool(given(look.columns[name])))
    if "name" not in found.columns and "mark" in found.columns:
        found.columns["name"] = found.columns.pop("mark")
    if "name" not in found.columns and (own := [name for name in free if _is_own(look.columns[name])]):
        found.columns["name"] = own[0]
        free.remove(own[0])
    take("code", lambda name: bool(given(look.columns[name])))
    _precision(found, free, take)
    if look.numbered:
        _by_content(look, found, free)
    double_rivals(look, found, doubles)
    found.separation = next((name for name in free if is_separation(name) and _separates(look.columns[name])), "")
    dated = found.columns.get("date", found.columns.get("time", ""))
    if found.times is not None and (found.times.formats[0] == "" or "%" in found.times.formats[0]):
        found.refused = of_no_year(dated, look.columns[dated]) or found.refused if dated else found.refused
    found.refused = refusal(look, found.columns, dms=found.dms) or found.refused
    return found


def _separates(texts: Sequence[str]) -> bool:
    """Tell whether numbers may be separations of a geoid: broken ones, none too large."""
    values = decimals(texts)
    return values is not None and are_lengths(values) and bool(np.nanmax(np.abs(values)) <= FARTHEST)


def _hemispheres(look: Look, found: Mapped, free: list[str]) -> None:
    """Take letters of hemispheres for nothing else; where they say other signs than the degrees have, say so."""
    degrees: dict[str, tuple[str, Floats]] = {}
    for word, sides in (("longitude", "EW"), ("latitude", "NS")):
        name = found.columns.get(word, "")
        texts = look.columns.get(name, [])
        read = angles(texts, sides) if found.dms else None
        read = decimals(texts) if read is None else read
        if read is not None:
            degrees[word] = name, read
    letters = [name for name in letters_of(look.columns, degrees) if name in free]
    for name in letters:
        free.remove(name)
    wrong = [
        name
        for name in letters
        if (axis := axis_of_letters(look.columns[name])) and against_signs(degrees[axis][1], look.columns[name])
    ]
    if wrong:
        shown = [f"column {look.names.index(name) + 1}" if look.numbered else f'"{name}"' for name in wrong]
        found.refused = (
            f"{' and '.join(shown)} {'say' if len(wrong) > 1 else 'says'} the hemisphere in a column of its own, which"
            " is not read: export signed degrees, below zero in the west and in the south"
        )
    found.notes += [
        f'"{name}" holds hemispheres, which the signs of the degrees say too'
        for name in letters
        if degrees and not wrong
    ]


def _solution(look: Look, found: Mapped, free: list[str]) -> None:
    """Find the solution: by its heading, else the column that tells fixed from float in nearly all rows.

    So it is where what has the heading holds no words of solutions. Another one that tells so, and otherwise than the
    one that is taken, is a rival of it.
    """
    telling = [name for name in free if _tells_float(look, name)]
    scores = [name for name in free if rank("solution", name) is not None and is_score(look.columns[name])]
    found.left += [(name, "it holds broken numbers, as of a score, and no words of solutions") for name in scores]
    headed = _plainest(
        "solution", [one for one in free if one not in scores], lambda name: 0 < len(words(look.columns[name])) <= _FEW
    )
    known = headed is not None and are_solutions(words(look.columns[headed]))
    if headed is not None and (known or not telling):
        name = headed
    elif telling:
        name = telling[0]
        if not look.numbered:
            instead = f", and not {headed}" if headed is not None and headed != name else ""
            said = f'"{name}"{instead} is taken for the solution'
            found.notes.append(f'{said}: it holds such words as "{given(look.columns[name])[0]}"')
    else:
        return
    found.columns["solution"] = name
    free.remove(name)
    others = [one for one in telling if one != name and _fixed_rows(look, one) != _fixed_rows(look, name)]
    if others and (known or headed is None):
        found.rivals["solution"] = [name, *others]


def _tells_float(look: Look, name: str) -> bool:
    """Whether a column that means nothing else by its heading holds words of solutions, float ones too, in most rows.

    What is always "fixed" may be a pole or a base, and what is rarely filled a remark.
    """
    if any(rank(word, name) is not None for word in ("name", "mark", "base", "holds")):
        return False
    counts = words(look.columns[name])
    return tell_float(counts) and sum(counts.values()) >= MOSTLY * len(look.columns[name])


def _fixed_rows(look: Look, name: str) -> list[bool]:
    return [is_fixed(text) for text in look.columns[name]]


def _by_content(look: Look, found: Mapped, free: list[str]) -> None:
    """Find what no heading tells, from what columns hold: positions, heights, solutions, codes and ids of bases."""
    measured = [name for name in free if decimals(look.columns[name]) is not None]
    if not found.kind:
        _place_by_content(look, found, free, measured)
    for word, fits in (("solution", _are_solutions), ("code", _are_codes), ("base", _are_bases)):
        holding = [name for name in free if name not in measured and fits(look.columns[name])]
        if word not in found.columns and holding and look.keys.get("header") == 0:  # else headings tell
            found.columns[word] = holding[0]
            free.remove(holding[0])
    for name in free:
        if name in measured:
            found.left.append((f"column {look.names.index(name) + 1}", "nothing says what its numbers are"))


def _place_by_content(look: Look, found: Mapped, free: list[str], measured: list[str]) -> None:
    """Take two neighbouring columns of degrees with many decimals, or of large lengths, and the heights behind them."""
    for first, second in pairwise(measured):
        pair = [decimals(look.columns[name]) for name in (first, second)]
        sizes = [float(np.nanmax(np.abs(one))) for one in pair if one is not None]
        fine = all(_decimals_of(look.columns[name]) >= _FINE for name in (first, second))
        if fine and min(sizes) <= 90 < max(sizes) <= 360:
            turned = sizes[1] > sizes[0]
            words_ = ("latitude", "longitude") if turned else ("longitude", "latitude")
            found.kind = "degrees"
        elif min(sizes) > _LARGE:
            words_, found.kind, found.turned = ("easting", "northing"), "plane", True
        else:
            continue
        names = [first, second]
        after = measured[measured.index(second) + 1 :][:1]
        found.columns |= dict(zip((*words_, "height"), (*names, *after), strict=False))
        for name in (*names, *after):
            free.remove(name)
            measured.remove(name)
        return


def _decimals_of(texts: Sequence[str]) -> float:
    """Return how many decimals a column's numbers have in the middle."""
    return float(
        np.median([len(re.split("[.,]", text)[-1]) if re.search("[.,]", text) else 0 for text in given(texts)])
    )


def _are_solutions(texts: Sequence[str]) -> bool:
    return len(words(texts)) <= _FEW and any(is_fixed(text) for text in words(texts))


def _are_codes(texts: Sequence[str]) -> bool:
    return any(mentions_check(text, True) for text in words(texts))


def _sigmas(look: Look, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find the precision of each direction.

    One that may be of the height is, where no other is and east and north have their own.
    """

    def fits(name: str) -> bool:
        values = decimals(look.columns[name])
        counts = rank("satellites", name) is not None and not unit_of(name)
        return values is not None and not is_wider(name) and (not counts or are_lengths(values))

    others = by_axes(found, free)
    take("sigma_east", fits)
    take("sigma_north", fits)
    for word, name in others.items():
        if fits(name):
            found.columns.setdefault(word, name)
    if not take("sigma_up", lambda name: fits(name) and not is_of_either(name)):
        if "sigma_east" in found.columns:
            take("sigma_up", fits)
        else:
            open_ones = [name for name in free if is_of_either(name) and fits(name)]
            found.left += [(name, "it may be of the plan or of the height") for name in open_ones]
            for name in open_ones:
                free.remove(name)


def _are_bases(texts: Sequence[str]) -> bool:
    return _repeats(texts) and axis_of_letters(texts) is None


def _precision(found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find one precision for both directions, where each has none of its own, and lengths of poles."""
    for word, called in (("sigma_horizontal", "each"), ("drms", "radial")):
        if "sigma_east" not in found.columns and "drms" not in found.columns:
            take(word, lambda name: not is_wider(name), called)
    found.left += [(name, "it is wider than a standard uncertainty") for name in free if is_wider(name)]
    found.left += [
        (name, "one precision for both directions, and it does not say of what kind")
        for name in free
        if (rank("precision", name) is not None or rank("radial", name) is not None) and not is_wider(name)
    ]
    found.poles = _plainest("pole", free, lambda _: True)


def _plainest(word: str, free: Sequence[str], fits: Callable[[str], bool]) -> str | None:
    ranked = sorted((rank_, at, name) for at, name in enumerate(free) if (rank_ := rank(word, name)) is not None)
    return next((name for _, _, name in ranked if fits(name)), None)


def _repeats(texts: Sequence[str]) -> bool:
    """Tell whether a column has few values that come again, as ids of bases do."""
    some = words(texts)
    return 0 < len(some) <= max(_FEW, sum(some.values()) // 10) and (len(some) == 1 or sum(some.values()) > len(some))


def _is_own(texts: Sequence[str]) -> bool:
    """Tell whether a column gives nearly every row a text of its own that is no measured number, as names are."""
    some = words(texts)
    broken = sum("." in text or "," in text for text in some)
    return len(some) > 1 and len(some) >= _OWN * len(texts) and 2 * broken < len(some)


def _time(look: Look, found: Mapped, free: list[str]) -> None:
    """Find the times: a column by its heading among those that hold dates with times, or the only one that does.

    Else dates and times of day in two columns, GPS weeks and seconds, times that are counted.
    """
    holding = {name: how for name in free if (how := _as_times(look, name)) is not None}
    telling = _telling(look, list(holding))
    others = [one for one in telling if rank("time_end", one) is None and rank("dated", one) is None]
    name = _plainest("time", telling, lambda _: True) or next(iter(others), None)
    if name is None or _is_still(look, name):
        _other_time(look, found, free)
    if found.times is None and name is not None:
        _take_time(found, free, {"time": name}, holding[name])
        ends = _plainest("time_end", [one for one in free if one in holding], lambda _: True)
        if ends is not None:
            found.columns["time_end"] = ends
            free.remove(ends)
    taken = found.columns.get("time")
    if taken is not None:
        found.still = taken if _is_still(look, taken) else None
        found.left += [
            (one, f'it holds times as well, of which those of "{taken}" are taken') for one in others if one in free
        ]


#: Rows from which on one and the same time in all of them is odd.
_STILL = 3


def _is_still(look: Look, name: str) -> bool:
    """Tell whether a column has one text in all rows, as the moment of an export has."""
    some = words(look.columns[name])
    return len(some) == 1 and sum(some.values()) >= _STILL


def _telling(look: Look, names: list[str]) -> list[str]:
    """Return the columns of times that tell rows apart at least half as well as the best of them does."""
    count = {name: len(words(look.columns[name])) for name in names}
    most = max(count.values(), default=0)
    return [name for name in names if 2 * count[name] >= most]


def _other_time(look: Look, found: Mapped, free: list[str]) -> None:
    days = [name for name in free if is_day(look.columns[name])]
    clocks = [name for name in free if is_time_of_day(look.columns[name])]
    # figures alone are dates and times only where their headings say so
    days += [name for name in free if rank("date", name) is not None and is_day_run(look.columns[name])]
    clocks += [name for name in free if rank("clock", name) is not None and is_clock_run(look.columns[name])]
    day = next(iter(days), None)
    telling = _telling(look, clocks)
    if day is not None and telling:
        begins = _plainest("clock", telling, lambda _: True) or telling[0]
        how = times(day_and_time(look.columns[day], look.columns[begins]))
        if how is not None:
            _take_time(found, free, {"date": day, "time": begins}, how)
            if ends := [name for name in clocks if name != begins and rank("time_end", name) is not None]:
                found.columns["time_end"] = ends[0]
                free.remove(ends[0])
            return
    week, seconds = (
        _plainest(word, free, lambda name: decimals(look.columns[name]) is not None) for word in ("week", "seconds")
    )
    if week is not None and seconds is not None:
        _take_time(found, free, {"gps_week": week, "gps_seconds": seconds}, Times(("",), zoned=True))
        return
    counted = {name: how for name in free if (how := counted_times(look.columns[name], name)) is not None}
    for name in _telling(look, [name for name in counted if _is_time(name) or look.numbered]):
        _take_time(found, free, {"time": name}, counted[name])
        return


def _is_time(heading: str) -> bool:
    said = ("unix", "epoch", "gps", "tow", "msec", "timestamp", "serial")
    return (
        rank("time", heading) is not None or bare(heading) in ("ms", "s") or any(one in bare(heading) for one in said)
    )


def _take_time(found: Mapped, free: list[str], columns: dict[str, str], how: Times) -> None:
    found.columns.update(columns)
    found.times = how
    for name in columns.values():
        free.remove(name)


def _as_times(look: Look, name: str) -> Times | None:
    if name in look.dated:
        return Times(("",), zoned=True)
    return None if is_day(look.columns[name]) else times(look.columns[name])


def _position(look: Look, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    def number(name: str) -> bool:
        return decimals(look.columns[name]) is not None

    if _geocentric(look, free, take, found):
        return
    for word, letters in (("longitude", "EW"), ("latitude", "NS")):
        if not take(word, lambda name, word=word: _is_angle(look, name, word)):
            found.dms |= take(word, lambda name, letters=letters: angles(look.columns[name], letters) is not None)
    if {"longitude", "latitude"} <= found.columns.keys():
        found.kind = "degrees"
    else:
        free += [found.columns.pop(word) for word in ("longitude", "latitude") if word in found.columns]
        _plane(look, found, free, take, number)
    if not found.kind and look.place is not None and np.isfinite(look.place[0]).any():
        found.kind = "degrees" if _all_degrees(look.place) else "plane"
        if np.isfinite(look.place[2]).any():
            return
    _height(look, found, free, number)
    if "height" not in found.columns:
        _unsure_height(look, found, free, number)
    for word in ("height", "easting"):
        found.feet = feet_of(found.columns.get(word, "")) or found.feet


def _height(look: Look, found: Mapped, free: list[str], number: Callable[[str], bool]) -> None:
    """Find the heights: those above the ellipsoid where a heading says so, else any; others that differ are rivals."""
    kinds = {name: height_said(heading_of(name) if look.numbered else name) for name in free if number(name)}
    ranked, others = dict[str, list[str]](), dict[str, list[str]]()
    for word, each in (("ellipsoid_height", "ellipsoid"), ("level", "level"), ("height", "")):
        places = {name: rank(word, name) for name in kinds if kinds[name] == each}
        known = sorted((place, name) for name, place in places.items() if place is not None)
        ranked[each] = [name for _, name in known]
        others[each] = [name for name, place in places.items() if place is None]
    # a heading that is a height's alone before one that has more words: "Tree height" is of a tree
    names = ranked["ellipsoid"] or others["ellipsoid"]
    names = names or [*ranked["level"], *ranked[""], *others["level"], *others[""]]
    if not names:
        return
    found.columns["height"], found.height = names[0], kinds[names[0]] or ""
    free.remove(names[0])
    values = {name: decimals(look.columns[name]) for name in names}
    headed = {name for each in ranked.values() for name in each}
    rivals = [name for name in names[1:] if _another_height(values[names[0]], values[name], name in headed)]
    if rivals:
        found.rivals["height"] = [names[0], *rivals]


def _another_height(one: Floats | None, other: Floats | None, headed: bool) -> bool:
    """Whether numbers are other heights of the same points: by their heading, or as they go up and down with them.

    Not those that are the same but for their rounding, nor heights of trees and lengths of poles.
    """
    if one is None or other is None or np.isfinite(one + other).mean() < MOSTLY or _alike(one, other):
        return False
    if len(np.unique(other[np.isfinite(other)])) <= _POLES and np.nanmax(np.abs(other)) < _LONGEST_POLE:
        return False
    return headed or bool(np.nanstd(other - one) <= _WITH_THEM * np.nanstd(one))


def _alike(one: Floats | None, other: Floats | None) -> bool:
    return (
        one is not None and other is not None and bool(np.allclose(one, other, rtol=0, atol=_ROUNDED, equal_nan=True))
    )


def _unsure_height(look: Look, found: Mapped, free: list[str], number: Callable[..., bool]) -> None:
    """Note which columns may hold the heights of readings, where no heading says it; the first is taken for now."""
    if found.kind and found.times is not None and not look.numbered:
        found.heights = tuple(name for name in free if not is_known(name) and number(name))
        if found.heights:
            found.columns["height"] = found.heights[0]
            free.remove(found.heights[0])


def _geocentric(look: Look, free: list[str], take: Callable[..., bool], found: Mapped) -> bool:
    names = [_plainest(word, free, lambda _: True) for word in "xyz"]
    values = [decimals(look.columns[name]) for name in names if name is not None]
    if len(values) < 3 or any(one is None for one in values):
        return False
    radius = np.sqrt(sum(np.square(one) for one in values if one is not None))
    if not np.nanmedian(radius) > _LEAST_RADIUS or not np.nanmedian(radius) < _MOST_RADIUS:
        return False
    found.kind = "geocentric"
    return all(take(word, lambda _: True) for word in "xyz")


def _plane(look: Look, found: Mapped, free: list[str], take: Callable[..., bool], number: Callable[..., bool]) -> None:
    """Find easting and northing, or degrees under headings of a grid (X and Y of a layer)."""
    for word in ("easting", "northing"):
        take(word, number)
    # beside one that says its side a plain X or Y is the other
    for word, other in (("easting", "northing"), ("northing", "easting")):
        left = [name for name in free if letter_of(name) and number(name)]
        if word not in found.columns and axis_of(found.columns.get(other, "")) is not None and left:
            found.columns[word] = left[0]
            free.remove(left[0])
    if not {"easting", "northing"} <= found.columns.keys():
        free += [found.columns.pop(word) for word in ("easting", "northing") if word in found.columns]
        return
    east, north = (decimals(look.columns[found.columns[word]]) for word in ("easting", "northing"))
    assert east is not None and north is not None
    most = [float(np.nanmax(np.abs(one))) for one in (east, north)]
    lettered = {letter_of(found.columns[word]) for word in ("easting", "northing")} == {"x", "y"}
    if max(most) <= 360 and min(most) <= 90 and (most[1] <= 90 or lettered):
        pair = [found.columns.pop(word) for word in ("easting", "northing")]
        found.columns["longitude"], found.columns["latitude"] = pair if most[1] <= 90 else pair[::-1]
        if lettered and max(most) <= 90:
            found.notes.append(f'"{pair[0]}" is taken for the longitude: exchange the two if it is the latitude')
        found.kind = "degrees"
        return
    found.kind = "plane"
    found.turned = lettered


def _is_angle(look: Look, name: str, word: str) -> bool:
    values = decimals(look.columns[name])
    return values is not None and bool(np.nanmax(np.abs(values)) <= (360 if word == "longitude" else 90))


def _all_degrees(place: tuple[Floats, Floats, Floats]) -> bool:
    x, y = (np.abs(one[np.isfinite(one)]) for one in place[:2])
    return bool((x <= 360).all() and (y <= 90).all())


def unmapped(look: Look, found: Mapped) -> Iterator[str]:
    """Yield the columns that are carried along."""
    yield from (name for name in look.names if name not in found.columns.values())
