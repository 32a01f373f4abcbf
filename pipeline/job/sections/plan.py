"""The keys of ``[plan]``: what a day is meant to be."""

from pydantic import Field

from pipeline.job.key_values import Corners, Length, Level, Listed, Named, Spot
from pipeline.job.sections.strict import Strict


class Peg(Strict):
    """A temporary mark that is to be set, which joins the planned sessions that occupy it."""

    mark: Named = Field(description="its name, which is in no register")
    at: Spot = Field(description="easting and northing, as issued")


class PlannedSession(Strict):
    """A session that is intended: where its base is to stand, and what is to tie and prove it."""

    name: Named = Field(description="its name")
    base: Spot | None = Field(None, description="easting and northing, as issued; else the middle of the area")
    setup: Named | None = Field(None, description="instead of `base`, the mark that the base is to stand over")
    ties: Listed[Named] = Field((), description="marks to be occupied as ties; one that is named twice, twice")
    checks: Listed[Named] = Field((), description="marks to be occupied as checks")
    area: Corners | None = Field(None, description="its part of the work, where it is not all of it")


class Plan(Strict):
    """What a day is meant to be, for `tiedown plan`; runs ignore it."""

    area: Corners = Field(
        description="corners of the work, easting and northing as issued; two are those of a rectangle"
    )
    height: Level | None = Field(None, description="of the work, as issued; else the mean of the marks at hand")
    within: Length = Field(10_000.0, description="marks up to this far from the work are considered as ties and checks")
    pegs: Listed[Peg] = Field((), description="temporary marks to be set")
    session: Listed[PlannedSession] = Field((), description="the sessions, as `[[plan.session]]` each")
