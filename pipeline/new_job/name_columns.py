"""Finds the columns with the names of points and marks: those that exports and register share, not row counters."""

import re
from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.letter_case import folded
from pipeline.near import listed
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import register_of, sample_of
from pipeline.new_job.headings import rank, words_compared
from pipeline.new_job.look import ROWS
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.mapped import plainest
from pipeline.new_job.spread import from_their_middle
from pipeline.new_job.values import given, numbers_of, words
from pipeline.read.findings import Unusable

#: Rows of a register and of an export whose names are compared.
_MARKS, _READINGS = 50_000, 20_000
#: What may hold names by our words: all else that is mapped holds something else.
_NAMES = ("name", "mark", "code")
#: The share of rows that have a name of their own, at least, in a column of names, and that are filled at all.
_OWN = 0.8
#: How much wider than the count of its rows the span of a counter may be: rows are taken out of exports.
_SPAN = 1.25
#: Metres within which rows of one name lie that are of one mark, however far off a base says that it is. No source.
_ONE_PLACE = 5.0
#: Words of headings, besides those of codes, under which registers say something of marks that is no name.
_SAYS_OF_MARKS = re.compile(
    r"code|type|kind|order|class|category|condition|state|surveyor|observer|owner|material|layer|zone|sheet"
    r"|typ|art|ordnung|klasse|zustand|beobachter|ordre|classe|etat|orden|clase|estado|ordem|ordine|stato"
)
#: Marks that a sentence lists.
_LISTED = 3


class Named(Struct, frozen=True):
    """A file with the columns that may hold names: their texts, and which of them count the rows."""

    found: FileFound
    columns: Mapping[str, Sequence[str]]

    @classmethod
    def of(cls, found: FileFound, most: int) -> "Named":
        """Look at a file, at so many of its rows."""
        look, taken = found.look, found.mapped.columns
        texts: Mapping[str, Sequence[str]] = look.columns
        if len(next(iter(texts.values()), ())) >= ROWS:
            try:
                texts, _ = whole(look, most)
            except (Unusable, OSError):
                texts = look.columns
        other = {name for word, name in taken.items() if word not in _NAMES}
        free = [name for name in look.names if name not in other and name not in look.dated]
        return cls(found, {name: texts[name] for name in free if given(texts[name]) and not _measured(texts[name])})

    def counts(self, name: str) -> bool:
        """Tell whether a column counts the rows: whole numbers, each once, with few left out between them."""
        texts = self.columns.get(name, ())
        if len(texts) < 2 or not all(re.fullmatch(r"\d{1,9}(?:\.0+)?", text.strip()) for text in texts):
            return False
        numbers = {int(float(text)) for text in texts}
        return len(numbers) == len(texts) and max(numbers) - min(numbers) < max(_SPAN * len(texts), len(texts) + 1)

    def own(self, name: str) -> bool:
        """Tell whether a column gives nearly every row a name; marks may be occupied twice under one."""
        texts = self.columns[name]
        filled = given(texts)
        return len(filled) >= _OWN * len(texts) and len(words(filled)) >= _OWN * len(filled)

    def called(self, name: str) -> bool:
        """Tell whether a column is that of the names, as its heading says or as it gives nearly every row its own."""
        return name in (self.found.mapped.columns.get(word) for word in ("name", "mark")) or self.own(name)


def _measured(texts: Sequence[str]) -> bool:
    """Tell whether a column holds broken numbers for the most part; names may be such here and there: 9101.2."""
    values = numbers_of(texts)
    return values is not None and 2 * int((values[np.isfinite(values)] % 1 != 0).sum()) > len(values)


def of_exports(exports: Sequence[FileFound]) -> list[Named]:
    """Look at exports."""
    return [Named.of(one, _READINGS) for one in exports]


def of_register(register: FileFound) -> Named:
    """Look at a register."""
    return Named.of(register, _MARKS)


def marks_named(register: Named, column: str, exports: Sequence[Named], called: bool = False) -> set[str]:
    """Return the marks by a column of a register that readings name, a counter of theirs apart.

    ``called`` leaves out what is said beside the names: codes, layers, remarks.
    """
    names = _folded(register.columns[column])
    return {
        mark
        for one in exports
        for each, texts in one.columns.items()
        if not one.counts(each) and (one.called(each) or not called)
        for mark in _named(texts, names)
    }


