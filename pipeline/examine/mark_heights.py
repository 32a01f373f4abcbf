"""How far the marks of each session are from the raw readings on them, and what their heights say together."""

import re
from itertools import pairwise

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.control import Register
from pipeline.examine.register_looks import OddHeight, median, odd_heights
from pipeline.examine.stood_on import Stood
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.intake.base_values import merged
from pipeline.intake.survey import Survey
from pipeline.sessions.attach import base_key, spelling

#: Metres: with another position than before, a base was set up again, and is off by another error.
_ANEW = 1.0
#: Milliseconds between readings of two sessions within which nobody sets a base up at another place and measures on;
#: metres in plan and in height that the marks of both scatter by at most if the base stood still; and metres that a
#: base which averaged its own position is off by at the least: bases over known points are less. Ours, no source.
_NO_GAP, _STILL, _AVERAGED = 1_800_000, (0.03, 0.04), 1.0
#: An id that counts on: whatever stands before its last number, and the number.
_COUNTED = re.compile(r"(.*?)([0-9]+)[^0-9]*")


class Above(Struct, frozen=True):
    """Marks above the raw readings on them, (n,): session, mark, and (n, 3) metres east, north, up.

    NaN stands for what a mark does not hold. ``separation`` is (n,), of the geoid from the ellipsoid, metres. Sessions
    whose exports carry a field shift are left out.
    """

    session: Integers
    mark: Integers
    off: Floats
    separation: Floats

    def odd(self) -> list[OddHeight]:
        """Return the marks whose heights, beside the others' of their sessions, are off by the separation."""
        known = np.isfinite(self.off[:, 2]) & np.isfinite(self.separation)
        return odd_heights(self.session[known], self.mark[known], self.off[known, 2], self.separation[known])


def above_readings(survey: Survey, register: Register, stood: Stood, *, set_up: bool = False) -> Above:
    """Return how far marks lie from the readings on them; with ``set_up`` also from the bases set up over them."""
    session, mark, raw = [stood.session], [stood.mark], [stood.xyz]
    for window in survey.windows if set_up else ():
        setup = window.session.setup
        over = register.find(setup.mark) if setup is not None else None
        if over is not None and np.isfinite(survey.bases.mark[window.index]).all():
            session.append(np.array([window.index]))
            mark.append(np.array([over]))
            raw.append(survey.bases.mark[window.index : window.index + 1])
    return _above(survey, register, np.concatenate(session), np.concatenate(mark), np.concatenate(raw))


def _above(survey: Survey, register: Register, session: Integers, mark: Integers, raw: Floats) -> Above:
    control = survey.job.control
    assert control is not None
    nothing = np.full((len(register.names), 3), np.nan)
    xyz = nothing if survey.operations.register is None else _known(survey, register)
    height = survey.operations.frames.to_geographic.forward(*xyz.T)[2]
    datum = survey.operations.frames.to_issued.forward(*xyz.T)[2] if control.height == "ellipsoid" else register.third
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*raw.T)
    off = np.asarray(geocentric_to_local(xyz[mark] - raw, longitude, latitude)).reshape(-1, 3).copy()
    off[~register.holds_position[mark], :2] = np.nan
    off[~register.holds_height[mark], 2] = np.nan
    plain = np.array([not window.session.field_shifts for window in survey.windows], bool)[session]
    known = plain & np.isfinite(raw).all(axis=1)
    return Above(session[known], mark[known], off[known], (height - datum)[mark[known]])


def _known(survey: Survey, register: Register) -> Floats:
    assert survey.operations.register is not None
    return np.column_stack(survey.operations.register.forward(register.first, register.second, register.third))


class BySession(Struct, frozen=True):
    """What the marks of each session say together, (k,): session, base, (k, 3) metres off, separation.

    ``called`` are the bases by their ids where no position of theirs is known; of two ids in turn one may be ``base``.
    """

    session: Integers
    base: Integers
    called: Integers
    off: Floats
    separation: Floats


def by_session(survey: Survey, above: Above) -> BySession:
    """Return the middle of each session's marks, those left out whose height is off beside the others'."""
    odd = np.isin(above.mark, [one.mark for one in above.odd()])
    rows = [np.flatnonzero((above.session == number) & ~odd) for number in range(len(survey.windows))]
    session = np.array([number for number, own in enumerate(rows) if len(own)], np.int64)
    middles = [middle(np.column_stack([above.off, above.separation])[rows[number]]) for number in session]
    found = np.array(middles, np.float64).reshape(-1, 4)
    called = _bases(survey)[session]
    return BySession(session, _as_one(survey, session, called, found[:, :3]), called, found[:, :3], found[:, 3])


