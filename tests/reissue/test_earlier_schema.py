"""A job whose newest issue was made before records had all of today's keys: it stands, is verified, and compared."""

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from every import every
from first_issue import first_issue
from issued import current_issue
from sealed_by_hand import sum_by_hand
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.history import history
from pipeline.job.canonical_text import former_meanings
from pipeline.job.load import load_job
from pipeline.problems import Problems
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.verify import verify

#: What records of schema 1 had not from the beginning.
LATER = ("diagnoses", "doubts", "wholly_held_back", "register", "reach")


@pytest.mark.parametrize("lacking", [(), LATER], ids=["last", "first"])
def test_an_issue_of_an_earlier_schema_stands_and_is_compared_with(lacking: tuple[str, ...], tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40, noise=False))
    path = job.write(tmp_path)
    file = first_issue(path) / "issue.json"
    said = {key: value for key, value in json.loads(file.read_text()).items() if key not in lacking} | {"schema": 1}
    file.write_text(json.dumps(said | {"sum": sum_by_hand(said)}))

    assert verify(tmp_path / "out").intact
    assert check_job(path).warnings == ()
    standing = run_job(path)
    assert (standing.issued, standing.exit_code, standing.record["issue"]) == (False, 0, 1)

    job.mistype("CM1", "height", 0.006)
    job.write(tmp_path)
    assert run_job(path).issued
    changes = current_issue(tmp_path / "out").record["changes"]
    assert changes["since"] == 1 and changes["moved"] > 0 and changes["added"] == changes["withdrawn"] == 0
    first, second = history(path)
    assert first.changes is None and second.changes is not None and second.changes.counts["moved"] == changes["moved"]
    assert verify(tmp_path / "out").intact


#: A job file of canal levels, and the sums that programs wrote into the records of its issues: before ``[control]`` had
#: columns and sigmas of its own, and when keys at their defaults were summed that are left out by now.
CANAL = """
[job]
name = "canal"
folder = "../out/canal"
[target]
grid = "EPSG:9489"
height = "EPSG:5714"
geoid = "{data}/geoid/egm96_central_java.gtx"
max_transform_error = 0.2
[source]
crs = "EPSG:9489"
time_zone = "Asia/Jakarta"
[[points]]
files = ["{data}/canal/levels.txt"]
time_format = "%d/%m/%Y %H:%M:%S"
delimiter = ";"
decimal = ","
[points.columns]
name = "No"
time = "Observed"
easting = "East"
northing = "North"
height = "EllH"
sigma_east = "sdE"
sigma_north = "sdN"
sigma_up = "sdH"
solution = "Solution"
code = "Feature"
base = "Ref"
[control]
file = "{data}/canal/marks.csv"
crs = "EPSG:4898"
height = "ellipsoid"
{control}
[sessions]
file = "{data}/canal/sessions.csv"
"""
BEFORE_COLUMNS = {
    "the job file": "49bb479d33830fca855cec525c034686a3205d33046bd301a41a6cb4883998c6",
    "[control]": "120cbb006d32028e0f08071ead63a96fe7600dedc49dc75ef063d050463cf924",
    "[quality]": "d17cc928c17903b5f6d1bc0b899f55c03faf09c6b1345d633691b3bbe45cca35",
}
WITH_DEFAULTS = {
    "the job file": "d98b1c9bc21af160db6abef56f50d3d991d7737870f8d28ef32a84f777c7fa49",
    "[control]": "784ae5a1039929b6a30ea7056be991f94b9634abcc18283683a5046fec4236ef",
    "[quality]": "27d92ca7c41a8e0189f72947ac10a9f16fd17b45190305b1e0dd109e87a62327",
    "[checks]": "1297480ae3fc8c9a9a0c76e0254e01258b4de45951f95a53f4f033efdad4bcaf",
    "[issue]": "07e42b4a5bf16407ae531b6882b468a8264b5ddaf48ea7177b928a9b0b901fba",
}


def former_sums(folder: Path, control: str = "") -> list[dict[str, str]]:
    """The sums of the job file and of its tables by earlier programs."""
    data = Path(__file__).parents[2] / "sample_data"
    path = folder / "canal.toml"
    path.write_text(CANAL.format(data=data.as_posix(), control=control), encoding="utf-8")
    loaded = load_job(path, Problems())
    assert loaded is not None
    job = loaded.job.model_copy(update={"session": (), "sessions": None})
    texts = ({"the job file": text, **parts} for text, parts in former_meanings(job))
    return [{name: sha256(json.dumps(text).encode()).hexdigest() for name, text in one.items()} for one in texts]


def test_the_sums_of_programs_that_knew_fewer_keys_are_known(tmp_path: Path) -> None:
    found = former_sums(tmp_path)
    assert found[0].items() >= WITH_DEFAULTS.items() and found[-1].items() >= BEFORE_COLUMNS.items()


@pytest.mark.parametrize("stated", ["sigma_horizontal = 0.02", 'columns = { mark = "mark" }'])
def test_a_key_that_a_program_did_not_know_makes_another_job_file(stated: str, tmp_path: Path) -> None:
    sums = {one["the job file"] for one in former_sums(tmp_path, stated)}
    assert not sums & {BEFORE_COLUMNS["the job file"], WITH_DEFAULTS["the job file"]}


def test_a_job_file_is_the_same_by_the_sums_of_the_program_that_made_the_issue() -> None:
    """And another one where they are not what that program would have had."""
    now = {"the job file": "a", "the job file: [control]": "b", "the register of control marks": "r"}
    former = [{"the job file": one, "the job file: [control]": other} for one, other in ("cd", "ef")]
    nothing: Any = {"reach": {"sessions": {}, "files": {}}, "register": [], "origins": []}
    made = Fingerprint(sums=now, formerly=former, stated_anyway=lambda _: False, **nothing)
    for then in every(former):
        last: Any = {"register": [], "identity": now | then}
        assert made.beside(last).items() >= then.items()
    last = {"register": [], "identity": now | {"the job file": "x", "the job file: [control]": "f"}}
    assert made.beside(last)["the job file"] == "a" and made.beside(last)["the job file: [control]"] == "f"
