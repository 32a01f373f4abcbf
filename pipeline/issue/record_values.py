"""The kinds of values in an issue's record: which of JSON's values each may be, and how a key says so."""

from collections.abc import Iterable
from typing import Annotated, Any

from msgspec import Struct
from pydantic import ConfigDict, Field, GetCoreSchemaHandler, with_config
from pydantic_core import CoreSchema, core_schema
from typing_extensions import TypedDict  # pydantic reads the one of `typing` from Python 3.12 on only

from pipeline.words import Holds, MarkStatus, Place, Proof, Reason, ReleaseRule, Role, Verdict


@with_config(ConfigDict(extra="forbid", strict=True, allow_inf_nan=False))
class Strict(TypedDict):
    """A part of a record: no key but those that it names, nothing taken for another type, no NaN or infinity."""


class OneOf(Struct, frozen=True):
    """Says of a text that it is one of a closed list of words."""

    words: tuple[str, ...]

    @classmethod
    def from_words(cls, words: Iterable[str]) -> "OneOf":
        """Return it for an enumeration of `pipeline.words`."""
        return cls(tuple(map(str, words)))

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the words as the only values."""
        return core_schema.literal_schema(list(self.words))


#: What marks a text as a time: UTC, ISO 8601 with milliseconds, as `pipeline.clock.iso` writes it.
UTC_TIME = Field(pattern=r"^-?\d{4,}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$")

Instant = Annotated[str, UTC_TIME]
Whole = Annotated[int, Field(ge=0)]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
#: A file's name and nothing that leads to another folder.
FileName = Annotated[str, Field(pattern=r"^[^/\\\x00]*[^/\\\x00.][^/\\\x00]*$")]

HoldsWord = Annotated[str, OneOf.from_words(Holds)]
MarkStatusWord = Annotated[str, OneOf.from_words(MarkStatus)]
PlaceWord = Annotated[str, OneOf.from_words(Place)]
ProofWord = Annotated[str, OneOf.from_words(Proof)]
ReasonWord = Annotated[str, OneOf.from_words(Reason)]
ReleaseWord = Annotated[str, OneOf.from_words(ReleaseRule)]
RoleWord = Annotated[str, OneOf.from_words(Role)]
VerdictWord = Annotated[str, OneOf.from_words(Verdict)]
