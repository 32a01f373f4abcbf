"""Job files, session tables and registers as people type them: right ones with a few slips, drawn by hypothesis."""

import datetime as dt
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from hypothesis import strategies as st
from pydantic import BaseModel

from pipeline.job.model import Job

_UTC = dt.UTC

#: What a person, a template or a spreadsheet may leave in the place of any value.
TEXTS = (
    "", " ", "\n", "\t", "a\nb", "\x07", "a\0b", "\u200b", "é", "e\u0301", "x" * 300, "..", "/dev/null/x", ".",
    "rover001.csv/x", "~", "*", "[", "**", "no*.csv",
    "CON", "none", "nan", "-", "fix", "0", "true", "EPSG:2193", "epsg:2193", "EPSG:4326", "EPSG:4959", "EPSG:4978",
    "EPSG:7839", "EPSG:5773", "EPSG:3857", "EPSG:2193+7839", "EPSG:2193+5773", "EPSG:7912", "EPSG:0",
    "EPSG:99999999999999999999",
    "EPSG:", "EPSG 2193", "2193", "OGC:CRS84", "IAU_2015:30100", "WGS84", "UTM 33N", "ellipsoid", "Ellipsoid",
    "urn:ogc:def:crs:EPSG::2193",
    "GEOGCS[", "PROJCRS[]", "{}", "{\"type\": 1}", "+proj=utm +zone=59 +south", "+proj=nonsense", "+init=epsg:2193",
    'LOCAL_CS["site",UNIT["metre",1]]', "UTC", "GPS", "CEST", "EST", "UTC+2", "+2", "+0200", "+02:00", "+99:99",
    "Europe/Vienna",
    "europe/vienna", "Europe", "../Europe", "/etc/localtime", "localtime", "posix/Europe/Vienna", "a" * 5000,
    "%Z", "%j", "%c", "%x", "%X", "%", "%%", "%Q", "%H", "%d/%m/%Y", "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %I:%M",
    "%d/%m/%Y %H:%M %p",
    "%Y-%m-%dT%H:%M:%S%z", "%Y-%m-%dT%H:%M:%S.%fZ", "%Y %j %H:%M", "%G-W%V-%u %H:%M", "%s", "%Y-%m-%d %H:%M:%S %Z",
    "%Y%Y-%m-%d %H",
    "(?P<year>", "%Y-%m-%d[ %H:%M", "%y%m%d%H\n", "utf-8", "utf-16", "utf-32", "utf-7",
    "cp1252", "latin-1", "ascii", "hex",
    "base64", "zlib",
    "rot13", "idna", "punycode", "undefined", "unicode_escape", "raw_unicode_escape", "utf_8_sig", "mbcs", "\\t", ";",
    ",",
    "|", '"', "'", "dms", "decimal", "foot", "derive", "geocentric", "grid", "last", "mean", "safe", "gpkg",
    "suspect",
    "register.csv", "rover001.csv", "rover*.csv", "sessions.csv", "job.toml", "out", "Lat", "Lon", "EllHt", "Point",
    "Observed",
    "CM1", "CM2", "cm1", " CM1 ", "S01-T1", "S01-C1", "S01-00001", "BASE-01", "base-01", "CHK", "chk",
    "register-heights", "all",
)  # fmt: skip
NUMBERS = (
    0, 1, -1, 2, 90, 180, 360, 361, 1000, 2026, 99999, 2**31, 2**63, 10**30, -(10**30), 10**400, 0.0, -0.0, 1e-9,
    1e-320, 0.03, 0.5,
    2026.2, 1e6, 1e9, 1e15, 1e150, -1e150, 1e300, 1.7e308, -1.7e308, float("inf"), float("-inf"), float("nan"),
)  # fmt: skip
TIMES = (
    dt.datetime(1, 1, 1), dt.datetime(1, 1, 1, tzinfo=_UTC),
    dt.datetime(1, 1, 1, tzinfo=dt.timezone(dt.timedelta(hours=14))),
    dt.datetime(9999, 12, 31, 23, 59, 59, 999999, tzinfo=_UTC),
    dt.datetime(9999, 12, 31, 23, tzinfo=dt.timezone(-dt.timedelta(hours=14))),
    dt.datetime(2026, 3, 2, 7, 30), dt.datetime(2026, 3, 1, 22, 30, tzinfo=_UTC),
    dt.datetime(2026, 3, 2, 3, 30, 0, 1, tzinfo=_UTC),
    dt.datetime(1969, 12, 31, tzinfo=_UTC),
    dt.datetime(2026, 3, 2, tzinfo=dt.timezone(dt.timedelta(hours=23, minutes=59))),
    dt.date(2026, 3, 2), dt.time(7, 30),
)  # fmt: skip
OTHERS = (
    True, False, [], [[]], [[[[[]]]]], [""], ["fix", "float"], [1, "a"], [0.0, 1e300], [{}],
    [{"point": "S01-T1", "mark": "CM2"}],
    [{"point": "S01-T1"}], {}, {"a": {"b": {"c": 1}}}, {"east": 1e300, "north": 0.0, "up": 0.0},
    {"east": 0.0, "north": 0.0, "up": 0.0, "sigma_horizontal": 1e150, "sigma_vertical": 1e-300}, {"mark": "CM1"},
    {"mark": "CM1", "longitude": 171.85, "latitude": -43.7, "ellipsoid_height": 1e300},
    {"mark": "CM2", "longitude": 171.85, "latitude": -43.7, "ellipsoid_height": 300.0, "antenna_height": 1e15},
    {"mark": "CM1", "longitude": 171.85, "latitude": 90.0, "ellipsoid_height": 0.0},
    {"from": dt.datetime(2026, 3, 1, 22, tzinfo=_UTC), "east": 0.0, "north": 1e150, "up": 0.0, "model": "grid"},
    {"from": dt.datetime(2026, 3, 1, 22, tzinfo=_UTC), "tie": "S01-T1", "mark": "CM1"},
)  # fmt: skip
#: What stands in a cell of a table besides: numbers in other spellings, other kinds of a column's own values.
CELLS = (
    *TEXTS, "1507336.17818", "1 507 336,178", "1,507,336.178", "1507336,178", "1e300", "1e150", "-1e150", "1e-320",
    "1e999", "0", "-1",
    "12.3 m", "−43.7", "43°42'00\"", "S 43.7", "10.5W", "#N/A", "NULL", "2026-03-01T19:30:00Z", "2026-03-01 19:30",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00", "01.03.2026 19:30", "46082.8125", "3d", "position", "height", "derive",
    "S01-T1=CM1; S01-C1=CM2", "=", ";",
    "S01-T1", "S01-T1=", "a=b=c", '"', '"a', 'a"b', "'", "12345678901234567890123456789",
)  # fmt: skip


