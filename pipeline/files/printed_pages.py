"""Lines of a table that was printed on pages, or put together of several, which are no rows.

These are the heading again, what is ruled below it, and titles and footers that come with each page. Nothing is taken
for one that may be a row: a line that has numbers where the rows have theirs, or that comes once.
"""

import re
from collections.abc import Iterator, Sequence

from msgspec import Struct

from pipeline.near import plain

#: A line of a table: its number and its cells.
Line = tuple[int, Sequence[str]]

#: Numbers and angles as rows have them, numbers that can be no count of pages, and what is a word.
_NUMBER = re.compile(r"[+\-\u2212\u2013]?\d[\d '\u00a0\u202f]*([.,'\u2019]\d+)*\s?[A-Za-z]{0,2}")
_ANGLE = re.compile(
    r"[NSEW+\-\u2212]?\s?\d{1,3}\s?[°º:\- d]\s?\d{1,2}\s?(['′:\- m]\s?\d{1,2}([.,]\d+)?\W{0,2}s?)?\s?[NSEWO]?"
)
_LONG, _LETTER = re.compile(r"\d{4}|\d[.,:°º]\d"), re.compile(r"[^\W\d_]")
#: Signs that rule a line off, and so many of them in one cell.
_RULE, _RULED = re.compile(r"[-=_+*~|:.\u2010-\u2015\u2500-\u257f]+"), 3
#: Rows by which it is told where a table has its numbers, and the part of them that has one there.
_ROWS, _PART = 500, 0.4
#: Numbers in a line that is a row, at least; pages that a title or footer comes with.
_LEAST = 2
_FIGURES = re.compile(r"\d+")
#: What differs from page to page, a time or a short number alone, and words of lines in which a number may say more.
_CLOCK, _COUNT = re.compile(r"\b\d{1,2}:\d\d(:\d\d)?\b"), re.compile(r"(?<![\w.,])\d{1,3}(?![\w]|[.,]\d)")
_SYSTEM = re.compile(
    r"zon|utm|lambert|gau[sß]|merid|epsg|crs|datum|fus|huso|kaist|stre?if|band|[ck]oord|syst|proj|grid|raster|зона|систем",
    re.IGNORECASE,
)


class Pages(Struct, frozen=True):
    """What is no row of a table: the lines of the ``headings`` again, and those of titles, footers and rules.

    ``differ`` are two lines that are a title or footer alike but for what may be another system: line, first line.
    ``otherwise`` is a line that names other columns, 0 for none.
    """

    headings: tuple[int, ...] = ()
    others: tuple[int, ...] = ()
    differ: tuple[int, int] | None = None
    otherwise: int = 0

    @property
    def lines(self) -> frozenset[int]:
        """All of these lines."""
        return frozenset((*self.headings, *self.others))


#: Nothing but rows.
NO_PAGES = Pages()


class _Places(Struct, frozen=True):
    """Where the rows of a table have numbers or angles, by the places of their cells, and of what form these are."""

    forms: dict[int, re.Pattern[str]]

    def figures(self, cells: Sequence[str], *, long: bool = False) -> int:
        """Return how many of these places have a number, of those that can be no count of pages for ``long``."""
        found = [cells[at] for at, form in self.forms.items() if at < len(cells) and form.fullmatch(cells[at])]
        return sum(1 for cell in found if not long or _LONG.search(cell))

    def words(self, cells: Sequence[str]) -> list[str]:
        """Return the words in these places."""
        there = [(cells[at], form) for at, form in self.forms.items() if at < len(cells)]
        return [cell for cell, form in there if _LETTER.search(cell) and not form.fullmatch(cell)]

    def may_be_row(self, cells: Sequence[str]) -> bool:
        """Tell whether a line may be a row for what stands in these places: any number, but counts beside words."""
        return self.figures(cells) > 0 and (self.figures(cells, long=True) > 0 or not self.words(cells))

    def is_row(self, cells: Sequence[str]) -> bool:
        """Tell whether a line must be taken for a row: it has two numbers at least."""
        return self.may_be_row(cells) and self.figures(cells) >= _LEAST


def _places_of(body: Sequence[Line], heading: Sequence[str]) -> _Places:
    rows = [cells for _, cells in body[:_ROWS] if [plain(cell) for cell in cells[: len(heading)]] != list(heading)]
    forms: dict[int, re.Pattern[str]] = {}
    for at in range(1, len(heading)):  # the first is what a row is called by: a number for some
        cells = [row[at] for row in rows if at < len(row)]
        for form in (_NUMBER, _ANGLE):
            if sum(map(bool, map(form.fullmatch, cells))) > _PART * len(rows):
                forms.setdefault(at, form)
    return _Places(forms)


def may_be_rows(above: Sequence[Line], heading: Sequence[str], body: Sequence[Line]) -> list[int]:
    """Return the lines above a heading that may be rows: as many cells, and numbers where the rows have some.

    ``heading`` are its cells as names are compared. Where the rows have no numbers, any line as wide may be one.
    """
    wide = [line for line in above if sum(map(bool, line[1])) >= len(heading)]
    if not wide:
        return []
    places = _places_of(body, heading)
    return [number for number, cells in wide if not places.forms or places.may_be_row(cells)]


