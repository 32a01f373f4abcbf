"""The words of units of length, in headings, in a row of units and behind numbers, and the metres that each may be."""

import re

from pipeline.geodesy.units import FOOT, SURVEY_FOOT

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
    "metry", "м", "метр", "метры", "метров", "метри", "метрів",
)  # fmt: skip
#: What may be said, blanks, points and hyphens left out, and what it may mean in metres.
LENGTHS_SAID: dict[str, tuple[float, ...]] = {
    **dict.fromkeys(_METRES, (1.0,)),
    **{each: (size,) for size, names in (
        (0.001, ("mm", "millimetre", "millimetres", "millimeter", "millimeters", "мм")),
        (0.01, ("cm", "centimetre", "centimetres", "centimeter", "centimeters", "см")),
        (0.1, ("dm", "decimetre", "decimetres", "decimeter", "decimeters", "дм")),
        (1000.0, ("km", "kilometre", "kilometres", "kilometer", "kilometers", "км")),
    ) for each in names},
    **{f"{which}{word}": metres for which, metres in _FEET.items() for word in _FOOT_WORDS},
    **{f"{word}{which}": metres for which, metres in _FEET.items() if len(which) != 1 for word in _FOOT_WORDS},
    **dict.fromkeys(_FOREIGN_FEET, _EITHER),
    **dict.fromkeys(("in", "inch", "inches"), tuple(foot / 12 for foot in _EITHER)),
    **dict.fromkeys(("yd", "yds", "yard", "yards"), tuple(3 * foot for foot in _EITHER)),
    **dict.fromkeys(("chain", "chains"), tuple(66 * foot for foot in _EITHER)),
    **dict.fromkeys(("link", "links"), tuple(0.66 * foot for foot in _EITHER)),
}  # fmt: skip


def bare_unit(unit: str) -> str:
    """Return a unit in small letters, without blanks, points and hyphens, as `LENGTHS_SAID` has it."""
    return re.sub(r"[\s._-]", "", unit).casefold()


def says_metres(unit: str, metre: float) -> bool:
    """Say whether a unit, as it is written, may be the one of so many metres; a sign of ``metre`` does not count."""
    return any(is_one(abs(metre), each) for each in LENGTHS_SAID.get(bare_unit(unit), ()))


def is_one(metre: float, other: float) -> bool:
    """Say whether two units are one; the closest two in use differ by 1.6e-6."""
    return abs(metre / other - 1.0) < 1e-7