@dataclass(frozen=True)
class Typed:
    """What a person typed: the text of the job file, the sessions' CSV and the register."""

    job: str
    sessions: str
    register: str


def to_toml(value: Any) -> str:
    """Return any value as TOML, tables inline."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {to_toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(to_toml, value)) + "]"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value).replace("\x7f", "\\u007f")


def paths(model: type[BaseModel] = Job, above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield every key that a job file may have, as a path from its top."""
    for name, field in model.model_fields.items():
        path = (*above, field.alias or name)
        yield path
        for inner in _models(field.annotation):
            yield from paths(inner, path)


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


PATHS = tuple(dict.fromkeys(paths()))
_VALUES = (
    st.sampled_from((*TEXTS, *NUMBERS, *TIMES, *OTHERS))
    | st.sampled_from(TEXTS)
    | st.floats()
    | st.integers()
    | st.text(max_size=8)
)


@st.composite
def typed(draw: st.DrawFn, job: dict[str, Any], sessions: str, register: str) -> Typed:
    """Draw a job with one to three slips somewhere in what was typed."""
    job, in_file = json_like(job), draw(st.integers(0, 3)) == 0
    if in_file:
        del job["session"]
        job["sessions"] = {"file": "sessions.csv"}
    places = ["job", "job", "text", "register"] + (["sessions"] * 3 if in_file else ["job"])
    text, where = "", [draw(st.sampled_from(places)) for _ in range(draw(st.integers(1, 3)))]
    for _ in range(where.count("job")):
        _slip(draw, job)
    text = "".join(f"{key} = {to_toml(value)}\n" for key, value in job.items())
    for _ in range(where.count("text")):
        text = _spoilt(draw, text)
    for _ in range(where.count("sessions")):
        sessions = _cell(draw, sessions)
    for _ in range(where.count("register")):
        register = _cell(draw, register)
    return Typed(text, sessions, register)