def is_rule(cells: Sequence[str]) -> bool:
    """Tell whether a line has nothing but signs that rule it off."""
    filled = [cell for cell in cells if cell]
    return all(map(_RULE.fullmatch, filled)) and any(len(cell) >= _RULED for cell in filled)


def is_heading(cells: Sequence[str], heading: Sequence[str]) -> bool:
    """Tell whether a line has the same names in the same places as a heading, whose names are given as compared."""
    width = len(heading)
    if not cells or plain(cells[0]) != heading[0]:  # as of nearly all lines
        return False
    return [plain(cell) for cell in cells[:width]] == list(heading) and not any(cells[width:])


def pages_of(above: Sequence[Line], heading: Sequence[str], body: Sequence[Line]) -> Pages:
    """Return which lines below a heading are no rows; see `Pages`.

    Args:
        above: the lines above the heading.
        heading: its cells, as names are compared.
        body: the lines below it.
    """
    again = [at for at, (_, cells) in enumerate(body) if is_heading(cells, heading)]
    places = _places_of(body, heading)
    rules = {at for start in (-1, *again) for at in _below(body, start, places) if is_rule(body[at][1])}
    otherwise = next((line for line, cells in body[1:] if _names_others(cells, heading, places)), 0)
    if not again:
        return Pages(others=tuple(body[at][0] for at in sorted(rules)), otherwise=otherwise)
    units = {at for start in again for at in _below(body, start, places) if _is_units(body[at][1], body, places)}
    between: list[list[Line]] = [list(above)]
    for end in (*again, len(body)):
        last = end
        while last > 0 and last - 1 not in again and not places.is_row(body[last - 1][1]):
            last -= 1
        rules |= {at for at in range(last, end) if is_rule(body[at][1])}
        between.append([body[at] for at in range(last, end) if at not in rules | units])
    kept, differ = _recurring(between, places)
    below = kept - {line for line, _ in above}
    others = sorted({body[at][0] for at in rules | units} | below)
    return Pages(tuple(body[at][0] for at in again), tuple(others), differ, otherwise)


def _below(body: Sequence[Line], heading: int, places: _Places) -> Iterator[int]:
    """Yield which lines right below a heading are rules, or have no figure, as a row of units."""
    for at in range(heading + 1, len(body)):
        cells = body[at][1]
        if places.figures(cells) or any(map(_FIGURES.search, cells)):
            return
        yield at


def _names_others(cells: Sequence[str], heading: Sequence[str], places: _Places) -> bool:
    """Tell whether a line has a name of the heading, and another word in each place where rows have numbers."""
    first = next(iter(places.forms), 0)
    if len(places.forms) < _LEAST or first >= len(cells) or not _LETTER.search(cells[first]):
        return False
    there = [plain(cell) for cell in cells]
    words = [plain(word) for word in places.words(cells)]
    if len(set(words)) < len(places.forms) or any(map(_FIGURES.search, there)) or there[: len(heading)] == heading:
        return False
    return bool(set(filter(None, heading)).intersection(there))


def _is_units(cells: Sequence[str], body: Sequence[Line], places: _Places) -> bool:
    """Tell whether a line is the row of units again that stands below the first heading."""
    first = next((line for _, line in body if not is_rule(line)), ())
    return list(cells) == list(first) and not any(map(_FIGURES.search, first)) and not places.figures(cells)


def _recurring(between: Sequence[Sequence[Line]], places: _Places) -> tuple[set[int], tuple[int, int] | None]:
    """Return the lines that come with several pages and may be no rows, and two that say different things of them.

    ``between`` are the lines between pages, those above the first heading and below the last row too.
    """
    groups: dict[str, list[tuple[int, Line]]] = {}
    for number, lines in enumerate(between):
        for line in lines:
            groups.setdefault(_FIGURES.sub("0", " ".join(line[1])), []).append((number, line))
    kept: set[int] = set()
    for group in groups.values():
        same = [line for _, line in group]
        if len({number for number, _ in group}) < _LEAST:
            continue
        sure = not any(places.may_be_row(cells) for _, cells in same)
        names = {next(filter(None, cells), "") for _, cells in same}
        if not sure and (len(names) > 1 or max(places.figures(cells) for _, cells in same) >= _LEAST):
            continue
        said = [_said(" ".join(cells)) for _, cells in same]
        odd = next((at for at, one in enumerate(said) if one != said[0]), None)
        if odd is None:
            kept |= {line for line, _ in same}
        else:
            return set(), (same[odd][0], same[0][0])
    return kept, None


def _said(text: str) -> str:
    """Return what a title or footer says: itself without times and counts, as of pages, unless it names a system."""
    return text if _SYSTEM.search(text) else _COUNT.sub("", _CLOCK.sub("", text))
