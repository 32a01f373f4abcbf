"""The keys of ``[[session]]`` and ``[sessions]``: when which base ran, what ties and proves it."""

from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Discriminator,
    Field,
    SerializerFunctionWrapHandler,
    StringConstraints,
    Tag,
    model_serializer,
)

from pipeline.job.key_values import (
    Epoch,
    File,
    Latitude,
    LengthOrNone,
    Listed,
    Longitude,
    Metres,
    Moment,
    Named,
    OnGrid,
    SquareMetres,
    readable,
)
from pipeline.job.sections.strict import Strict, Table

#: The two forms of a session's ``shift``; these tags stand in the places that pydantic reports, never in a job file.
SHIFT_WORD, SHIFT_GIVEN = "a word", "a table"


#: Likewise of its ``field_shift``.
FIELD_ONE, FIELD_LIST = "one table", "a list of tables"


def _shift_form(value: object) -> str:
    return SHIFT_WORD if isinstance(value, str) else SHIFT_GIVEN


def _field_form(value: object) -> str:
    return FIELD_LIST if isinstance(value, list | tuple) else FIELD_ONE


class Occupation(Strict):
    """A rover point observed on a mark of the register or on a temporary mark."""

    point: Named = Field(description="the point's name in the export")
    mark: Named = Field(description="a mark of the register, or a temporary mark's name")


def _one_name(value: object) -> object:
    """Take a name alone for the point's and the mark's."""
    return {"point": value, "mark": value} if isinstance(value, str) and value.strip() else value


_Occupations = Listed[Annotated[Occupation, BeforeValidator(_one_name, json_schema_input_type=Occupation | str)]]


class Setup(Strict):
    """The base over a mark: the position that it broadcast, and its antenna above the mark."""

    mark: Named = Field(description="the mark that the base stood over")
    longitude: Longitude = Field(description="as broadcast, in the datum of `source.crs`")
    latitude: Latitude = Field(description="as broadcast")
    ellipsoid_height: Metres = Field(description="as broadcast")
    antenna_height: Metres = Field(0.0, description="height of the broadcast position above the mark")
    epoch: Epoch | None = Field(None, description="the same as the session's `epoch`")
    sigma_east: LengthOrNone = Field(0.0, description="standard uncertainty of the position, beside `quality.centring`")
    sigma_north: LengthOrNone = Field(0.0, description="of the position")
    sigma_up: LengthOrNone = Field(0.0, description="of the position")
    cov_en: SquareMetres = Field(0.0, description="covariance of east and north")
    cov_eu: SquareMetres = Field(0.0, description="covariance of east and up")
    cov_nu: SquareMetres = Field(0.0, description="covariance of north and up")


class GivenShift(Strict):
    """A shift stated in the job file: to the east, the north and up at the session's place, in either model."""

    east: Metres = Field(description="added to the readings")
    north: Metres = Field(description="added to the readings")
    up: Metres = Field(description="added to the readings")
    sigma_horizontal: LengthOrNone = Field(0.0, description="standard uncertainty of east and of north")
    sigma_vertical: LengthOrNone = Field(0.0, description="standard uncertainty of up")


_BaseId = Annotated[str, StringConstraints(strip_whitespace=True), AfterValidator(readable)]


