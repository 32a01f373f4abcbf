"""Reads units of length from column headings: "Height [ft]", "sE (mm)", "Easting US survey feet".

The one vocabulary for it: a run holds headings against the job file by it, a job file that is drafted takes its units.
"""

import re

from pipeline.geodesy.units import FOOT, METRES, SURVEY_FOOT

_EITHER = (FOOT, SURVEY_FOOT)
#: What is said beside foot and feet, "ft" and its like, of which foot it is.
_FEET = {
    "": _EITHER,
    "i": (FOOT,), "int": (FOOT,), "intl": (FOOT,), "international": (FOOT,),
    "us": (SURVEY_FOOT,), "s": (SURVEY_FOOT,), "survey": (SURVEY_FOOT,), "uss": (SURVEY_FOOT,),
    "ussurvey": (SURVEY_FOOT,), "usa": (SURVEY_FOOT,), "ussurv": (SURVEY_FOOT,), "surv": (SURVEY_FOOT,),
}  # fmt: skip
_FOOT_WORDS = ("ft", "feet", "foot")
#: Feet of other languages, of which nothing beside them says which.
_FOREIGN_FEET = ("fuss", "fuß", "pied", "pieds", "pie", "pies", "piede", "piedi", "voet", "stopa", "stopy")
_METRES = (
    "m", "metre", "meter", "metres", "meters", "mtr", "mtrs", "metri", "metro", "metros", "mètre", "mètres", "metrów",
    "metry",
)  # fmt: skip
#: What a heading may say, blanks, points and hyphens left out, and what it may mean in metres.
LENGTHS_SAID: dict[str, tuple[float, ...]] = {
    **dict.fromkeys(_METRES, (1.0,)),
    **{each: (size,) for size, names in (
        (0.001, ("mm", "millimetre", "millimetres", "millimeter", "millimeters")),
        (0.01, ("cm", "centimetre", "centimetres", "centimeter", "centimeters")),
        (0.1, ("dm", "decimetre", "decimetres", "decimeter", "decimeters")),
        (1000.0, ("km", "kilometre", "kilometres", "kilometer", "kilometers")),
    ) for each in names},
    **{f"{which}{word}": metres for which, metres in _FEET.items() for word in _FOOT_WORDS},
    **{f"{word}{which}": metres for which, metres in _FEET.items() if len(which) != 1 for word in _FOOT_WORDS},
    **dict.fromkeys(_FOREIGN_FEET, _EITHER),
    **dict.fromkeys(("in", "inch", "inches"), tuple(foot / 12 for foot in _EITHER)),
    **dict.fromkeys(("yd", "yds", "yard", "yards"), tuple(3 * foot for foot in _EITHER)),
    **dict.fromkeys(("chain", "chains"), tuple(66 * foot for foot in _EITHER)),
    **dict.fromkeys(("link", "links"), tuple(0.66 * foot for foot in _EITHER)),
}  # fmt: skip

_BRACKETS = re.compile(r"(.*\S)\s*[\[({<]([^\])}>]+)[\])}>]\s*", re.DOTALL)
#: Units that are told from words without brackets, set off by a blank or a sign; their parts by the same.
_PARTED = (
    r"(?:mm|cm|km|m|met(?:re|er)s?|"
    r"(?:(?:us|u\.s\.)[\s_-]*)?(?:survey[\s_-]*)?(?:ft|feet|foot)|(?:i|s|int(?:l|ernational)?)[\s_-]*(?:ft|feet|foot)|"
    r"(?:ft|feet|foot)[\s_-]*(?:us|int|intl)|uss?ft|yards?|chains?|links)"
)


def unit_in_heading(name: str) -> str | None:
    """Return the unit that a column's name ends with, in small letters without blanks and points, or None.

    What stands in brackets at the end is returned as it is, whether it is known as a unit or not.
    """
    match = _BRACKETS.fullmatch(name)
    behind = _shortest(name if match is None else match[1])
    if match is None:
        return _bare(behind[1]) if behind else None
    # "Z [NAVD88, ft]", "Z feet (US survey)", "Z ft (NAVD88)": a unit may stand beside something else
    parts = [_bare(part) for part in re.split("[,;]", match[2])]
    said = [*parts, *([_bare(behind[1] + match[2]), _bare(behind[1])] if behind else [])]
    return next((part for part in said if part in LENGTHS_SAID), _bare(match[2]))


def metres_in_heading(name: str) -> tuple[float, ...]:
    """Return the metres that one unit may be which a column's name ends with, () where it ends with none."""
    return LENGTHS_SAID.get(unit_in_heading(name) or "", ())


def another_unit(name: str, word: str, metre: float) -> str | None:
    """Say that a heading's unit is not the one of so many metres that the numbers of ``word`` are read in, or None."""
    if not (said := metres_in_heading(name)) or any(is_one(metre, metres) for metres in said):
        return None
    read = next((called for called, metres in METRES.items() if is_one(metre, metres)), "that of its crs")
    return f'the heading "{name}" ({word}) has a different unit from the one its numbers are read in, {read}'


def is_one(metre: float, other: float) -> bool:
    """Say whether two units are one; the closest two in use differ by 1.6e-6."""
    return abs(metre / other - 1.0) < 1e-7


def unit_alone(cell: str) -> str:
    """Return a cell below a heading as a unit that stands alone there, without the brackets around it."""
    return cell.strip("[](){}<> ")


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


def _bare(unit: str) -> str:
    return re.sub(r"[\s._-]", "", unit).casefold()
