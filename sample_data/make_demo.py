"""Make the invented data of configs/demo.toml and configs/mistyped.toml: a solar farm's access roads and drains.

    python sample_data/make_demo.py [--to FOLDER]

Everything follows from one seed: a second run rewrites the same text files byte for byte, and the GeoPackage too with
the same version of GDAL. Truth goes to truth.csv; what was planted on purpose is told in README.md.
"""

import argparse
import datetime as dt
import json
import random
from collections.abc import Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyogrio
from closed_forms import GRS80, NZTM2000, Floats, read_gtx
from field_day import Day, Frame, Place, Row, correct_in_field, observe, spread_times, write_rows, write_truth

HERE = Path(__file__).resolve().parent
LOCAL = ZoneInfo("Pacific/Auckland")
SEED = 20260302

# The farm's own axes: along its southern road and across, turned by the azimuth of that road.
ORIGIN = (1_506_100.0, 5_160_000.0)
TURN = np.radians(17.0)

#: Truth of the marks: NZTM2000 and EGM96 height. CM3's easting is mistyped in one of two registers, see SLIP.
MARKS: dict[str, Place] = {
    "CM1": (1_505_973.286, 5_160_004.117, 319.482),
    "CM2": (1_507_276.905, 5_160_441.038, 310.917),
    "CM3": (1_506_852.462, 5_161_129.553, 312.208),
    "TM1": (1_506_645.371, 5_160_302.694, 314.960),
}
#: "852.462" became "852.642" when it was typed: two neighbouring digits swapped, 0.180 m east.
SLIP = {"CM3": 0.180}

MONDAY = Day("0302-base-a", "BASE-A", (1_506_412.7, 5_160_188.2, 318.9), (1.243, -0.872, -6.318))
TUESDAY = Day("0303-base-b", "BASE-B", (1_507_405.1, 5_161_002.6, 311.4), (-0.655, 1.730, 4.907))
SECOND = Day("0303-base-a", "BASE-A", (1_506_398.4, 5_160_201.9, 319.1), (0.418, -1.964, -3.271))
#: On Tuesday afternoon rover 2's controller takes its first reading, on CM1, works out the shift and applies it.
APPLIED = dt.datetime(2026, 3, 3, 13, 15, tzinfo=LOCAL)
NOBODY = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def ground(x: Floats, y: Floats) -> Floats:
    """Return the height of the ground, metres, falling gently to the east and north."""
    return np.asarray(318.6 - 0.0055 * x - 0.0021 * y + 0.35 * np.sin(x / 180) + 0.22 * np.sin(y / 140))


def place(x: float, y: float, above: float) -> Place:
    """Return the truth at a place of the farm's axes, so far above the ground."""
    east = ORIGIN[0] + x * np.cos(TURN) - y * np.sin(TURN)
    north = ORIGIN[1] + x * np.sin(TURN) + y * np.cos(TURN)
    return round(float(east), 4), round(float(north), 4), round(float(ground(np.array(x), np.array(y))) + above, 4)


def road(day: Day, start: tuple[float, float], along: tuple[float, float], length: float) -> list[Row]:
    """Return cross sections every 20 m: edge, crowned centre line, edge, walked to and fro."""
    across = (-along[1], along[0])
    rows = []
    for number, chainage in enumerate(np.arange(0, length + 0.1, 20)):
        sides = (-2.6, 0.0, 2.6) if number % 2 == 0 else (2.6, 0.0, -2.6)
        for side in sides:
            x, y = (start[k] + chainage * along[k] + side * across[k] for k in (0, 1))
            code, above = ("ROAD-CL", 0.31) if side == 0 else ("ROAD-EDGE", 0.23)
            rows.append(Row("", code, NOBODY, place(x, y, above), day))
    return rows


def drain(day: Day, start: tuple[float, float], along: tuple[float, float], length: float) -> list[Row]:
    """Return drain inverts every 10 m, with a culvert where a road crosses."""
    rows = []
    for chainage in np.arange(0, length + 0.1, 10):
        x, y = (start[k] + chainage * along[k] for k in (0, 1))
        remark = "culvert, 450 mm" if chainage and chainage % 400 == 0 else ""
        rows.append(Row("", "DRAIN-INV", NOBODY, place(x, y, -0.72), day, remark=remark))
    return rows


def occupation(mark: str, time: str, day: Day, code: str = "CHK") -> Row:
    """Return a longer observation on a mark, named after the mark and the hour of its day ("02 07:52")."""
    moment = dt.datetime.strptime(f"2026-03-{time}", "%Y-%m-%d %H:%M").replace(tzinfo=LOCAL)
    name = f"{mark}-{moment:%m%d-%H%M}"
    return Row(name, code, moment, MARKS[mark], day, (0.004, 0.007))


