"""Finds the columns of positions and heights: degrees, grid or geocentric."""

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.geometries import compare_with_geometry, flat_of
from pipeline.new_job.headings import axis_of, bare, feet_of, is_known, letter_of, rank, says_height, words_compared
from pipeline.new_job.heights import height_said
from pipeline.new_job.lengths_and_widths import are_degrees, are_far, are_fine, go_together, is_length_or_width
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped, plainest
from pipeline.new_job.mean_errors import mean_errors_in
from pipeline.new_job.precisions import is_precision
from pipeline.new_job.repeated_headings import heading_of
from pipeline.new_job.stated_above import headed, heights_stated
from pipeline.new_job.two_heights import are_levels, are_of_poles, are_other_heights
from pipeline.new_job.unheaded_positions import FINE, LARGE, suppose_position
from pipeline.new_job.values import angles, decimal_places, has_names, numbers_of
from pipeline.read.heading_units import metres_in_heading
from pipeline.sphere import LEAST_RADIUS, MOST_RADIUS

_DEGREES, _PLANE = ("longitude", "latitude"), ("easting", "northing")
#: First letters, bare, of words for east and north: Icelandic, and the Portuguese distances from the meridian and from
#: its perpendicular. Each alone may be anything.
_INITIALS = (("a", "n"), ("m", "p"))


def find_position(
    look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool], *, unheaded: bool = False
) -> None:
    """Find the positions and heights, by headings; ``take`` takes a free column for a word where it fits.

    ``unheaded``: where no heading says a position, columns are taken by what they hold.
    """

    def number(name: str) -> bool:
        return numbers_of(look.columns[name]) is not None

    order, aside = list(free), mean_errors_in(look.columns, free)
    free[:] = [name for name in free if name not in aside]
    _headed_position(look, found, free, take)
    if aside and not found.kind and not _has_places(look):
        free += aside
        _plane(look, found, free, take)
    free[:] = [name for name in order if name not in found.columns.values()]
    if found.kind == "geocentric":
        return
    if not found.kind and _has_places(look):
        assert look.place is not None
        found.kind = "degrees" if _all_degrees(look.place) else "plane"
        level = flat_of(look.place[2])
        if np.isfinite(look.place[2]).any() and level is None:
            compare_with_geometry(look, found, free)
            return
        if level is not None:
            found.notes.append(f"the geometry's Z is {level:g} in all rows: not measured heights")
    if not found.kind and unheaded:
        suppose_position(look, found, free)
    _height(look, found, free, number)
    if "height" not in found.columns:
        _leave_to_geometry(look, found, free)
        _unsure_height(look, found, free)
    take_stated(look, found)


