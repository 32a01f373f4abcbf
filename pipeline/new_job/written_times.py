"""Takes one written date and time apart and says the ``time_format`` that it is written by.

A format is told by its look alone: whether it fits a column is tried by the caller. Words are taken over only where
they cannot change the moment: those beside a time of day, names of clocks, weekdays. What may be a half of the day in
a language that is not read never becomes a part of a format.
"""

import re
from collections.abc import Iterator

from pipeline.files.halves_of_day import HALF_WRITTEN
from pipeline.files.odd_text import BEHIND, BETWEEN
from pipeline.job.written_clock import written_clock
from pipeline.read.clock_fields import WEEKDAY

_MONTH = (
    r"(?P<name>jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sep(?:t(?:ember)?)?"
    r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)(?![^\W\d_])"
)
_YEAR = r"(?P<Y>[0-9]{4})(?![0-9])"
_ANY_YEAR = r"(?:(?P<Y>[0-9]{4})|(?P<y>[0-9]{2}))(?![0-9])"
_DAY = r"(?P<d>[0-9]{1,2})"
_APART = r"(?:[ .,/'’-]{1,3}| ?(?:de|of|do) )"

#: Dates, the groups of which are directives; ``one`` and ``two`` are day and month in an order that nothing tells.
_DATES = tuple(
    re.compile(rf"(?<![^\W_]){each}", re.IGNORECASE)  # a letter before figures may name an era: R8.3.14
    for each in (
        rf"{_YEAR}(?P<sign>[./:-]) ?(?P<m>[0-9]{{1,2}})(?P=sign) ?{_DAY}(?![0-9])",
        rf"(?P<one>[0-9]{{1,2}})(?P<sign>[./-]) ?(?P<two>[0-9]{{1,2}})(?P=sign) ?{_ANY_YEAR}",
        r"(?P<Y>(?:19|20)[0-9]{2})(?P<m>0[1-9]|1[0-2])(?P<d>[0-3][0-9])(?![0-9])",
        r"(?P<Y>[0-9]{4})[年년] ?(?P<m>[0-9]{1,2})[月월] ?(?P<d>[0-9]{1,2})[日일]",
        rf"{_DAY}(?:st|nd|rd|th)?(?:{_APART})?{_MONTH}(?:{_APART})?{_ANY_YEAR}",
        rf"(?P<Y>[0-9]{{4}}){_APART}?{_MONTH}{_APART}?{_DAY}(?![0-9])",
        rf"(?<![^\W_]){_MONTH}[ ./-]{{1,2}}{_DAY}(?:st|nd|rd|th)?[ ,./-]{{1,3}}{_YEAR}",
    )
)
#: As `date` and mail programs write it: the year behind the time of day.
_YEAR_LAST = re.compile(rf"(?<![^\W_]){_MONTH} {_DAY},?(?= )(?P<between>.*) {_YEAR}$", re.IGNORECASE)

_FRACTION = r"(?:[.,:](?P<f>[0-9]{1,9}))?"
_CLOCKS = tuple(
    re.compile(rf"(?<![0-9]){each}(?![0-9])", re.IGNORECASE)
    for each in (
        rf"(?P<H>[0-9]{{1,2}})(?P<sign>[:：.]| : )(?P<M>[0-9]{{2}})(?:(?P=sign)(?P<S>[0-9]{{2}}){_FRACTION})?",
        # as columns of numbers are put together
        rf"(?P<H>[0-9]{{1,2}}):(?P<M>[0-9]{{1,2}}):(?P<S>[0-9]{{1,2}}){_FRACTION}",
        rf"(?P<H>[0-9]{{1,2}}) ?(?:h|u|ч|giờ)\.? ?(?P<M>[0-9]{{2}})(?: ?(?:mn|min|m|мин|м|phút|['′:.])\.? ?"
        rf"(?:(?P<S>[0-9]{{2}}){_FRACTION} ?(?:sec|s|сек|с|giây|''|″)?)?)?",
        r"(?P<H>[0-9]{1,2})[时時시点點] ?(?P<M>[0-9]{1,2})[分분] ?(?:(?P<S>[0-9]{1,2})[秒초])?",
        r"(?P<H>[0-9]{2})(?P<sign>[_-])(?P<M>[0-9]{2})(?P=sign)(?P<S>[0-9]{2})",
        r"(?P<H>[01][0-9]|2[0-3])(?P<M>[0-5][0-9])(?P<S>[0-5][0-9])(?:[.,](?P<f>[0-9]{1,9}))?",
    )
)
#: Halves of the day, which %p reads; those of a single letter are behind the time, where no era can be meant.
_HALF_BEHIND = re.compile(rf"( ?)(?:{HALF_WRITTEN})(?![^\W\d_])", re.IGNORECASE)
_HALF_BEFORE = re.compile(rf"(?<![^\W\d_])(?![صم]\.? ?$)(?:{HALF_WRITTEN})( ?)$", re.IGNORECASE)

