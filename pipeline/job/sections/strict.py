"""What all tables of the job file have in common: how strictly their keys are taken."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

from pipeline.job.key_values import File, TableDelimiter, readable


class Strict(BaseModel):
    """No unknown key, no silent conversion, no NaN or infinity, nothing changed after loading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _whole(cls, value: object) -> object:
        """Refuse a NUL in any text: libraries in C would take what stands before it for all."""
        return readable(value, "\0") if isinstance(value, str) else value


def one_or_more(value: object) -> object:
    """Take a text alone for a list of one."""
    return [value] if isinstance(value, str) else value


class Table(Strict):
    """The keys of a table kept in a file beside the job file: how it is written."""

    file: File
    delimiter: TableDelimiter | None = Field(
        None,
        description='one sign between the columns, as `";"`, or `"blanks"` for any number; detected if not stated',
    )
    decimal: Literal[".", ","] | None = Field(None, description="decimal sign; detected if not stated")
    encoding: str | None = Field(None, description='of a text file, as `"cp1252"`; UTF-8 or UTF-16 if not stated')
