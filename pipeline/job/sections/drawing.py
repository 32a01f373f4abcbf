"""The keys of ``[codes]``, ``[drawing]`` and ``[linework]``: what codes stand for, and how they are drawn."""

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from pipeline.job.key_values import File, LayerName, Listed, Named, Unit
from pipeline.job.sections.strict import Strict, Table, one_or_more

_Heading = Annotated[str, StringConstraints(min_length=1)]


class DrawnCode(Strict):
    """How the points of one code are drawn."""

    code: Named = Field(description="as in the export")
    layer: LayerName | None = Field(
        None, description="its layer; several codes may share one, if not stated, the code itself"
    )
    colour: Annotated[int, Field(ge=1, le=255)] | None = Field(
        None, description="its colour index; if not stated, one that no code near it has"
    )


class Drawing(Strict):
    """How a drawing (DXF) is plotted, on which its texts and symbols depend; it changes no coordinate."""

    scale: Annotated[Annotated[float, Field(ge=1, le=1_000_000)], Unit("1:n")] = Field(
        500.0, description="of the plot: 500 is 1:500"
    )
    text_height: Annotated[Annotated[float, Field(ge=0.1, le=100)], Unit("mm")] = Field(
        1.8, description="of texts on the plot; symbols are scaled with it"
    )
    codes: Listed[DrawnCode] = Field((), description="layer and colour of single codes")


class CodeColumns(Strict):
    """Our name = the table's, below it. Unmapped, a column goes by our name; other columns are ignored."""

    code: _Heading | None = Field(None, description="the code, as readings have it")
    description: _Heading | None = Field(None, description="what it stands for")
    kind: _Heading | None = Field(None, description="`point`, `line` or `area`")
    layer: _Heading | None = Field(None, description="its layer in a drawing")
    colour: _Heading | None = Field(None, description="its colour there, an index of 1 to 255")


class CodesSection(Table):
    """The table of codes: what each stands for and how it is drawn. It changes no coordinate."""

    file: File = Field(
        description="CSV, spreadsheet (`.xlsx`), GeoJSON or GeoPackage with `code` and, if wanted, `description`,"
        " `kind` (`point`, `line` or `area`), `layer`, `colour` (as in `[drawing]`)"
    )
    layer: str | None = Field(None, description="layer of a GeoPackage, or sheet, where there is more than one")
    columns: CodeColumns = Field(
        CodeColumns(), description="what each column holds, as `[codes.columns]` below `[codes]`"
    )


_Words = Annotated[
    Listed[Named],
    Field(min_length=1),
    AfterValidator(lambda words: tuple(dict.fromkeys(words))),
    BeforeValidator(one_or_more, json_schema_input_type=str | list[str]),
]


class Linework(Strict):
    """Which codes are strings, and how that is written in them; each string becomes a line, straight between points.

    Of a string whose code is KERB the readings bear `KERB start`, `KERB`, `KERB` ... `KERB end`; with numbers
    `KERB1 start`, and so on. Capitals make no difference.
    """

    codes: Listed[Named] = Field(
        (), description="codes of strings, beside those that the table of codes calls `line` or `area`"
    )
    start: _Words = Field(("start",), description="the word, or words, at the first reading of a string")
    end: _Words = Field(("end",), description="at its last; it closes a string whose code is an `area`")
    close: _Words = Field(("close",), description="at its last, from which the line goes back to the first")
    separator: Annotated[str, Field(max_length=5)] = Field(
        " ", description='between code and words: any blanks, or signs such as `"-"`; `""`: none, as in `KERBS`'
    )
    number: Literal["behind", "word", "none"] = Field(
        "behind",
        description="where the number of a string is: behind its code (`KERB1`), as a word (`KERB 1`), or nowhere",
    )
    within: Literal["session", "export", "job"] = Field(
        "session",
        description="what a string may extend over: one session of one export, one export, or all exports together, as"
        " where two rovers pick one string; in all of them readings follow in time",
    )
    remarks: bool = Field(
        False, description="ignore other words behind a code; if false, a string with such a word is not drawn"
    )
