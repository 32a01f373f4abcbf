"""Exports spoilt in all sorts of ways that files are spoilt in: bytes, cells, types, encodings, structure.

Each mutation takes a random number generator and changes a file in place. Nothing here knows what must come of it, but
that a job is answered by an outcome or by problems, and never by a fault in the program.
"""

import contextlib
import json
import random
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

Mutation = Callable[[Path, random.Random], None]

#: Texts that a cell may hold by mistake.
ODD_TEXTS = [
    "", " ", "0", "-0", "1e400", "-1e400", "nan", "inf", "-inf", "NULL", "None", "#N/A", "20,123", "1.234,5", "1 234.5",
    "12.5 m", "36°50'12.3\"S", "36 50 12.3", "é", "名前", "\u202e", "\ufffe", "\ufffd", "\U0001f600",
    "a" * 5000, "=1+1",
    "'", '"', "\\", "\t", "true", "2026-02-30T00:00:00Z", "2026-03-02", "07:30", "02/03/2026 07:30",
    "9999-12-31T23:59:59Z",
    "0001-01-01T00:00:00Z", "2026-03-02T07:30:60Z", "2026-03-02T07:30:00+99:00", "2026-03-02T24:00:00Z", "1772436600",
    "-9999", "360.0000001", "90.0000001", "1e-320",
    "9" * 400, "٣٫٥", "<b>", "&amp;", "{{x}}", "%s", "CM1", "S01-T1",
]  # fmt: skip
ODD_BYTES = [
    b"",
    b"\0",
    b"\xff",
    b"\xe9",
    b"\xc3",
    b"\xed\xa0\x80",
    b"\xf8\x88\x80\x80\x80",
    b"\r",
    b"\n",
    b'"',
    b"\xef\xbb\xbf",
]
ENCODINGS = ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "cp1252", "utf-8-sig", "utf-7", "cp037"]


def cut(path: Path, chance: random.Random) -> None:
    """End the file somewhere."""
    data = path.read_bytes()
    path.write_bytes(data[: chance.randrange(len(data))])


def flip(path: Path, chance: random.Random) -> None:
    """Change some bytes."""
    data = bytearray(path.read_bytes())
    for _ in range(chance.choice([1, 1, 3, 30])):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(data)


def insert(path: Path, chance: random.Random) -> None:
    """Put odd bytes somewhere."""
    data = path.read_bytes()
    at = chance.randrange(len(data) + 1)
    path.write_bytes(data[:at] + chance.choice(ODD_BYTES) * chance.choice([1, 1, 2, 500]) + data[at:])


def double(path: Path, chance: random.Random) -> None:
    """Take a piece out, or put it there twice."""
    data = path.read_bytes()
    first, last = sorted(chance.randrange(len(data)) for _ in range(2))
    path.write_bytes(data[:last] + (data[first:] if chance.random() < 0.5 else data[min(last + 7, len(data)) :]))


def encode(path: Path, chance: random.Random) -> None:
    """Write the text in another encoding."""
    text = path.read_text(encoding="utf-8").replace("KERB", "KÉRB", 1)
    path.write_bytes(text.encode(chance.choice(ENCODINGS), "replace"))


def csv_cells(path: Path, chance: random.Random) -> None:
    """Put odd texts into cells, quoted or not; header cells too."""
    lines = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    for _ in range(chance.choice([1, 2, 10])):
        line = chance.choice(lines[chance.random() < 0.9 :])
        text = chance.choice(ODD_TEXTS)
        line[chance.randrange(len(line))] = chance.choice([text, text, f'"{text}"'])
    path.write_text("\n".join(",".join(line) for line in lines), encoding="utf-8")


def csv_column(path: Path, chance: random.Random) -> None:
    """Give every row of a column the same odd text, or none."""
    lines = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    place, text = chance.randrange(len(lines[0])), chance.choice(ODD_TEXTS)
    for line in lines[1:]:
        line[place] = text
    path.write_text("\n".join(",".join(line) for line in lines), encoding="utf-8")


def csv_shape(path: Path, chance: random.Random) -> None:
    """Other delimiters, line ends and blank lines; cells too many or too few; no rows at all."""
    lines = path.read_text(encoding="utf-8").splitlines()
    how = chance.randrange(6)
    if how == 0:
        lines = [line.replace(",", chance.choice([";", "\t", "|", " ", ",,", '","'])) for line in lines]
    elif how == 1:
        lines[chance.randrange(len(lines))] += chance.choice([",", ",,,,", ",x", '"', ",\0"])
    elif how == 2:
        lines = lines[: chance.choice([0, 1])]
    elif how == 3:
        lines = [line for each in lines for line in (each, chance.choice(["", ",", "  ", "\x0c", "\x85"]))]
    elif how == 4:
        chance.shuffle(lines)
    path.write_text(chance.choice(["\n", "\r\n", "\r", "\n\r"]).join(lines), encoding="utf-8", newline="")


