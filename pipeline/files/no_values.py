"""What people and programs write into a cell that has no value: a dash, "n/a", a figure that no measurement is."""

#: Signs and words of no value, in small letters; generic, in the languages of the trade.
NO_VALUE = frozenset(
    ("nan", "null", "none", "n/a", "na", "nil", "-", "--", "---", "–", "—", "−", "<null>", "#n/a", "*", "k.a.", "s/d",
     "n/d", "б/д", "h/d", "missing", "fehlt", "fehlend", "keine", "ohne", "manquant", "manquante", "absent", "falta",
     "faltante", "ausente", "manca", "mancante", "assente", "ontbreekt", "geen", "saknas", "mangler", "ei", "puuttuu",
     "puudub", "vantar", "brak", "chybí", "chybi", "chýba", "chyba", "není", "nema", "nincs", "hiányzik", "manjka",
     "nedostaje", "lipsă", "lipsa", "lipsește", "trūkst", "nav", "trūksta", "nėra", "yok", "нет", "отсутствует",
     "немає", "відсутня", "відсутній", "няма", "липсва", "нема", "недостаје", "жоқ", "λείπει", "δεν υπάρχει", "אין",
     "无", "無", "缺", "缺失", "欠測", "なし", "없음", "결측", "ไม่มี", "không có", "tidak ada")
)  # fmt: skip
#: Figures that stand for no height, as grids and databases have them.
_FIGURES = frozenset((-9999.0, 9999.0, -99999.0, 99999.0, -32768.0, -32767.0))


def is_no_value(text: str) -> bool:
    """Tell whether a text says that there is no value."""
    return text.strip().casefold() in NO_VALUE


def stands_for_none(height: float) -> bool:
    """Tell whether a number is one that stands for no height."""
    return height in _FIGURES
