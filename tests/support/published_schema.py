"""Holds records to the JSON Schema that the project publishes, with a validator that knows nothing of the pipeline."""

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

FILE = Path(__file__).resolve().parents[2] / "pipeline" / "issue" / "issue.schema.json"


@cache
def validator() -> Draft202012Validator:
    """The validator of the published schema, which is itself a valid one."""
    schema = json.loads(FILE.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def broken(record: Mapping[str, Any]) -> list[str]:
    """Where a record is not in the published form, and why."""
    return [f"{error.json_path}: {error.message[:200]}" for error in validator().iter_errors(record)]