#: An offset of hours and minutes, or Z, which %z reads.
_OFFSET = re.compile(r"^( ?(?:\(?(?:UTC|GMT|UT))?)(?:[+-][0-9]{2}(?::?[0-9]{2})?(?![0-9:])|[Zz](?![^\W_]))")
#: One behind the letters of universal time, however short, which `written_clock` reads.
_NAMED = re.compile(r"\(?(?:UTC|GMT|UT|Z) ?[+\-\u2212\u2013] ?[0-9]{1,2}(?::?[0-9]{2})?(?![0-9])\)?")
_PLACE = re.compile(r" ?\[[A-Za-z_]+(?:/[A-Za-z_-]+)+\]$")
_WORD = re.compile(r"[^\W\d_]+\.?")
_ENGLISH_DAY = re.compile(r"(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?", re.IGNORECASE)
#: A day of the week in Chinese, Japanese or Korean: as such it stands behind the date.
_OTHER_DAY = re.compile(r"(?:星期|周|週)?[月火水木金土日一二三四五六天](?:曜日|曜)?|[월화수목금토일](?:요일)?")
#: Words beside a date: "of the year" behind it, "the" and "day" before it.
_OF_DATE = frozenset(["г", "р", "r", "год", "le", "den", "ngày", "dnia", "dne", "dia", "día"])
_BESIDE = re.compile(rf"{BETWEEN}|{BEHIND}", re.IGNORECASE)
#: What else may stand between the parts of a time.
_MARKS = re.compile(r"[ .,;:_/|()\[\]\-–~@]*")


def forms_of(text: str) -> list[str]:
    """Return the formats by which one date and time may be written, several where day and month may change places.

    Of several ways to take it apart it is the first that leaves nothing over; none where there is no such way.
    ``text`` has plain blanks.
    """
    if re.search(r"[%\"\\]", text) or len(text) > _LONGEST:
        return []
    for start, middle, end, date, clock in _apart(text):
        forms = _put_together(start, middle, end, date, clock)
        if forms:
            return forms
    return []


#: Longer texts are no times.
_LONGEST = 80


def is_date(text: str) -> bool:
    """Tell whether a text is a date without a time of day, with a weekday or a point beside it at most.

    Eight figures in a row are none: other numbers look like them.
    """
    for pattern in _DATES:
        for found in pattern.finditer(text):
            if found[0].isdecimal():
                continue
            before, behind = _before(text[: found.start()], date=True), _plain(text[found.end() :])
            if before is None or behind is None or re.search(r"[0-9]", before + behind):
                continue
            # a word before figures may be a name: "KP 10-11-12"
            if "%a" not in before or _FULL_YEAR.search(found[0]) or _ENGLISH_DAY.match(text):
                return True
    return False


def is_clock(text: str) -> bool:
    """Tell whether a text is a time of day without a date, with the words that `forms_of` takes over.

    Figures with nothing but a decimal sign, underscores or hyphens between are none: other numbers look like them.
    """
    return _CLOCK_SIGN.search(text) is not None and bool(forms_of(f"2001-02-03 {text}"))


_FULL_YEAR = re.compile(r"(?<![0-9])(?:19|20)[0-9]{2}(?![0-9])")
_CLOCK_SIGN = re.compile(r"[0-9] ?(?:[:：huч时時시点點]|giờ|\.[0-9]{2}\.[0-9]{2})", re.IGNORECASE)


def _apart(text: str) -> Iterator[tuple[str, str, str, list[str], str]]:
    """Yield the ways to find a date and a time of day in a text; in the first, middle or last piece no figure is.

    The date's formats have ``\\0`` for the time of day that stands in them or behind them, and ``\\1`` before them.
    """
    if (found := _YEAR_LAST.search(text)) is not None:
        for clock, before, behind in _clocks(found["between"]):
            month, day = text[found.start("name") : found.end("name")], found["d"]
            rest = text[found.start() : found.start("between")]
            form = rest.replace(month, "%b", 1)[::-1].replace(day[::-1], "d%", 1)[::-1]
            yield text[: found.start()], before, "", [f"{form}\0{{behind}} %Y".replace("{behind}", behind)], clock
    for pattern in _DATES:
        for found in pattern.finditer(text):
            start, end = text[: found.start()], text[found.end() :]
            dates = _dates(found)
            for clock, before, behind in _clocks(end):
                yield start, before, behind, [f"{date}\0" for date in dates], clock
            if "y" not in found.groupdict() or found["y"] is None:
                for clock, before, behind in _clocks(start):
                    yield before, behind, end, [f"\0{date}" for date in dates], clock


