"""The table of codes: what is taken from it in every form, and what is refused at its line."""

import sqlite3
from contextlib import closing
from pathlib import Path

import openpyxl
import pytest
from every import every

from pipeline.codes.table import Code, CodeTable, form_of, read_code_table
from pipeline.job.model import CodesSection
from pipeline.problems import Problems

EXPECTED = (
    Code("KERB", "kerb, lip", "line", "V-KERB", 94, 2),
    Code("TREE", "", "point", "", None, 3),
    Code("Zäun", "Zaun", "area", "", None, 4),
)


def read(path: Path, **said: object) -> tuple[CodeTable | None, list[str]]:
    section, problems = CodesSection.model_validate({"file": str(path), **said}), Problems()
    found = read_code_table(path, path.name, problems, form_of(section))
    return found, [str(one) for one in problems.found]


def text(folder: Path, content: str, encoding: str = "utf-8") -> Path:
    path = folder / "codes.csv"
    path.write_bytes(content.encode(encoding))
    return path


@pytest.mark.parametrize(
    ("content", "encoding", "said"),
    [
        ('code,description,kind,layer,colour\nKERB,"kerb, lip",line,V-KERB,94\nTREE,,point,,\nZäun,Zaun,area,,\n',
         "utf-8", {}),
        ("Code;Description;KIND;layer;colour;who\nKERB;kerb,  lip;Line;V-KERB;94;x\nTREE;;point\nZäun;Zaun;area\n",
         "utf-16", {}),
        ("Kürzel\tBedeutung\tkind\tlayer\tcolour\nKERB\tkerb, lip\tline\tV-KERB\t94\nTREE\t\tpoint\nZäun\tZaun\tarea\n",
         "cp1252", {"encoding": "cp1252", "columns": {"code": "Kürzel", "description": "Bedeutung"}}),
    ],
)  # fmt: skip
def test_texts_as_they_are_found(content: str, encoding: str, said: dict[str, object], tmp_path: Path) -> None:
    found, told = read(text(tmp_path, content, encoding), **said)
    assert found is not None and not told
    assert found.codes == EXPECTED and len(found.sha256) == 64


def test_a_spreadsheet_and_a_geopackage_say_the_same(tmp_path: Path) -> None:
    rows = [("code", "description", "kind", "layer", "colour"), ("KERB", "kerb, lip", "line", "V-KERB", 94),
            ("TREE", None, "point", None, None), ("Zäun", "Zaun", "area", None, None)]  # fmt: skip
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "codes.xlsx")
    found, told = read(tmp_path / "codes.xlsx")
    assert found is not None and not told and found.codes == EXPECTED
    with closing(sqlite3.connect(tmp_path / "codes.gpkg")) as file:
        file.execute("CREATE TABLE gpkg_contents (table_name TEXT, data_type TEXT, srs_id INTEGER)")
        file.execute("CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, srs_id INTEGER)")
        file.execute("INSERT INTO gpkg_contents VALUES ('codes', 'attributes', 0)")
        file.execute("CREATE TABLE codes (fid INTEGER PRIMARY KEY, code, description, kind, layer, colour INTEGER)")
        file.executemany("INSERT INTO codes VALUES (NULL, ?, ?, ?, ?, ?)", rows[1:])
        file.commit()
    found, told = read(tmp_path / "codes.gpkg")
    assert found is not None and not told, told
    assert found.told() == sorted([one.code, one.description, one.kind, one.layer, one.colour] for one in EXPECTED)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("code,kind\nA,\n,line\n", ["codes.csv:3: this row has no code"]),
        ("code,kind\nA,\nB,\nA,\n", ["codes.csv:4: the code 'A' is listed twice, first on line 2"]),
        ("code,kind\nKerb,\nKERB,\n", ["codes.csv:3: the code 'KERB' differs from 'Kerb' on line 2"]),
        ("code,kind\nStraße,\nSTRASSE,\n", ["codes.csv:3: the code 'STRASSE' differs from 'Straße' on line 2"]),
        ("code,kind\nA,lines\nB,curve\n", ["codes.csv:2: the kind 'lines' of the code 'A' is not known -> did you mean "
                                           "'line'?", "codes.csv:3: the kind 'curve'"]),
        ("code,layer\nA,V/A\nB,note\n", ["codes.csv:2: the layer of the code 'A'", "codes.csv:3: the layer"]),
        ("code,colour\nA,256\nB,red\nC,0\nD,9.5\n", [f"codes.csv:{line}: the colour" for line in (2, 3, 4, 5)]),
        ("code,layer,colour\nA,V,3\nB,v,4\n", ["codes.csv:3: the layer 'v' has the colour 3 on line 2, and 4 here"]),
        ("name,kind\nA,\n", ["codes.csv:1: the column 'code' is missing"]),
        ("code,descripton\nA,x\n", ["codes.csv:1: the column 'descripton' is not known -> is it 'description'?"]),
        ("code,kind\n", ["codes.csv:1: there is no code in this table"]),
        ('code,description\nA,"x\n', ["codes.csv:2: this row cannot be read"]),
    ],
)  # fmt: skip
def test_every_fault_is_refused_at_its_line(content: str, words: list[str], tmp_path: Path) -> None:
    found, told = read(text(tmp_path, content))
    assert found is None
    assert len(told) == len(words), told
    for line, word in every(zip(told, words, strict=True)):
        assert line.startswith(word), line


def test_a_table_beyond_any_survey_is_refused(tmp_path: Path) -> None:
    found, told = read(text(tmp_path, "code\n" + "".join(f"C{number}\n" for number in range(20_001))))
    assert found is None and told == [
        "codes.csv:20002: there are 20,001 rows, and the maximum is 20,000 codes -> check that this is the table of"
        " codes"
    ]


def test_what_is_not_a_table_is_named(tmp_path: Path) -> None:
    path = tmp_path / "codes.pdf"
    path.write_bytes(b"%PDF")
    assert read(path)[1] == [
        "codes.pdf: a table of codes in a '.pdf' file is not supported -> save it as .csv, .xlsx, .gpkg or .geojson"
    ]
