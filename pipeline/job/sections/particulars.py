"""The keys of ``[particulars]``: any of the job's own."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, model_validator

from pipeline.job.particulars_values import MOST as MOST_PARTICULARS
from pipeline.job.particulars_values import Value, key_given, size, value_given


class Particulars(BaseModel):
    """Who, where and with what, in keys of your own, shown as given in the report; they affect no coordinate.

    Texts, numbers, dates, lists of them, and one level of tables or of lists of tables. They are kept as plain values:
    dates and times as texts.
    """

    model_config = ConfigDict(extra="allow", frozen=True)
    __pydantic_extra__: dict[str, Annotated[Any, BeforeValidator(value_given)]]

    @model_validator(mode="before")
    @classmethod
    def _named(cls, found: object) -> object:
        """Refuse keys that nobody can see, and more than a report can show."""
        if isinstance(found, dict):
            for key in found:
                key_given(key)
        return found

    @model_validator(mode="after")
    def _few(self) -> "Particulars":
        """Refuse more than a front page can show."""
        if (number := size(self.given)) > MOST_PARTICULARS:
            raise ValueError(f"{number:,} values are more than a report can show ({MOST_PARTICULARS:,})")
        return self

    @property
    def given(self) -> dict[str, Value]:
        """Return the particulars in the order of the job file."""
        return dict(self.__pydantic_extra__)