def _dates(found: re.Match[str]) -> list[str]:
    """Return the formats of a date that was found."""
    groups = found.groupdict()
    if "one" not in groups:
        return [_with(found, {word: "%b" if word == "name" else f"%{word}" for word in groups if word != "sign"})]
    year = "%Y" if groups["Y"] else "%y"
    last = {"Y": year, "y": year}
    orders = [{"one": "%d", "two": "%m", **last}, {"one": "%m", "two": "%d", **last}]
    if year == "%y" and len(found["one"]) == 2:
        orders.append({"one": "%y", "two": "%m", "Y": "%d", "y": "%d"})
    return [_with(found, order) for order in orders]


def _with(found: re.Match[str], directives: dict[str, str]) -> str:
    """Return what was found with directives in the place of its groups."""
    spans = sorted((found.span(word), form) for word, form in directives.items() if found[word] is not None)
    text, at = "", found.start()
    for (since, until), form in spans:
        text += found.string[at:since] + form
        at = until
    return text + found.string[at : found.end()]


def _clocks(text: str) -> Iterator[tuple[str, str, str]]:
    """Yield the formats of the times of day in a text, with what stands before and behind them."""
    for pattern in _CLOCKS:
        for found in pattern.finditer(text):
            before, behind = text[: found.start()], text[found.end() :]
            form = _with(found, {word: f"%{word}" for word in "HMSf" if word in found.groupdict()})
            if (half := _HALF_BEHIND.match(behind)) is not None:
                form, behind = f"{form.replace('%H', '%I')}{half[1]}%p", behind[half.end() :]
            elif (half := _HALF_BEFORE.search(before)) is not None:
                form, before = f"%p{half[1]}{form.replace('%H', '%I')}", before[: half.start()]
            if (offset := _OFFSET.match(behind)) is not None:
                form, behind = f"{form}{offset[1]}%z", behind[offset.end() :]
                behind = _PLACE.sub("", behind) + "".join(_PLACE.findall(behind)) if "[" in behind else behind
            yield form, before, behind


def _put_together(start: str, middle: str, end: str, dates: list[str], clock: str) -> list[str]:
    """Return the whole formats, none where something that is not understood stands beside date and time of day."""
    first_clock = dates[0].startswith("\0")
    before = _before(start, date=not first_clock)
    between = _plain(middle)
    place = _PLACE.search(end) if "%z" in clock else None
    behind = _plain(end[: place.start()] if place else end)
    if before is None or between is None or behind is None:
        return []
    behind += place[0] if place else ""
    if first_clock:
        return [f"{before}{clock}{between}{date[1:]}{behind}" for date in dates]
    forms = []
    for date in dates:
        head, inside = date.split("\0")
        inner = _plain(inside.replace("%Y", "")) if inside else ""
        if inner is None:
            return []
        forms.append(f"{before}{head}{between}{clock}{inside}{behind}")
    return forms


#: A letter alone, which may name an era before a date.
_LETTER = re.compile(r"(?<![^\W\d_])[^\W\d_](?![^\W\d_])")


def _before(text: str, *, date: bool) -> str | None:
    """Return what stands before a date or a time of day with a weekday's directive in it; None for anything else."""
    if date and _LETTER.search(text):
        return None
    found = re.fullmatch(r"([^\W\d_]{2,13})([.,]{0,2} ?)", text) if date else None
    if found is None or _known(found[1]) or re.fullmatch(HALF_WRITTEN, found[1], re.IGNORECASE):
        return _plain(text)
    weekday = "%a" if re.fullmatch(WEEKDAY, found[1]) else found[1]
    return f"{weekday}{found[2]}"


def _plain(text: str) -> str | None:
    """Return a text in which only words are that cannot change the moment, weekdays as a directive; None for others."""
    left = _NAMED.sub(" ", text)
    weekdays = []
    for word in _WORD.findall(left):
        bare = word.rstrip(".")
        if _ENGLISH_DAY.fullmatch(bare) or _OTHER_DAY.fullmatch(bare):
            weekdays.append(bare)
        elif not _known(bare):
            return None
    if _MARKS.fullmatch(_WORD.sub("", left)) is None:
        return None
    for weekday in weekdays[:1]:
        text = text.replace(weekday, "%a", 1)
    return text


def _known(word: str) -> bool:
    """Tell whether a word is one beside a time of day, or the name of a clock."""
    return word in ("T", "t") or word.lower() in _OF_DATE or _BESIDE.fullmatch(word) is not None or _is_clock_name(word)


def _is_clock_name(word: str) -> bool:
    return word.isalpha() and written_clock(f"%Y-%m-%d %H:%M:%S {word}") is not None
