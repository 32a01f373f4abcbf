"""What a draft says where a folder lacks something, and of files that are not what their ending says."""

import json
import shlex
from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline.cli.new_command import start_job
from pipeline.new_job import new_job
from pipeline.new_job.headings import rank
from pipeline.new_job.start import job_name

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "time": "Time (UTC)", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


def _laid(folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, _HEADS)


def test_without_a_register_one_question_says_so(tmp_path: Path) -> None:
    """Nobody can name marks of a register that is not there: no candidate has an invented one."""
    _laid(tmp_path)
    (tmp_path / "control.csv").unlink()
    started = new_job(tmp_path)
    ties = [one.question for one in started.asked if one.question.key.endswith("ties")]
    assert len(ties) == 1 and "no register" in ties[0].asks and not ties[0].candidates


def test_the_next_command_can_be_typed_as_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A shell takes the line apart into the three words that are meant."""
    folder = tmp_path / "North road"
    _laid(folder)
    start_job(folder, None, as_json=False)
    (line,) = [line for line in capsys.readouterr().out.replace("\n      ", " ").splitlines() if "next:" in line]
    assert shlex.split(line.partition("next:")[2])[-1] == str(folder / "north-road.toml")


def test_a_plain_list_of_objects_is_said_to_be_no_geojson(tmp_path: Path) -> None:
    _laid(tmp_path)
    (tmp_path / "points.json").write_text(json.dumps([{"name": "CM1", "lon": 171.0, "lat": -44.0}]), encoding="utf-8")
    ((role, why),) = [one[1:] for one in new_job(tmp_path).files if one[0] == "points.json"]
    assert role == "neither" and "not GeoJSON" in why and "export it again" not in why


@pytest.mark.parametrize(("folder", "name"), [("Straße", "strasse"), ("Øst Å", "ost-a"), ("Łódź", "lodz")])
def test_letters_that_are_no_accents_are_not_lost_in_a_name(folder: str, name: str) -> None:
    """As they are written where there are only the letters of English."""
    assert job_name(folder) == name


@pytest.mark.parametrize(("word", "heading"), [("solution", "Lahend"), ("code", "Kood")])
def test_estonian_headings(word: str, heading: str) -> None:
    assert rank(word, heading) is not None
