"""The register of control marks checked before the job rests on it: warnings in words, each with its line."""

from collections.abc import Collection, Iterator, Sequence
from datetime import date, timedelta

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.control.register_dates import possible_days
from pipeline.examine.mark_heights import above_readings, odd_height_words
from pipeline.examine.out_of_area import beyond_grid
from pipeline.examine.register_looks import (
    ONE_MARK,
    Misplaced,
    Pair,
    close_pairs,
    distance_from,
    misplaced,
)
from pipeline.examine.stood_on import Stood
from pipeline.examine.systematic import NO_HEIGHT
from pipeline.geodesy.area import Area
from pipeline.geodesy.misread_coordinates import ZONES, left_out
from pipeline.geodesy.own_places import lonlat
from pipeline.geodesy.units import METRES
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.near import and_more
from pipeline.plausible.digits import Slip, slip
from pipeline.plausible.misreadings import (
    BOTH_SIGNS,
    EXCHANGED,
    FIRST_SIGN,
    NORTHERN,
    SECOND_SIGN,
    SOUTHERN,
    Misreading,
)
from pipeline.solve.control_marks import COORDINATES
from pipeline.sphere import DEGREE, apart
from pipeline.words import Holds, counted, plural

#: Metres from all readings beyond which a mark is out of place, and within which another reading of it is in place.
_FAR, _NEAR = 50_000.0, 20_000.0
#: Metres of a mark from a reading on it beyond which neither base nor frame accounts for that, metres within which a
#: reading lies beside another mark (common practice, no source), and marks of which it is told.
_OFF_ITS_READINGS, _BESIDE, _MOST_FAR = 100.0, 20.0, 20
#: Metres: smaller differences from an earlier issue's register are taken for a revision, whatever their digits.
_REVISED = {Slip.SWAPPED: 0.02, Slip.DIGIT: 0.5}
#: Marks that one sentence names, and pairs of marks at one place that are told.
_NAMED, _MOST_PAIRS = 3, 1_000
#: Stretches of lines that one sentence names.
_MOST_RUNS = 12
#: Metres from all other heights of a register beyond which a zero among them is no height of a mark.
_FAR_HEIGHT = 10.0
#: What is said of a row at a register's end that sums it up.
_CLOSING = "the row '{}' at the end has no coordinates and is taken for no mark; if it is one, give its coordinates"
_SUMS = (
    "the row '{}' at the end has the mean, sum, least or largest of the coordinates above and is taken for no mark; if"
    " it is one, give it another name"
)
#: Dates of registers are by some clock on earth.
_DAY = timedelta(days=1)


class Warned(Struct, frozen=True):
    """Something in the register that should be looked at: the line of the mark, and what."""

    line: int
    what: str


def register_warnings(survey: Survey, stood: Stood | None, last: Record | None) -> list[Warned]:
    """Return what in the register should be looked at.

    ``last`` is the record of the issue that is drawn from, whose register is compared with this one.
    """
    register, control = survey.register, survey.job.control
    if register is None or control is None or stood is None:
        return []
    places = stood.places
    pairs = close_pairs(places, ONE_MARK)
    used = {register.find(mark) for mark in _named(survey)} | set(stood.mark.tolist())
    closing = (Warned(one.line, (_SUMS if one.sums else _CLOSING).format(one.text)) for one in register.closing_rows)
    told = [
        *closing,
        *_between_pages(register),
        *_revised(register, used),
        *_held_in_part(register, used),
        *_of_after(register, used, survey.data_to.date()),
        *_unfilled(register, used),
        *_duplicates(register, pairs),
        *_dependent(survey, register, pairs, stood),
        *_misplaced(survey, register, places, survey.first_pass.area, stood),
        *_far_from_its_readings(survey, register, stood),
        *_heights(survey, register, stood),
        *(_slips(register, last) if last is not None else ()),
    ]
    return sorted(dict.fromkeys(told), key=lambda warned: warned.line)


