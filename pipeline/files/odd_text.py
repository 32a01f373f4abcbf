"""What a text that is no number, angle or time looks like, in words that say what to export or state instead.

Only the look counts, never a figure's value: a text may stand for any other with figures in the same places.
"""

import re
from collections.abc import Sequence

from msgspec import Struct

from pipeline.files.halves_of_day import HALF_WRITTEN
from pipeline.files.no_values import NO_VALUE
from pipeline.replace import replace

#: Characters of a text that may look like anything.
LONGEST = 200

#: A pattern of the whole text, what such a text seems to be, and what a key of the job file can state of it.
_Form = tuple[str, ...]

_PLAIN = r"\d+(?:[.,]\d+)?"
_UNITS = r"m|metres?|meters?|mm|cm|km|ft|us-?ft|ftus|feet|foot|deg|degrees|grads?|gon|ppm|s|sec|%"
_UNKNOWN = {"?", "x"}
_ENDLESS = {"inf", "+inf", "-inf", "infinity", "-infinity"}

_THOUSANDS = "has separators between thousands: export plain digits"

_FIGURES = (
    r".*(?![0-9])\d.*",
    "has figures other than 0 to 9 in it, full-width ones or another script's: export plain figures and a plain point",
)

#: Look, and what it is; the first that fits is told. For numbers of any kind.
_NUMBERS: tuple[_Form, ...] = (
    _FIGURES,
    (r"=.*", "is a spreadsheet's formula: export the values"),
    (r"#.*", "is a spreadsheet's sign for an error or a narrow column: export the values"),
    (rf"[+-]?{_PLAIN} ?(?:{_UNITS})\.?",
     "has a unit behind it that is not the one it is read in: export plain numbers", ", state units for feet"),
    (rf"[+-]?{_PLAIN} ?(?:{_UNITS})?\.? ?[nsewo]|[nsewo] ?[:=]?{_PLAIN} ?(?:{_UNITS})?",
     "has the letter of a side: one is read only behind a blank or a unit, E of an easting and N of a northing; export"
     " plain numbers"),
    (r"[+-]?\d+'(?: ?\d+(?:\.\d+)?\")?", "has signs for feet, inches or minutes in it: export plain decimal numbers"),
    (r"'.*", "begins with an apostrophe: export plain numbers"),
    (r"\".*|.*\"", "has a quote in it: export plain numbers"),
    (r"[+-]?\d{1,3}(?:[ '’.,]\d{3}){2,}(?:[.,]\d+)?", _THOUSANDS),
    (r"[+-]?\d{1,3}(?:[ '’]\d{3})+(?:[.,]\d+)?", _THOUSANDS),
    (r"[+-]?\d{1,3}(?:,\d{3})+\.\d+|[+-]?\d{1,3}(?:\.\d{3})+,\d+", _THOUSANDS),
    (r"[+-]?\d{1,2}(?:,\d{2})+,\d{3}(?:\.\d*)?", _THOUSANDS),
    (r"\d{1,2} ?[A-Z]? \d{5,7}(?:[.,]\d+)?", "seems to include the zone number as a prefix: export it without"),
    (r"[+-]?\d{1,3},\d{3}", "has a comma, for thousands or decimals: export plain digits, or state decimal = \",\""),
    (r"[+-]?\d*,\d+", "has a decimal comma", ", which decimal = \",\" states"),
    (r"[+-]?\d*\.\d+(?:e[+-]?\d+)?", "has a decimal point although decimal = \",\" is stated"),
    (r"[+-]{2,}.*|.+[+-]", "has an extra sign: export plain numbers"),
    (r"[<>≤≥~≈±].*", "has a sign before the number: export plain numbers"),
    (r"[+-]?\d+(?:[.,]\d+)?e[+-]?\d+", "is too large or too small for a number"),
)  # fmt: skip
_LETTER = r"[NSEWO]"
_DEGREES = "°º˚*"
_O = (
    r"O ?[+-]?\d.*|[+-]?\d.*(?<![A-RT-Z])O",
    "has the letter O, which means east in some languages and west in others: export E or W, or a signed value",
)
_MINUTES = 'looks like degrees, minutes and seconds: state angles = "dms"'
_ODD_MINUTES = (
    "looks like degrees, minutes and seconds, in a spelling that is not read: export decimal degrees, or the form"
    " 36°50'12.345\"S"
)
_ANGLES: tuple[_Form, ...] = (
    _FIGURES,
    _O,
    (rf"{_LETTER}? ?[+-]?\d{{1,3}} ?(?:[{_DEGREES}:d]| |-) ?\d{{1,2}}(?:[.,]\d+)? ?(?:['′’:m]| |-|$).*",
     _MINUTES),
    (rf"\d{{1,3}} ?{_LETTER} ?\d{{2}}(?:\.\d+.*| ?['′’: ].*)", _MINUTES),
    (rf"\d{{1,3}} ?{_LETTER} ?\d{{2,}}.*", _ODD_MINUTES),
    (rf"{_LETTER} ?[+-]?{_PLAIN} ?[{_DEGREES}]?|[+-]?{_PLAIN} ?[{_DEGREES}]? ?{_LETTER}",
     "has a hemisphere letter: export decimal degrees with a sign, south and west negative"),
    (rf"[+-]?{_PLAIN} ?[{_DEGREES}]", "has a degree sign: export decimal degrees without it"),
)  # fmt: skip
_DMS: tuple[_Form, ...] = (
    _FIGURES,
    _O,
    (rf"{_LETTER}? ?[+-]?{_PLAIN} ?[{_DEGREES}]? ?{_LETTER}?",
     "looks like decimal degrees, but angles = \"dms\" is stated"),
)  # fmt: skip

