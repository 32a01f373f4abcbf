"""Rows that end a register and are no marks: a total, a mean, a count of marks, a line that says that it ends."""

import re
from collections.abc import Sequence

from msgspec import Struct

from pipeline.files.sheet import Sheet
from pipeline.letter_case import folded
from pipeline.replace import replace

_WORDS = (
    "totals?|subtotal|sum|mean|average|count|min(?:imum)?|max(?:imum)?|end(?: of (?:file|list|table|data|register))?"
    "|summen?|gesamt|mittel(?:wert)?|anzahl|ende|totaux|somme|moyenne|nombre|fin(?: de fichier)?|sumas?|medi[ao]"
    "|promedio|n[uú]mero|soma|m[eé]dia|fim|somma|totale|numero|fine|totaal|gemiddelde|aantal|einde|summa|medel(?:tal)?"
    "|antal|slut|gjennomsnitt|antall|slutt|summe|keskiarvo|razem|[sś]rednia|celkem|pr[uů]m[eě]r|итого|всего|среднее|σύνολο"
    "|toplam|ortalama|合計|平均|合计|小计|총계|합계|평균"
)
_CLOSING = re.compile(
    rf"[\W_]*(?:{_WORDS})[\W_]*|(?:number|no\.?|count|total|anzahl) (?:of )?(?:marks|points|punkte)[\W_]*\d*|n ?= ?\d+"
    r"|[\W_]{2,}"
)

#: Marks that a row of means or sums is of, at least.
_LEAST = 2


class ClosingRow(Struct, frozen=True):
    """A row that was stepped over: its line, what stands where marks have their names, and whether it ``sums`` up."""

    line: int
    text: str
    sums: bool = False


def without_closing_rows(sheet: Sheet, columns: tuple[str, str, str]) -> tuple[Sheet, tuple[ClosingRow, ...]]:
    """Return a table without rows at its end that are no marks, and these rows.

    They say in place of a name that they sum up or end the table, and have no coordinate but for the count of the rows
    above, or the mean, sum, least or largest of each column. Any other row that has one, or stands above a mark, is
    left for what is said of it as a mark.
    """
    found: list[ClosingRow] = []
    for above, (line, cells) in reversed(list(enumerate(sheet.rows))):
        name, said = cells.get("mark", ""), [cells[column] for column in (*columns, "holds") if cells.get(column)]
        if not _CLOSING.fullmatch(folded(name)):
            break
        sums = said not in ([], [str(above)])
        if sums and not _sums_up(cells, sheet, columns):
            break
        found.append(ClosingRow(line, name, sums))
    return (replace(sheet, rows=sheet.rows[: -len(found)]) if found else sheet), tuple(reversed(found))


def _sums_up(cells: dict[str, str], sheet: Sheet, columns: tuple[str, str, str]) -> bool:
    """Tell whether a row has both coordinates of a place, and in each column what sums up at least two marks above."""
    of_marks = [row for _, row in sheet.rows if not _CLOSING.fullmatch(folded(row.get("mark", "")))]
    if not cells.get(columns[0]) or not cells.get(columns[1]):
        return False
    return all(
        _is_sum_of(cells[column], [row.get(column, "") for row in of_marks], sheet)
        for column in columns
        if cells.get(column)
    )


def _is_sum_of(text: str, above: Sequence[str], sheet: Sheet) -> bool:
    """Tell whether a number is the mean, sum, least or largest of those above, to its last digit or what they leave."""
    value, every = sheet.number(text), [number for one in above if (number := sheet.number(one)) is not None]
    if value is None or len(every) < _LEAST:
        return False
    last = 0.5 * 10.0 ** -max(_places(one) for one in (text, *above)) * len(every) + 0.5 * 10.0 ** -_places(text)
    sums = (sum(every) / len(every), sum(every), min(every), max(every))
    return any(abs(value - one) <= last for one in sums)


def _places(text: str) -> int:
    """Return how many figures stand behind a number's last point or comma."""
    found = re.search(r"[.,](\d+)\D*$", text)
    return len(found[1]) if found else 0
