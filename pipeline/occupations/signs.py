"""Recognises occupations of marks: readings that a session names, or that their code or name identifies."""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.letter_case import folded, one_form
from pipeline.occupations.check_words import IN_CHECK_WORDS, holds_check
from pipeline.occupations.name_words import DATE, OCCASION, of_occasion, shape_patterns
from pipeline.occupations.telling_names import TellingNames
from pipeline.tables import flags_of, folded_column, has_text


@dataclass(frozen=True)
class Wanted:
    """What marks a reading as a candidate: name, code (as `folded`), a word for a check, or its ``mark`` column.

    ``marks`` are those of the register, which a name may be like.
    """

    names: pa.Array
    codes: pa.Array
    marks: "MarkNames"

    @classmethod
    def of(cls, names: Iterable[str], codes: Iterable[str], marks: Iterable[str] = ()) -> "Wanted":
        """Gather the point names of every tie and check, ``checks.codes``, and the names of the marks."""
        return cls(
            pa.array(sorted(set(names)), pa.string()),
            pa.array(sorted(set(map(folded, codes))), pa.string()),
            MarkNames.of(marks),
        )

    def signs(self, batch: pa.RecordBatch) -> "Signs":
        """Return what the readings of a batch say of themselves."""
        names, column = batch.column("name"), batch.column("code")
        # an export has few different codes: each is looked at once
        coding = pc.dictionary_encode(column, null_encoding="encode")
        codes, of_row = coding.dictionary, np.asarray(coding.indices)
        coded = flags_of(self.has_code(codes))[of_row]
        said = coded | has_text(batch.column("mark")) | holds_check(codes, codes=True)[of_row]
        telling, named = self.telling.rows(names), np.zeros(len(names), bool)
        some = names.take(pa.array(telling))
        named[telling] = flags_of(pc.is_in(some, value_set=self.names))
        said[telling] |= named[telling] | holds_check(some, codes=False) | self.marks.among(some)
        return Signs(named, coded, said, telling)

    @cached_property
    def telling(self) -> TellingNames:
        """What names are worth a closer look, of those behind the first pass too: by shape, and dates."""
        patterns = (*IN_CHECK_WORDS, self.marks.stems, _TOLD, *shape_patterns(self.names.to_pylist()).values(), DATE)
        return TellingNames.of([self.names, self.marks.whole], patterns)

    def stated(self, table: pa.Table) -> tuple[list[bool], list[str]]:
        """Return what candidates say: whether they have a check's code, and their ``mark`` column without blanks."""
        columns = [one_form((column or "").strip()) for column in table.column("mark").to_pylist()]
        return self.has_code(table.column("code")).to_pylist(), columns

    def has_code(self, codes: pa.Array) -> pa.Array:
        """Return which codes are among ``checks.codes``, upper and lower case alike."""
        return pc.is_in(folded_column(codes), value_set=self.codes)


class Signs(Struct, frozen=True):
    """Which readings of a batch, (n,) each, have the name of a tie or check, a check's code, and are candidates.

    ``telling`` (k,) are the rows of names that are worth a closer look, ascending: no other can be like a mark's, have
    the shape of a listed name, or be a date.
    """

    named: Flags
    coded: Flags
    candidate: Flags
    telling: Integers


#: What may follow a mark's name in the name of a point that occupies it: CM3-AM, CM3_2, "CM3 closing".
_SEPARATOR = re.compile(r"[-_. /:]")


def said_mark(name: str | None, mark_column: str | None, marks: Iterable[str]) -> str | None:
    """Return the register mark that a reading says it stands on, or None.

    Its ``mark`` column decides where it names a mark of the register; otherwise its name, where that is a mark's or
    starts with one, followed by a separator (the longest such name, so that CM1-2 is not taken for CM1).
    """
    known = {one_form(mark): mark for mark in marks}
    said, name = one_form((mark_column or "").strip()), one_form((name or "").strip())
    if said and said in known:
        return known[said]
    if name in known:
        return known[name]
    fitting = [mark for mark in known if name.startswith(mark) and _SEPARATOR.match(name[len(mark) :])]
    return known[max(fitting, key=len)] if fitting else None