_CLOCK = r"\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?"
_DAY = r"(?:\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[ ./-]?[a-z]{3,9}\.?,?[ ./-]?\d{2,4})"
#: Months as `time_format` reads them, which knows English alone.
_MONTHS = (
    "jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:t(?:ember)?)?"
    "|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?"
)
_OTHER_MONTH = rf"(?!(?:{_MONTHS}|day|doy|week)(?![^\W\d_]))[^\W\d_]{{3,12}}"
_GAP = r"(?:[ .,/-]|\bde\b|\bdi\b|\bm\b)*"
_STATED = "state time_format"
#: Words that stand between a date and its time of day in many languages, and those behind one.
BETWEEN = (
    r"(?:klo|kello|um|à|a las|a la|alle ore|alle|ore|às|as|om|kl|at|o|ob|u|v|в|о|g|godz|saat|lúc|pukul|jam|στις)\.?"
)
BEHIND = r"(?:uhr|hod|hodin|óra|óra|hs|hrs|horas|uur|время|ч|h|น)\.?"
_APART = "map the column of dates as date beside time, in [points.columns], or export both in one"
#: Halves of the day that %p does not read, as they say no half alone: the night has hours of both.
_HALVES = r"ночи|noche|madrugada|matin|soir|midi|[ap]"
_HALF_NAMED = (
    "seems to have a half of the day in letters that are not read: export a 24-hour clock, or AM and PM behind the time"
)
_HALF_READ = (
    "seems to be from a 12-hour clock: export a 24-hour clock",
    f', or, if it is, {_STATED} with %I and %p, such as "%d/%m/%Y %I:%M:%S %p"',
)
_MONTH_NAMED = "seems to name a month in a language other than English, which is not read: export months as numbers"
_WITH_WORDS = "has words beside the time of day, which are not read: export a 24-hour clock in digits only"
_HALF_DAY_ALONE = f"looks like a time of day of a 12-hour clock without its date: {_APART}"
_CLOCK_ALONE = f"looks like a time of day without its date: {_APART}"
_DAY_OF_YEAR = "looks like a year and the day of the year"
_WEEK_OF_YEAR = "looks like a year, a week and its day"
_JULIAN = "looks like a Julian day: export date and time, such as 2026-03-02T07:30:00Z"
#: A year of three figures has no other reading that is known: Taiwan counts years from 1912 on.
_FROM_1912 = (
    "has a year of three figures: does it count from 1912 on, as in Taiwan, where 115 is 2026? Export dates with"
    " common-era years, 1911 more"
)
_MINGUO = r"(?:(?:中華)?民[國国] ?)?1[0-4]\d"
_TIMES: tuple[_Form, ...] = (
    _FIGURES,
    (r"=.*", "is a spreadsheet's formula: export the values"),
    (rf"{_MINGUO}(?:([./-])(?:0?[1-9]|1[0-2])\1(?:0?[1-9]|[12]\d|3[01])|年 ?\d{{1,2}}月 ?\d{{1,2}}日?)(?:\D.*)?"
     rf"|{_MINGUO}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])[T ]+\d{{1,2}}:\d\d.*",
     _FROM_1912),
    (rf"(?!.*\d ?[ap]\.?m\.?$)(?:.*[T ,])?(?:(?:{HALF_WRITTEN}) ?{_CLOCK}.*"
     rf"|(?:{_CLOCK}|\d{{1,2}}\.\d\d\.\d\d) ?(?:{HALF_WRITTEN})(?: .*)?)",
     *_HALF_READ),
    (rf"(?:.*[T ,])?(?:(?:{_HALVES})\.? ?{_CLOCK}.*|(?:{_CLOCK}|\d{{1,2}}\.\d\d\.\d\d) ?(?:{_HALVES})\.?(?: .*)?)",
     _HALF_NAMED),
    (r"(?:.*[T ,])?\d{1,2} ?h ?\d\d.*",
     "has h in its time of day", f": {_STATED} with it, such as \"%d/%m/%Y %Hh%M\""),
    (r"(?:.*\d[T ,]+)?\d{1,2}\.\d\d\.\d\d(?:[.,]\d+)?",
     "has points in its time of day", f": {_STATED} with them, such as \"%d/%m/%Y %H.%M.%S\" or \"%Y-%m-%d %H.%M.%S\""),
    (rf"(?:[^\W\d_]{{2,12}}\.?,? )?(?:\d{{1,2}}{_GAP}{_OTHER_MONTH}{_GAP}(?:\d{{4}}|\d\d)|\d{{4}}{_GAP}{_OTHER_MONTH}"
     rf"{_GAP}\d{{1,2}})(?:\D.*)?|{_OTHER_MONTH}[. ]+\d{{1,2}},? *\d{{4}}(?:\D.*)?",
     _MONTH_NAMED),
    (r"\d{4}年 ?\d{1,2}月 ?\d{1,2}日.*|\d{4}년 ?\d{1,2}월 ?\d{1,2}일.*",
     "has the words for year, month and day in it", f": {_STATED} with them, such as \"%Y年%m月%d日 %H时%M分%S秒\""),
    (rf"{_DAY}[,.]? {BETWEEN} \d{{1,2}}[:.]\d\d.*|{_DAY}[T ,]+{_CLOCK} ?{BEHIND}",
     "has a word beside its time of day", f": {_STATED} with it, such as \"%d.%m.%Y um %H:%M:%S\""),
    (rf"(?:.*\d )?(?!(?:am|pm|utc|gmt|t)\b)[^\W\d_]{{2,4}}\.? ?{_CLOCK}.*",
     _WITH_WORDS),
    (r"\d{10}(?:[.,]\d+)?",
     "looks like seconds since 1970", f": {_STATED} = \"unix-seconds\" (\"gps-seconds\" if since 1980)"),
    (r"\d{13}(?:[.,]\d+)?", "looks like milliseconds since 1970", f": {_STATED} = \"unix-milliseconds\""),
    (r"\d{16}|\d{19}", "looks like a count of micro- or nanoseconds since 1970: export date and time"),
    (r"\d{3,4}(?:[ :;/,]+| w(?:ee)?k )\d{1,6}(?:[.,]\d+)?",
     "looks like GPS week and seconds", f": {_STATED} = \"gps-week-seconds\""),
    (r"2[34]\d{5}(?:[.,]\d+)?", _JULIAN),
    (r"\d{14}(?:[.,]\d+)?", "looks like a date and time without separators", f": {_STATED} = \"%Y%m%d%H%M%S\""),
    (r"\d{12}", "looks like a date and time without separators", f": {_STATED}, such as \"%Y%m%d%H%M\""),
    (r"\d{8}", f"looks like a date alone: {_APART}"),
    (r"\d{5}[.,]\d+", "looks like a spreadsheet's serial day", f": {_STATED} = \"serial-days\""),
    (r"\d{5}", f"looks like a spreadsheet's serial day without its time: {_APART}"),
    (r"\d{1,6}(?:[.,]\d+)?",
     "looks like seconds of a week or a time of day: map gps_week and gps_seconds, or date beside time"),
    (rf"{_CLOCK} ?[ap]\.?m\.?", _HALF_DAY_ALONE),
    (r".*\d ?[ap]\.?m\.?", "is from a 12-hour clock", f": {_STATED} with %I and %p, such as \"%d/%m/%Y %I:%M:%S %p\""),
    (rf"t?{_CLOCK}(?:z|[+-]\d\d:?\d\d)?", _CLOCK_ALONE),
    (rf"{_DAY}", f"has no time of day: {_APART}"),
    (r"\d{4}-?\d{3}[t ].*|(?:19|20)\d\d[-:/. ][0-3]\d\d[t :,_/-].*",
     _DAY_OF_YEAR, f": {_STATED} with %j, such as \"%Y-%jT%H:%M:%S\", and %z for an offset or Z behind it"),
    (r"(?:19|20)\d\d[-:/. ][0-3]\d\d", f"looks like a year and the day of the year without a time of day: {_APART}"),
    (r"\d{4}-?w\d\d-?[1-7][t ].*",
     _WEEK_OF_YEAR, f": {_STATED}, such as \"%G-W%V-%uT%H:%M:%S\", with %z for an offset or Z behind it"),
    (r"\d{4}-?w\d\d.*", f"looks like a year and a week without a day and its time: {_APART}"),
    (r"\d{8}[t _-]?\d{4}(?:\d\d)?", "looks like a date in figures alone with the year last",
     f": {_STATED}, such as \"%d%m%Y %H%M%S\" or \"%m%d%Y %H%M%S\""),
    (rf"(?:{_DAY})[t ,]+{_CLOCK} ?[+-]\d{{1,2}}",
     "ends in an offset of hours alone: export it as in +02:00",
     f", or {_STATED} with it, such as \"%Y-%m-%d %H:%M:%S+2\", and the offset as time_zone"),
    (r"(?:[^\W\d_]+,? )?(?:\d{1,2}(?:st|nd|rd|th)\b.*|[a-z]+ \d{1,2}(?:st|nd|rd|th)\b.*)",
     "has an ordinal in its date: export it without, as in 14 March 2026 07:30:00"),
    (rf"(?:{_DAY})[t ,]+{_CLOCK} ?[a-z]{{2,5}}", "ends in a zone abbreviation: export UTC, or its offset as in +02:00",
     f", or {_STATED} with it, such as \"%d.%m.%Y %H:%M:%S CET\", and its offset as time_zone"),
    (rf"(?:{_DAY})[t ,]+{_CLOCK} ?[^\W\d_].*", "has a word behind its time of day",
     f": {_STATED} with it, such as \"%d.%m.%Y %H:%M:%S local\", if it is no half of the day"),
    (r"\d{4}/\d{1,2}/\d{1,2} +\d{1,2}:\d\d:\d\d", "has the year first", f": {_STATED} = \"%Y/%m/%d %H:%M:%S\""),
    (rf"\d{{1,2}}[./-]\d{{1,2}}[./-]\d{{2,4}}[t ,]+{_CLOCK}.*",
     "may have the day or the month first, which is not guessed", f": {_STATED}, such as \"%d/%m/%Y %H:%M:%S\""
     " or \"%m/%d/%Y %H:%M:%S\""),
    (rf"(?:{_DAY})[t ,]+{_CLOCK}.*", "is in another format", f": {_STATED}, such as \"%d %b %Y %H:%M:%S\""),
)  # fmt: skip