class FieldShift(Strict):
    """A correction that the field applied for a time: as a vector, or as worked out from a tie; it is taken out first.

    What a tie gave is taken out as it was in the first issue that did so, whatever becomes of the register's mark.
    """

    start: Annotated[Moment, Field(alias="from")] = Field(description="the first time that it was applied")
    until: Moment | None = Field(None, description="the first time that it was no longer; else the session's end")
    earliest: Moment | None = Field(
        None,
        description="where it is not known when before `from` it was switched on: readings in between are suspect",
    )
    latest: Moment | None = Field(
        None,
        description="where it is not known when after `until` it was switched off: readings in between are suspect",
    )
    tie: Named | None = Field(
        None, description="the reading that it was worked out from, with `mark`: the last of that name before `from`"
    )
    mark: Named | None = Field(None, description="the mark that was entered for the tie")
    easting: OnGrid | None = Field(None, description="of the mark as typed in the field; else the register's")
    northing: OnGrid | None = Field(None, description="with `easting` and `height`, as `target.grid` writes them")
    height: OnGrid | None = Field(None, description="in the datum `target.height`")
    longitude: Longitude | None = Field(None, description="instead of them, in the datum of `source.crs`")
    latitude: Latitude | None = Field(None, description="with `longitude` and `ellipsoid_height`")
    ellipsoid_height: Metres | None = Field(None, description="with `longitude` and `latitude`")
    east: Metres | None = Field(None, description="as applied, instead of `tie` and `mark`")
    north: Metres | None = Field(None, description="as applied")
    up: Metres | None = Field(None, description="as applied")
    base: _BaseId | None = Field(None, description="only readings with this base id carry it")
    files: Listed[Named] = Field((), description="only these exports carry it, by name or pattern as `points.files`")
    model: Literal["geocentric", "grid"] = Field(
        "geocentric",
        description="one geocentric vector, taken at the first tie's mark, or metres along the issue's `easting`,"
        " `northing` and `height`, in the directions in which these increase",
    )

    @model_serializer(mode="wrap")
    def _as_stated(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out what is not stated: a shift of before keys were added says the same as ever."""
        return {key: value for key, value in write(self).items() if value is not None and value != () and value != []}

    @property
    def typed(self) -> tuple[float, float, float] | None:
        """Return the mark's coordinates as typed in the field, None where they are the register's."""
        for names in TYPED:
            given = [getattr(self, name) for name in names]
            if None not in given:
                return given[0], given[1], given[2]
        return None


#: The keys of a field shift that give its mark's coordinates: on the grid, or in degrees.
TYPED = (("easting", "northing", "height"), ("longitude", "latitude", "ellipsoid_height"))


class Noted(Strict):
    """A check read off the screen in the field, of which no export has a row: shown, and never counted as proof."""

    mark: Named = Field(description="the mark of the register that was occupied")
    time: Moment = Field(description="when it was read, within the session")
    d_east: Metres | None = Field(None, description="observed minus known, as read; with `d_north`")
    d_north: Metres | None = Field(None, description="with `d_east`")
    d_horizontal: LengthOrNone | None = Field(None, description="instead of them, where the screen shows no more")
    d_height: Metres | None = Field(None, description="observed minus known, upwards")
    note: Annotated[str, StringConstraints(max_length=200), AfterValidator(readable)] | None = Field(
        None, description="what was noted with it; shown as it is"
    )


class Session(Strict):
    """A base that stood still with one broadcast position, over the half-open [start, end)."""

    name: Named = Field(description="the session's name")
    start: Moment = Field(
        description="with its offset from UTC, as `2026-03-02T07:30:00+13:00`, or on the clock of `source.time_zone`"
    )
    end: Moment = Field(description="the first time that is no longer in it")
    base: _BaseId | None = Field(None, description="the base id of its readings; needed where sessions overlap")
    ties: _Occupations = Field(
        (), description='what gives the shift: `[{ point = "CM1-AM", mark = "CM1" }, "CM2"]`, the latter of one name'
    )
    checks: _Occupations = Field((), description="what proves it, as `ties`; more are found by `[checks]`")
    setup: Setup | None = Field(None, description="the base over a mark")
    shift: Annotated[
        Annotated[Literal["derive", "none"], Tag(SHIFT_WORD)] | Annotated[GivenShift, Tag(SHIFT_GIVEN)],
        Discriminator(_shift_form),
    ] = Field(
        "derive",
        description="derived from the ties; none, as certain as one observation by `sigma_horizontal` and"
        " `sigma_vertical` of `[quality]`, which are in every `hu95` and `vu95`; or as stated. Ties may still move one"
        " that is not derived within its uncertainty",
    )
    field_shift: (
        Annotated[
            Annotated[FieldShift, Tag(FIELD_ONE)] | Annotated[Listed[FieldShift], Tag(FIELD_LIST)],
            Discriminator(_field_form),
        ]
        | None
    ) = Field(None, description="what the field applied already; of several a list, `[{ ... }, { ... }]`")
    epoch: Epoch | None = Field(None, description="of the position that the base held")
    noted: Listed[Noted] = Field(
        (), description="checks read off the screen, as `[[session.noted]]` below the session; not in a sessions' table"
    )

    @property
    def field_shifts(self) -> tuple[FieldShift, ...]:
        """Return every correction that the field applied, in the order of the job file."""
        given = self.field_shift
        return () if given is None else (given,) if isinstance(given, FieldShift) else given

    def place_of_field_shift(self, position: int) -> tuple[str | int, ...]:
        """Return the keys that lead to one of them."""
        return ("field_shift",) if isinstance(self.field_shift, FieldShift) else ("field_shift", position)


class SessionsFile(Table):
    """The sessions' table in a CSV or spreadsheet instead of ``[[session]]``, written as ``[control]`` may say."""

    file: File = Field(
        description="a CSV or spreadsheet with the keys of `[[session]]` as columns, ties as `CM1-AM=CM1; CM2`"
    )
    layer: str | None = Field(None, description="sheet of a spreadsheet in which more than one holds rows")
