"""Finds columns that hold a second position, or a second height, of the same rows in the same system.

A design beside what was staked, an edited coordinate beside the measured one: they lie near the mapped numbers in all
rows and scatter about them. Copies, another datum, a calibration, a geoid and poles do not scatter: the difference is
the same in all rows, changes smoothly over the site, or has a few values.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from itertools import combinations

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats
from pipeline.files.heading_words import words_of
from pipeline.plausible.two_positions import MOST, TwoPositions, step_of
from pipeline.sphere import DEGREE

#: Rows that are needed; metres within which two are of one place, and the share of rows in which they have to be.
_LEAST, _NEAR, _NEARLY_ALL = 8, 50.0, 0.95
#: The part of the ups and downs of the mapped numbers that may be in the difference: what has nothing to do with them
#: (a base's coordinate, a precision) differs by all of them.
_WITH_THEM = 0.3
#: Metres that two of one reading may differ besides digits, and as a part of the site, in plan and in height: what a
#: curved surface leaves of a calibration, and a geoid of its slopes. Ours.
_ALLOWED, _OF_SITE = (0.01, 0.015), (2e-6, 1e-5)
#: Metres of scatter, in the middle of the rows, from which on numbers are of something else: of depths, of a device
#: that knows no corrections better than its place.
_OTHERS = (1.0, 0.25)
#: Metres beyond which a difference tells, those of the tolerances of checks, and the part of the rows, and how many at
#: least, that are beyond. Single readings beside their mean are now and then.
_TELLS, _SHARE, _FEW = (0.03, 0.05), 0.05, 3
#: The part of the rows that differ otherwise than those around, how many at least, and in how many ways.
_MANY, _ROWS, _WAYS, _WAY = 0.1, 4, 8, 0.01
#: Rows from which on the difference may be curved over the site; turns of the search; metres that weigh alike.
_CURVED, _TURNS, _FLAT = 24, 15, 1e-4

#: Words by which a heading says that its column was measured, in some languages, from memory; and that it was not, or
#: not there: of a design, the antenna, the base, another day or place.
_MEASURED = """
    measured meas observed obs staked stakeout stk built asbuilt actual ist gemessen aufgenommen mesure mesuree leve
    levee releve medido medida medidos misurato misurata rilevato gemeten maalt malt uppmatt inmatt mitattu zmierzona
    zmierzone pomierzona namereno namerene zamerene izmereno mereno mert masurat avg average averaged mean
"""
_ELSEWHERE = """
    design designed designs soll projekt project projet proyecto projeto progetto ontwerp proiect tervezett theoretical
    theoretisch theorique teorico planned plan entwurf target nominal suunniteltu projekterad prosjektert model modell
    dtm dgm mnt mdt surface surf road alignment planum rasante niveleta niweleta subgrade tgt desz
    antenna ant antenne antena anten antenn apc arp phase base basis bas baza ref reference referenz referencia
    previous prev last old former earlier vorher vorige vorherige precedent anterior precedente forrige edellinen
    control known register given catalog catalogue raw autonomous standalone single sbas dgps spp autonom
    offset rim invert sohle deckel water wasser bed bottom top crown soffit tree depth channel fg fgl ffl
    init rtk ppk lidar tablet phone terv
"""
#: How words of a design, or of another day, begin in some languages, from memory: "Sollhöhe", "Kota projektowana".
_DESIGNS = """
    soll planh proj theo teor disen navrh ontwerp suunn tervez tasarim entwurf propos setout dsgn prosjekt
    formation initial null epoch проект 設計 设计
