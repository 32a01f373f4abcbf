"""The formats of times that ``time_format`` may state: those of strptime, and words for times that are counted."""

import re

#: Words for times that are one number, counted from a beginning; those that begin with unix or gps say their own clock.
COUNTS = ("unix-seconds", "unix-milliseconds", "gps-seconds", "gps-week-seconds", "serial-days", "serial-days-1904")

#: Text between directives that is in quotes: compared with the file as all text is, without them, and never a clock.
QUOTED = re.compile(r"'([^'%]+)'")

#: Directives that stand for several others.
_LONG = {"T": "%H:%M:%S", "R": "%H:%M", "F": "%Y-%m-%d", "D": "%m/%d/%y"}

#: What can be read without a language or a calendar of one's own; names of months are English.
KNOWN = frozenset("YymdHIMSfpbBhaAz%")

#: One of each of these must be there.
_NEEDED = {"Yy": "year", "mbBh": "month", "d": "day", "HI": "hour"}

_NOT_READ = {
    "Z": "zone abbreviations are ambiguous: state time_zone instead; use %z for numeric offsets",
    "j": "days of the year are not supported: export the month and the day",
    "s": 'for seconds since 1970 state time_format = "unix-seconds"',
    "c": "its meaning differs by language: write the parts out, as in %d/%m/%Y %H:%M:%S",
}
_NOT_READ |= dict.fromkeys("xXr", _NOT_READ["c"])
_NOT_READ |= dict.fromkeys("GgVuUWw", "weeks and weekdays are not supported: export year, month and day")


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
    counts = {one_of: sum(used.count(directive) for directive in one_of) for one_of in _NEEDED}
    for one_of in sorted(_NEEDED, key=lambda one_of: -counts[one_of]):
        if counts[one_of] != 1:
            known = " or ".join(f"%{directive}" for directive in one_of)
            many = "no" if not counts[one_of] else "more than one"
            raise ValueError(f"time_format has {many} {_NEEDED[one_of]} ({known})")
    if ("I" in used) != ("p" in used):
        raise ValueError(
            "time_format has %I without %p or %p without %I: morning and afternoon cannot be distinguished"
        )
    for directive in "MSfzp":
        if used.count(directive) > 1:
            raise ValueError(f"time_format has %{directive} more than once")
