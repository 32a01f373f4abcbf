"""The formats of times that ``time_format`` may state: those of strptime, and words for times that are counted."""

import re

#: Words for times that are one number, counted from a beginning; those that begin with unix or gps say their own clock.
COUNTS = ("unix-seconds", "unix-milliseconds", "gps-seconds", "gps-week-seconds", "serial-days", "serial-days-1904")

#: Text between directives that is in quotes: compared with the file as all text is, without them, and never a clock.
QUOTED = re.compile(r"'([^'%]+)'")

#: Directives that stand for several others.
_LONG = {"T": "%H:%M:%S", "R": "%H:%M", "F": "%Y-%m-%d", "D": "%m/%d/%y"}

#: What can be read without a language or a calendar of one's own; names of months are English.
KNOWN = frozenset("YymdjGVuHIMSfpbBhaAz%")

#: One of each of these must be there, and none of the others by which a day may be said.
_NEEDED = {"Yy": "year", "mbBh": "month", "d": "day", "HI": "hour"}
_OF_YEAR = {"Yy": "year", "j": "day of the year", "HI": "hour"}
_OF_WEEK = {"G": "year of weeks", "V": "week", "u": "day of the week", "HI": "hour"}
_DAYS = frozenset("YymbBhdjGVu")

_NOT_READ = {
    "Z": "zone abbreviations are ambiguous: state time_zone instead; use %z for numeric offsets",
    "s": 'for seconds since 1970 state time_format = "unix-seconds"',
    "c": "its meaning differs by language: write the parts out, as in %d/%m/%Y %H:%M:%S",
}
_NOT_READ |= dict.fromkeys("xXr", _NOT_READ["c"])
_NOT_READ |= dict.fromkeys("gUWw", "only weeks of ISO 8601 are read: %G-W%V-%u")


def parts_of(time_format: str) -> list[tuple[str, str]]:
    """Return a format as its parts in order: a directive's letter and "", or "" and what stands between directives.

    Raises ValueError, saying what is wrong, where a directive is not understood, comes twice, or where the format does
    not give a date with year, month and day and a time of day.
    """
    if "%" not in time_format:
        words = ", ".join(COUNTS)
        raise ValueError(f"time_format '{time_format}' has no % in it and is not a word for counted times ({words})")
    text = re.sub(r"%([TRFD])", lambda match: _LONG[match[1]], time_format)
    parts = re.findall(r"%(.?)|([^%]+)", text, re.DOTALL)
    used = [directive for directive, literal in parts if not literal]
    for directive in used:
        if directive not in KNOWN:
            why = _NOT_READ.get(directive, "which is not understood")
            raise ValueError(f'time_format has "%{directive}"{", " if why.startswith("which") else ": "}{why}')
    _check(used)
    return parts


#: A date in figures and a time of day.
_WRITTEN = re.compile(
    r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})([T ,]+)\d{1,2}([:.])\d\d(\6\d\d)?(?:([.,])\d+)?"
    r"(?:( ?)(?:[ap]m|[ap]\. ?m\.))?( ?)(z|[+-]\d\d(?::?\d\d)?)?",
    re.IGNORECASE,
)


def likely_formats(text: str) -> list[str]:
    """Return the formats by which a time looks to be written: several where day, month and year may change places."""
    text = re.sub(r"[\u00a0\u2009\u202f]", " ", text.strip())
    match = _WRITTEN.fullmatch(text)
    if match is None and (ordinal := _ORDINAL.fullmatch(text)) is not None:
        return [_by_day_of_year_or_week(ordinal)]
    if match is None:
        return [form for look, forms in _COUNTED if re.fullmatch(look, text) for form in forms]
    first, sign, _, last, between, colon, seconds, parts, half, apart, offset = match.groups()
    clock = f"{'%H' if half is None else '%I'}{colon}%M"
    clock += (f"{colon}%S" if seconds else "") + (f"{parts}%f" if parts else "")
    clock += "" if half is None else f"{half}%p"
    clock += f"{apart}%z" if offset else ""
    if len(first) == 4:
        return [sign.join(("%Y", "%m", "%d")) + between + clock]
    year = "%Y" if len(last) == 4 else "%y"
    orders = [("%d", "%m", year), ("%m", "%d", year)]
    if len(first) == len(last) == 2:
        orders.append(("%y", "%m", "%d"))
    return [f"{sign.join(order)}{between}{clock}" for order in orders]


