"""JSON Schema as this project publishes it, of job files and of records."""

from typing import Any

from pydantic.json_schema import GenerateJsonSchema


class PlainSchema(GenerateJsonSchema):
    """Leaves out titles that only repeat the names of keys."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        """Say that no title is to be made of a key."""
        return False