def _between_pages(register: Register) -> Iterator[Warned]:
    """Yield once which lines of a register are taken for its headings, titles and footers, not for marks."""
    pages = register.pages
    if not pages.headings and not pages.others:
        return
    told = []
    if pages.headings:
        again = plural(len(pages.headings), "names its columns", "name its columns")
        told.append(f"{_lines(pages.headings)} {again} again")
    if pages.others:
        told.append(f"{_lines(pages.others)} {plural(len(pages.others), 'is', 'are')} a title, footer or rule")
    first = min((*pages.headings, *pages.others))
    yield Warned(
        first, f"{' and '.join(told)}, as where tables are printed on pages or put together: taken for no marks"
    )


def _lines(lines: Sequence[int]) -> str:
    """Return lines in words, those that follow one another as one stretch."""
    runs: list[list[int]] = []
    for line in lines:
        if runs and line == runs[-1][-1] + 1:
            runs[-1][1:] = [line]
        else:
            runs.append([line])
    shown = ", ".join("-".join(map(str, run)) for run in runs[:_MOST_RUNS])
    return f"{plural(len(lines), 'line')} {shown}{and_more(len(runs) - _MOST_RUNS)}"


def _revised(register: Register, used: Collection[int | None]) -> Iterator[Warned]:
    """Yield which row of a mark that has several is used."""
    columns = COORDINATES[register.kind]
    for number, former in enumerate(register.former):
        if former and number in used:
            rows = ", ".join(f"{mark.dated} (line {mark.line}: {_spoken(columns, mark.written)})" for mark in former)
            what = f"mark '{register.names[number]}' is taken from its newest row, {register.dated[number]}, not {rows}"
            yield Warned(register.lines[number], what)


def _held_in_part(register: Register, used: Collection[int | None]) -> Iterator[Warned]:
    """Yield which marks in use hold position, or height, alone because the cells of the rest are empty."""
    here = [number for number, so in enumerate(register.by_cells) if so and number in used]
    for word, lacking in ((Holds.POSITION, "height"), (Holds.HEIGHT, "position")):
        some = [number for number in here if register.holds[number] is word]
        if some:
            names = ", ".join(f"'{register.names[number]}'" for number in some[:_NAMED])
            which = f"{plural(len(some), 'mark')} {names}{and_more(len(some) - _NAMED)}"
            has, tests = plural(len(some), "has", "have"), plural(len(some), "ties and tests", "tie and test")
            what = f"{which} {has} no {lacking} in the register, and {tests} no {lacking}"
            yield Warned(register.lines[some[0]], f"{what}; if that is meant, write {word} in a column 'holds'")


def _unfilled(register: Register, used: Collection[int | None]) -> Iterator[Warned]:
    """Yield marks in use whose height is a zero or a number that stands for none, far from what all others have."""
    none = register.holds_height & ((register.third == 0.0) | (np.abs(register.third) >= NO_HEIGHT))
    others = register.third[register.holds_height & ~none]
    if len(others) < 2 or 2 * int(none.sum()) > len(others):
        return
    low, high = float(others.min()), float(others.max())
    for number in np.flatnonzero(none).tolist():
        far = max(low - register.third[number], register.third[number] - high)
        if number in used and far > max(_FAR_HEIGHT, high - low):
            what = (
                f"mark '{register.names[number]}' has the height {register.written[number][2]}, where"
                f" {counted(len(others), 'other')} have heights from {low:.3f} to {high:.3f} m: it seems that it was"
                " never filled in. Give its height, or leave the cell empty and write position in a column 'holds'"
            )
            yield Warned(register.lines[number], what)


def _spoken(columns: Sequence[str], written: Sequence[str]) -> str:
    return ", ".join(f"{column} {text}" for column, text in zip(columns, written, strict=True) if text)