#: What a surveyor writes beside the name of a mark that is occupied once more: a letter, am or pm, a word, or, parted
#: from it, a short number. What follows at once as a digit makes another name: KP21 is no KP2.
_WORDS = "am|pm|chk|check|open|opening|close|closing|start|end|again"
_BEHIND = rf"^(?:[-_. /:]+[0-9a-z]{{1,2}}|[-_. /:]*(?:[a-z]|{_WORDS}))?$"
#: What some write between the letters of a mark's name and its number, and others leave out.
_GAP = r"([a-z])[-_. ]*0*([1-9])"
#: Characters of a mark's name that is known with something written beside it.
_LONGEST = 60
#: Beginnings of marks' names that a pattern is made of; of more it would cost more than looking at every name.
_MOST_STEMS, _ANYTHING = 2_000, "(?s)."
#: Digits of the widest number with leading zeros.
_WIDEST = 6
_BEFORE = rf"^(?:{_WORDS})?[-_. /:]*$"
#: What else may stand behind or before a mark's name that is known so, or a word for an occasion beside any other.
_AFTER, _AHEAD = rf"^(?:[^0-9a-z]|{OCCASION}[0-9]*$)", r"[^0-9a-z]$"
_TOLD = rf"(?:^|[^a-z]){OCCASION}(?:$|[^a-z])"


@dataclass(frozen=True)
class MarkNames:
    """Names of marks, for telling which points are named after one; upper and lower case are alike, CM2, CM-2, CM 02.

    A name with a letter and a digit in it, or of four letters, is known with something written before or behind it
    (``by_length``); a shorter one, a very long one or a plain number only as it stands: points are numbered too.
    ``stems`` is a pattern of what every name that is like such a mark's contains: it tells quickly which to look at.
    """

    spelled: dict[str, str]
    stems: str
    whole: pa.Array
    by_length: dict[int, pa.Array]

    @classmethod
    def of(cls, marks: Iterable[str]) -> "MarkNames":
        """Arrange the names of marks; those of one register are arranged once."""
        return _arranged(tuple(marks))

    @classmethod
    def arranged(cls, marks: Sequence[str]) -> "MarkNames":
        """Arrange the names of marks afresh."""
        spelled = {_plain(mark): mark for mark in reversed(marks)} | {folded(mark): mark for mark in marks}
        spelled = {**_with_other_zeros(marks), **spelled}
        lengths: dict[int, list[str]] = {}
        stems = set()
        for name in filter(_distinct, spelled):
            if len(name) > _LONGEST:
                continue
            lengths.setdefault(len(name), []).append(name)
            stems.add(_stem(name))
        return cls(
            spelled,
            "|".join(sorted(map(re.escape, stems))) if len(stems) <= _MOST_STEMS else _ANYTHING,
            pa.array(list(spelled), pa.string()),
            {length: pa.array(names, pa.string()) for length, names in sorted(lengths.items(), reverse=True)},
        )

    def among(self, names: pa.Array) -> Flags:
        """Return (n,) which names are like a mark's."""
        if not self.spelled:
            return np.zeros(len(names), bool)
        lower = folded_column(names)
        found = flags_of(pc.is_in(lower, value_set=self.whole))
        if self.stems:
            likely = np.flatnonzero(flags_of(pc.match_substring_regex(lower, self.stems)))
            if len(likely):
                found[likely] = self._gapped(lower.take(pa.array(likely)))
        return found

    def _gapped(self, lower: pa.Array) -> Flags:
        found = self._among(lower)
        plain = pc.replace_substring_regex(lower, _GAP, r"\1\2")
        other = np.flatnonzero(flags_of(pc.not_equal(plain, lower)) & ~found)
        found[other] = self._among(plain.take(pa.array(other)))
        return found

    def _among(self, lower: pa.Array) -> Flags:
        found = flags_of(pc.is_in(lower, value_set=self.whole))
        for length, marks in self.by_length.items():
            for part, rest, pattern in (
                (pc.utf8_slice_codeunits(lower, 0, length), slice(length, None), _BEHIND),
                (pc.utf8_slice_codeunits(lower, -length), slice(0, -length), _BEFORE),
            ):
                rows = np.flatnonzero(flags_of(pc.is_in(part, value_set=marks)) & ~found)
                left = pc.utf8_slice_codeunits(lower.take(pa.array(rows)), rest.start, rest.stop)
                found[rows] = flags_of(pc.match_substring_regex(left, pattern))
        return found

    def like(self, name: str | None) -> str | None:
        """Return the mark that a name is like, the longest of several; None where it is like none."""
        lower = folded(name)
        return self._like(lower) or self._like(_plain(lower))

    def further(self, names: pa.Array, but: Collection[str] = (), told: bool = False) -> Flags:
        """Return (n,) which names may be those that `bearing` tells the mark of.

        Of marks in ``but``, and of all if ``told``, only those with a word for an occasion.
        """
        found = np.zeros(len(names), bool)
        if not self.spelled:
            return found
        lower = folded_column(names)
        occasion = flags_of(pc.match_substring_regex(lower, _TOLD))
        said = occasion.copy()
        if self.stems and not told:
            said |= flags_of(pc.match_substring_regex(lower, self.stems)) & flags_of(
                pc.match_substring_regex(lower, "[^0-9a-z]")
            )
        likely = np.flatnonzero(said)
        if not len(likely):
            return found
        some, but_of = lower.take(pa.array(likely)), pa.array(sorted({*but, *map(_plain, but)}), pa.string())
        for texts in (some, pc.replace_substring_regex(some, _GAP, r"\1\2")):
            for length, marks in self._lengths.items():
                for part, left, pattern in (
                    (pc.utf8_slice_codeunits(texts, 0, length), pc.utf8_slice_codeunits(texts, length), _AFTER),
                    (pc.utf8_slice_codeunits(texts, -length), pc.utf8_slice_codeunits(texts, 0, -length), _AHEAD),
                ):
                    known = flags_of(pc.is_in(part, value_set=marks))
                    if but:
                        known &= occasion[likely] | ~flags_of(pc.is_in(part, value_set=but_of))
                    rows = np.flatnonzero(known)
                    beside = pc.match_substring_regex(left.take(pa.array(rows)), pattern)
                    found[likely[rows]] |= flags_of(beside)
        return found

    def named(self, name: str | None, mark: str) -> bool:
        """Tell whether a name is like a mark's, or bears it."""
        return self.like(name) == mark or (self.bearing(name) or ("", ""))[0] == mark

    @cached_property
    def _lengths(self) -> dict[int, pa.Array]:
        """Return the names of all marks by length, the longest first."""
        length = pc.utf8_length(self.whole)
        every = sorted((one for one in pc.unique(length).to_pylist() if one and one <= _LONGEST), reverse=True)
        return {one: self.whole.filter(pc.equal(length, one)) for one in every}

    def bearing(self, name: str | None) -> tuple[str, str] | None:
        """Return the mark that a name begins or ends with, the longest of several, and what else is in it.

        What is not `_distinct` has to stand beside a word for an occasion: points are numbered and called A, too.
        """
        lower = folded(name)
        for text in dict.fromkeys((lower, _plain(lower))):
            for length in range(min(len(text) - 1, _LONGEST), 0, -1):
                for mark, beside, edge in (
                    (text[:length], text[length:], text[length]),
                    (text[-length:], text[:-length], text[-length - 1]),
                ):
                    if mark not in self.spelled:
                        continue
                    parted, told = not edge.isalnum(), of_occasion(beside)
                    if _distinct(mark):
                        if parted or (told and mark[-1].isdigit() and text.startswith(mark)):
                            return self.spelled[mark], beside
                    elif parted and told:
                        return self.spelled[mark], beside
        return None

    def plainly(self, name: str | None) -> bool:
        """Tell whether a name is a mark's and no more than a word beside it; not a plain number or a single letter."""
        plain = _plain(name or "")
        mark = _plain(self.like(name) or "")
        beside = plain.replace(mark, "", 1).strip("-_. /:")
        return _distinct(mark) and (not beside or re.fullmatch(_WORDS, beside) is not None)

    def _like(self, lower: str) -> str | None:
        if lower in self.spelled:
            return self.spelled[lower]
        for length in self.by_length:
            start, end = lower[:length], lower[-length:]
            if start in self.spelled and _distinct(start) and re.match(_BEHIND, lower[length:]):
                return self.spelled[start]
            if end in self.spelled and _distinct(end) and re.match(_BEFORE, lower[:-length]):
                return self.spelled[end]
        return None


