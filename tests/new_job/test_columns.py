"""What the columns of an export are taken for, by headings and by what they hold."""

import tomllib
from pathlib import Path

import pytest
from told_of import told_of

from pipeline.new_job import new_job
from pipeline.new_job.columns import mapped
from pipeline.new_job.look_at_files import looks
from pipeline.new_job.mapped import Mapped

#: The columns that every export of these tests has, and as many rows of them.
HEAD = "Point,Lat,Lon,EllHt,Time UTC"
ROWS = [
    f"P{at:02d},-43.7{at:02d}1234567,171.8{at:02d}1234567,{310 + at}.1234,2026-03-19 18:{at:02d}:00" for at in range(10)
]


def lay(folder: Path, more: dict[str, list[str]]) -> Path:
    """Write an export with more columns, whose values come again until there are ten."""
    lines = [",".join([HEAD, *more])]
    lines += [",".join([row, *(values[at % len(values)] for values in more.values())]) for at, row in enumerate(ROWS)]
    path = folder / "rover.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def found(folder: Path, more: dict[str, list[str]]) -> Mapped:
    (look,) = looks(lay(folder, more), "rover.csv")
    return mapped(look)


FIXED = ["RTK Fixed", "RTK Fixed", "RTK Float"]


@pytest.mark.parametrize(
    ("more", "solution"),
    [
        ({"GNSS Status": FIXED}, "GNSS Status"),
        ({"Type de solution": ["Fixe", "Flottante"]}, "Type de solution"),
        ({"Anything": ["Fixed", "Float", "Autonomous"]}, "Anything"),
        ({"Type": ["fix", "float"], "Layer": ["KERB"]}, "Type"),
        ({"How": ["4 - RTK fixed", "5 - RTK float"]}, "How"),
        ({"Status": ["OK"], "Remark 2": FIXED}, "Remark 2"),
        ({"Tila": ["Kiinteä", "Liukuva"]}, "Tila"),
        ({"Anything": ["Fikseeritud", "Ujuv"]}, "Anything"),
        ({"Anything": ["Fiksēts", "Peldošs"]}, "Anything"),
        ({"Anything": ["Fiksuotas", "Slankus"]}, "Anything"),
        ({"Anything": ["Фиксирано", "Плаващо"]}, "Anything"),
        ({"Anything": ["Fast", "Fljótandi"]}, "Anything"),
        ({"Tipo": ["L1 Fissa", "L1 Flottante"]}, "Tipo"),
        ({"Tip rešitve": ["FIKSNA", "PLAVAJOČA"]}, "Tip rešitve"),
        ({"Megoldás típusa": ["Rögzített", "Lebegő"]}, "Megoldás típusa"),
        ({"状态": ["固定", "浮点"]}, "状态"),
        ({"품질": ["고정", "유동"]}, "품질"),
        ({"Fiks": ["J", "J", "N"]}, "Fiks"),
        ({"Anything": ["Fixed", "Fixed", "Anything else"]}, "Anything"),
        ({"Anything": ["フィックス", "フィックス", "何か"]}, "Anything"),
        ({"Kode": ["fast", "fast", "løs"]}, None),
        ({"Weather": ["sunny", "cloudy"]}, None),
        ({"Pier": ["floating", "on piles", "on piles"]}, None),
        ({"Code": ["KERB", "FIX", "TREE", "FIX"]}, None),
        ({"Remark": ["single", "none"]}, None),
        ({"Fixed?": ["Yes", "No"]}, "Fixed?"),
        ({"Tipo": ["RTK Fijo"]}, "Tipo"),
        ({"Anything": ["PPK fixed"]}, "Anything"),
        # what is always fixed, or fast, or rarely filled, is no solution, and takes the place of none
        ({"Quality": ["4", "5"], "Mount": ["fixed"]}, "Quality"),
        ({"Solution": ["N-RTK", "DIFF1"], "Mount": ["fixed"]}, "Solution"),
        ({"Quality": ["4", "5"], "Remark": ["fixed", *[""] * 9]}, "Quality"),
        ({"Speed": ["fast"]}, None),
        ({"Description": ["fix"], "Quality": ["4", "5"]}, "Quality"),
        ({"Qualit\u00e9": ["A", "B"]}, "Qualit\u00e9"),
        # a score is none
        ({"Quality": ["0.970", "0.971", "0.700"]}, None),
        ({"Quality": ["0.970", "0.700"], "Type": ["fix", "float"]}, "Type"),
        ({"Quality": ["4.0", "5.0"]}, "Quality"),
    ],
)
def test_a_column_that_holds_words_of_solutions_is_the_solution(
    more: dict[str, list[str]], solution: str | None, tmp_path: Path
) -> None:
    assert found(tmp_path, more).columns.get("solution") == solution