def is_of_points(register: Named, column: str, exports: Sequence[Named]) -> bool:
    """Tell whether a table has most of the names that the points of all exports have: it is of them, not of marks."""
    names = _folded(register.columns[column])
    hits = count = 0
    for one in exports:
        own = [texts for each, texts in one.columns.items() if one.own(each) and not one.counts(each)]
        said = [(len(_named(texts, names)), len(words(texts))) for texts in own]
        most, of = max(said, key=lambda each: each[0] / each[1], default=(0, 0))
        hits, count = hits + most, count + of
    return 2 * hits > count


def _folded(texts: Sequence[str]) -> dict[str, str]:
    return {folded(text): text.strip() for text in reversed(texts) if text.strip()}


def _named(texts: Sequence[str], names: Mapping[str, str]) -> set[str]:
    """Return the names, of marks in small letters, that texts are, or that a part of one is which has a letter."""
    found = set()
    for text in set(texts):
        said = folded(text)
        parts = [part for part in re.findall(r"[^\W_]+", said) if not part.isdigit()]
        found |= {names[one] for one in (said, *parts) if one in names}
    return found


def settle_register(register: Named, exports: Sequence[Named]) -> None:
    """Take that column of a register for its marks' names by which readings name them; ask where two may be.

    One that counts the rows is it only where readings name marks by no other; one that does not give each mark its own
    name is none. What readings say beside their names, and numbers alone, speak weakly for a column.
    """
    mapped = register.found.mapped
    word = "mark" if "mark" in mapped.columns else "name"
    now = mapped.columns.get(word, "")
    counter = register.counts(now)
    fit = [name for name in register.columns if name == now or _names_each(register, name, counter)]
    sure = {name: marks_named(register, name, exports, True) for name in fit}
    said = {name: marks_named(register, name, exports) for name in fit}
    weak = {name: not any(not mark.isdigit() for mark in sure[name]) for name in fit}

    def stands_back(name: str) -> bool:
        if name == now:
            return False
        if _says_of_marks(name):
            return weak[name] or (not counter and bool(said.get(now)))
        return weak[name] and not counter and bool(said.get(now)) and not weak[now]

    saying = [name for name in fit if said[name] and not register.counts(name) and not stands_back(name)]
    if not saying:
        return
    best = max(saying, key=lambda name: (len(sure[name]), len(said[name]), name == now))
    if best == now:
        return
    if now in saying or (weak[best] and not counter):
        mapped.rivals[word] = [best, now]
    else:
        shown = listed(sorted(said[best])[:_LISTED])
        why = "counts the rows" if counter else "names none of them"
        mapped.notes.append(f'"{best}" names the marks as readings do ({shown}), and "{now}" {why}')
    _take(register.found, word, best)


def _names_each(register: Named, column: str, some_lack: bool) -> bool:
    """Tell whether a column gives each mark a name of its own; some may have none, and one may be given twice."""
    texts = [folded(text) for text in register.columns[column]]
    if not (register.own(column) if some_lack else all(texts)):
        return False
    rows: dict[str, list[int]] = {}
    for at, text in enumerate(texts):
        rows.setdefault(text, []).append(at)
    twice = [those for text, those in rows.items() if text and len(those) > 1]
    if not twice:
        return True
    try:
        table = register_of(register.found).table
    except (Unusable, OSError):
        return False
    if len(table.first) != len(texts):
        return False
    return all(bool((from_their_middle(table, those) <= _ONE_PLACE).all()) for those in twice)


def _says_of_marks(heading: str) -> bool:
    """Tell whether a heading says that its column holds codes, classes, conditions, ... of marks."""
    return rank("code", heading) is not None or any(map(_SAYS_OF_MARKS.fullmatch, words_compared(heading)))


