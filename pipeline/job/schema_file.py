"""The form of a job file as JSON Schema, for editors that complete and check it: ``job.schema.json``.

``python -m pipeline.job.schema_file`` writes it again from `model`.
"""

import json
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from pipeline.job.annotations import models
from pipeline.job.key_lines import KeyPath
from pipeline.job.model import Job
from pipeline.job.plain_schema import PlainSchema
from pipeline.job.reference import about, example_of, unit_of

FILE = Path(__file__).with_name("job.schema.json")


def text() -> str:
    """Return the text of the file: keys in the order of `model`, each with its meaning, unit and an example."""
    first = {"$schema": GenerateJsonSchema.schema_dialect, "title": "job file of tiedown"}
    schema = Job.model_json_schema(schema_generator=PlainSchema)
    _tell(schema, schema.get("$defs", {}), Job, (), set())
    _without_null(schema)
    return json.dumps(first | schema | first, indent=1, ensure_ascii=False) + "\n"


def _tell(
    table: dict[str, Any], tables: dict[str, Any], model: type[BaseModel], path: KeyPath, told: set[type[BaseModel]]
) -> None:
    """Add to a table and to those inside it what each key is for, in which unit, and an example."""
    table["description"] = about(model) if path else "A job: what is issued in which frame, from which exports."
    for name, field in model.model_fields.items():
        key = field.alias or name
        entry = table["properties"][key]
        unit, shown = unit_of(field).replace("`", ""), example_of((*path, key), field) if path else ""
        meaning = field.description or next((about(one) for one in models(field.annotation)), "")
        if meaning:
            entry["description"] = f"{meaning} [{unit}]" if unit else meaning
        if shown:
            entry["examples"] = [_json(tomllib.loads(f"value = {shown}")["value"])]
        for inner in models(field.annotation):
            if inner not in told:
                told.add(inner)
                _tell(tables[inner.__name__], tables, inner, (*path, key), told)


def _without_null(node: Any) -> None:
    """Take out what no job file can say: a key that is left out is not written, and TOML has no null."""
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        _without_null(inner)
    if not isinstance(node, dict):
        return
    ways = [way for way in node.get("anyOf", []) if way != {"type": "null"}] if "anyOf" in node else []
    if len(ways) == 1:
        del node["anyOf"]
        node.update(ways[0] | node)
    elif ways:
        node["anyOf"] = ways
    if "default" in node and (node["default"] is None or isinstance(node["default"], dict)):
        del node["default"]


def _json(value: Any) -> Any:
    """Return a value of TOML as JSON has it: times as text."""
    if isinstance(value, dict):
        return {key: _json(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_json(inner) for inner in value]
    return value.isoformat() if isinstance(value, datetime) else value


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