def test_two_columns_of_solutions_that_differ_are_asked_about(tmp_path: Path) -> None:
    lay(tmp_path, {"Solution": ["fixed"], "Solution 2": ["fixed", "float"]})
    started = new_job(tmp_path)
    (asked,) = [one.question for one in started.asked if one.question.key == "solution"]
    assert [one.value for one in asked.candidates] == ['"Solution"', '"Solution 2"']
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert "solution" not in raw["points"][0]["columns"]


@pytest.mark.parametrize(
    "beside",
    [
        {"Remark": ["float", *[""] * 9]},
        {"Base Status": ["Fixed"]},
        {"Description": ["fix", "Fixed post"]},
        {"Solution Type": ["fixed", "fixed", "float"]},
    ],
)
def test_a_clear_solution_is_asked_about_no_more(beside: dict[str, list[str]], tmp_path: Path) -> None:
    taken = found(tmp_path, {"Solution": ["FIXED", "FIXED", "FLOAT"], **beside})
    assert (taken.columns["solution"], taken.rivals) == ("Solution", {})


@pytest.mark.parametrize(
    ("more", "rivals"),
    [
        ({"Tree height": ["4.5", "12.1", "7.3"]}, []),
        ({"HT": ["1.5", "2.0"]}, []),
        ({"Elevation": [f"{310 + at}.12" for at in range(10)]}, []),
        ({"Elevation": [f"{296 + at}.12" for at in range(10)]}, ["Elevation"]),
    ],
)
def test_heights_of_other_things_and_the_same_ones_are_no_others(
    more: dict[str, list[str]], rivals: list[str], tmp_path: Path
) -> None:
    path = lay(tmp_path, more)
    path.write_text(path.read_text(encoding="utf-8").replace("EllHt", "Height"), encoding="utf-8")
    (look,) = looks(path, "rover.csv")
    assert [one for one in mapped(look).rivals.get("height", []) if one != "Height"] == rivals


def test_an_export_that_does_not_say_how_positions_were_solved_is_told_of(tmp_path: Path) -> None:
    lay(tmp_path, {})
    started = new_job(tmp_path)
    assert "float solutions would count as fixed" in Path(started.path).read_text(encoding="utf-8")
    assert any("no column of solutions was found" in note for note in started.notes)


def test_an_export_that_says_how_positions_were_solved_is_told_of_no_more(tmp_path: Path) -> None:
    lay(tmp_path, {"Solution": ["fixed", "float"]})
    assert not any("no column of solutions" in note for note in new_job(tmp_path).notes)


NUMBER, BROKEN = ["12", "14", "9"], ["0.012", "0.021"]


@pytest.mark.parametrize(
    ("more", "mapped_so"),
    [
        ({"sH": BROKEN, "sV": BROKEN}, {"sigma_horizontal": "sH", "sigma_up": "sV"}),
        ({"sE": BROKEN, "sN": BROKEN, "sH": BROKEN}, {"sigma_east": "sE", "sigma_north": "sN", "sigma_up": "sH"}),
        ({"sV": NUMBER}, {"satellites": "sV"}),
        (
            {"SV": NUMBER, "sH": BROKEN, "sV.": BROKEN},
            {"satellites": "SV", "sigma_horizontal": "sH", "sigma_up": "sV."},
        ),
        ({"sH [mm]": NUMBER, "sV [mm]": NUMBER}, {"sigma_horizontal": "sH [mm]", "sigma_up": "sV [mm]"}),
        ({"stdH": BROKEN, "vrms": BROKEN}, {"sigma_horizontal": "stdH", "sigma_up": "vrms"}),
        # of the plan or of the height: told, not taken
        ({"sH": BROKEN}, {}),
        # no standard uncertainties
        ({"HRMS (95%)": BROKEN, "V Prec (95%)": BROKEN}, {}),
        ({"sE 95%": BROKEN, "sN 95%": BROKEN, "sU (2 sigma)": BROKEN}, {}),
    ],
)
def test_a_precision_is_of_the_direction_that_it_says(
    more: dict[str, list[str]], mapped_so: dict[str, str], tmp_path: Path
) -> None:
    taken = found(tmp_path, more)
    words = ("sigma_east", "sigma_north", "sigma_up", "sigma_horizontal", "drms", "satellites")
    assert {word: name for word, name in taken.columns.items() if word in words} == mapped_so
    assert {name for name, _ in taken.left} == set(more) - set(mapped_so.values())


@pytest.mark.parametrize("number", ["N°", "Nº", "N °", "N° de point", "n°"])
def test_a_number_sign_is_no_northing(number: str, tmp_path: Path) -> None:
    text = f"{number};X;Y;Z;Heure UTC\n" + "".join(
        f"10{at};65{at}123,25;686{at}000,50;8{at},250;2026-03-19 18:00:0{at}\n" for at in range(10)
    )
    (tmp_path / "rover.csv").write_text(text, encoding="utf-8")
    (look,) = looks(tmp_path / "rover.csv", "rover.csv")
    taken = mapped(look)
    assert (taken.columns["name"], taken.columns["easting"], taken.columns["northing"]) == (number, "X", "Y")


