"""Reads units of length from column headings: "Height [ft]", "sE (mm)", "Easting US survey feet".

The one vocabulary for it: a run holds headings against the job file by it, a job file that is drafted takes its units.
"""

import re
from functools import lru_cache

from pipeline.geodesy.unit_words import LENGTHS_SAID, bare_unit, is_one
from pipeline.geodesy.units import METRES

_BRACKETS = re.compile(r"(.*\S)\s*[\[({<]([^\])}>]+)[\])}>]\s*", re.DOTALL)
#: Units that are told from words without brackets, set off by a blank or a sign; their parts by the same.
_PARTED = (
    r"(?:mm|cm|km|m|met(?:re|er)s?|мм|см|дм|км|м|"
    r"(?:(?:us|u\.s\.)[\s_-]*)?(?:survey[\s_-]*)?(?:ft|feet|foot)|(?:i|s|int(?:l|ernational)?)[\s_-]*(?:ft|feet|foot)|"
    r"(?:ft|feet|foot)[\s_-]*(?:us|int|intl)|uss?ft|yards?|chains?|links)"
)

#: What lengths are read in, by name: millimetres and centimetres those that are no part of a position.
_READ = {**METRES, "millimetre": 0.001, "centimetre": 0.01}


@lru_cache(maxsize=4096)
def unit_in_heading(name: str) -> str | None:
    """Return the unit that a column's name ends with, in small letters without blanks and points, or None.

    What stands in brackets at the end is returned as it is, whether it is known as a unit or not.
    """
    match = _BRACKETS.fullmatch(name)
    behind = _shortest(name if match is None else match[1])
    if match is None:
        return bare_unit(behind[1]) if behind else None
    # "Z [NAVD88, ft]", "Z feet (US survey)", "Z ft (NAVD88)": a unit may stand beside something else
    parts = [bare_unit(part) for part in re.split("[,;]", match[2])]
    said = [*parts, *([bare_unit(behind[1] + match[2]), bare_unit(behind[1])] if behind else [])]
    return next((part for part in said if part in LENGTHS_SAID), bare_unit(match[2]))


def metres_in_heading(name: str) -> tuple[float, ...]:
    """Return the metres that one unit may be which a column's name ends with, () where it ends with none."""
    return LENGTHS_SAID.get(unit_in_heading(name) or "", ())


def metres_of_unit(unit: str) -> tuple[float, ...]:
    """Return the metres that one unit may be which stands alone, () where it is none of lengths."""
    return metres_in_heading(f"x [{unit}]")


def unit_called(metre: float) -> str:
    """Return the name of the unit of so many metres."""
    return next((name for name, metres in _READ.items() if is_one(metre, metres)), "that of its crs")


def another_unit(name: str, word: str, metre: float) -> str | None:
    """Say that a heading's unit is not the one of so many metres that the numbers of ``word`` are read in, or None."""
    if not (said := metres_in_heading(name)) or any(is_one(metre, metres) for metres in said):
        return None
    return (
        f'the heading "{name}" ({word}) has a different unit from the one its numbers are read in, {unit_called(metre)}'
    )


def unit_alone(cell: str) -> str:
    """Return a cell below a heading as a unit that stands alone there, without the brackets around it."""
    return cell.strip("[](){}<> ")


@lru_cache(maxsize=4096)
def without_unit(name: str) -> str:
    """Return a column's name without the unit of lengths behind it that is not in brackets."""
    behind = _shortest(name.strip())
    return behind[0] if behind else name


def _shortest(name: str) -> tuple[str, str] | None:
    """Return the name before a unit, and the unit: with all of its words, "US survey feet" being one."""
    stripped = name.strip()
    for match in re.finditer(r"(?<=[^\W_])[\s_,.:/-]+", stripped):
        if re.fullmatch(_PARTED, stripped[match.end() :], re.IGNORECASE):
            return stripped[: match.start()], stripped[match.end() :]
    return None
