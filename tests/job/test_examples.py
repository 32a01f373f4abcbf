"""Every key has an example that is right, the schema says what the types say, a key is explained by its name."""

import json
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from every import every
from jsonschema import Draft202012Validator

from pipeline.cli.explain_command import explain_key
from pipeline.job.annotations import models
from pipeline.job.key_lines import KeyPath
from pipeline.job.key_lookup import find_keys
from pipeline.job.model import Job
from pipeline.job.reference import example_of
from pipeline.job.schema_file import FILE, text

ROOT = Path(__file__).resolve().parents[2]


def as_json(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: as_json(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_json(inner) for inner in value]
    return value.isoformat() if isinstance(value, datetime) else value


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    schema = json.loads(FILE.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def keys(model: Any = Job, path: KeyPath = ()) -> list[tuple[KeyPath, Any]]:
    found = []
    for name, field in model.model_fields.items():
        here = (*path, field.alias or name)
        found += [(here, field)] if path else []
        for inner in models(field.annotation):
            found += keys(inner, here)
    return found


def test_every_key_has_an_example_that_its_type_takes(validator: Draft202012Validator) -> None:
    schema = validator.schema
    assert isinstance(schema, dict)
    missing = [".".join(map(str, path)) for path, field in keys() if not example_of(path, field)]
    assert missing == []
    for table in every(schema["$defs"].values()):
        for name, entry in table.get("properties", {}).items():
            inside = validator.evolve(schema={"$defs": schema["$defs"], **entry})
            assert [list(inside.iter_errors(example)) for example in entry["examples"]] == [[]], name


def test_the_published_schema_is_that_of_the_types() -> None:
    """Else: python -m pipeline.job.schema_file."""
    assert FILE.read_text(encoding="utf-8") == text()


@pytest.mark.parametrize("job", sorted((ROOT / "configs").glob("*.toml")), ids=lambda path: path.stem)
def test_the_jobs_of_the_project_are_in_the_form_of_the_schema(job: Path, validator: Draft202012Validator) -> None:
    raw = as_json(tomllib.loads(job.read_text(encoding="utf-8")))
    assert list(validator.iter_errors(raw)) == []
    for wrong in (
        {**raw, "job": {**raw["job"], "nmae": "x"}},
        {**raw, "points": []},
        {**raw, "quality": {"ppm": "1"}},
        {**raw, "checks": {"confirmed": ["all"]}},
        {key: value for key, value in raw.items() if key != "target"},
    ):
        assert list(validator.iter_errors(wrong))


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("quality.ppm", ["quality.ppm: number, 0 or more, in ppm; default 1", "[quality]", "ppm = 1"]),
        ("ppm", ["quality.ppm"]),
        ("[quality]", ["quality: table [quality]", "max_pdop"]),
        ("session.setup", ["longitude, latitude, ellipsoid_height, antenna_height", "setup = {"]),
        ("setup.antenna_height", ["in m; default 0", "above the mark"]),
        ("target.grid", ["text; needed", 'grid = "EPSG:2193"']),
        ("points.columns.time", ["[points.columns]", 'time = "Observed"']),
        ("issue.formats", ["landxml"]),
        ("time_zone", ["source.time_zone"]),
        ("field_shift.from", ["time; needed"]),
        ("plan.session.area", ["plan.session.area: list of pairs of numbers, in the unit of target.grid"]),
        ("plan.pegs.at", ["plan.pegs.at: pair of numbers, "]),
    ],
)
def test_a_key_is_explained(key: str, said: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert explain_key(key) == 0
    shown = capsys.readouterr().out
    assert [one for one in said if one not in shown] == []


@pytest.mark.parametrize(
    ("key", "nearest"),
    [
        ("quality.pmm", "quality.ppm"),
        ("qualty.ppm", "quality.ppm"),
        ("session.setup.antena_height", "session.setup.antenna_height"),
        ("target.hight", "target.height"),
        ("checks.code", "checks.codes"),
        ("timezone", "source.time_zone"),
    ],
)
def test_a_name_nearly_right_is_answered_with_the_nearest_key(
    key: str, nearest: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert explain_key(key) == 2
    assert find_keys(key)[1][0] == nearest
    assert f"the nearest: {nearest}" in capsys.readouterr().out


@pytest.mark.parametrize("key", ["zzzz", "", ".", "quality.", "=", "[[]]"])
def test_a_name_like_none_is_told_the_tables(key: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert explain_key(key) == 2
    assert "there is no key" in capsys.readouterr().out