@pytest.mark.parametrize(
    ("letters", "behind", "refused"),
    [
        # 43 degrees below zero and 171 above, as written
        ({"N/S": ["S"], "E/W": ["E"]}, False, False),
        ({"Ref": ["E"]}, True, False),
        ({"Hem": ["N"]}, False, True),
        ({"Hem": ["W", "W", "E"]}, False, True),
        ({"Lon dir": ["O"]}, False, True),
        ({"E/W": ["O", "W"]}, False, True),
        ({"Ref": ["W"]}, True, True),
        ({"Base": ["Oeste"]}, True, True),
        # what somebody noted, far from the degrees or with both letters far from Greenwich
        ({"Lane": ["E", "W"]}, True, None),
        ({"Lane": ["W"]}, False, None),
        ({"Code": ["N", "S"]}, False, None),
    ],
)
def test_letters_of_hemispheres_are_no_base_and_are_never_ignored(
    letters: dict[str, list[str]], behind: bool, refused: bool | None, tmp_path: Path
) -> None:
    """``behind`` puts the letters behind the longitude instead of at the end."""
    path = lay(tmp_path, letters)
    if behind:
        rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
        text = "\n".join(",".join([*row[:3], *row[5:], *row[3:5]]) for row in rows)
        path.write_text(text + "\n", encoding="utf-8")
    (look,) = looks(path, "rover.csv")
    taken = mapped(look)
    assert "base" not in taken.columns
    assert bool(taken.refused) == bool(refused)
    assert sum("(hemisphere)" in note for note in taken.notes) == (len(letters) if refused is False else 0)


def test_a_file_with_hemispheres_of_their_own_says_what_to_export(tmp_path: Path) -> None:
    lay(tmp_path, {"N/S": ["N"]})
    said = told_of(tmp_path)
    assert '"N/S" says the hemisphere' in said and "export signed degrees" in said


def test_a_column_that_may_say_how_positions_were_solved_is_asked_for(tmp_path: Path) -> None:
    lay(tmp_path, {"Nøyaktighetsklasse": ["1", "1", "2"], "Bilde": ["J", "J", "N"]})
    started = new_job(tmp_path)
    (asked,) = [one.question for one in started.asked if one.question.key == "solution"]
    assert "how positions were solved" in asked.asks
    assert [(one.value, one.why) for one in asked.candidates] == [('"Nøyaktighetsklasse"', "it holds 1 (7), 2 (3)")]
    page = Path(started.path).read_text(encoding="utf-8")
    assert '# solutions = ["1"]\n# solutions = ["2"]\n' in page


@pytest.mark.parametrize(
    ("heading", "yes", "no"),
    [
        ("Fixiert", "WAHR", "FALSCH"),
        ("Fixe ?", "Vrai", "Faux"),
        ("Fijado", "sí", "no"),
        ("Is fixed", "1", "0"),
        ("Fiksno", "točno", "netočno"),
        ("固定", "是", "否"),
        ("フィックス", "はい", "いいえ"),
        ("Fixed?", "Y", "N"),
    ],
)
def test_a_column_that_answers_whether_fixed_is_the_solution_and_no_is_never_offered_as_fixed(
    heading: str, yes: str, no: str, tmp_path: Path
) -> None:
    lay(tmp_path, {heading: [yes, yes, no]})
    started = new_job(tmp_path)
    assert not [one for one in started.asked if one.question.key == "solution"]
    (asked,) = [one.question for one in started.asked if one.question.key == "quality.solutions"]
    assert [one.value for one in asked.candidates] == [f'["{yes}"]']
    assert f"{no} (3)" in asked.asks


def test_a_column_that_only_sounds_like_it_is_not(tmp_path: Path) -> None:
    lay(tmp_path, {"Festpunkt": ["nein", "nein", "ja"], "Fixed height": ["Y", "Y", "Y"], "Fast": ["a", "b", "b"]})
    assert "solution" not in found(tmp_path, {"Fast": ["a", "b", "b"]}).columns


@pytest.mark.parametrize(
    "more",
    [
        {"Rover": ["A", "A", "B"]},
        {"Crew": ["A", "A", "B"]},
        {"Photo": ["Y", "Y", "N"]},
        {"Solution": ["fixed", "fixed", "float"], "Nøyaktighetsklasse": ["1", "1", "2"]},
        {"Code": ["KERB", "KERB", "TREE"], "Kategorie": ["A", "A", "B"]},  # it follows the code
        {"Setup": [*"AAAAAA", *"BBBB"]},
        {"Weather": ["sunny", "sunny", "cloudy"]},
    ],
)
def test_attributes_of_features_and_rovers_are_not_asked_for(more: dict[str, list[str]], tmp_path: Path) -> None:
    lay(tmp_path, more)
    assert not [one for one in new_job(tmp_path).asked if one.question.key == "solution"]