class Look(Struct, frozen=True):
    """What a text that cannot be read looks like, in words.

    ``plainly`` says what it is not; ``seems`` what it seems to be and what to export instead, "" where nobody can tell;
    ``by_key`` goes on behind that where a key of the job file lets an export be read as it is.
    """

    plainly: str
    seems: str = ""
    by_key: str = ""

    def __str__(self) -> str:
        return f"{self.without_key}{self.by_key}"

    @property
    def without_key(self) -> str:
        """Return all that holds of a text for which the job file has no such key."""
        return f"{self.plainly}: it {self.seems}" if self.seems else self.plainly


def look_of_number(text: str) -> Look:
    """Return what a text looks like that was to be a number with digits and at most a decimal sign."""
    return _first(_plain(text), _NUMBERS, "is not a number")


def look_of_degrees(text: str) -> Look:
    """Likewise for one that was to be an angle in decimal degrees."""
    return _first(_plain(text), (*_ANGLES, *_NUMBERS), "is not a number")


def look_of_time(text: str) -> Look:
    """Likewise for one that was to be a date and time in ISO 8601."""
    found = _first(_plain(text), _TIMES, "is not a time")
    return replace(found, plainly="is not ISO 8601") if found.seems else found


def why_no_number(text: str) -> str:
    """Return in words what a text is that was to be a number with digits and at most a decimal sign."""
    return str(look_of_number(text))