def settle_export(export: Named, register: Named) -> None:
    """Take that column of an export for its points' names in which marks of the register are named.

    A column that counts the rows beside it is none; another one that may be is asked after. One that is filled on marks
    alone is that of the marks; one of descriptions leaves the names as they are.
    """
    mapped = export.found.mapped
    names = _folded(register.columns.get(mark_column(register.found), ()))
    said = {
        name: marks
        for name, texts in export.columns.items()
        if not export.counts(name) and (marks := _named(texts, names))
    }
    now = mapped.columns.get("name", "")
    own = [name for name in said if export.own(name)]
    best = max(own, key=lambda name: (len(said[name]), name == now), default="")
    if best and best != now:
        if now and not export.counts(now) and (now in said or (now in export.columns and export.own(now))):
            if len(said[best]) <= len(said.get(now, ())):
                return
            mapped.rivals["name"] = [best, now]
        elif now:
            why = "counts the rows" if export.counts(now) else "names none"
            mapped.notes.append(f'"{best}" is used for the names: it names marks of the register, and "{now}" {why}')
        _take(export.found, "name", best)
    if not best and now not in said and "mark" not in mapped.columns:
        _beside(export, said, names)


def settle_alike(exports: Sequence[Named]) -> None:
    """Take the same column for the names in exports of the same headings, as of a rover that occupied no mark."""
    taken = {
        one.found.look.names: one.found.mapped.columns["name"]
        for one in exports
        if "name" in one.found.mapped.columns and not one.counts(one.found.mapped.columns["name"])
    }
    for one in exports:
        now, name = one.found.mapped.columns.get("name", ""), taken.get(one.found.look.names, "")
        if (
            name != now
            and one.counts(now)
            and name in one.columns
            and one.own(name)
            and "name" not in one.found.mapped.rivals
        ):
            told = f'"{name}" is used for the names: it names marks of the register, and "{now}" counts the rows'
            one.found.mapped.notes.append(told)
            _take(one.found, "name", name)


def _beside(export: Named, said: Mapping[str, set[str]], names: Mapping[str, str]) -> None:
    """Take a column that names marks beside one of other names: as that of the marks, or to find the occupations by."""
    for name in sorted(said, key=lambda each: -len(said[each])):
        filled, mapped = given(export.columns[name]), export.found.mapped
        if not _at_their_marks(export, name, names):
            continue
        if all(folded(text) in names for text in filled):
            _take(export.found, "mark", name)
            mapped.notes.append(f'"{name}" is used for the marks: it holds only names from the register')
        elif any(folded(text) in names for text in filled):
            mapped.naming = name
            mapped.notes.append(f'"{name}" also holds names of marks; ties and checks are found by them')
        else:
            continue
        return


def _at_their_marks(export: Named, column: str, names: Mapping[str, str]) -> bool:
    """Tell whether readings that a column names a mark for may stand on it: most of them lie where others of it do.

    A column that is filled on nearly all rows with the name of one mark is of something else: where a base stood.
    """
    texts = [folded(text) for text in export.columns[column]]
    if len(set(texts) & names.keys()) == 1 and sum(map(bool, texts)) >= _OWN * len(texts):
        return False
    rows: dict[str, list[int]] = {}
    table = sample_of(export.found)
    for at, text in enumerate(texts[: len(table.first)]):
        if text in names:
            rows.setdefault(text, []).append(at)
    away = [from_their_middle(table, those) for those in rows.values() if len(those) > 1]
    far = np.concatenate(away) if away else np.zeros(0)
    return 2 * int((far > _ONE_PLACE).sum()) <= len(far)


def mark_column(register: FileFound) -> str:
    """Return the column of a register that is taken for its marks' names."""
    columns = register.mapped.columns
    return columns.get("mark", columns.get("name", ""))


def _take(found: FileFound, word: str, name: str) -> None:
    """Take a column for what a word says, and no more for what else it was."""
    columns = found.mapped.columns
    for other in [each for each, taken in columns.items() if taken == name]:
        del columns[other]
    columns[word] = name
    if "code" not in columns:
        free = [each for each in found.look.names if each not in columns.values()]
        code = plainest("code", free, lambda each: bool(given(found.look.columns[each])))
        if code is not None:
            columns["code"] = code
