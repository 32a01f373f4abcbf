"""Maps the columns of a file by their headings, and by their values where headings are unclear."""

from collections.abc import Callable, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.heading_words import words_of
from pipeline.files.letter_o import read_as_west
from pipeline.files.text_marks import text_mark
from pipeline.geodesy.geoid_grid import FARTHEST_GEOID
from pipeline.new_job.axis_sigmas import by_axes
from pipeline.new_job.before_correction import before_correction
from pipeline.new_job.calendars import of_no_year
from pipeline.new_job.column_places import find_position, place_by_content
from pipeline.new_job.column_times import find_time
from pipeline.new_job.headings import rank
from pipeline.new_job.heights import is_separation
from pipeline.new_job.hemispheres import against_heading, either_side, letters_of
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped, plainest
from pipeline.new_job.precisions import (
    are_lengths,
    is_of_either,
    is_score,
    is_wider,
    leave_other_signs,
    leave_other_units,
    left_precisions,
    take_by_side,
)
from pipeline.new_job.repeated_headings import double_rivals, doubles_of
from pipeline.new_job.solutions import are_always_fixed, are_fixed_mostly, are_solutions, is_fixed, tell_float
from pipeline.new_job.twelve_hour_clocks import half_apart
from pipeline.new_job.unread_units import odd_unit, refusal
from pipeline.new_job.values import MOSTLY, angles, axis_letter, given, numbers_of, with_unit, words
from pipeline.occupations.check_words import mentions_check
from pipeline.read.heading_units import metres_in_heading, unit_in_heading
from pipeline.read.hemispheres import against_signs, axis_of_letters
from pipeline.read.mapping import BASE_POSITIONS
from pipeline.read.slant_headings import but_for_slant, is_slant
from pipeline.read.solution_columns import asks_whether_fixed

#: Columns of our words that hold plain numbers.
_NUMBERS = (
    "pdop", "satellites", "correction_age", "base_longitude", "base_latitude",
    "base_easting", "base_northing", "base_height",
)  # fmt: skip
#: Words of a solution or ids of bases that one export has at most.
_FEW = 15
#: The share of rows that have a name of their own, at least, where only what a column holds tells that it is names.
_OWN = 0.8


def mapped(look: FileLook, *, unheaded: bool = False) -> Mapped:
    """Return which column of an export or register is what.

    ``unheaded``: where no heading is known as that of a position, columns that may be one are taken, and asked for.
    """
    mapping = Mapped()
    doubles = doubles_of(look)
    slants = [name for name in look.names if _is_slant_length(look, name)]
    before = before_correction(look.names)
    free = [
        name
        for name in look.names
        if name not in slants and name not in before and not any(name in names for names in doubles.values())
    ]

    def take(word: str, fits: Callable[[str], bool], called: str = "") -> bool:
        name = plainest(called or word, free, fits)
        if name is not None:
            mapping.columns[word] = name
            free.remove(name)
        return name is not None

    find_time(look, mapping, free)
    of_halves = half_apart(look, mapping.columns, mapping.times)  # no other column is taken yet
    find_position(look, mapping, free, take, unheaded=unheaded)
    _sigmas(look, mapping, free, take)
    for word in _NUMBERS:
        take(word, lambda name: numbers_of(look.columns[name]) is not None and not _is_length_counted(look, name))
    _give_back_bases(mapping, free)
    _solution(look, mapping, free)
    of_hemispheres = _hemispheres(look, mapping, free)
    _names(look, mapping, free, take)
    take("code", lambda name: bool(given(look.columns[name])))
    _precision(look, mapping, free, take)
    mapping.left += before.items()
    if before:
        mapping.notes.append("where a correction was made in the field, map all columns of a position as before it")
    leave_other_units(look.columns, mapping)
    leave_other_signs(look.columns, mapping)
    _slants(look, mapping, free, slants)
    if look.numbered:
        _by_content(look, mapping, free)
    of_doubles = double_rivals(look, mapping, doubles)
    mapping.separation = next((name for name in free if is_separation(name) and _separates(look.columns[name])), "")
    if look.west and mapping.kind == "degrees":
        mapping.notes.append(read_as_west(look.west))
    of_notations = refusal(look, mapping.columns, dms=mapping.dms) or odd_unit(mapping.columns)
    if marked := text_mark(look.columns.get(mapping.columns.get("name", ""), ())):
        mapping.notes.append(
            f'the names in "{mapping.columns["name"]}" {marked}, as a spreadsheet marks texts, and would be issued so:'
            " if these signs are no part of the names, export without them and run `tiedown new` again"
        )
    of_years, of_axes = _of_years(look, mapping), _of_axes(look, mapping)
    refused = (of_notations, of_years, of_doubles, of_hemispheres, of_halves, of_axes)
    mapping.refused = next(filter(None, refused), "")
    mapping.refused_times = mapping.refused != "" and mapping.refused in (of_years, of_halves)
    return mapping


