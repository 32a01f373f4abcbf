"""The small odd files of ``tests/odd_files``: how each is laid out, and what all of them must give.

Every file holds the same eight readings of one made-up morning by base BASE-01: ``truth.csv`` has them plainly (raw, in
longitude, latitude and ellipsoidal height of EPSG:4959 and as easting and northing of EPSG:2193 by the closed form of
``sample_data/closed_forms.py``), and ``register.csv`` has the marks that three of them stand on. What a file cannot
hold (an hour of another clock, a radial precision, a pole's top) was made from the truth by plain arithmetic.
"""

import csv
import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from simulate_files import EXPORTED

FOLDER = Path(__file__).resolve().parents[1] / "odd_files"

#: The session that the readings are of, in UTC, and its tie and checks.
SESSION = ("2026-03-01T19:30:00Z", "2026-03-01T22:00:00Z")
TIES, CHECKS = {"CM1-AM": "CM1"}, {"CM2-AM": "CM2", "CM3-PM": "CM3"}

_PLAIN = EXPORTED
_REST = {ours: name for ours, name in _PLAIN.items() if ours not in ("name", "time")}
_BLANKS = {"name": "Point", "date": "Date", "time": "Time", **_REST}
_NO_POSITION = {ours: name for ours, name in _PLAIN.items() if ours not in ("longitude", "latitude", "height")}
_NZ = "Pacific/Auckland"


@dataclass(frozen=True)
class Odd:
    """What a ``[[points]]`` block says of one file: its columns and its further keys.

    ``position`` tells the columns of the truth that its position is compared with; ``lacks`` what the file does not
    """

    columns: dict[str, str | int]
    keys: dict[str, object] = field(default_factory=dict)
    position: tuple[str, str, str] = ("longitude", "latitude", "height")
    lacks: frozenset[str] = frozenset()


def _without(columns: dict[str, str], *words: str, **more: str) -> dict[str, str | int]:
    return {ours: name for ours, name in columns.items() if ours not in words} | more


