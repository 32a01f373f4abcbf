"""What people and programs write into a cell that has no value: a dash, "n/a", a figure that no measurement is."""

#: Signs and words of no value, in small letters; generic, in the languages of the trade.
NO_VALUE = frozenset(
    ("nan", "null", "none", "n/a", "na", "nil", "-", "--", "---", "–", "—", "−", "<null>", "#n/a", "*", "k.a.", "s/d",
     "n/d")
)  # fmt: skip
#: Figures that stand for no height, as grids and databases have them.
_FIGURES = frozenset((-9999.0, 9999.0, -99999.0, 99999.0, -32768.0, -32767.0))


def is_no_value(text: str) -> bool:
    """Tell whether a text says that there is no value."""
    return text.strip().casefold() in NO_VALUE


def stands_for_none(height: float) -> bool:
    """Tell whether a number is one that stands for no height."""
    return height in _FIGURES
