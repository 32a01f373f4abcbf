"""Finds the sessions of the readings that went into each mean, from the passing pairs of the layer ``repeats``."""

from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.tables import TIME
from pipeline.words import REASONS_OF_PROOF, Reason

#: The columns of ``repeats`` that say which readings are of one point.
PAIRS = ("name", "session_a", "observed_a", "session_b", "observed_b", "passed")
#: What is held back for one of these is compared with other readings of its point, and is in no mean all the same.
_COMPARED = pa.array([str(one) for one in REASONS_OF_PROOF])
_TAKEN = pa.array([str(Reason.DUPLICATE)])

#: What is kept of a row that a pair names: keys of session and time, of these with its name, and with that name bare.
_ROWS = pa.schema({"moment": pa.uint64(), "named": pa.uint64(), "plain": pa.uint64(), "session": pa.string(),
                   "aside": pa.bool_()})  # fmt: skip

_Keys = NDArray[np.uint64]


class Formed:
    """The sessions that the means of one issue hang on.

    A mean is of the readings of a point that agree, one by one, and that nothing else holds back: one of them is the
    point, the others are held back as duplicates. A pair names its readings by session and time, and by the name of the
    earlier; where several of a session have one time, that name tells which is meant, also if the point was told apart
    by a number. Where none has the name, all of them count.

    Args:
        pairs: the issue's rows of ``repeats``, with the columns `PAIRS` at least.
    """

    def __init__(self, pairs: pa.Table) -> None:
        passed = pairs.filter(pairs.column("passed"))
        ends = [_moments(*(_whole(passed, f"{of}_{end}") for of in ("session", "observed"))) for end in "ab"]
        self._moment = np.concatenate(ends)
        self._wanted = np.unique(self._moment)
        self._named = mixed_with(self._moment, np.tile(text_hashes(_whole(passed, "name")), 2))
        self._found: list[pa.Table] = []

    def add(self, rows: pa.RecordBatch, held: bool) -> None:
        """Take in rows of ``points`` or of ``held_back``, with name, session, time and, where held, the reason."""
        if held:
            rows = rows.filter(pc.is_in(rows.column("reason").cast(pa.string()), pa.concat_arrays([_TAKEN, _COMPARED])))
        session = rows.column("session").cast(pa.string())
        moment = _moments(session, rows.column("observed"))
        here = _places(moment, self._wanted) >= 0
        if not here.any():
            return
        aside = pc.is_in(rows.column("reason").cast(pa.string()), _COMPARED) if held else np.zeros(len(here), bool)
        names = rows.column("name")
        keys = (moment, *(mixed_with(moment, text_hashes(each)) for each in (names, names if held else bare(names))))
        columns = [*map(pa.array, keys), session, pa.array(aside)]
        self._found.append(pa.Table.from_arrays(columns, schema=_ROWS).filter(pa.array(here)))

    def sessions(self, points: pa.Table) -> tuple[Integers, pa.Array]:
        """Return which of some rows (n,) are in a mean, once per session of a reading in each, and those sessions.

        Call it once all rows of the issue are there.
        """
        known = self._readings
        moment = _moments(_whole(points, "session").cast(pa.string()), _whole(points, "observed"))
        number = _places(mixed_with(moment, text_hashes(_whole(points, "name"))), known.named)
        here = np.flatnonzero(number >= 0)
        wanted = pa.table({"mean": pa.array(known.mean[number[here]]), "at": pa.array(here)})
        formed = pa.table({"mean": pa.array(known.mean), "session": known.session})
        both = wanted.filter(pc.greater_equal(wanted.column("mean"), 0)).join(formed, "mean", join_type="inner")
        return np.asarray(both.column("at"), np.int64), pa.concat_arrays(
            [pa.array([], pa.string()), *both.column("session").chunks]
        )

    @cached_property
    def _readings(self) -> "_Readings":
        """Return the readings that passing pairs name."""
        whole = pa.concat_tables([_ROWS.empty_table(), *self._found])
        named, aside = np.asarray(whole.column("named")), np.asarray(whole.column("aside"))
        apart = ~np.isin(named, named[aside])
        named, first = np.unique(named[apart], return_index=True)
        moment, plain = (np.asarray(whole.column(name))[apart][first] for name in ("moment", "plain"))
        session = _whole(whole, "session").filter(pa.array(apart)).take(pa.array(first))
        return _Readings(named, session, self._means(named, plain, moment))

    def _means(self, named: _Keys, plain: _Keys, moment: _Keys) -> Integers:
        """Return (k,) which mean each reading is in, by the number of one of them; -1 where it is in none."""
        end, reading = _all_places(self._named, np.concatenate([named, plain]))
        reading %= max(len(named), 1)
        left = np.setdiff1d(np.arange(len(self._moment)), end)
        at, more = _all_places(self._moment[left], moment)
        end, reading = np.concatenate([end, left[at]]), np.concatenate([reading, more])
        count = len(self._moment) // 2
        both = np.isin(np.arange(count), end) & np.isin(np.arange(count) + count, end)
        pair = end % max(count, 1)
        pair, reading = pair[both[pair]], reading[both[pair]]
        mean = np.arange(len(named))
        while True:
            least = np.full(count, len(named))
            np.minimum.at(least, pair, mean[reading])
            joined = mean.copy()
            np.minimum.at(joined, reading, least[pair])
            if (joined == mean).all():
                break
            mean = joined
        alone: Flags = np.ones(len(named), bool)
        alone[reading] = False
        mean[alone] = -1
        return mean


class _Readings(Struct, frozen=True):
    """Readings that passing pairs name, (k,) each: key, ascending, session, and which mean each is in, -1 for none."""

    named: _Keys
    session: pa.Array
    mean: Integers


def bare(names: pa.Array) -> pa.Array:
    """Return names of points without the numbers that told them apart, or may have: A1_3 may be one of the field."""
    return pc.replace_substring_regex(names, r"_(?:[2-9]|[1-9]\d+)b*$", "")


def _all_places(wanted: _Keys, keys: _Keys) -> tuple[Integers, Integers]:
    """Return which of some keys are among others, once for each place where one stands, and those places."""
    order = np.argsort(keys, kind="stable")
    first, last = (np.searchsorted(keys[order], wanted, side=side) for side in ("left", "right"))
    count = last - first
    of = np.repeat(np.arange(len(wanted)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    return of, order[first[of] + within]


def _places(wanted: _Keys, keys: _Keys) -> Integers:
    """Return where each key stands among others, which ascend; -1 where it does not."""
    if not len(keys):
        return np.full(len(wanted), -1)
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[at] == wanted, at, -1)


def _moments(session: pa.Array, observed: pa.Array) -> _Keys:
    """Return (n,) keys of sessions and times."""
    time = observed.cast(TIME).cast(pa.int64())
    return mixed_with(text_hashes(session), np.asarray(pc.fill_null(time, 0), np.int64))


def _whole(table: pa.Table, name: str) -> pa.Array:
    """Return a column in one piece."""
    column = table.column(name)
    return pa.concat_arrays([pa.array([], column.type), *column.chunks])
