"""The form of a record as JSON Schema, for other programs: ``issue.schema.json``, written from `record_types`.

``python -m pipeline.issue.schema_file`` writes it again.
"""

import json
from pathlib import Path

from pydantic.json_schema import GenerateJsonSchema

from pipeline.issue.record_form import form
from pipeline.issue.record_types import SCHEMA
from pipeline.job.plain_schema import PlainSchema

FILE = Path(__file__).with_name("issue.schema.json")


def text() -> str:
    """Return the text of the file: keys in the order of `record_types`."""
    about = {
        "$schema": GenerateJsonSchema.schema_dialect,
        "title": f"issue.json, schema version {SCHEMA}",
    }
    schema = form().json_schema(schema_generator=PlainSchema)
    return json.dumps(about | schema | about, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