def drafted(rows: list[Row], label: str, first: int, start: str, end: str, rng: random.Random) -> list[Row]:
    """Return rows with names and times between two moments of March 2026 ("02 08:30")."""
    moments = [dt.datetime.strptime(f"2026-03-{t}", "%Y-%m-%d %H:%M").replace(tzinfo=LOCAL) for t in (start, end)]
    spread_times(rows, moments[0], moments[1], rng)
    for number, row in enumerate(rows, start=first):
        row.name = f"{label}{number:04d}"
    return rows


def monday(rng: random.Random) -> list[Row]:
    """Rover 1 on base A: the southern road, its drain and the first cross road; TM1 is set for the next day."""
    south = road(MONDAY, (0, 100), (1, 0), 2400) + drain(MONDAY, (0, 92), (1, 0), 2400)
    cross = road(MONDAY, (600, 120), (0, 1), 1360)
    return [
        occupation("CM1", "02 07:52", MONDAY),
        occupation("CM2", "02 08:05", MONDAY),
        occupation("TM1", "02 08:19", MONDAY, "TM"),
        *drafted(south, "", 1, "02 08:30", "02 12:40", rng),
        occupation("CM2", "02 12:48", MONDAY),
        *drafted(cross, "", len(south) + 1, "02 13:30", "02 15:50", rng),
        occupation("CM2", "02 16:04", MONDAY),
        occupation("CM1", "02 16:21", MONDAY),
    ]


def tuesday(rng: random.Random) -> list[Row]:
    """Rover 1 on base B: the second cross road, the northern road and its drain."""
    rows = road(TUESDAY, (1500, 120), (0, 1), 1360) + road(TUESDAY, (600, 1500), (1, 0), 1800)
    rows += drain(TUESDAY, (600, 1508), (1, 0), 1800)
    return [
        occupation("CM2", "03 07:58", TUESDAY),
        occupation("TM1", "03 08:12", TUESDAY, "TM"),
        occupation("CM1", "03 08:26", TUESDAY),
        *drafted(rows, "", 3001, "03 08:40", "03 15:40", rng),
        occupation("CM1", "03 15:55", TUESDAY),
    ]


def second(rng: random.Random) -> list[Row]:
    """Rover 2 on base A, set up anew beside Monday's place: spur road and side drains; CM3 is visited on the way.

    Its first reading, on CM1, is raw; everything after `APPLIED` carries the shift that the controller made of it.
    """
    spur, west = road(SECOND, (620, 800), (1, 0), 860), drain(SECOND, (592, 110), (0, 1), 1380)
    east = drain(SECOND, (1508, 110), (0, 1), 1380)
    rows = spur + west + east
    return [
        occupation("CM1", "03 13:12", SECOND),
        occupation("CM2", "03 13:25", SECOND),
        *drafted(rows[:130], "B", 1, "03 13:35", "03 14:28", rng),
        occupation("CM2", "03 14:31", SECOND),
        *drafted(rows[130:140], "B", 131, "03 14:33", "03 14:39", rng),
        occupation("CM3", "03 14:41", SECOND),
        *drafted(rows[140:150], "B", 141, "03 14:43", "03 14:49", rng),
        occupation("CM1", "03 14:51", SECOND),
        *drafted(rows[150:], "B", 151, "03 14:55", "03 16:30", rng),
        occupation("CM2", "03 16:42", SECOND),
    ]


def loosen(rows: list[Row]) -> None:
    """Give some drafted rows the looser solutions of a rover under trees; done before they are observed."""
    points = [row for row in rows if row.code not in ("CHK", "TM")]
    for row in points[60:66]:
        row.sigma, row.solution, row.pdop = (0.18, 0.31), "float", 2.9
    for row in points[201:203]:
        row.sigma, row.solution, row.pdop = (1.4, 2.6), "autonomous", 3.1
    for row in points[310:313]:
        row.pdop, row.satellites = 7.1, 7
    for row in points[355:357]:
        row.sigma = (0.075, 0.120)


def csv_cells(row: Row) -> list[str]:
    """Return one line of rover 1's Monday export: local time without an offset, latitude first."""
    longitude, latitude, height = row.exported
    solution = {"fix": "Fixed", "float": "Float", "autonomous": "Autonomous"}[row.solution]
    return [row.name, row.code, f"{row.time.astimezone(LOCAL):%Y-%m-%d %H:%M:%S}", f"{latitude:.9f}",
            f"{longitude:.9f}", f"{height:.4f}", *(f"{sigma:.4f}" for sigma in row.sigmas), f"{row.pdop:.1f}",
            str(row.satellites), solution, row.day.base, row.remark]  # fmt: skip


def spoil_csv(lines: list[list[str]]) -> list[list[str]]:
    """Return Monday's lines with the common troubles of an export in them, at fixed places."""
    for at in (120, 121):
        lines[at][5] = ""  # no height
    lines[150][3] = lines[150][3].replace(".7", ".7x")  # a latitude that is no number
    lines[151][5] = lines[151][5][:-1] + "O"  # the letter for the digit
    for at in (180, 181):
        lines[at][2] = ""  # no time
    for at in range(700, 704):  # these four came out in UTC: thirteen hours too early
        moment = dt.datetime.fromisoformat(lines[at][2]) - dt.timedelta(hours=13)
        lines[at][2] = f"{moment:%Y-%m-%d %H:%M:%S}"
    return lines[:420] + [list(line) for line in lines[415:418]] + lines[420:]  # exported twice