def _of_after(register: Register, used: Collection[int | None], last: date) -> Iterator[Warned]:
    """Yield marks whose coordinates are of a day after the last observation: they may not be what was stood on."""
    for number, dated in enumerate(register.dated):
        days = possible_days(dated) if dated and number in used else None
        if days is not None and days[0] > last + _DAY:
            what = f"mark '{register.names[number]}' is dated {dated}, after the last observation on {last.isoformat()}"
            yield Warned(register.lines[number], f"{what}: check that these coordinates apply to this work")


def _duplicates(register: Register, pairs: Sequence[Pair]) -> Iterator[Warned]:
    if len(pairs) > _MOST_PAIRS:
        line = register.lines[pairs[0].other]
        yield Warned(line, f"{len(pairs):,} or more pairs of marks share a position: the first are listed")
    for pair in pairs[:_MOST_PAIRS]:
        one, other = register.names[pair.one], register.names[pair.other]
        up = register.third[pair.other] - register.third[pair.one]
        if pair.distance == 0.0 and (up == 0.0 or np.isnan(up)):
            what = f"has the same coordinates as mark '{one}'"
        else:
            way = "above" if up > 0 else "below"
            height = "" if np.isnan(up) or abs(up) < 0.0005 else f", {abs(up):.3f} m {way} it"
            what = f"is {pair.distance:.3f} m from mark '{one}'{height}"
        yield Warned(
            register.lines[pair.other],
            f"mark '{other}' {what} (line {register.lines[pair.one]}): one mark under two names, or a copied row",
        )


def _dependent(survey: Survey, register: Register, near: Sequence[Pair], stood: Stood) -> Iterator[Warned]:
    """Yield checks on a mark that is, under another name, the mark that ties the session."""
    used = set(stood.mark.tolist()) | {register.find(w.session.setup.mark) for w in survey.windows if w.session.setup}
    pairs = [(pair.one, pair.other, pair.distance) for pair in near if pair.one in used and pair.other in used]
    for window in survey.windows if pairs else ():
        here = stood.session == window.index
        ties, checks = set(stood.mark[here & stood.tie].tolist()), set(stood.mark[here & ~stood.tie].tolist())
        over = window.session.setup and register.find(window.session.setup.mark)
        ties |= {over} if over is not None else set()
        for one, other, distance in pairs:
            for tie, check in ((one, other), (other, one)):
                if tie in ties and check in checks and check not in ties:
                    yield Warned(
                        register.lines[check],
                        f"session {window.session.name} is tied to mark '{register.names[tie]}' and checked on"
                        f" '{register.names[check]}', {distance:.3f} m from it: the check is not independent",
                    )


def _misplaced(survey: Survey, register: Register, places: Floats, area: Area | None, stood: Stood) -> Iterator[Warned]:
    control = survey.job.control
    if area is None or control is None:
        return
    bounds = (area.west, area.south, area.east, area.north)
    readings = _readings(control.crs, register, places, area)
    found = misplaced(bounds, places, list(readings.values()), _FAR, _NEAR)
    if len(found) > 1 and len(found) == int(np.isfinite(places).all(axis=1).sum()):
        yield _all_far(survey, register, area, found, list(readings))
        return
    named = {register.find(mark) for mark in _named(survey)} | set(stood.mark.tolist())
    others = []
    for far in found:
        at = f"mark '{register.names[far.mark]}' is {far.distance / 1000:,.0f} km from every reading"
        if far.reading is not None:
            why = list(readings)[far.reading]
            yield Warned(register.lines[far.mark], f"{at}; {why} it would be among them")
        elif far.mark in named:
            yield Warned(register.lines[far.mark], f"{at}, and sessions use it")
        else:
            others.append(far)
    if others and 2 * len(others) < len(register.names):
        yield _strays(register, others)