def json_like(value: Any) -> Any:
    """Return a deep copy with lists in the place of tuples."""
    if isinstance(value, dict):
        return {key: json_like(inner) for key, inner in value.items()}
    return [json_like(inner) for inner in value] if isinstance(value, list | tuple) else value


def _slip(draw: st.DrawFn, job: dict[str, Any]) -> None:
    """Set a key to something, take one out, write one twice, misspell one, or give a table another form."""
    *above, key = draw(st.sampled_from(PATHS))
    table: Any = job
    for step in above:
        inner = table.setdefault(step, {})
        if isinstance(inner, list) and inner:
            inner = inner[draw(st.integers(0, len(inner) - 1))]
        if not isinstance(inner, dict):
            return
        table = inner
    kind = draw(st.sampled_from(("set", "set", "set", "set", "remove", "misspell", "listed", "twice", "bare")))
    if kind == "set":
        table[key] = draw(_VALUES)
    elif kind == "remove":
        table.pop(key, None)
    elif kind == "misspell":
        wrong = draw(st.sampled_from((f"{key}s", key[:-1], key.upper(), key.replace("_", "-"), "client", "")))
        table[wrong] = table.pop(key, 1)
    elif kind == "listed":
        table[key] = [table[key]] if key in table else [draw(_VALUES)]
    elif key in table and isinstance(table[key], list) and table[key]:
        table[key] = table[key] * 2 if kind == "twice" else table[key][0]


def _spoilt(draw: st.DrawFn, text: str) -> str:
    """Take out, put in, or repeat a piece of a text."""
    at = draw(st.integers(0, len(text)))
    kind = draw(st.sampled_from(("cut", "cut", "put", "line", "deep")))
    if kind == "cut":
        return text[:at] + text[at + draw(st.integers(1, 12)) :]
    if kind == "put":
        return text[:at] + draw(st.sampled_from((*"\"'[]{}=,#\n\r\0\ufeff\\\u2019\t.", '"""'))) + text[at:]
    if kind == "line":
        lines = text.splitlines(keepends=True) or [""]
        return text + draw(st.sampled_from(lines))
    depth = draw(st.sampled_from((50, 2000, 2000)))
    opened, closed = draw(st.sampled_from((("[", "]"), ("{ a = ", " }"))))
    return text + f"deep = {opened * depth}1{closed * depth}\n"


def _cell(draw: st.DrawFn, text: str) -> str:
    """Change a cell of a CSV file, take a line out, repeat one, or put something between its lines."""
    lines = text.splitlines()
    row = draw(st.integers(0, len(lines) - 1))
    kind = draw(st.sampled_from(("cell", "cell", "cell", "remove", "twice", "put", "end", "spoil")))
    if kind == "cell":
        cells = lines[row].split(",")
        cells[draw(st.integers(0, len(cells) - 1))] = draw(st.sampled_from(CELLS) | st.text(max_size=6))
        lines[row] = ",".join(cells)
    elif kind == "remove":
        del lines[row]
    elif kind == "twice":
        lines.insert(row, lines[row])
    elif kind == "put":
        lines.insert(row, draw(st.sampled_from(("", ",,,", "# note", "sep=;", "\t", *CELLS))))
    elif kind == "spoil":
        return _spoilt(draw, text)
    return draw(st.sampled_from(("\n", "\n", "\r\n", "\r"))).join(lines) + "\n"
