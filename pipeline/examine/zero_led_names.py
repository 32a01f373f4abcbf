"""Says which exports lost the leading zeros that names of another have, so that no readings of a point are paired."""

from collections.abc import Iterator

from pipeline.intake.survey import Survey
from pipeline.intake.zero_led_names import ZeroLedNames
from pipeline.visible import one_line
from pipeline.words import counted


def zero_led_notes(survey: Survey) -> Iterator[str]:
    """Yield a sentence for each export that calls points by numbers which another has with leading zeros."""
    for one in survey.first_pass.found.of(ZeroLedNames):
        plain, led = (survey.exports[number].shown for number in (one.plain, one.led))
        with_zeros, without = map(one_line, one.names)
        yield (
            f"{plain}:{one.rows[1]}: '{without}' lies as '{with_zeros}' in {led}:{one.rows[0]} does, and so do"
            f" {counted(one.count, 'point')} in all whose names are the same numbers without leading zeros, which"
            " spreadsheets drop: names are compared as they are written, so these are not compared as repeated"
            " readings; export again, or give them the same names"
        )