def write_csv(rows: list[Row], path: Path) -> None:
    """Write rover 1's Monday."""
    head = ["Point", "Code", "Observed", "Lat", "Lon", "EllHt", "sE", "sN", "sU", "PDOP", "Sats"]
    write_rows(path, [*head, "Sol", "Base", "Remark"], spoil_csv([csv_cells(row) for row in rows]))


def write_geojson(rows: list[Row], path: Path) -> None:
    """Write rover 1's Tuesday: times in UTC, the position in the geometry; two rows name a base that nobody ran."""
    features = []
    for number, row in enumerate(rows):
        longitude, latitude, height = row.exported
        properties = {
            "id": row.name, "feature": row.code, "when": f"{row.time.astimezone(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
            "std_east": row.sigmas[0], "std_north": row.sigmas[1], "std_up": row.sigmas[2], "status": row.solution,
            "pdop": row.pdop, "reference": "BASE-X" if number in (300, 301) else row.day.base,
            "note": row.remark or None,
        }  # fmt: skip
        point = {"type": "Point", "coordinates": [round(longitude, 9), round(latitude, 9), round(height, 4)]}
        geometry = None if number == 400 else point  # the controller kept that row and lost its place
        features.append(json.dumps({"type": "Feature", "properties": properties, "geometry": geometry}))
    text = '{"type": "FeatureCollection", "features": [\n' + ",\n".join(features) + "\n]}\n"
    path.write_text(text, encoding="utf-8")


def write_gpkg(rows: list[Row], path: Path) -> None:
    """Write rover 2's Tuesday: a layer of PointZ, times in UTC; one row of the hours of both bases names no base."""
    wkb = np.zeros(len(rows), np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", 3)]))
    wkb["order"], wkb["type"] = 1, 1001  # little-endian PointZ
    wkb["xyz"] = np.round([row.exported for row in rows], 9)
    bases = [None if number == 60 else row.day.base for number, row in enumerate(rows)]
    table = pa.table({
        "pt": [row.name for row in rows],
        "feature_code": [row.code for row in rows],
        "observed_at": pa.array([row.time.astimezone(dt.UTC) for row in rows], pa.timestamp("ms", "UTC")),
        "sigma_e": [row.sigmas[0] for row in rows],
        "sigma_n": [row.sigmas[1] for row in rows],
        "sigma_h": [row.sigmas[2] for row in rows],
        "pdop": [row.pdop for row in rows],
        "fix_type": [row.solution.upper() for row in rows],
        "base_id": pa.array(bases, pa.string()),
        "geom": pa.array([one.tobytes() for one in wkb], pa.binary()),
    })  # fmt: skip
    path.unlink(missing_ok=True)
    # GDAL writes the day into the file; a fixed one makes the same file every time.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-03-03T18:00:00Z"})
    pyogrio.write_arrow(table, path, layer="observations", driver="GPKG", geometry_name="geom",
                        geometry_type="Point Z", crs="EPSG:4959")  # fmt: skip
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def write_register(path: Path, slips: Mapping[str, float]) -> None:
    """Write a register of control marks, with slips of the pen in its eastings; TM1 has no published coordinates."""
    rows = []
    for mark, (easting, northing, height) in MARKS.items():
        if mark != "TM1":
            typed = easting + slips.get(mark, 0.0)
            rows.append([mark, f"{typed:.3f}", f"{northing:.3f}", f"{height:.3f}", "0.010", "0.020", "3d",
                         "invented", "2025-11-03"])  # fmt: skip
    write_rows(path, ["mark", "easting", "northing", "height", "hu95", "vu95", "holds", "source", "dated"], rows)


def main() -> None:
    """Write the exports, the two registers and the truth."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", type=Path, default=HERE, help="the folder to write to (default: this script's)")
    folder = parser.parse_args().to
    (folder / "rover").mkdir(parents=True, exist_ok=True)
    rng = random.Random(SEED)
    frame = Frame(GRS80, NZTM2000, read_gtx(HERE / "geoid" / "egm96_canterbury.gtx"))
    days = [monday(rng), tuesday(rng), second(rng)]
    loosen(days[0])
    for rows in days:
        observe(rows, frame, rng)
    correct_in_field(days[2], days[2][0], MARKS["CM1"], APPLIED, frame)
    write_csv(days[0], folder / "rover" / "rover1-0302.csv")
    write_geojson(days[1], folder / "rover" / "rover1-0303.geojson")
    write_gpkg(days[2], folder / "rover" / "rover2-0303.gpkg")
    write_register(folder / "control.csv", {})
    write_register(folder / "control-mistyped.csv", SLIP)
    write_truth(folder / "truth.csv", [row for rows in days for row in rows], MARKS)


if __name__ == "__main__":
    main()
