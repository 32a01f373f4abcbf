"""What the code of a reading says of strings: which code, which number, and whether a string starts, ends or closes.

All words are the job's own. Spellings are compared in small letters and one Unicode form.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from enum import IntFlag

from msgspec import Struct

from pipeline.codes.table import AREA, LINES, CodeTable
from pipeline.job.key_lines import Where
from pipeline.job.model import Linework
from pipeline.near import plain
from pipeline.problems import Problems
from pipeline.replace import replace

_NUMBER = re.compile(r"(.*[^0-9])([0-9]+)", re.DOTALL)
#: Spellings whose meaning is kept.
_KEPT = 100_000
#: Words behind a code without a separator: more than these say nothing that can be meant.
_WORDS = 3


class Says(IntFlag):
    """What the words behind a code say."""

    NOTHING = 0
    START = 1
    END = 2
    CLOSE = 4
    UNKNOWN = 8


class String(Struct, frozen=True):
    """A code of strings, as the job writes it, with what it stands for; ``area`` says that its end closes a string."""

    code: str
    description: str
    area: bool


class Said(Struct, frozen=True):
    """What the code of a reading of a string says: the place of its code among all, its number, "" for none, and words.

    ``unknown`` is the first word that says nothing.
    """

    code: int
    number: str
    says: Says
    unknown: str = ""


class Writing:
    """How strings are written in a job: reads codes, each spelling once."""

    def __init__(self, linework: Linework, strings: Sequence[String]) -> None:
        self.strings = tuple(strings)
        self._separator = linework.separator if not linework.separator.isspace() else " "
        self._number, self._remarks = linework.number, linework.remarks
        keys = ((Says.START, linework.start), (Says.END, linework.end), (Says.CLOSE, linework.close))
        self._words: Mapping[str, Says] = {plain(word): says for says, words in keys for word in words}
        self._places = {self._joined(self._parts(one.code)): place for place, one in enumerate(strings)}
        self._longest = max((len(self._parts(one.code)) for one in strings), default=0)
        self._known: dict[str, Said | None] = {}

    def read(self, text: str) -> Said | None:
        """Return what a code says; None where it is none of strings."""
        if text in self._known:
            return self._known[text]
        found = next(self._readings(text), None)
        if len(self._known) < _KEPT:
            self._known[text] = found
        return found

    def named(self, text: str) -> str:
        """Return the code that a text stands for: that of a string without number and words, else the text."""
        found = self.read(text)
        return self.strings[found.code].code if found is not None else text

    def word_in(self, text: str) -> str | None:
        """Return the first word for a start, an end or a closing in a code that is none of strings; None for none."""
        if not self._separator or self.read(text) is not None:
            return None
        return next((word for word in self._parts(text)[1:] if word in self._words), None)

    def unclear(self) -> Iterator[tuple[str, str]]:
        """Yield codes of strings that could be read in another way too, each with the code by which."""
        for one in self.strings:
            for other in list(self._readings(one.code))[1:]:
                if (other.number or other.says) and not other.says & Says.UNKNOWN:
                    yield one.code, self.strings[other.code].code

    def _readings(self, text: str) -> Iterator[Said]:
        """Yield the ways in which a code can be read, the one to be taken first: as much of it as can be is code."""
        if not self._separator:
            yield from self._without(plain(text), _WORDS)
            return
        parts = self._parts(text)
        for count in range(min(self._longest, len(parts)), 0, -1):
            for found in self._plainly(self._joined(parts[:count])):
                yield self._with(found, parts[count:])

    def _without(self, text: str, most: int) -> Iterator[Said]:
        """Yield the ways in which a code without separators can be read, words taken off its end."""
        yield from self._plainly(text)
        for word in self._words if most else ():
            if text.endswith(word) and len(text) > len(word):
                for found in self._without(text[: -len(word)].rstrip(), most - 1):
                    yield replace(found, says=found.says | self._words[word])

    def _plainly(self, head: str) -> Iterator[Said]:
        """Yield what a text is as a code, and as a code with its number behind."""
        if head in self._places:
            yield Said(self._places[head], "", Says.NOTHING)
        if self._number == "behind" and (parted := _NUMBER.fullmatch(head)) and parted[1] in self._places:
            yield Said(self._places[parted[1]], _number(parted[2]), Says.NOTHING)

    def _with(self, found: Said, words: Sequence[str]) -> Said:
        says, number, unknown = found.says, found.number, ""
        for word in words:
            if word in self._words:
                says |= self._words[word]
            elif self._number == "word" and not number and word.isascii() and word.isdigit():
                number = _number(word)
            elif not self._remarks:
                says |= Says.UNKNOWN
                unknown = unknown or word
        return Said(found.code, number, says, unknown)

    def _parts(self, text: str) -> list[str]:
        parts = plain(text).split(self._separator) if self._separator else [plain(text)]
        return [part.strip() for part in parts if part.strip()]

    def _joined(self, parts: Sequence[str]) -> str:
        return (self._separator or "").join(parts)


def _number(figures: str) -> str:
    """Return a string's number without leading zeros: 01 is 1."""
    return figures.lstrip("0") or "0"


def writing_of(
    linework: Linework, table: CodeTable | None, checks: Sequence[str], where: Where, problems: Problems
) -> Writing | None:
    """Return how strings are written in a job; None where something is wrong with it, which is noted.

    ``checks`` are the codes of checks; ``where`` gives the line of a key of ``[linework]``.
    """
    before = len(problems.found)
    rows = {plain(row.code): row for row in table.codes} if table is not None else {}
    strings = []
    for position, code in enumerate(linework.codes):
        row = rows.pop(plain(code), None)
        if row is not None and row.kind not in ("", *LINES):
            what = f"the code '{code}' is a string code here, but a {row.kind} in"
            told = f"{what} {table.shown if table else ''}:{row.line}"
            problems.add(*where("codes", position), told, "state it once")
        called = row.code if row is not None else code
        strings.append(String(called, row.description if row else "", row is not None and row.kind == AREA))
    strings += [String(row.code, row.description, row.kind == AREA) for row in rows.values() if row.kind in LINES]
    if not strings and table is not None:
        fix = f"name them in codes, or write kind = line in {table.shown}"
        problems.add(*where("codes"), "no code is defined as a string code, here or in the table of codes", fix)
    of_checks = {plain(code) for code in checks}
    for one in strings:
        if plain(one.code) in of_checks:
            what = f"the code '{one.code}' is both a string code and a check code"
            problems.add(*where("codes"), what, "a check is on a mark: take it out of checks.codes or of the strings")
    found = Writing(linework, strings)
    for code, other in found.unclear():
        what = f"the code '{code}' can be read as the code '{other}' with a number or a word behind it"
        problems.add(*where("codes"), what, "give strings another separator, other words, or their number as a word")
    return found if len(problems.found) == before else None
