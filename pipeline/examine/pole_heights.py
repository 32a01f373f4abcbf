"""Compares the pole heights of points with those with which marks were occupied: no check proves another one.

What is taken off a reading is its own pole height, so a wrong one puts that reading off alone.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np
from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.units import METRES
from pipeline.intake.candidates import coded_checks
from pipeline.intake.pole_log import PoleLog, PoleSeen
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, counted, plural

#: Metres within which two pole heights are one: less than checks tolerate.
_SAME = 0.020
#: Metres: poles are shorter, and longer. Telescopic ones of 5 m are usual (common practice, no source).
_LONGEST, _SHORTEST = 6.0, 0.5
#: Metres, after multiplication, within which one height is another in feet: both are rounded. Ours, no source.
_ROUNDED = 0.006
#: Metres of which pole heights are multiples that were set and not converted.
_SET = 0.050
#: Different pole heights of an export above which one that is another in feet may be so by chance.
_FEW = 8
#: The part of the points of a session and export that are exceptions. Of more the pole is changed in the usual way, but
#: not where it was for a few blocks of points only, or for all of them, and never on marks; a block has so many points.
_EXCEPTIONS, _BLOCKS, _OF_BLOCK = 0.25, 3, 5
#: Pole heights that a sentence lists.
_LISTED = 3

_NO_POLE = "no pole height seems to have been entered, unless these were measured or computed without a pole"
_TOO_LONG = "no pole is that long, unless it is a mast"
_FEET = "it looks like feet taken for metres, or metres for feet"


class _Pole(Struct, frozen=True):
    """A pole height [m] that points of a session and export have and no occupation; ``wrong`` says why it is none."""

    session: int
    export: int
    metres: float
    seen: PoleSeen
    occupied: tuple[float, ...]
    wrong: str


def pole_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for pole heights, in a session and export, that no pole has beside those that marks prove."""
    for (session, _, why), several in _together(_alone(survey, survey.first_pass.poles)):
        if why:
            what = f"{_told(survey, several)}: {why}; correct pole heights in the controller and export again"
            yield Doubtful(Doubt.EXPORT_HEIGHTS, what, (session,), *_where(survey, several))


def pole_notes(survey: Survey) -> Iterator[str]:
    """Yield which other pole heights points have than those with which marks were occupied in their session.

    Of many points where no mark was with another pole than the others, and all of them or whole blocks have theirs.
    """
    points = survey.first_pass.poles.points
    for (session, export, why), several in _together(_alone(survey, survey.first_pass.poles)):
        every = sum(seen.count for seen in points[session, export].values())
        few = sum(one.seen.count for one in several) <= _EXCEPTIONS * every
        if not why and (few or _beside_one(several, every)):
            ground = "" if few else "; if the positions are of the ground already, leave the column unmapped"
            file, row = _where(survey, several)
            yield (
                f"{file}:{row}: {_told(survey, several)}: checks with another do not prove theirs; make sure that it"
                f" was so, and occupy a mark with each{ground}"
            )


def left_pole_notes(survey: Survey) -> Iterator[str]:
    """Yield which pole heights a column that nobody mapped has beside those of marks: that no pole has, or another.

    It is rightly not mapped where positions are of the ground. They are so by what was entered, of these rows too.
    """
    for name, log in survey.first_pass.poles.left.items():
        for (session, export, why), several in _together(_alone(survey, log)):
            marks = several[0].occupied
            # "HR" may be of hours, and "Pole" of the poles that were surveyed
            hours = why == _TOO_LONG and (len(log.points[session, export]) > _LISTED or marks == (0.0,))
            if why and not hours and marks[-1] <= _LONGEST:
                file, row = _where(survey, several)
                yield (
                    f'{file}:{row}: {_told(survey, several)} by the column "{name}", which is not mapped: {why}; where'
                    " a pole was used, their heights are off by what was not entered: correct pole heights in the"
                    " controller and export again"
                )
            elif not why and _is_another(log, several):
                file, row = _where(survey, several)
                yield (
                    f'{file}:{row}: {_told(survey, several)} by the column "{name}", which is not mapped: where another'
                    " pole was entered than was used, heights are off by the difference, and checks do not tell; make"
                    " sure that it was so, and occupy a mark with each"
                )


