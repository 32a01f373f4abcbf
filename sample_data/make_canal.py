"""Make the invented data of configs/canal.toml: levels along an irrigation canal in Central Java.

    python sample_data/make_canal.py [--to FOLDER]

The export holds SRGI2013 / UTM zone 49S with ellipsoidal heights, in a table with semicolons, decimal commas and the
day before the month; the register of marks is in the older datum DGN95, in longitude and latitude. Everything follows
from one seed. Truth goes to canal/truth.csv.
"""

import argparse
import datetime as dt
import random
from pathlib import Path

import numpy as np
from closed_forms import WGS84, Floats, Helmert, read_gtx, to_geocentric, to_geographic, utm
from field_day import Day, Frame, Place, Row, observe, spread_times, write_rows, write_truth

HERE = Path(__file__).resolve().parent
LOCAL = dt.timezone(dt.timedelta(hours=7))
SEED = 20260511
NOBODY = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)

# SRGI2013 and DGN95 both use the WGS 84 ellipsoid.
UTM49S = utm(49, south=True, ellipsoid=WGS84)
#: EPSG:9472, DGN95 to SRGI2013, accuracy 0.2 m; rotations in microradians and scale in parts per million as published.
DGN95_TO_SRGI2013 = Helmert((-0.2773, 0.0534, 0.4819), (0.0935e-6, -0.0286e-6, 0.00969e-6), -0.028e-6)

#: Truth of the marks: SRGI2013 / UTM zone 49S and height above the EGM96 geoid.
MARKS: dict[str, Place] = {
    "K1": (488_912.418, 9_222_871.064, 24.633),
    "K2": (490_044.905, 9_223_655.277, 23.918),
    "K3": (491_207.150, 9_223_402.839, 23.127),
}
FIRST = Day("0511-north", "BASE-1", (489_204.6, 9_223_060.9, 27.1), (0.861, -1.324, 5.482))
SECOND = Day("0512-south", "BASE-2", (490_610.3, 9_223_481.5, 26.4), (-1.507, 0.433, -2.915))


def canal(day: Day, start: int, end: int) -> list[Row]:
    """Return cross sections every 25 m between two chainages: left bank, bed, right bank, on a gently winding line.

    Each of the three is a string from the first section of the day to the last.
    """
    rows = []
    for number, chainage in enumerate(range(start, end, 25)):
        sides = (("BANK-L", -4.0, 1.35), ("CANAL-BED", 0.0, 0.0), ("BANK-R", 4.0, 1.30))
        azimuth = np.radians(75 + 22 * np.sin(chainage / 500))
        for code, across, above in sides[:: 1 if number % 2 == 0 else -1]:
            east = 489_000 + 0.94 * chainage + across * np.cos(azimuth)
            north = 9_222_940 + 0.26 * chainage - 180 * np.cos(chainage / 500) + across * -np.sin(azimuth)
            height = 24.10 - 0.0004 * chainage + above
            place = (round(float(east), 4), round(float(north), 4), round(height, 4))
            rows.append(Row("", code, NOBODY, place, day))
    for cross, word in ((rows[:3], "start"), (rows[-3:], "end")):
        for row in cross:
            row.code = f"{row.code} {word}"
    return rows


def occupation(name: str, when: str, day: Day) -> Row:
    """Return a longer observation on a mark; the name is the mark's with -AM or -PM and the day."""
    moment = dt.datetime.strptime(f"2026-05-{when}", "%Y-%m-%d %H:%M").replace(tzinfo=LOCAL)
    return Row(name, "CHK", moment, MARKS[name.split("-")[0]], day, (0.004, 0.007))


def field_days(rng: random.Random) -> list[Row]:
    """Return both days in the order of observation."""
    first, second = canal(FIRST, 0, 1250), canal(SECOND, 1250, 2500)
    for rows, start, day in ((first, 1, 11), (second, len(first) + 1, 12)):
        begin = dt.datetime(2026, 5, day, 8, 0, tzinfo=LOCAL)
        spread_times(rows, begin, begin + dt.timedelta(hours=6), rng)
        for number, row in enumerate(rows, start=start):
            row.name = f"P{number:03d}"
    return [
        occupation("K1-AM", "11 07:35", FIRST),
        occupation("K2-AM", "11 07:48", FIRST),
        *first,
        occupation("K2-PM", "11 14:20", FIRST),
        occupation("K2-AM2", "12 07:31", SECOND),
        occupation("K3-AM2", "12 07:46", SECOND),
        *second,
        occupation("K3-PM2", "12 14:15", SECOND),
    ]