def _odd_value(chance: random.Random) -> Any:
    nested: Any = [1, {"a": [None, "x"]}]
    values: list[Any] = [
        None, True, False, 0, -1, 1 << 62, 1 << 64, 10**300, 1.5, 1e308, float("nan"), float("inf"), -0.0, [], {},
        nested,
        "a\0b", "\ud800", "\udfff\ud800", *ODD_TEXTS,
    ]  # fmt: skip
    return chance.choice(values)


def json_values(path: Path, chance: random.Random) -> None:
    """Put odd values into properties, coordinates and anywhere else in a GeoJSON file."""
    document = json.loads(path.read_text(encoding="utf-8"))
    for _ in range(chance.choice([1, 2, 10])):
        feature = chance.choice(document["features"])
        if not isinstance(feature, dict):
            continue
        kind, geometry = chance.randrange(6), feature.get("geometry")
        properties = feature.get("properties")
        if kind < 3 and isinstance(properties, dict) and properties:
            properties[chance.choice([*properties, "id", "more"])] = _odd_value(chance)
        elif kind == 3 and isinstance(geometry, dict) and isinstance(geometry.get("coordinates"), list):
            place = geometry["coordinates"]
            if chance.random() < 0.5 and place:
                place[chance.randrange(len(place))] = _odd_value(chance)
            else:
                geometry["coordinates"] = chance.choice(
                    [place[:2], place[:1], [], [place], [*place, 1, 2], None, "x", {}]
                )
        elif kind == 4:
            feature[chance.choice(["type", "properties", "geometry", "id", "bbox"])] = _odd_value(chance)
        else:
            document[chance.choice(["type", "crs", "name", "features", "bbox"])] = _odd_value(chance)
            break
    path.write_text(json.dumps(document, ensure_ascii=chance.random() < 0.7), encoding="utf-8", errors="surrogatepass")


def json_text(path: Path, chance: random.Random) -> None:
    """Spell things that a JSON writer would not."""
    text = path.read_text(encoding="utf-8")
    swaps = [
        ('"height"', '"height": 1, "height"'), ('"properties": {', '"properties": {"Point": "x", "Point": "y", '),
        ('"Point"', '"P\\u0000oint"'), ('"fix"', '"f\\ud800ix"'), ('"fix"', "'fix'"), ("[", "[" * 3000), ("{",
        "{" * 3000),
        ("}", ",}"), ('"FeatureCollection"', '"Feature"'), ('"features"', '"feature"'), ("{", "// note\n{"),
        ("}\n]}", "},\nnull,\n7]}"), ("1", "1" * 5000), ("1", "01"), ("null", "NaN"), ("\n", "\u2028"), ("}\n]}",
        "}\n]}}"),
        ("}\n]}", "}\n]} {}"), ("{", "\ufeff{"),
    ]  # fmt: skip
    old, new = chance.choice(swaps)
    path.write_text(text.replace(old, new, chance.choice([1, 1, -1])), encoding="utf-8")