def _of_axes(look: FileLook, found: Mapped) -> str:
    """Return that the letters beside eastings or northings are of the other axis, "" where none are."""
    for word, other in (("easting", "N"), ("northing", "E")):
        name = found.columns.get(word, "")
        if name and axis_letter(look.columns.get(name, ())) == other:
            axis = "northings" if other == "N" else "eastings"
            return f'the numbers in "{name}" have {other} beside them, as {axis} have: call the column by its axis'
    return ""


def _give_back_bases(found: Mapped, free: list[str]) -> None:
    """Free the columns of a base's position again that are not all there, or not needed since another one is."""
    whole = [set(words_) for words_ in BASE_POSITIONS if set(words_) <= found.columns.keys()]
    for word in {word for words_ in BASE_POSITIONS for word in words_} - (whole[0] if whole else set()):
        if word in found.columns:
            free.append(found.columns.pop(word))


def _names(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find the ids of bases, the marks that readings are on, and their names: those, or texts of their own."""
    take("base", lambda name: _repeats(look.columns[name]))
    take("mark", lambda name: bool(given(look.columns[name])))
    take("name", lambda name: bool(given(look.columns[name])))
    if "name" not in found.columns and "mark" in found.columns:
        found.columns["name"] = found.columns.pop("mark")
    if "name" not in found.columns and (own := [name for name in free if _is_own(look.columns[name])]):
        found.columns["name"] = own[0]
        free.remove(own[0])


def _of_years(look: FileLook, found: Mapped) -> str:
    """Return why the dates of times that are read as text cannot be, "" where nothing speaks against them."""
    dated = found.columns.get("date", found.columns.get("time", ""))
    if not dated or found.times is None or not (found.times.formats[0] == "" or "%" in found.times.formats[0]):
        return ""
    return of_no_year(dated, look.columns[dated])


def _separates(texts: Sequence[str]) -> bool:
    """Tell whether numbers may be separations of a geoid: broken ones, none too large."""
    values = numbers_of(texts)
    return values is not None and are_lengths(values) and bool(np.nanmax(np.abs(values)) <= FARTHEST_GEOID)


def _hemispheres(look: FileLook, found: Mapped, free: list[str]) -> str:
    """Take letters of hemispheres for nothing else; return where they say other signs than the degrees have, or ""."""
    degrees: dict[str, tuple[str, Floats]] = {}
    for word, sides in (("longitude", "EW"), ("latitude", "NS")):
        name = found.columns.get(word, "")
        texts = look.columns.get(name, [])
        read = angles(texts, sides) if found.dms else None
        read = numbers_of(texts) if read is None else read
        if read is not None:
            degrees[word] = name, read
    found.asks += either_side(degrees)
    if told := against_heading(degrees):
        return told
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
        return (
            f"{' and '.join(shown)} {'say' if len(wrong) > 1 else 'says'} the hemisphere in a separate column, which"
            " is not read: export signed degrees, negative in the west and south"
        )
    found.notes += [f'"{name}" (hemisphere) repeats the sign of the degrees' for name in letters if degrees]
    return ""


def _solution(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Find the solution: by its heading, else the column that tells fixed from float in nearly all rows.

    A heading above words of solutions goes before one above others. The column that tells so is it where what has the
    heading holds no words of solutions. Another one that tells so, and otherwise than the
    one that is taken, is a rival of it.
    """
    telling = [name for name in free if _tells_float(look, name)]
    scores = [name for name in free if rank("solution", name) is not None and is_score(look.columns[name])]
    found.left += [(name, "it holds decimal numbers, like a score, not solution types") for name in scores]
    open_ones = [one for one in free if one not in scores]
    headed = plainest("solution", open_ones, lambda name: are_solutions(words(look.columns[name])))
    known = headed is not None
    headed = headed or plainest("solution", open_ones, lambda name: 0 < len(words(look.columns[name])) <= _FEW)
    headed = headed or next((one for one in open_ones if asks_whether_fixed(one, words(look.columns[one]))), None)
    if headed is not None and (known or not telling):
        name = headed
    elif telling:
        name = telling[0]
        if not look.numbered:
            instead = f", and not {headed}" if headed is not None and headed != name else ""
            used = f'"{name}"{instead} is used as the solution'
            found.notes.append(f'{used}: it holds words such as "{given(look.columns[name])[0]}"')
    else:
        return
    found.columns["solution"] = name
    free.remove(name)
    others = [one for one in telling if one != name and _fixed_rows(look, one) != _fixed_rows(look, name)]
    if others and (known or headed is None):
        found.rivals["solution"] = [name, *others]


def _tells_float(look: FileLook, name: str) -> bool:
    """Whether a column that means nothing else by its heading holds words of solutions, float ones too, in most rows.

    What is always "fixed" may be a pole or a base, what is always "RTK fixed" not, and what is rarely filled a remark.
    Where most are fixed, the others need not be known words, unless it is a column of codes by its heading.
    """
    if any(rank(word, name) is not None for word in ("name", "mark", "base", "holds")):
        return False
    counts, rows = words(look.columns[name]), len(look.columns[name])
    mostly = rank("code", name) is None and are_fixed_mostly(counts, rows)
    return (tell_float(counts) or mostly or are_always_fixed(counts)) and sum(counts.values()) >= MOSTLY * rows


def _fixed_rows(look: FileLook, name: str) -> list[bool]:
    return [is_fixed(text) for text in look.columns[name]]


def _by_content(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Find what no heading tells, from what columns hold: positions, heights, solutions, codes and ids of bases."""
    measured = [name for name in free if numbers_of(look.columns[name]) is not None]
    if not found.kind:
        place_by_content(look, found, free, measured)
    for word, fits in (("solution", _are_solutions), ("code", _are_codes), ("base", _are_bases)):
        holding = [name for name in free if name not in measured and fits(look.columns[name])]
        if word not in found.columns and holding and look.keys.get("header") == 0:  # else headings tell
            found.columns[word] = holding[0]
            free.remove(holding[0])
    for name in free:
        if name in measured:
            found.left.append((f"column {look.names.index(name) + 1}", "nothing shows what its numbers are"))


def _are_solutions(texts: Sequence[str]) -> bool:
    return len(words(texts)) <= _FEW and any(is_fixed(text) for text in words(texts))


def _are_codes(texts: Sequence[str]) -> bool:
    return any(mentions_check(text, True) for text in words(texts))


def _sigmas(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find the precision of each direction.

    One that may be of the height is, where no other is and east and north have their own.
    """

    def fits(name: str) -> bool:
        values = numbers_of(look.columns[name])
        counts = rank("satellites", name) is not None and not unit_in_heading(name) and not _is_length(look, name)
        return values is not None and not is_wider(name) and (not counts or are_lengths(values))

    others = by_axes(found, free)
    take("sigma_east", fits)
    take("sigma_north", fits)
    for word, name in others.items():
        if fits(name):
            found.columns.setdefault(word, name)
    taken = take("sigma_up", lambda name: fits(name) and not is_of_either(name))
    take_by_side(look.columns, found, free)
    if not taken and "sigma_up" not in found.columns:
        if "sigma_east" in found.columns:
            take("sigma_up", fits)
        else:
            open_ones = [name for name in free if is_of_either(name) and fits(name)]
            found.left += [(name, "it may be horizontal or vertical") for name in open_ones]
            for name in open_ones:
                free.remove(name)


def _is_length_counted(look: FileLook, name: str) -> bool:
    """Tell whether a heading means satellites by its word and lengths by its unit."""
    return rank("satellites", name) is not None and _is_length(look, name)


def _is_length(look: FileLook, name: str) -> bool:
    """Tell whether a heading, or a row of units below it, says a unit of length: no count of satellites has one."""
    return bool(metres_in_heading(with_unit(name, look.columns[name])))


def _are_bases(texts: Sequence[str]) -> bool:
    return _repeats(texts) and axis_of_letters(texts) is None


def _precision(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find one precision for both directions, where each has none of its own, and lengths of poles."""
    for word, called in (("sigma_horizontal", "each"), ("drms", "radial")):
        if "sigma_east" not in found.columns and "drms" not in found.columns:
            take(word, lambda name: not is_wider(name), called)
    found.left += [(name, "it is wider than a standard uncertainty") for name in free if is_wider(name)]
    found.left += [
        (name, "one precision for both directions, of a kind not stated")
        for name in free
        if (rank("precision", name) is not None or rank("radial", name) is not None) and not is_wider(name)
    ]
    found.left += left_precisions(look.columns, found, free)
    found.poles = plainest("pole", free, lambda _: True)


#: Why a slant length is not mapped.
_SLANT = "a slant measure, which needs the antenna dimensions to become a height: export vertical heights"


#: Words of headings of columns that say how poles and antennas were measured.
_HOW = frozenset(
    ["antenna", "ant", "pole", "rod", "height", "hgt", "ht", "measured", "measurement", "meas", "measure", "method",
     "antenne", "messart", "messung", "methode", "mesure", "antena", "medicion", "metodo", "misura", "anteny", "metoda"]
)  # fmt: skip


def _is_slant_length(look: FileLook, name: str) -> bool:
    """Tell whether a column holds lengths, of poles or called heights, that were measured slantwise by its heading."""
    if not is_slant(name) or numbers_of(look.columns[name]) is None:
        return False
    said = but_for_slant(name)
    return not said or any(rank(word, said) is not None for word in ("pole", "height"))


def _slants(look: FileLook, found: Mapped, free: Sequence[str], slants: Sequence[str]) -> None:
    """Take slant lengths for no height; where they are all that is known of poles of several lengths, note it.

    A length that is the same in all rows is taken up by the shift from the ties.
    """
    varied = [name for name in slants if len(words(look.columns[name])) > 1]
    if found.poles is None and varied:
        found.poles = found.slant = varied[0]
    elif found.poles is not None:
        ways = (name for name in free if name != found.poles and _HOW.intersection(words_of(name)))
        found.slant = next((name for name in ways if any(map(is_slant, words(look.columns[name])))), "")
    found.left += [(name, _SLANT) for name in slants if name != found.poles]


def _repeats(texts: Sequence[str]) -> bool:
    """Tell whether a column has few values that come again, as ids of bases do."""
    some = words(texts)
    return 0 < len(some) <= max(_FEW, sum(some.values()) // 10) and (len(some) == 1 or sum(some.values()) > len(some))


def _is_own(texts: Sequence[str]) -> bool:
    """Tell whether a column gives nearly every row a text of its own that is no measured number, as names are."""
    some = words(texts)
    broken = sum("." in text or "," in text for text in some)
    return len(some) > 1 and len(some) >= _OWN * len(texts) and 2 * broken < len(some)
