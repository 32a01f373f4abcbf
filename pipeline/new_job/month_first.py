"""Tells by the place or the language of headings whether dates are likelier written with the month first."""

from pipeline.new_job.languages import letters_of
from pipeline.new_job.look import FileLook
from pipeline.new_job.zones import country_codes_near

#: Countries and territories in which a date in figures has the month first (Unicode CLDR, short dates): those of the
#: United States, and those that were.
_MONTH_FIRST = frozenset(["US", "PR", "GU", "VI", "AS", "MP", "UM", "FM", "MH", "PW", "PH"])
#: Signs of quantities in headings of any language.
_OF_QUANTITIES = frozenset("σφλΔδµμΣ")


def month_first(look: FileLook, place: tuple[float, float] | None) -> bool | None:
    """Return whether the month stands first where a file is from, None where nothing tells.

    The countries that may hold a ``place`` [deg] say it where they are at one; else headings of another language than
    English tell that the day does. An AM or PM tells nothing there: clocks of twelve hours are read from Mexico to
    India and Australia.
    """
    if place is not None:
        first, *others = (code in _MONTH_FIRST for code in country_codes_near(*place))
        return first or (None if any(others) else False)
    if look.keys.get("header") == 0:
        return None
    foreign = any(
        letter.isalpha() and not letter.isascii() and letter not in _OF_QUANTITIES
        for name in look.names
        for letter in name
    )
    return False if foreign or letters_of(look.names) else None