def _headed_position(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Take the position that headings say, degrees before those of a grid."""
    if _geocentric(look, free, take, found) or _degrees(look, found, free, take):
        return
    told = len(found.notes)
    _plane(look, found, free, take)
    if _length_and_width(look, found, free):
        del found.notes[told:]
    if not found.kind:
        _initials(look, found, free)


def _initials(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Take easting and northing under the first letters of their words in one language, if both stand there."""
    for pair in _INITIALS:
        names = [name for letter in pair for name in free if bare(name) == letter]
        sizes = [_size_of_coordinates(look, name) for name in names]
        if len(names) == 2 and min(sizes) > 0.0 and max(sizes) > LARGE:
            found.kind = "plane"
            for word, name in zip(_PLANE, names, strict=True):
                found.columns[word] = name
                free.remove(name)
            found.notes.append(f'"{names[0]}" is used as the easting and "{names[1]}" as the northing')
            return


def _size_of_coordinates(look: FileLook, name: str) -> float:
    """Return how large broken numbers are in the middle; 0 where a column holds none."""
    values = numbers_of(look.columns[name])
    broken = decimal_places(look.columns[name]) > 0
    return float(np.nanmedian(np.abs(values))) if values is not None and broken else 0.0


def _has_places(look: FileLook) -> bool:
    return look.place is not None and bool(np.isfinite(look.place[0]).any())


def take_stated(look: FileLook, found: Mapped) -> None:
    """Take what headings, or lines above them, state of units and of heights."""
    if "height" in found.columns and not found.height:
        found.height = heights_stated(look)
    for word in ("height", "easting"):
        found.feet = feet_of(headed(look, found.columns.get(word, ""), word)) or found.feet


def _degrees(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> bool:
    """Find longitude and latitude, in degrees or in degrees, minutes and seconds; neither where one is missing.

    What may be the length or the width of an object is left for `_length_and_width`.
    """
    for word, letters in (("longitude", "EW"), ("latitude", "NS")):
        if not take(word, lambda name, word=word: not is_length_or_width(name) and _is_angle(look, name, word)):
            found.dms |= take(word, lambda name, letters=letters: not is_length_or_width(name)
                              and angles(look.columns[name], letters) is not None)  # fmt: skip
    if {"longitude", "latitude"} <= found.columns.keys():
        found.kind = "degrees"
        return True
    free += [found.columns.pop(word) for word in ("longitude", "latitude") if word in found.columns]
    found.dms = False
    return False


def _length_and_width(look: FileLook, found: Mapped, free: list[str]) -> bool:
    """Take degrees under headings that may say a length and a width: nothing better being there, or lying as that does.

    Better are easting and northing and a geometry.
    """
    names: list[str] = []
    for word in ("longitude", "latitude"):
        fitting = [name for name in free if rank(word, name) is not None and are_degrees(look.columns[name], word)]
        plain = [name for name in fitting if not is_length_or_width(name)]
        names += (plain or fitting)[:1]
    if len(names) < 2:
        return False
    degrees = [look.columns[name] for name in names]
    if found.kind:
        pair = [found.columns[word] for word in (_DEGREES if found.kind == "degrees" else _PLANE)]
        other = [values for name in pair if (values := numbers_of(look.columns[name])) is not None]
    else:
        other = list(look.place[:2]) if look.place is not None and np.isfinite(look.place[0]).any() else []
    fine = all(map(are_fine, degrees))
    if not (fine and go_together(degrees, other) if other else fine or are_far(degrees)):
        return False
    free += [found.columns.pop(word) for word in (*_PLANE, *_DEGREES) if word in found.columns]
    for word, name in zip(_DEGREES, names, strict=True):
        free.remove(name)
        found.columns[word] = name
    found.dms = any(numbers_of(texts) is None for texts in degrees)
    found.kind, found.turned = "degrees", False
    return True


def place_by_content(look: FileLook, found: Mapped, free: list[str], measured: list[str]) -> None:
    """Take two neighbouring columns of degrees with many decimals, or of large lengths, and the heights behind them."""
    for first, second in pairwise(measured):
        pair = [numbers_of(look.columns[name]) for name in (first, second)]
        sizes = [float(np.nanmax(np.abs(one))) for one in pair if one is not None]
        fine = all(decimal_places(look.columns[name]) >= FINE for name in (first, second))
        if fine and min(sizes) <= 90 < max(sizes) <= 360:
            turned = sizes[1] > sizes[0]
            words_ = ("latitude", "longitude") if turned else ("longitude", "latitude")
            found.kind = "degrees"
        elif min(sizes) > LARGE:
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


def _height(look: FileLook, found: Mapped, free: list[str], number: Callable[[str], bool]) -> None:
    """Find the heights: those above the ellipsoid where a heading says so, else any; others that differ are rivals."""
    heads = {name: heading_of(name) if look.numbered else name for name in free}
    kinds = {name: height_said(head) for name, head in heads.items() if number(name) and not is_precision(head)}
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
    values = {name: numbers_of(look.columns[name]) for name in names}
    headed = {name for each in ranked.values() for name in each}
    rivals = [name for name in names[1:] if are_other_heights(values[names[0]], values[name], headed=name in headed)]
    if rivals:
        found.rivals["height"] = [names[0], *rivals]
    if found.height == "ellipsoid":
        found.levels = _levels(
            look, names[0], [name for kind in ("level", "") for name in (*ranked[kind], *others[kind])]
        )


def _levels(look: FileLook, name: str, beside: Sequence[str]) -> tuple[str, ...]:
    """Return the columns ``beside`` one of ellipsoidal heights that hold heights of another kind."""
    first = numbers_of(look.columns[name])
    assert first is not None
    own = [*metres_in_heading(name), 1.0]
    levels = list[str]()
    for each in beside:
        values = numbers_of(look.columns[each])
        said, headed_ = height_said(heading_of(each) if look.numbered else each) or "", says_height(each)
        metres = [1.0, *(other / one for other in (*metres_in_heading(each), 1.0) for one in own)]
        if values is not None and are_levels(first, values, said=said, headed=headed_, metres=metres):
            levels.append(each)
    return tuple(levels)


def _leave_to_geometry(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Free an export's columns in plan again where no column has heights and the geometries have measured ones."""
    if (
        found.times is None
        or look.place is None
        or not np.isfinite(look.place[2]).any()
        or flat_of(look.place[2]) is not None
    ):
        return
    words = [word for word in (*_DEGREES, *_PLANE) if word in found.columns]
    if words:
        names = [found.columns.pop(word) for word in words]
        free += names
        found.kind = "degrees" if _all_degrees(look.place) else "plane"
        found.dms = found.turned = False
        called = " and ".join(f'"{name}"' for name in names)
        found.notes.append(
            f"the geometry is used, which has heights; {called} have none beside them and are carried along"
        )


def _unsure_height(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Note which columns may hold the heights of readings, where no heading says it; the first is taken for now."""
    if found.kind and found.times is not None and (found.unheaded or not look.numbered):
        found.heights = tuple(may_be_heights(look, free))
        if found.heights:
            found.columns["height"] = found.heights[0]
            free.remove(found.heights[0])


def may_be_heights(look: FileLook, names: Sequence[str]) -> list[str]:
    """Return the columns of numbers that may be heights: called as nothing else that is known, or so in part.

    Those that may be lengths of poles come last.
    """
    some = [name for name in names if not is_known(name) or says_height(name)]
    some = [name for name in some if numbers_of(look.columns[name]) is not None and not is_precision(name)]
    some = [name for name in some if not has_names(look.columns[name])]
    some = [name for name in some if decimal_places(look.columns[name])] or some  # numbers of points are whole
    return sorted(some, key=lambda name: _as_of_poles(look, name))


def _as_of_poles(look: FileLook, name: str) -> bool:
    values = numbers_of(look.columns[name])
    return values is not None and are_of_poles(values)


def other_places(look: FileLook, found: Mapped) -> dict[str, str]:
    """Return the columns of positions that stand there a second time, in degrees or in a grid, by our words."""
    pairs = {"degrees": _DEGREES, "plane": _PLANE}
    other = pairs["plane" if found.kind == "degrees" else "degrees"]
    if found.kind not in pairs or not set(pairs[found.kind]) <= found.columns.keys() or look.numbered:
        return {}
    free = [
        one for one in look.names if one not in found.columns.values() and numbers_of(look.columns[one]) is not None
    ]
    errors = mean_errors_in(look.columns, free)
    free = [name for name in free if not is_length_or_width(name) and name not in errors]  # such degrees are taken
    names = [next((name for name in free if _says(word, name)), None) for word in other]
    return (
        {word: name for word, name in zip(other, names, strict=True) if name is not None} if None not in names else {}
    )


def other_places_note(look: FileLook, found: Mapped) -> str:
    """Return that positions stand twice, in degrees and in a grid, which of them are taken; "" where they do not."""
    names = list(other_places(look, found).values())
    if not names:
        return ""
    taken = [found.columns[word] for word in (_DEGREES if found.kind == "degrees" else _PLANE)]
    return (
        f'there are also positions in "{names[0]}" and "{names[1]}": those of "{taken[0]}" and "{taken[1]}" are used,'
        " and the others are carried along; one may be corrected or calibrated in the field and the other not, so check"
        " that those used are the ones to correct"
    )


def _says(word: str, heading: str) -> bool:
    """Tell whether a heading says a coordinate of a reading, with or without its datum: "WGS84 Lat"."""
    parts = words_compared(heading)
    base = any(rank("base", part) is not None for part in parts)
    return (
        not base and not is_precision(heading) and any(rank(word, said) is not None for said in (heading, *parts[-1:]))
    )


def _geocentric(look: FileLook, free: list[str], take: Callable[..., bool], found: Mapped) -> bool:
    names = [plainest(word, free, lambda _: True) for word in "xyz"]
    values = [numbers_of(look.columns[name]) for name in names if name is not None]
    if len(values) < 3 or any(one is None for one in values):
        return False
    radius = np.sqrt(sum(np.square(one) for one in values if one is not None))
    if not np.nanmedian(radius) > LEAST_RADIUS or not np.nanmedian(radius) < MOST_RADIUS:
        return False
    found.kind = "geocentric"
    return all(take(word, lambda _: True) for word in "xyz")


def _plane(look: FileLook, found: Mapped, free: list[str], take: Callable[..., bool]) -> None:
    """Find easting and northing, or degrees under headings of a grid (X and Y of a layer)."""

    def number(name: str) -> bool:
        return numbers_of(look.columns[name]) is not None

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
    lettered = {letter_of(found.columns[word]) for word in ("easting", "northing")} == {"x", "y"}
    if not _degrees_of_grid(look, found, lettered):
        found.kind, found.turned = "plane", lettered


def _degrees_of_grid(look: FileLook, found: Mapped, lettered: bool) -> bool:
    """Take what headings call easting and northing, or X and Y where ``lettered``, for degrees if they are so small."""
    east, north = (numbers_of(look.columns[found.columns[word]]) for word in ("easting", "northing"))
    assert east is not None and north is not None
    most = [float(np.nanmax(np.abs(one))) for one in (east, north)]
    if not (max(most) <= 360 and min(most) <= 90 and (most[1] <= 90 or lettered)):
        return False
    pair = [found.columns.pop(word) for word in ("easting", "northing")]
    found.columns["longitude"], found.columns["latitude"] = pair if most[1] <= 90 else pair[::-1]
    if lettered and max(most) <= 90:
        found.notes.append(f'"{pair[0]}" is used as the longitude: swap the two if it is the latitude')
    found.kind = "degrees"
    return True


def _is_angle(look: FileLook, name: str, word: str) -> bool:
    values = numbers_of(look.columns[name])
    return values is not None and bool(np.nanmax(np.abs(values)) <= (360 if word == "longitude" else 90))


def _all_degrees(place: tuple[Floats, Floats, Floats]) -> bool:
    x, y = (np.abs(one[np.isfinite(one)]) for one in place[:2])
    return bool((x <= 360).all() and (y <= 90).all())