def _far_from_its_readings(survey: Survey, register: Register, stood: Stood) -> Iterator[Warned]:
    """Yield marks that lie far from the readings on them, where another mark of a session does not lie so from its own.

    A base far from where it says it is takes all readings of its session along, and marks of another zone or frame are
    all as far off: neither is a mark's.
    """
    mark, places = stood.mark, stood.places
    if not len(mark):
        return
    raw = np.column_stack(survey.operations.frames.to_geographic.forward(*stood.xyz.T))
    distance = apart(raw[:, 0], raw[:, 1], *places[mark].T)
    east = (places[mark, 0] - raw[:, 0] + 180.0) % 360.0 - 180.0
    off = DEGREE * np.column_stack([east * np.cos(np.radians(raw[:, 1])), places[mark, 1] - raw[:, 1]])
    # farther away `_misplaced` tells it
    far = np.flatnonzero((distance > _OFF_ITS_READINGS) & (distance <= _FAR))
    _, first = np.unique(np.column_stack([stood.session, mark])[far], axis=0, return_index=True)
    told = set[int]()
    for row in np.sort(far[first]).tolist():
        others = (stood.session == stood.session[row]) & (mark != mark[row])
        elsewhere = np.hypot(*(off[others] - off[row]).T) > _OFF_ITS_READINGS
        number = int(mark[row])
        if number in told or len(told) >= _MOST_FAR or not elsewhere.any():
            continue
        told.add(number)
        own = distance[(mark == number) & (distance > _OFF_ITS_READINGS)]
        how_far = f"{own[0] / 1000:,.1f} km" if own[0] >= 1000 else f"{own[0]:,.0f} m"
        which = "the reading on it" if len(own) == 1 else f"the {counted(len(own), 'reading')} on it"
        beside = apart(raw[row, 0], raw[row, 1], *places.T)
        nearest = int(np.argmin(np.nan_to_num(beside, nan=np.inf)))
        if beside[nearest] <= _BESIDE:
            verb = "is" if len(own) == 1 else "are"
            why = f", which {verb} beside mark '{register.names[nearest]}': check which of the two was occupied, and"
            why += " whether the register has them exchanged"
        else:
            why = ": check whether the register has another mark under that name, or other digits"
        yield Warned(register.lines[number], f"mark '{register.names[number]}' is {how_far} from {which}{why}")


def _all_far(survey: Survey, register: Register, area: Area, found: list[Misplaced], readings: list[str]) -> Warned:
    """Say in one line that the whole register lies elsewhere; the readings may as well be what is misread."""
    near, far = (value / 1000 for value in (min(o.distance for o in found), max(o.distance for o in found)))
    how_far = f"{near:,.0f} km" if round(near) == round(far) else f"{near:,.0f} to {far:,.0f} km"
    at = f"all {counted(len(found), 'mark')} of the register are {how_far} from every reading"
    if beyond_grid(survey, area) > _FAR:
        fix = "the readings are outside the area of target.grid: check the columns that their block maps, and its crs"
    else:
        fix = "check crs in [control], and the columns and crs of the readings"
        ways = {one.reading for one in found}
        if len(ways) == 1 and None not in ways:
            fix += f"; {readings[ways.pop() or 0]} the marks would be among the readings"
    return Warned(register.lines[found[0].mark], f"{at}: {fix}")


def _strays(register: Register, others: list[Misplaced]) -> Warned:
    """Say of marks that no session uses, in one line, that they lie elsewhere."""
    names = ", ".join(f"'{register.names[far.mark]}'" for far in others[:_NAMED])
    more = and_more(len(others) - _NAMED)
    near, far = (value / 1000 for value in (min(o.distance for o in others), max(o.distance for o in others)))
    lie = plural(len(others), "is", "are")
    how_far = f"{near:,.0f} km" if len(others) == 1 else f"{near:,.0f} to {far:,.0f} km"
    return Warned(
        register.lines[others[0].mark],
        f"{plural(len(others), 'mark')} {names}{more} {lie} {how_far} from every reading; no session uses"
        f" {plural(len(others), 'it', 'them')}",
    )