def _with_other_zeros(marks: Sequence[str]) -> dict[str, str]:
    """Return marks called by a number as they are written with more or fewer leading zeros: spreadsheets drop them.

    Not where two marks are one number, which nobody tells apart then.
    """
    numbers = [mark for mark in marks if re.fullmatch("[0-9]+", mark) and mark.strip("0")]
    once = Counter(mark.lstrip("0") for mark in numbers)
    if len(numbers) > _MOST_STEMS:
        return {}
    return {
        mark.lstrip("0").zfill(width): mark
        for mark in numbers
        if once[mark.lstrip("0")] == 1
        for width in range(1, _WIDEST + 1)
    }


@lru_cache(maxsize=2)
def _arranged(marks: tuple[str, ...]) -> MarkNames:
    return MarkNames.arranged(marks)


def _plain(name: str) -> str:
    """Return a name without what only sets its number apart from its letters."""
    return re.sub(_GAP, r"\1\2", folded(name))


def _stem(name: str) -> str:
    """Return what of a mark's name every name contains that is like it: all before the first gap there may be."""
    found = re.search(_GAP, name)
    return name[: found.start() + 1] if found else name


def _distinct(name: str) -> bool:
    """Tell whether a mark's name is known with something written beside it."""
    letters = sum(character.isalpha() for character in name)
    return letters >= 4 or (letters > 0 and any(character.isdigit() for character in name))