def why_no_degrees(text: str, *, dms: bool = True) -> str:
    """Likewise for one that was to be an angle in decimal degrees; ``dms`` is whether ``angles = "dms"`` reads it."""
    look = look_of_degrees(text)
    return str(replace(look, seems=_ODD_MINUTES) if look.seems == _MINUTES and not dms else look)


def why_no_dms(text: str) -> str:
    """Likewise for one that was to be an angle in degrees, minutes and seconds."""
    return str(_first(_plain(text), _DMS, "is not an angle in degrees, minutes and seconds"))


def why_no_time(text: str) -> str:
    """Likewise for one that was to be a date and time in ISO 8601."""
    return str(look_of_time(text))


#: What no time format can say.
_NO_FORMAT = (_MONTH_NAMED, _WITH_WORDS, _HALF_NAMED, _FROM_1912)


class OddTime(Struct, frozen=True):
    """Why a text is no time in ISO 8601, in words; ``dateless`` if it is a time of day alone.

    ``statable`` is whether a time format could read it, as far as its look tells.
    """

    why: str
    dateless: bool
    statable: bool


def odd_time(text: str) -> OddTime:
    """Return `why_no_time` with what follows from it."""
    look = look_of_time(text)
    return OddTime(str(look), look.seems in (_HALF_DAY_ALONE, _CLOCK_ALONE), look.seems not in _NO_FORMAT)