def _as_one(survey: Survey, session: Integers, called: Integers, off: Floats) -> Integers:
    """Return (k,) the bases, those taken for one that follow each other without a gap and are off by one vector.

    A base that is switched on again where it stood may count its id on, and keeps its position. Two that averaged their
    own are never off alike to some centimetres; two over known points are, where the register is in another datum.
    """
    found, known = called.copy(), known_places(survey)[session]
    begin, end = _measured(survey)
    order = [int(row) for row in np.lexsort((begin[session],)) if not known[row]]
    for one, other in pairwise(order):
        gap, by = begin[session[other]] - end[session[one]], off[other] - off[one]
        still = np.hypot(*by[:2]) <= _STILL[0] and abs(by[2]) <= _STILL[1]
        averaged = np.linalg.norm(off[one]) >= _AVERAGED
        first, second = (spelling(survey.windows[session[row]].base) for row in (one, other))
        if 0 <= gap <= _NO_GAP and still and averaged and _counts_on(first, second):
            found[found == found[other]] = found[one]
    return found


def _counts_on(one: str, other: str) -> bool:
    """Tell whether the second id of a base is the first with its number counted on by one: BASE-1, BASE-2."""
    before, after = _COUNTED.fullmatch(one), _COUNTED.fullmatch(other)
    if before is None or after is None:
        return False
    return before[1] == after[1] and int(after[2]) == int(before[2]) + 1


def _measured(survey: Survey) -> tuple[Integers, Integers]:
    """Return (S,) UTC milliseconds of the first and the last reading of each session, occupations among them."""
    begin, end = survey.first_pass.first_point.copy(), survey.first_pass.last_point.copy()
    np.minimum.at(begin, survey.candidates.session, survey.candidates.time)
    np.maximum.at(end, survey.candidates.session, survey.candidates.time)
    return begin, end


def middle(values: Floats) -> list[float]:
    """Return the median of the numbers of each column of ``values`` (n, c), NaN where it has none."""
    known = [column[np.isfinite(column)] for column in values.T]
    return [median(column) if len(column) else np.nan for column in known]


def _bases(survey: Survey) -> Integers:
    """Return (S,) a number per base: its position as broadcast or over its mark, and its id where none is known.

    One that is set up again at the coordinates that it had has the error that it had, whatever it is called.
    """
    found: Integers = np.arange(len(survey.windows))
    for places in (survey.bases.receiver, survey.bases.mark):
        known = np.flatnonzero(np.isfinite(places).all(axis=1))
        for group in merged(places[known], _ANEW):
            found[np.isin(found, found[known[group]])] = found[known[group[0]]]
    called: dict[str | None, int] = {}
    for number in np.flatnonzero(~known_places(survey)).tolist():
        base = survey.windows[number].base
        found[number] = found[called.setdefault(spelling(base) or base_key(base), number)]
    return found


def known_places(survey: Survey) -> Flags:
    """Return (S,) of which sessions it is known where the base said that it stood."""
    return np.asarray(np.isfinite(survey.bases.receiver).all(axis=1))


def odd_height_words(one: OddHeight, register: Register, ellipsoidal: bool, most: int) -> str:
    """Say of a mark that its height looks like that of another height system beside others."""
    agree = ", ".join(register.names[other] for other in one.against[:most])
    return (
        f"mark '{register.names[one.mark]}' is {abs(one.off):.3f} m {'higher' if one.off > 0 else 'lower'} than the"
        f" readings place it relative to {agree}, and the geoid separation is {one.separation:+.3f} m: its height looks"
        f" like {looks(one.sign, ellipsoidal)}"
    )


def looks(sign: int, ellipsoidal: bool) -> str:
    """Say what a height looks like that is above (1) or below (-1) its place by the separation."""
    if ellipsoidal:
        return "a height above a datum, not an ellipsoidal one" if sign < 0 else "one with the separation added twice"
    return "an ellipsoidal one" if sign > 0 else "one with the separation subtracted twice"
