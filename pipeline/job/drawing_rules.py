"""What the codes of ``[drawing]`` must be to one another: one row a code, one colour a layer."""

from pipeline.job.key_lines import Where
from pipeline.job.model import Drawing
from pipeline.problems import Problems


def check_drawing(drawing: Drawing, where: Where, problems: Problems) -> None:
    """Note a code that comes twice, a row that says nothing, and two colours of one layer."""
    codes: set[str] = set()
    colours: dict[str, tuple[str, int]] = {}
    for position, one in enumerate(drawing.codes):
        place = ("codes", position)
        if one.code in codes:
            problems.add(*where(*place, "code"), f"the code '{one.code}' is listed twice", "keep one of them")
        codes.add(one.code)
        if one.layer is None and one.colour is None:
            problems.add(
                *where(*place),
                f"the code '{one.code}' has neither a layer nor a colour",
                "give its layer or its colour",
            )
        if one.layer is None or one.colour is None:
            continue
        other, colour = colours.setdefault(one.layer.casefold(), (one.code, one.colour))
        if colour != one.colour:
            what = f"the layer '{one.layer}' has the colour {colour} with the code '{other}', and {one.colour} here"
            problems.add(*where(*place, "colour"), what, "a layer has one colour")
