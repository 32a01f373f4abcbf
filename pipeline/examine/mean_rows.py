"""Says of an export that it has every epoch of occupations and their means too: a mean is no reading of its own."""

from collections.abc import Iterator

from pipeline.intake.mean_rows import Means
from pipeline.intake.survey import Survey
from pipeline.words import counted, plural


def mean_notes(survey: Survey) -> Iterator[str]:
    """Yield a sentence for each export with such rows."""
    for one in survey.first_pass.found.of(Means):
        yield (
            f"{survey.exports[one.export].shown}:{one.row}: {counted(one.count, 'row')} (first one here)"
            f" {plural(one.count, 'is', 'are')} the mean of the other rows of the same name (or of names that"
            " have its beginning and a number, as CP1-M and CP1-1), as where an export has every"
            " epoch of an occupation and their mean too: held back as duplicate, as a mean adds nothing to its"
            " epochs; every epoch is issued. To issue the means in their place, export them alone; or,"
            " where a column says which rows are means, map it as solution and state its word for them in"
            " quality.solutions, so that the epochs are held back"
        )