def write_export(rows: list[Row], path: Path) -> None:
    """Write the controller's table: semicolons, decimal commas, local time, day before month."""
    lon, lat, height = np.array([row.exported for row in rows]).T
    lines = []
    for row, *place in zip(rows, *UTM49S.forward(lon, lat), height, strict=True):
        numbers = [f"{value:.4f}".replace(".", ",") for value in (*place, *row.sigmas)]
        lines.append([row.name, f"{row.time.astimezone(LOCAL):%d/%m/%Y %H:%M:%S}", *numbers, row.solution, row.code,
                      row.day.base])  # fmt: skip
    head = ["No", "Observed", "East", "North", "EllH", "sdE", "sdN", "sdH", "Solution", "Feature", "Ref"]
    write_rows(path, head, lines, delimiter=";")


def in_dgn95(frame: Frame, places: list[Place]) -> tuple[Floats, Floats, Floats]:
    """Return longitude, latitude and ellipsoidal height in DGN95 of places in the frame of SRGI2013."""
    truth = to_geocentric(*frame.geographic(*np.array(places).T), frame.ellipsoid)
    return to_geographic(DGN95_TO_SRGI2013.inverse(truth), WGS84)


def write_register(frame: Frame, path: Path) -> None:
    """Write the register of marks, nine decimals of a degree (0.1 mm) and three of a metre."""
    lines = [
        [mark, f"{lon:.9f}", f"{lat:.9f}", f"{height:.4f}", "0.010", "0.020"]
        for mark, lon, lat, height in zip(MARKS, *in_dgn95(frame, list(MARKS.values())), strict=True)
    ]
    write_rows(path, ["mark", "longitude", "latitude", "ellipsoid_height", "hu95", "vu95"], lines)


def write_codes(path: Path) -> None:
    """Write the table of codes."""
    lines = [
        ["CHK", "check on a control mark", "point", "", ""],
        ["BANK-L", "top of the left bank", "line", "V-BANK", "30"],
        ["BANK-R", "top of the right bank", "line", "V-BANK", "30"],
        ["CANAL-BED", "middle of the bed", "line", "V-BED", "150"],
        ["GATE", "gate of a field", "point", "V-GATE", "210"],
    ]
    write_rows(path, ["code", "description", "kind", "layer", "colour"], lines)


def write_sessions(path: Path) -> None:
    """Write the table of sessions; times with their offset from UTC."""
    lines = [
        [FIRST.name, "2026-05-11T07:15:00+07:00", "2026-05-11T15:00:00+07:00", FIRST.base,
         "K1-AM=K1", "K2-AM=K2; K2-PM=K2"],
        [SECOND.name, "2026-05-12T07:15:00+07:00", "2026-05-12T15:00:00+07:00", SECOND.base,
         "K2-AM2=K2", "K3-AM2=K3; K3-PM2=K3"],
    ]  # fmt: skip
    write_rows(path, ["name", "start", "end", "base", "ties", "checks"], lines)


def main() -> None:
    """Write the export, the register, the sessions, the codes and the truth."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", type=Path, default=HERE, help="the folder to write to (default: this script's)")
    folder = parser.parse_args().to / "canal"
    rng = random.Random(SEED)
    frame = Frame(WGS84, UTM49S, read_gtx(HERE / "geoid" / "egm96_central_java.gtx"))
    rows = field_days(rng)
    observe(rows, frame, rng)
    write_export(rows, folder / "levels.txt")
    write_register(frame, folder / "marks.csv")
    write_sessions(folder / "sessions.csv")
    write_codes(folder / "codes.csv")
    write_truth(folder / "truth.csv", rows, MARKS)


if __name__ == "__main__":
    main()
