"""Rows that end a register and are no marks: a total, a mean, a count of marks, a line that says that it ends."""

import re
from dataclasses import dataclass, replace

from pipeline.files.sheet import Sheet
from pipeline.letter_case import folded

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


@dataclass(frozen=True)
class ClosingRow:
    """A row that was stepped over: its line and what stands where marks have their names."""

    line: int
    text: str


def without_closing_rows(sheet: Sheet, columns: tuple[str, str, str]) -> tuple[Sheet, tuple[ClosingRow, ...]]:
    """Return a table without rows at its end that are no marks, and these rows.

    They have no coordinate, but for the count of the rows above, and say in place of a name that they sum up or end the
    table. Any row that has one, or stands above a mark, is left for what is said of it as a mark.
    """
    found: list[ClosingRow] = []
    for above, (line, cells) in reversed(list(enumerate(sheet.rows))):
        name, said = cells.get("mark", ""), [cells[column] for column in (*columns, "holds") if cells.get(column)]
        if said not in ([], [str(above)]) or not _CLOSING.fullmatch(folded(name)):
            break
        found.append(ClosingRow(line, name))
    return (replace(sheet, rows=sheet.rows[: -len(found)]) if found else sheet), tuple(reversed(found))
