"""The readings of strings, gathered while the second pass runs: what their codes say, and what became of them.

What is kept is arrays of numbers, and the names; of jobs without linework nothing is.
"""

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.codes.writing import Writing
from pipeline.draft.second_pass import Drafted, Drafter, within
from pipeline.intake.code_log import FIRST, CodeSeen
from pipeline.tables import milliseconds
from pipeline.words import Reason, reason_code

#: Instead of the place of its code: a reading that is issued for others of a string, and one that nobody can read.
STANDS_FOR_OTHERS, NOT_READ = -1, -2
#: Codes with words of strings that are none of strings, and are kept.
_MISREAD = 200
#: Codes that are none of strings, of which that is kept.
_TEXTS = 100_000


class StringRows(Struct, frozen=True):
    """Readings of strings, (k,) in the order of the exports.

    Args:
        number: of the row in the job, ascending.
        code: the place of its code among the job's strings, or one of the two above.
        label: which of ``labels`` its number is, "" being none.
        says: what the words behind its code say, as `codes.writing.Says`; ``word`` which of ``words`` says nothing.
        time: UTC milliseconds, -1 for none.
        session: index of its session, -1 for none.
        export: number of its export; ``source_row`` its row there.
        held: why it is held back, 0 for not.
        on_mark: whether it is an occupation of a mark.
        proof: code of its proof word.
        values: (k, 5) easting, northing, height as issued, and 95 % uncertainties of position and height.
        names: as issued.
    """

    number: Integers
    code: Integers
    label: Integers
    says: Integers
    word: Integers
    time: Integers
    session: Integers
    export: Integers
    source_row: Integers
    held: NDArray[np.uint8]
    on_mark: Flags
    proof: NDArray[np.uint8]
    values: Floats
    names: pa.Array
    labels: tuple[str, ...]
    words: tuple[str, ...]


class Gathered(Struct):
    """Gathers them, batch by batch, with codes that seem to be meant for strings and are not."""

    drafter: Drafter
    writing: Writing
    misread: dict[str, CodeSeen] = field(default_factory=dict)
    _columns: dict[str, list[NDArray[Any]]] = field(default_factory=dict)
    _names: list[pa.Array] = field(default_factory=list)
    _labels: dict[str, int] = field(default_factory=lambda: {"": 0})
    _texts: dict[str, int] = field(default_factory=dict)
    _words: dict[str, int] = field(default_factory=lambda: {"": 0})
    _said: list[tuple[int, int, int, int]] = field(default_factory=list)
    _table: Integers = field(default_factory=lambda: np.zeros((0, 4), np.int64))

    @classmethod
    def of(cls, drafter: Drafter) -> "Gathered | None":
        """Return one that has gathered nothing yet; None where the job has no linework."""
        writing = drafter.survey.prepared.writing
        return None if writing is None else cls(drafter, writing)

    def take(self, drafted: Drafted) -> None:
        """Take the readings of strings in a batch."""
        batch, start, count = drafted.batch, drafted.start, len(drafted.held)
        coded = pc.dictionary_encode(batch.column("code"))
        texts = coded.dictionary.to_pylist()
        indices = np.asarray(pc.fill_null(coded.indices, len(texts)), np.int64)
        ids = [*map(self._text, texts), -1]
        of_row = np.array(ids, np.int64)[indices]
        self._note_misread([(place, text) for place, text in enumerate(texts) if ids[place] < 0], indices, drafted)
        not_read = (indices == len(texts)) & (drafted.held == reason_code(Reason.UNREADABLE))
        stands = within(self.drafter.merged.by, start, count)
        rows = np.flatnonzero((of_row >= 0) | not_read | stands)
        if not len(rows):
            return
        if len(self._table) != len(self._said) + 1:
            self._table = np.array([*self._said, (STANDS_FOR_OTHERS, 0, 0, 0)], np.int64)
        said = self._table[of_row[rows]]
        said[not_read[rows], 0] = NOT_READ
        found, names = (
            drafted.corrected,
            self.drafter.names.names(pc.take(batch.column("name"), pa.array(rows)), rows + start),
        )
        columns: dict[str, NDArray[Any]] = {
            "number": rows + start,
            "code": said[:, 0],
            "label": said[:, 1],
            "says": said[:, 2],
            "word": said[:, 3],
            "time": milliseconds(batch)[rows],
            "session": drafted.session[rows].astype(np.int64),
            "export": np.full(len(rows), drafted.number),
            "source_row": np.asarray(batch.column("source_row"), np.int64)[rows],
            "held": drafted.held[rows],
            "on_mark": drafted.on_mark[rows],
            "proof": drafted.proof[rows],
            "values": np.column_stack(
                [values[rows] for values in (found.easting, found.northing, found.height, found.hu95, found.vu95)]
            ),
        }
        for name, values in columns.items():
            self._columns.setdefault(name, []).append(values)
        self._names.append(names)

    def _text(self, text: str) -> int:
        """Return the number of what a code says, -1 where it is none of strings."""
        found = self._texts.get(text)
        if found is None:
            said, found = self.writing.read(text), -1
            if said is not None:
                label = self._labels.setdefault(said.number, len(self._labels))
                found = len(self._said)
                word = self._words.setdefault(said.unknown, len(self._words))
                self._said.append((said.code, label, int(said.says), word))
            if found >= 0 or len(self._texts) < _TEXTS:
                self._texts[text] = found
        return found

    def _note_misread(self, others: list[tuple[int, str]], indices: Integers, drafted: Drafted) -> None:
        """Count readings whose code is none of strings and has a word of theirs."""
        for place, text in others:
            if text not in self.misread and (len(self.misread) >= _MISREAD or self.writing.word_in(text) is None):
                continue
            rows = np.flatnonzero(indices == place)
            seen = self.misread.setdefault(text, CodeSeen())
            seen.readings += len(rows)
            some = np.asarray(drafted.batch.column("source_row"), np.int64)[rows[: FIRST - len(seen.first)]]
            seen.first += [(drafted.number, row) for row in some.tolist()]

    def rows(self) -> StringRows:
        """Return what was gathered."""
        whole: dict[str, Any] = {name: np.concatenate(pieces) for name, pieces in self._columns.items()}
        if not whole:
            empty, flags = np.zeros(0, np.int64), np.zeros(0, np.uint8)
            counts = ("number", "code", "label", "says", "word", "time", "session", "export", "source_row")
            whole = dict.fromkeys(counts, empty)
            whole |= {"held": flags, "proof": flags, "on_mark": flags.astype(bool), "values": np.zeros((0, 5))}
        names = pa.concat_arrays(self._names) if self._names else pa.array([], pa.string())
        return StringRows(names=names, labels=tuple(self._labels), words=tuple(self._words), **whole)