"""
_BEGINS, _ENDS = tuple(_DESIGNS.split()), ("soll", "proj")
#: What is short for a design as a heading's first word alone: elsewhere it is French, "altitude des points".
_FIRST = "des"
_WORDS = {"measured": frozenset(_MEASURED.split()), "elsewhere": frozenset(_ELSEWHERE.split())}


class Second(Struct, frozen=True):
    """A second position of two ``columns``, or a second height of one, and how it differs from the mapped.

    ``values`` (k, columns) are its numbers in the rows compared, in metres.
    """

    columns: tuple[str, ...]
    digit: float
    mapped: float
    how: TwoPositions
    values: Floats


def second_columns(
    mapped: Sequence[tuple[str, Floats]],
    others: Sequence[Mapping[str, Callable[[], Floats]]],
    where: tuple[Floats, Floats],
    metres: Sequence[float],
    *,
    named: Collection[str] = (),
    companion: bool = False,
) -> list[Second]:
    """Return the columns that hold the mapped coordinates a second time and scatter about them.

    Args:
        mapped: headings and numbers (n,) of two coordinates in plan, or of the height alone.
        others: for each of these, the headings of columns that are not mapped, and what gives their numbers (n,), NaN
            where there is none.
        where: (n,) where the rows lie, metres about anything.
        metres: in one unit of each of the mapped.
        named: headings that are looked at whatever they say.
        companion: whether they stand beside a second position: any scatter of heights counts then.
    """
    said = any(says_measured(name) for name, _ in mapped)
    near = []
    for (_, values), each, metre in zip(mapped, others, metres, strict=True):
        free = {name: read for name, read in each.items() if name in named or _may_be(name, said)}
        near.append(_near(values, free, metre))
    found = []
    for names in zip(*near, strict=False):
        if len(set(names)) < len(names):
            continue
        pairs = [(values, side[name]) for (_, values), side, name in zip(mapped, near, names, strict=True)]
        steps = [[step_of(each[np.isfinite(each)]) * metre for each in pair]
                 for pair, metre in zip(pairs, metres, strict=True)]  # fmt: skip
        digit, others_digit = (max(side) for side in zip(*steps, strict=True))
        off = [(other - one) * metre for (one, other), metre in zip(pairs, metres, strict=True)]
        how = _scatter(where, off, digit + others_digit, companion)
        if how is not None:
            values = np.column_stack(
                [other[how.known] * metre for (_, other), metre in zip(pairs, metres, strict=True)]
            )
            found.append(Second(tuple(names), others_digit, digit, how, values))
    return found


def may_be_near(mapped: Floats, first: Floats, metre: float) -> bool:
    """Tell whether the ``first`` numbers of a column may be near mapped ones (n,), or are none."""
    off = np.abs(first - mapped[: len(first)]) * metre
    off = off[np.isfinite(off)]
    return not len(off) or float(np.median(off)) <= _NEAR


def metres_of_degrees(latitude: Floats) -> tuple[float, float]:
    """Return the metres in a degree of longitude and of latitude around (n,) latitudes."""
    return DEGREE * float(np.cos(np.radians(np.nanmedian(latitude)))), DEGREE


def says_measured(heading: str) -> bool:
    """Tell whether a heading says that its column was measured."""
    return _says(heading, "measured")


def _may_be(heading: str, measured: bool) -> bool:
    """Tell whether a heading may be of a second position, beside one that says that it was ``measured`` or does not."""
    return not _says(heading, "elsewhere") and (says_measured(heading) or not measured)


def _says(heading: str, what: str) -> bool:
    words = words_of(heading)
    begins = words[:1] == [_FIRST] or any(word.startswith(_BEGINS) or word.endswith(_ENDS) for word in words)
    if what == "elsewhere" and begins:
        return True
    return not _WORDS[what].isdisjoint(words)


def _near(mapped: Floats, others: Mapping[str, Callable[[], Floats]], metre: float) -> dict[str, Floats]:
    """Return the columns that go with mapped numbers (n,), without two of which these are the mean."""
    found = {}
    for name, read in others.items():
        other = read()
        both = np.isfinite(mapped + other) & (other != 0.0)
        if np.count_nonzero(both) < _LEAST:
            continue
        off, here = (other - mapped)[both] * metre, mapped[both] * metre
        inside = np.abs(off) <= _NEAR
        if inside.mean() >= _NEARLY_ALL and _spread(off[inside]) <= _WITH_THEM * _spread(here[inside]):
            found[name] = other
    for one, two in combinations(list(found), 2):
        middle = np.abs(0.5 * (found[one] + found[two]) - mapped)[np.isfinite(found[one] + found[two] + mapped)]
        step = max(step_of(each[np.isfinite(each)]) for each in (mapped, found[one]))
        if len(middle) and np.mean(middle <= 1.01 * step) >= _NEARLY_ALL:
            return {name: values for name, values in found.items() if name not in (one, two)}
    return found


def _spread(values: Floats) -> float:
    low, high = np.percentile(values, [25.0, 75.0])
    return float(high - low)


def _scatter(where: tuple[Floats, Floats], off: Sequence[Floats], step: float, any_counts: bool) -> TwoPositions | None:
    """Return how differences (n,) east and north, or up alone, scatter row by row; None where they do not."""
    of, vector = len(off) == 1, off[0] + (1j * off[1] if len(off) > 1 else 0.0)
    known = np.flatnonzero(np.isfinite(where[0] + where[1]) & np.isfinite(vector))[:MOST]
    if len(known) < _LEAST:
        return None
    place, apart = (np.asarray(each[known], np.complex128) for each in (where[0] + 1j * where[1], vector))
    place -= place.mean()
    size = float(np.hypot(np.ptp(place.real), np.ptp(place.imag)))
    allowed = _ALLOWED[of] + step + (0.0 if any_counts else _OF_SITE[of] * size)
    terms = _terms(place / max(size, 1.0))
    rest = _left_of(apart, terms)
    away = np.abs(rest)
    if np.median(away) > min(_OTHERS[of], 0.1 * size if not of else np.inf):
        return None
    # sessions may differ by a step: they jump where they begin and end
    change = np.asarray(np.diff(apart), np.complex128)
    jumps = np.abs(_left_of(change, np.diff(terms[:, 1:3], axis=0))) > 0.5 * allowed
    jumps &= np.abs(np.diff(rest)) > 0.5 * allowed
    alone = np.concatenate([jumps, [True]]) & np.concatenate([[True], jumps]) & (away > allowed)
    count, ways = int(alone.sum()), len(np.unique(np.round(apart[alone] / max(_WAY, step))))
    many = count >= max(_ROWS, _MANY * len(known)) and ways >= max(_ROWS, min(0.5 * count, _WAYS))
    told = np.count_nonzero(away > (0.0 if any_counts else _TELLS[of]) + step)
    if not many or told < max(_FEW, _SHARE * len(known)):
        return None
    first = np.zeros_like(place) if of else place
    return TwoPositions(known[alone], float(away[alone].max()), True, known, (first, np.asarray(first + apart)))


def _terms(place: NDArray[np.complex128]) -> Floats:
    """Return (n, 3 or 6) what a difference over the rows' places may follow: a plane, or a curved surface."""
    x, y = place.real, place.imag
    curved = (x * x, x * y, y * y) if len(x) >= _CURVED else ()
    return np.column_stack([np.ones_like(x), x, y, *curved])


def _left_of(values: NDArray[np.complex128], terms: Floats) -> NDArray[np.complex128]:
    """Return what is left of (n,) values beside the combination of terms (n, k) that most of them follow."""
    both = np.column_stack([values.real, values.imag])
    rest, weights = both, np.ones(len(values))
    for _ in range(_TURNS):
        weighted = (terms * weights[:, None]).T
        rest = both - terms @ np.linalg.lstsq(weighted @ terms, weighted @ both, rcond=None)[0]
        weights = 1.0 / np.maximum(np.hypot(*rest.T), _FLAT)
    return np.asarray(rest[:, 0] + 1j * rest[:, 1], np.complex128)
