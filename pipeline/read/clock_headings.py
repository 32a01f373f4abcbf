"""Reads the clock that the heading of a time column names.

The one vocabulary for it: a run holds the headings of mapped columns against the job file by it, and a job file that is
drafted takes the zone of its times from it.
"""

import re
from collections.abc import Mapping

from pipeline.files.heading_words import words_as_written, words_of

#: What a heading says of a clock beside offsets: that it is UTC, the GPS time scale, or local.
_UTC, _GPS, _LOCAL = (
    {"utc", "gmt", "zulu"},
    {"gps", "gpst"},
    {"local", "lokal", "lokale", "locale", "locales", "ortszeit"},
)
_UTC |= {"utctime", "timeutc", "utcdate", "dateutc", "gmttime"}
_UTC |= {"universal", "universel", "universelle", "universale", "weltzeit"}
#: Universal time in capitals, which are other words in small letters.
_UNIVERSAL = frozenset(["UT", "TU", "TUC"])
_LOCAL |= {"localtime", "localdate", "lokalzeit"}
#: An offset: behind UTC or GMT, in brackets, or with hours and minutes.
_OFFSET = re.compile(
    r"(?:(?:utc|gmt)[ _]?|[(\[] ?)(?P<sign>[+\-\u2212\u2013]) ?(?P<hours>\d{1,2})(?::?(?P<minutes>\d\d))?(?!\d)"
    r"|(?P<alone>[+\-\u2212\u2013]\d\d:\d\d)(?!\d)",
    re.IGNORECASE,
)
#: Figures behind UTC without a sign, or the zones of a database whose sign is the other one: nobody can tell.
_UNCLEAR = re.compile(r"(?:utc|gmt)[ _:]*\d|etc/gmt", re.IGNORECASE)
_OFFSET_HOURS_MAX = 14
#: Names of one offset each, as they stand in headings; a name that is a word of a language too only in capitals.
_NAMED = {
    "WET": "+00:00", "WEST": "+01:00", "CET": "+01:00", "MEZ": "+01:00", "CEST": "+02:00", "MESZ": "+02:00",
    "EET": "+02:00", "OEZ": "+02:00", "EEST": "+03:00", "OESZ": "+03:00", "MSK": "+03:00", "SAST": "+02:00",
    "北京时间": "+08:00", "北京時間": "+08:00", "日本標準時": "+09:00",
    "JST": "+09:00", "KST": "+09:00", "SGT": "+08:00", "HKT": "+08:00", "AWST": "+08:00", "ACST": "+09:30",
    "ACDT": "+10:30", "AEST": "+10:00", "AEDT": "+11:00", "NZST": "+12:00", "NZDT": "+13:00", "AKST": "-09:00",
    "AKDT": "-08:00", "HST": "-10:00", "PDT": "-07:00",
}  # fmt: skip
#: Names that are several clocks: each offset with whose it is.
_SEVERAL = {
    "EST": (("-05:00", "eastern North America"), ("+10:00", "eastern Australia")),
    "EDT": (("-04:00", "eastern North America"), ("+11:00", "eastern Australia")),
    "CST": (("-06:00", "central North America"), ("+08:00", "China"), ("+09:30", "central Australia")),
    "CDT": (("-05:00", "central North America"), ("+10:30", "central Australia")),
    "MST": (("-07:00", "mountain North America"), ("+08:00", "Malaysia")),
    "MDT": (("-06:00", "mountain North America"),),
    "PST": (("-08:00", "western North America"), ("+08:00", "the Philippines")),
    "AST": (("-04:00", "Atlantic North America"), ("+03:00", "Arabia")),
    "ADT": (("-03:00", "Atlantic North America"), ("+04:00", "Arabia")),
    "BST": (("+01:00", "Britain in summer"), ("+06:00", "Bangladesh")),
    "IST": (("+05:30", "India"), ("+01:00", "Ireland in summer"), ("+02:00", "Israel")),
    "MET": (("+01:00", "central Europe"),),
    "GST": (("+04:00", "the Gulf"), ("-02:00", "South Georgia")),
    "SST": (("+08:00", "Singapore"), ("-11:00", "Samoa")),
}  # fmt: skip
_WORDS = frozenset(["WEST", "EST", "MET", "IST", "AST", "BST", "HST"])
#: Words beside UTC by which a heading says how far a clock is from it, or that it is another.
_FROM_UTC = re.compile(
    r"offsets?|shift|diff\w*|delta|minus|plus|not|no|non|nicht|abweichung|versatz|verschiebung|decalage|ecart|"
    r"desfase|desplazamiento|diferencia|diferenca|scarto|differenza|verschil|afwijking|forskydning|forskyvning|"
    r"avvik|forskjutning|ero|przesuniecie|roznica|posun|rozdil"
)


def zone_in_heading(heading: str) -> str | None:
    """Return the zone that a heading says, as a job file has it; "" for a local clock, None where it says nothing.

    None too where it says several, names a zone that is another offset elsewhere, or speaks of an offset from UTC
    without saying which.
    """
    if _UNCLEAR.search(heading) or offsets_of_zone_name(heading):
        return None
    words = words_as_written(heading)
    plain = {word.casefold() for word in words}
    offsets = {_NAMED[word.upper()] for word in words if _is_name(word, _NAMED)}
    rest = heading
    if found := _OFFSET.search(heading):
        text = found["alone"] or f"{found['sign']}{int(found['hours']):02d}:{found['minutes'] or '00'}"
        text = re.sub("[\u2212\u2013]", "-", text)
        if int(text[1:3]) > _OFFSET_HOURS_MAX or int(text[4:]) > 59:
            return None
        offsets.add(text)
        rest = heading.replace(found[0], " ")
    elif plain & _LOCAL and not offsets:
        return ""
    rest_words = set(words_of(rest))
    if rest_words & _UTC or _UNIVERSAL.intersection(words_as_written(rest)):
        if any(map(_FROM_UTC.fullmatch, rest_words)) and not offsets:
            return None
        if not offsets:
            return "UTC"
        # "UTC offset +01:00" is of the offset; "UTC/CET" is two clocks
        return offsets.pop() if len(offsets) == 1 and any(map(_FROM_UTC.fullmatch, rest_words)) else None
    if offsets:
        return offsets.pop() if len(offsets) == 1 else None
    return "GPS" if plain & _GPS else None


def offsets_of_zone_name(heading: str) -> tuple[tuple[str, str], ...]:
    """Return the offsets that a zone's name in a heading may mean, each with whose it is; () where it has none."""
    return next((_SEVERAL[word.upper()] for word in words_as_written(heading) if _is_name(word, _SEVERAL)), ())


def is_offset(heading: str) -> bool:
    """Tell whether a column is of offsets from UTC by its heading, or of names of zones: "UTC offset", "Time zone"."""
    words = words_of(heading)
    clock = {"time", "gmt", "utc", "tz", "zeit", "horaria", "horaire", "fuso"}
    told = any(map(_FROM_UTC.fullmatch, words)) and bool(clock & set(words))
    return told or "".join(words) in ("timezone", "zeitzone", "tz", "utcoffset", "fusohorario", "fuseauhoraire")


def _is_name(word: str, names: Mapping[str, object]) -> bool:
    return word.upper() in names and (word.isupper() or word.upper() not in _WORDS)