#: A year with the day of the year, or a week and its day, and a time of day, in ISO 8601 and with other signs.
_ORDINAL = re.compile(
    r"(?:19|20)\d\d(?:(?P<sign>[-:/. ]?)(?:[0-2]\d\d|3[0-6]\d)|(?P<of_week>(?P<apart>-?)W\d\d(?P=apart)[1-7]))"
    r"(?P<between>[Tt :,_/-]+)\d\d(?P<colon>:?)\d\d(?P<seconds>(?P=colon)\d\d)?(?:(?P<part>[.,])\d+)?"
    r"(?P<blank> ?)(?P<offset>z|[+-]\d\d(?::?\d\d)?)?",
    re.IGNORECASE,
)


def _by_day_of_year_or_week(found: re.Match[str]) -> str:
    sign = found["apart"]
    day = f"%G{sign}W%V{sign}%u" if found["of_week"] else f"%Y{found['sign']}%j"
    clock = f"%H{found['colon']}%M" + (f"{found['colon']}%S" if found["seconds"] else "")
    clock += f"{found['part']}%f" if found["part"] else ""
    return day + found["between"] + clock + (f"{found['blank']}%z" if found["offset"] else "")


#: Looks of counted times and of runs of figures, and the words or formats by which each may be meant.
_COUNTED = (
    (r"\d{10}([.,]\d+)?", ("unix-seconds", "gps-seconds")),
    (r"\d{13}([.,]\d+)?", ("unix-milliseconds",)),
    (r"\d{3,4}[ :;/]+\d{1,6}([.,]\d+)?", ("gps-week-seconds",)),
    (r"\d{5}[.,]\d+", ("serial-days",)),
    (r"\d{14}", ("%Y%m%d%H%M%S",)),
    (r"\d{12}", ("%y%m%d%H%M%S", "%d%m%y%H%M%S", "%m%d%y%H%M%S")),
)

_TOKEN = re.compile(r"(y{2,4}|m{1,3}|d{1,2}|h{1,2}|s{1,2}|f+|tt|a(?:m/pm)?)", re.IGNORECASE)


def from_tokens(text: str) -> str | None:
    """Return a format as spreadsheets write one (``dd.mm.yyyy hh:mm:ss``) as directives; None where it is not one."""
    seen: list[str] = []

    def directive(match: re.Match[str]) -> str:
        token = match[1].lower()
        kind = token[0]
        if kind == "m":
            kind = "M" if {"H", "I"} & set(seen) else "b" if len(token) == 3 else "m"
        half = re.search(r"tt|a", text, re.IGNORECASE) is not None
        sign = {"y": "Y" if len(token) == 4 else "y", "h": "I" if half else "H", "s": "S", "t": "p", "a": "p"}
        seen.append(sign.get(kind, kind))
        return f"%{seen[-1]}"

    found = _TOKEN.sub(directive, text)
    try:
        parts_of(found)
    except ValueError:
        return None
    return found


def says_its_clock(time_format: str | None) -> bool:
    """Tell whether times of this format are of one clock whatever the zone: UTC for unix, GPS time for gps."""
    return time_format in COUNTS and time_format is not None and time_format.startswith(("unix", "gps"))


def _check(used: list[str]) -> None:
    needed = _OF_WEEK if set("GVu") & set(used) else _OF_YEAR if "j" in used else _NEEDED
    counts = {one_of: sum(used.count(directive) for directive in one_of) for one_of in needed}
    for one_of in sorted(needed, key=lambda one_of: -counts[one_of]):
        if counts[one_of] != 1:
            known = " or ".join(f"%{directive}" for directive in one_of)
            many = "no" if not counts[one_of] else "more than one"
            raise ValueError(f"time_format has {many} {needed[one_of]} ({known})")
    if other := next((each for each in used if each in _DAYS and each not in "".join(needed)), None):
        raise ValueError(f"time_format has %{other} beside the {list(needed.values())[1]}, and says the day twice")
    if ("I" in used) != ("p" in used):
        raise ValueError(
            "time_format has %I without %p or %p without %I: morning and afternoon cannot be distinguished"
        )
    for directive in "MSfzp":
        if used.count(directive) > 1:
            raise ValueError(f"time_format has %{directive} more than once")