def _named(survey: Survey) -> Iterator[str]:
    for window in survey.windows:
        session = window.session
        yield from (occupation.mark for occupation in (*session.ties, *session.checks))
        if session.setup is not None:
            yield session.setup.mark


def _readings(crs: str, register: Register, places: Floats, area: Area) -> dict[str, Floats]:
    """Return (R, 2) places by every other way in which the coordinates may have been meant, by words that go before."""
    pairs = np.column_stack([register.first, register.second])
    if register.kind == "geographic":
        return {
            "with longitude and latitude swapped": EXCHANGED.meant(pairs),
            "with the other sign of its latitude": SECOND_SIGN.meant(pairs),
            "with the other sign of its longitude": FIRST_SIGN.meant(pairs),
            "with the other signs of its longitude and latitude": BOTH_SIGNS.meant(pairs),
        }
    unit = abs(register.unit[0])
    feet = unit != 1.0
    factor = (1.0 if feet else METRES["foot"]) / unit
    ways = {
        "with easting and northing swapped": EXCHANGED,
        "with the other sign of its northing": SECOND_SIGN,
        "with the other sign of its easting": FIRST_SIGN,
        "as on the southern hemisphere's grid (10 000 000 m less)": SOUTHERN,
        "as on the northern hemisphere's grid (10 000 000 m more)": NORTHERN,
        "read in metres, not in feet," if feet else "read in feet, not in metres,": Misreading(
            factors=(factor, factor)
        ),
    }
    away = distance_from((area.west, area.south, area.east, area.north), places)
    for number in np.flatnonzero(~(away <= _FAR) & np.isfinite(pairs).all(axis=1))[:_MOST_FAR].tolist():
        lacking = left_out(crs, (float(pairs[number, 0]), float(pairs[number, 1])), area.centre)
        ways |= {f"{one.name},": Misreading(added=(one.east, one.north)) for one in lacking}
    meant = np.concatenate([way.meant(pairs) for way in ways.values()])
    read = np.column_stack(lonlat(crs, meant[:, 0], meant[:, 1], np.tile(register.third, len(ways))))
    found = dict(zip(ways, np.split(read, len(ways)), strict=True))
    for degrees in (way * zone for zone in ZONES for way in (1, -1)):
        way = "east" if degrees > 0 else "west"
        found[f"in the neighbouring zone, {abs(degrees):g} degrees {way},"] = places + np.array([degrees, 0.0])
    return found


def _heights(survey: Survey, register: Register, stood: Stood) -> Iterator[Warned]:
    """Yield marks whose heights, beside the others', look ellipsoidal, or reduced by the geoid once too often."""
    control = survey.job.control
    for one in above_readings(survey, register, stood).odd():
        ellipsoidal = control is not None and control.height == "ellipsoid"
        yield Warned(register.lines[one.mark], odd_height_words(one, register, ellipsoidal, _NAMED))


def _slips(register: Register, last: Record) -> Iterator[Warned]:
    """Yield coordinates that are the earlier issue's with a slip of the hand between."""
    axes = COORDINATES[register.kind]
    for row in last["register"]:
        number = register.find(row["mark"])
        if number is None:
            continue
        for axis, now, unit in zip(axes, register.written[number], register.unit, strict=True):
            before = str(row.get(axis, ""))
            how = slip(before, now) if before and now else None
            if how is None or abs(unit) * _metres(before, now, axis) < _REVISED[how]:
                continue
            yield Warned(
                register.lines[number],
                f"mark '{register.names[number]}': {axis} {now}, but {before} in issue {last['issue']:03d}: {how}",
            )


def _metres(before: str, now: str, axis: str) -> float:
    try:
        one, other = (float(text.replace(",", ".")) for text in (before, now))
    except ValueError:  # degrees, minutes and seconds
        return np.inf
    return abs(one - other) * (DEGREE if axis in ("longitude", "latitude") else 1.0)
