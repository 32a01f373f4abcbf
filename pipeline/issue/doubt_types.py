"""What a doubt that is taken along from issue to issue is about, as data: its sentence is made from these, never read.

Whoever makes the next issue compares these values with the job; how a doubt is worded may be another in each version.
"""

from typing import Annotated, Literal

from pydantic import Field

from pipeline.issue.record_values import Instant, Strict

Part = Literal["position", "height"]
#: What has become of an occupation that failed.
Now = Literal["gone", "tie", "untested"]


class LostOccupation(Strict):
    """An occupation that failed in an issue, or a reading that seemed to be one, that judges nothing any more."""

    of: Annotated[Literal["occupation"], Field(description="that it is one of these")]
    point: Annotated[str, Field(description="the name of its reading; empty: it has none")]
    mark: Annotated[str, Field(description="the mark that it was on; empty: it was far from all")]
    observed: Annotated[Instant, Field(description="when it was observed [UTC]; of schema 7 and before to the second")]
    failed_in: Annotated[int, Field(description="the issue that it failed in, or was compared with no mark in", ge=1)]
    parts: Annotated[
        Annotated[list[Part], Field(min_length=1)] | None, Field(description="what of it failed; null: not known")
    ]
    now: Annotated[
        Now,
        Field(description="what it is now: no occupation of the job, a tie, or one that nothing tests in what failed"),
    ]


class ControlKey(Strict):
    """A key of ``[control]`` by which the register's numbers are taken for something else."""

    of: Annotated[Literal["control"], Field(description="that it is one of these")]
    key: Annotated[Literal["crs", "height", "epoch"], Field(description="the key")]
    was: Annotated[str, Field(description="what it was, in words")]
    code: Annotated[str | None, Field(description="registered code or WKT of that; null: it has none, or is not known")]
    became: Annotated[str, Field(description="what it is, in words")]


class GridFile(Strict):
    """A grid file that has another content under the same name."""

    of: Annotated[Literal["grid file"], Field(description="that it is one of these")]
    name: Annotated[str, Field(description="its file name")]
    was: Annotated[
        str,
        Field(description="SHA-256 that it had; of schema 7 and before its first digits", pattern="^[0-9a-f]{8,64}$"),
    ]
    became: Annotated[str, Field(description="SHA-256 that it has, likewise", pattern="^[0-9a-f]{8,64}$")]


class Operation(Strict):
    """A transformation that is another without any key of the job file being another."""

    of: Annotated[Literal["operation"], Field(description="that it is one of these")]
    step: Annotated[str, Field(description="from what to what it leads, as in `operations`")]
    was: Annotated[str, Field(description="the name that it had")]
    became: Annotated[str, Field(description="the name that it has; the same: it is defined otherwise")]
    definitions: Annotated[
        list[str] | None,
        Field(description="the PROJ strings that it had; null: not known, of schema 7 and before"),
    ]


FrameDifference = Annotated[ControlKey | GridFile | Operation, Field(discriminator="of")]


class FrameChange(Strict):
    """Frames that differ from an earlier issue's, so that one of the two issues must be wrong."""

    of: Annotated[Literal["frame"], Field(description="that it is one of these")]
    since: Annotated[int, Field(description="the issue that had other frames", ge=1)]
    moved: Annotated[str, Field(description="what moved since, in words")]
    differences: Annotated[list[FrameDifference], Field(description="what differs", min_length=1)]


class ShiftAnew(Strict):
    """A field shift that is worked out by the register of now, in the place of one that an issue before had."""

    of: Annotated[Literal["field shift"], Field(description="that it is one of these")]
    tie: Annotated[str | None, Field(description="the reading that it is worked out from, as in `field_shifts`")]
    mark: Annotated[str | None, Field(description="the mark that was entered for the tie, likewise")]


class ChangedNumbers(Strict):
    """Readings, or the register, with other numbers than in an earlier issue in a way that no check tests."""

    of: Annotated[Literal["readings", "register"], Field(description="what of it has other numbers")]
    since: Annotated[int, Field(description="the issue that had other numbers", ge=1)]
    what: Annotated[str, Field(description="what changed since, in words")]


class Unread(Strict):
    """A doubt of schema 7 or before, of which nobody can tell any more what it was about: it stays as it was worded."""

    of: Annotated[Literal["words"], Field(description="that it is one of these")]
    what: Annotated[str, Field(description="the doubt in the words of then")]


DoubtOrigin = Annotated[LostOccupation | FrameChange | ShiftAnew | ChangedNumbers | Unread, Field(discriminator="of")]
