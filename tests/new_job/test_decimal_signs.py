"""Numbers that stand as texts with a decimal comma, where a file can hold numbers: the key is written, as for texts."""

import json
from pathlib import Path

import openpyxl
import pytest
from answered import answer
from folders_made import HEIGHT, cells, drafted, job_of, lay

from pipeline.new_job import new_job
from pipeline.new_job.questions import Known, Question, State
from pipeline.new_job.start import Started
from pipeline.run.run_job import run_job

_WORDS = {"Point": "name", "UTC": "time", "Lat": "latitude", "Lon": "longitude", "EllHt": "height", "Sol": "solution"}


def made(folder: Path, commas: frozenset[str], points: frozenset[str], more: object = None) -> Started:
    """Lay a spreadsheet in which columns are texts with a comma, texts with a point, or numbers.

    With ``more`` the first height is a number among texts.
    """
    job = job_of()
    lay(folder, job)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(list(_WORDS))
    columns = [cells(job, word, lambda at: at.isoformat()) for word in _WORDS.values()]
    for number, row in enumerate(zip(*columns, strict=True)):
        shown: list[object] = []
        for name, text in zip(_WORDS, row, strict=True):
            numeric = name in ("Lat", "Lon", "EllHt") and name not in points
            as_text = name in commas and not (more and number == 0)
            shown.append(text.replace(".", ",") if as_text else float(text) if numeric else text)
        sheet.append(shown)
    book.save(folder / "rover.xlsx")
    return new_job(folder)


def state(started: Started) -> State:
    return drafted(started).blocks[0].states["decimal"]


@pytest.mark.parametrize(
    ("commas", "more"), [({"Lat", "Lon", "EllHt"}, None), ({"EllHt"}, None), ({"Lat", "Lon", "EllHt"}, 1)]
)
def test_the_comma_is_stated_with_its_reason_and_read(commas: set[str], more: object, tmp_path: Path) -> None:
    started = made(tmp_path, frozenset(commas), frozenset(), more)
    found = state(started)
    assert isinstance(found, Known) and found.value == '","' and "a decimal comma" in found.why
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["rows"]["held_back"] == 0


def test_nothing_is_stated_of_numbers_and_of_texts_with_points(tmp_path: Path) -> None:
    assert state(made(tmp_path, frozenset(), frozenset(("Lat",)))) is None


def test_beside_texts_with_points_it_is_asked_and_said_that_no_key_reads_both(tmp_path: Path) -> None:
    found = state(made(tmp_path, frozenset(("EllHt",)), frozenset(("Lat",))))
    assert isinstance(found, Question) and "no key reads both" in found.asks and '"Lat"' in found.asks


def test_properties_of_features_too(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    columns = [cells(job, word, lambda at: at.isoformat()) for word in _WORDS.values()]
    features = [
        {"type": "Feature", "properties": dict(zip(_WORDS, [text.replace(".", ",") for text in row], strict=True)),
         "geometry": None}
        for row in zip(*columns, strict=True)
    ]  # fmt: skip
    for one in features:
        one["properties"]["UTC"] = one["properties"]["UTC"].replace(",", ".")
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (tmp_path / "rover.geojson").write_text(text, encoding="utf-8")
    found = state(new_job(tmp_path))
    assert isinstance(found, Known) and found.value == '","'