def _sql(path: Path, *statements: tuple[str, tuple[Any, ...]]) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.execute("PRAGMA synchronous = OFF")
        file.execute("PRAGMA journal_mode = MEMORY")
        for (trigger,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{trigger}"')
        for sql, values in statements:
            with contextlib.suppress(sqlite3.Error):
                file.execute(sql, values)


def _columns(path: Path) -> list[str]:
    with contextlib.closing(sqlite3.connect(path)) as file:
        return [name for _, name, *_ in file.execute("PRAGMA table_info(points)")]


def package_values(path: Path, chance: random.Random) -> None:
    """Store values of other classes than a column is declared for, bytes that are no text among them."""
    columns = _columns(path)[2:]
    values: list[Any] = [
        *ODD_TEXTS, *ODD_BYTES, None, 0, 1, -(1 << 63), 20_123, 1.5, float("inf"), 1e308, "a\0b", b"\x00\x01P1",
    ]  # fmt: skip
    changes = []
    for _ in range(chance.choice([1, 3, 10])):
        value, column, row = chance.choice(values), chance.choice(columns), chance.randrange(1, 15)
        form = "CAST(? AS TEXT)" if isinstance(value, bytes) and chance.random() < 0.5 else "?"
        where = "1" if chance.random() < 0.2 else f"fid = {row}"
        changes.append((f'UPDATE points SET "{column}" = {form} WHERE {where}', (value,)))
    _sql(path, *changes)


def package_types(path: Path, chance: random.Random) -> None:
    """Declare a column as something else, the stored values being what they are."""
    kinds = ["FLOAT", "DOUBLE", "INTEGER", "TINYINT", "BOOLEAN", "DATE", "DATETIME", "BLOB", "TEXT(3)", "NUMERIC", "",
             "VARCHAR(20)", "JSON", "POINT", "MEDIUMINT", "DECIMAL(10,5)", "WHATEVER"]  # fmt: skip
    column, kind = chance.choice(_columns(path)[2:]), chance.choice(kinds)
    copied = ", ".join(f'"{name}"' + (f" {kind}" if name == column else "") for name in _columns(path)[2:])
    names = ", ".join(f'"{name}"' for name in _columns(path))
    _sql(
        path,
        ("ALTER TABLE points RENAME TO was", ()),
        (f"CREATE TABLE points (fid INTEGER PRIMARY KEY, geom POINT, {copied})", ()),
        (f"INSERT INTO points ({names}) SELECT {names} FROM was", ()),
        ("DROP TABLE was", ()),
    )


def package_geometry(path: Path, chance: random.Random) -> None:
    """Break geometries: headers, lengths, kinds, srs_ids, envelopes, other classes."""
    good = struct.pack("<2sBBiBI3d", b"GP", 0, 1, 4959, 1, 1001, 171.8, -43.7, 300.0)
    blobs: list[Any] = [
        None, b"", b"GP", good[:20], good[:40], good + b"x", "POINT (1 2)", 7, b"XX" + good[2:],
        good[:3] + b"\x11" + good[4:], good[:3] + b"\x0f" + good[4:], good[:3] + b"\x21" + good[4:],
        struct.pack("<2sBBi", b"GP", 0, 1, 4326) + good[8:], struct.pack("<2sBBi", b"GP", 0, 1, 0) + good[8:],
        struct.pack(">2sBBi", b"GP", 0, 0, 4959) + good[8:],
        good[:8] + struct.pack("<BI2d", 1, 1, 171.8, -43.7), good[:8] + struct.pack("<BI3d", 1, 2001, 171.8, -43.7, 1),
        good[:8] + struct.pack("<BI3d", 1, 1001, float("nan"), float("nan"), float("nan")),
        good[:8] + struct.pack("<BI3d", 1, 1001, float("inf"), -43.7, 1), good[:8] + struct.pack("<BII", 1, 7, 0),
        good[:8] + struct.pack("<BII2d", 1, 2, 1, 171.8, -43.7), good[:8] + struct.pack("<BI3d", 7, 1001, 1, 2, 3),
        good[:8] + struct.pack("<BI3d", 1, 1001, 1e300, -1e300, 1e300),
    ]  # fmt: skip
    where = "1" if chance.random() < 0.2 else f"fid = {chance.randrange(1, 15)}"
    _sql(path, (f"UPDATE points SET geom = ? WHERE {where}", (chance.choice(blobs),)))


def package_tables(path: Path, chance: random.Random) -> None:
    """Change what the GeoPackage says of its layers, or make a view of one."""
    columns = ", ".join(f'"{name}"' for name in _columns(path)[1:])
    statements = [
        "DROP TABLE gpkg_contents", "DROP TABLE gpkg_geometry_columns", "DROP TABLE gpkg_spatial_ref_sys",
        "DELETE FROM gpkg_contents", "DELETE FROM gpkg_geometry_columns", "DELETE FROM gpkg_spatial_ref_sys",
        "UPDATE gpkg_contents SET data_type = 'tiles'", "UPDATE gpkg_contents SET table_name = 'gone'",
        "UPDATE gpkg_geometry_columns SET column_name = 'gone'", "UPDATE gpkg_geometry_columns SET srs_id = 4326",
        "UPDATE gpkg_geometry_columns SET srs_id = 'x'",
        "UPDATE gpkg_geometry_columns SET geometry_type_name = 'LINESTRING'",
        "UPDATE gpkg_spatial_ref_sys SET organization = 'NONE', definition = 'undefined'",
        "UPDATE gpkg_spatial_ref_sys SET definition = 'nonsense', organization = 'x'",
        "UPDATE gpkg_contents SET identifier = NULL", "DROP TABLE points", "PRAGMA application_id = 0",
        f"CREATE TABLE t AS SELECT {columns} FROM points; ", "PRAGMA user_version = 99999",
    ]  # fmt: skip
    if chance.random() < 0.3:
        _sql(
            path,
            ("ALTER TABLE points RENAME TO kept", ()),
            (f"CREATE {chance.choice(['VIEW', 'TABLE'])} points AS SELECT {columns} FROM kept", ()),
        )
    else:
        _sql(path, (chance.choice(statements), ()))


ANY: list[Mutation] = [cut, flip, insert, double]
BY_FORM: dict[str, list[Mutation]] = {
    "csv": [*ANY, encode, csv_cells, csv_cells, csv_column, csv_shape],
    "geojson": [*ANY, encode, json_values, json_values, json_text],
    "gpkg": [*ANY, package_values, package_values, package_types, package_geometry, package_tables],
}