def _is_another(log: PoleLog, several: Sequence[_Pole]) -> bool:
    """Tell whether all marks had one pole, and points, a few, whole blocks or all, one of another length.

    In a column that nobody mapped numbers may be of something else: of things, or measured anew each time.
    """
    first = several[0]
    points, proven = log.points[first.session, first.export], first.occupied
    every = sum(seen.count for seen in points.values())
    untested = sum(one.seen.count for one in several) <= _EXCEPTIONS * every or _beside_one(several, every)
    own = [*(mm / 1e3 for mm in points), *proven]
    lengths = min(own) >= _SHORTEST and max(own) <= _LONGEST and len(points) <= _LISTED
    return untested and lengths and proven[-1] - proven[0] <= _SAME


def _together(alone: Sequence[_Pole]) -> Iterator[tuple[tuple[int, int, str], list[_Pole]]]:
    """Yield the pole heights of each session, export and reason why they are none, with these."""
    for key, of in groupby(alone, lambda one: (one.session, one.export, one.wrong)):
        yield key, list(of)


def _where(survey: Survey, several: Sequence[_Pole]) -> tuple[str, int]:
    """Return the file of pole heights of one export, and the first row that has one of them."""
    return survey.exports[several[0].export].shown, min(one.seen.row for one in several)


def _beside_one(several: Sequence[_Pole], every: int) -> bool:
    """Tell whether all marks had one pole, and all points others, or a few blocks of points."""
    proven, blocks = several[0].occupied, sum(one.seen.blocks for one in several)
    count = sum(one.seen.count for one in several)
    whole = count == every or blocks <= _BLOCKS
    return proven[-1] - proven[0] <= _SAME and whole and count >= _OF_BLOCK * min(blocks, _BLOCKS)


def _told(survey: Survey, several: Sequence[_Pole]) -> str:
    count, listed = sum(one.seen.count for one in several), several[:_LISTED]
    heights = ", ".join(f"{one.metres:.3f}" for one in listed) + and_more(len(several) - len(listed))
    some = several[0].occupied[:_LISTED]
    occupied = ", ".join(f"{metres:.3f}" for metres in some) + and_more(len(several[0].occupied) - len(some))
    return (
        f"session {survey.windows[several[0].session].session.name}: {counted(count, 'reading')} (first one here)"
        f" {plural(count, 'has', 'have')} {plural(len(several), 'a pole height', 'pole heights')} of {heights} m, and"
        f" marks were occupied with {occupied} m"
    )


def _alone(survey: Survey, log: PoleLog) -> list[_Pole]:
    """Return the pole heights with which no mark was occupied in their session, those of one reason together."""
    if not log.points or not log.on:
        return []
    occupied, found = _occupied(survey, log), []
    for (session, export), points in sorted(log.points.items()):
        with_mark = occupied.get(session, {})
        proven = sorted({round(metres, 3) for of in with_mark.values() for metres in of})
        own = sorted({mm / 1e3 for mm in points} | {round(metres, 3) for metres in with_mark.get(export, ())})
        for mm, seen in sorted(points.items()) if proven else ():
            metres = mm / 1e3
            if min(abs(metres - one) for one in proven) > _SAME:
                found.append(_Pole(session, export, metres, seen, tuple(proven), _wrong(metres, proven, own)))
    return sorted(found, key=lambda one: (one.session, one.export, one.wrong, one.metres))


def _occupied(survey: Survey, log: PoleLog) -> dict[int, dict[int, list[float]]]:
    """Return by session and export the pole heights [m] of readings that are, or are to be, ties and checks."""
    every, on = survey.candidates, log.on
    said = np.array([said is not None for said in every.named], bool)
    said |= np.asarray(coded_checks(every.table, survey.prepared), bool)
    export, row = (every.table.column(name).to_pylist() for name in ("export", "source_row"))
    found: dict[int, dict[int, list[float]]] = {}
    for place in np.flatnonzero(said).tolist():
        if (metres := on.get((export[place], row[place]))) is not None:
            found.setdefault(int(every.session[place]), {}).setdefault(export[place], []).append(metres)
    return found


def _wrong(metres: float, proven: Sequence[float], own: Sequence[float]) -> str:
    """Return why a pole height is none beside those ``proven`` by marks, "" where it may be.

    ``own`` are all of its session and export: where all are 0, the heights are those of the ground already, and where
    all are long, they are of a mast.
    """
    if metres == 0.0:
        return _NO_POLE if own[-1] > 0.0 else ""
    feet = any(abs(max(metres, one) - min(metres, one) / METRES["foot"]) <= _ROUNDED for one in proven)
    if feet and len(own) <= _FEW and not _is_set(metres):
        return _FEET
    return _TOO_LONG if metres > _LONGEST and own[0] <= _LONGEST and proven[-1] <= _LONGEST else ""


def _is_set(metres: float) -> bool:
    return abs(metres - _SET * round(metres / _SET)) < 1e-6