def looks_like_data(cells: Sequence[str]) -> bool:
    """Tell whether a line that was to be a header holds numbers and times instead: the file has none."""
    given = [cell for cell in cells if cell]
    figures = sum(bool(re.fullmatch(rf"[+-]?{_PLAIN}|.*\d\d:\d\d.*", _plain(cell))) for cell in given)
    return len(given) > 1 and 2 * figures >= len(given)


def _plain(text: str) -> str:
    """Bring all blanks and signs of minus to one; a long text is left as it is."""
    if len(text) > LONGEST:
        return text
    return re.sub(r"[\s\u2007\u2009\u200a\u202f\u00a0]+", " ", text).replace("−", "-").replace("–", "-").strip()


def _first(text: str, looks: Sequence[_Form], plainly: str) -> Look:
    """Return ``plainly`` what a text is not, and what it seems to be, if that can be told."""
    if len(text) > LONGEST:
        return Look(plainly)
    if text.casefold() in NO_VALUE and text[0] != "#":
        return Look(plainly, "means no value: export an empty cell")
    if text.casefold() in _ENDLESS:
        return Look(plainly, "is endless, which no measurement is: if it stands for no value, export an empty cell")
    if text.casefold() in _UNKNOWN:
        return Look(plainly, "seems to mark what is not known: if it stands for no value, export an empty cell")
    for pattern, *words in looks:
        if re.fullmatch(pattern, text, re.IGNORECASE):
            return Look(plainly, *words)
    return Look(plainly)
