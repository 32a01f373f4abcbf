"""The form of a record as JSON Schema, for other programs: ``issue.schema.json``, written from `record_types`.

``python -m pipeline.issue.schema_file`` writes it again.
"""

import json
from pathlib import Path
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from pipeline.issue.record_form import form
from pipeline.issue.record_types import SCHEMA

FILE = Path(__file__).with_name("issue.schema.json")


class _Plain(GenerateJsonSchema):
    """Leaves out titles that only repeat the names of keys."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def text() -> str:
    """Return the text of the file: keys in the order of `record_types`."""
    about = {
        "$schema": GenerateJsonSchema.schema_dialect,
        "title": f"issue.json, schema version {SCHEMA}",
    }
    return json.dumps(about | form().json_schema(schema_generator=_Plain) | about, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