ODD: dict[str, Odd] = {
    "date_and_time.csv": Odd(_BLANKS, {"time_zone": _NZ, "time_format": "%d/%m/%Y %H:%M:%S"}),
    "twelve_hours.txt": Odd(
        {"name": "Point", "date": "Day", "time": "Clock", **_REST},
        {"time_zone": _NZ, "time_format": "%m/%d/%Y %I:%M:%S %p"},
    ),
    "gps_week.csv": Odd(_without(_PLAIN, "time", gps_week="Week", gps_seconds="TOW")),
    "gps_one_cell.txt": Odd(_PLAIN | {"time": "GPS"}, {"time_format": "gps-week-seconds"}),
    "unix_seconds.csv": Odd(_PLAIN | {"time": "Epoch"}, {"time_format": "unix-seconds", "time_zone": _NZ}),
    "unix_milliseconds.geojson": Odd(_NO_POSITION | {"time": "ms"}, {"time_format": "unix-milliseconds"}),
    "serial_days.csv": Odd(
        _PLAIN | {"name": "Punkt", "time": "Zeit"}, {"time_format": "serial-days", "time_zone": _NZ}
    ),
    "sep_line.csv": Odd(_PLAIN),
    "titles.csv": Odd(_PLAIN, {"header": 5}),
    "skipped.txt": Odd(_PLAIN, {"skip": 2}),
    "no_header.csv": Odd(
        {ours: place for place, ours in enumerate(_PLAIN, start=1)},
        {"header": 0},
    ),
    "no_header.xyz": Odd(
        {
            "name": 1,
            "longitude": 2,
            "latitude": 3,
            "height": 4,
            "date": 5,
            "time": 6,
            "solution": 7,
            "code": 8,
            "base": 9,
            "sigma_horizontal": 10,
            "sigma_up": 11,
        },
        {"header": 0},
    ),
    "padded.asc": Odd(_BLANKS, {"delimiter": "blanks"}),
    "comments.dat": Odd(_BLANKS, {"comment": "#", "header": 2}),
    "units_in_headings.csv": Odd(
        _PLAIN
        | {"time": "Observed (UTC)", "latitude": "Lat [deg]", "longitude": "Lon [deg]", "height": "Height (m)"}
        | {"sigma_east": "sE [mm]", "sigma_north": "sN [mm]", "sigma_up": "sU_cm"}
    ),
    "sigma_each.csv": Odd(_without(_PLAIN, "sigma_east", "sigma_north", sigma_horizontal="sH", sigma_up="sV")),
    "sigma_radial.csv": Odd(_without(_PLAIN, "sigma_east", "sigma_north", drms="HRMS", sigma_up="VRMS")),
    "pole_heights.csv": Odd(_PLAIN | {"pole_height": "Pole"}),
    "geocentric_poles.csv": Odd(
        _NO_POSITION | {"x": "X", "y": "Y", "z": "Z", "pole_height": "Pole"}, {"crs": "EPSG:4958"}
    ),
    "grid.csv": Odd(
        _without(_PLAIN, "longitude", "latitude", easting="E (m)", northing="N (m)", height="EllHt_m"),
        {"crs": "EPSG:2193"},
        ("easting", "northing", "height"),
    ),
    "feet.csv": Odd(
        _PLAIN | {"height": "EllHt [ft]", "sigma_east": "sE [ft]", "sigma_north": "sN [ft]", "sigma_up": "sU [ft]"},
        {"units": "us-survey-foot"},
    ),
    "dms.csv": Odd(_PLAIN, {"angles": "dms", "encoding": "cp1252"}),
    "utf16.txt": Odd(
        {"name": "Messpunkt", "time": "Zeit", "latitude": "Breite", "longitude": "Länge", "height": "Höhe"}
        | {"sigma_east": "σO", "sigma_north": "σN", "sigma_up": "σH", "solution": "Lösung", "code": "Code"}
        | {"base": "Basis"}
    ),
    "same_names.csv": Odd(
        {ours: place for place, ours in enumerate(_PLAIN, start=1)},
        {"header": 1},
    ),
    "with_ends.csv": Odd({"name": "Point", "date": "Date", "time": "From", "time_end": "To", **_REST}),
    "dates_and_times.xlsx": Odd(_BLANKS, {"time_zone": _NZ}),
    "two_sheets.xlsx": Odd(_PLAIN, {"layer": "Rover 2"}),
    "serial_numbers.xlsx": Odd(_PLAIN | {"time": "Serial"}, {"time_zone": _NZ, "time_format": "serial-days"}),
    "since_1904.xlsx": Odd(_PLAIN),
}


@cache
def truth() -> tuple[dict[str, str], ...]:
    """What every file must give, in its order: the rows of ``truth.csv`` as text."""
    with (FOLDER / "truth.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def job_text(name: str, folder: str = "out", files: str = "") -> str:
    """A job file for one odd file, with the session on the clock of the place; ``files`` is the way to the file."""
    odd = ODD[name]
    keys = {"crs": "EPSG:4959", "time_zone": "UTC", "files": [f"{files}{name}"]} | odd.keys
    occupations = {"ties": TIES, "checks": CHECKS}
    listed = {
        role: ", ".join(f'{{ point = "{point}", mark = "{mark}" }}' for point, mark in found.items())
        for role, found in occupations.items()
    }
    return f"""\
[job]
name = "odd"
folder = "{folder}"
[target]
grid = "EPSG:2193"
height = "ellipsoid"
[source]
time_zone = "{_NZ}"
[[points]]
{_lines(keys)}
[points.columns]
{_lines(odd.columns)}
[control]
file = "{files}register.csv"
crs = "EPSG:2193"
[[session]]
name = "morning"
start = 2026-03-02T08:30:00
end = 2026-03-02T11:00:00
base = "BASE-01"
ties = [{listed["ties"]}]
checks = [{listed["checks"]}]
"""


def _lines(keys: "dict[str, object] | dict[str, str | int]") -> str:
    return "\n".join(f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in keys.items())
