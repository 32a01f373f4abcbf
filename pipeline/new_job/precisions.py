"""What the headings of precisions say: of which direction they are, and whether they are standard uncertainties."""

import re
from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.headings import rank
from pipeline.new_job.values import decimals

_WORDS = ("sigma_east", "sigma_north", "sigma_up", "each", "radial", "precision")
#: What says that a precision is wider than a standard uncertainty.
_WIDER = re.compile(r"(?<!\d)(?:95|99|2\s?(?:sigma|σ|sd|s(?![a-z]))|2drms|cep|r95)", re.IGNORECASE)


def is_wider(heading: str) -> bool:
    """Tell whether a heading of a precision says that it is no standard uncertainty: "H Prec (95%)"."""
    plain = re.sub(r"[(\[{]?\s*" + _WIDER.pattern + r"\s*%?\s*[)\]}]?", " ", heading, flags=re.IGNORECASE).strip(" _")
    return bool(_WIDER.search(heading)) and any(
        rank(word, each) is not None for word in _WORDS for each in (plain, heading)
    )


def is_of_either(heading: str) -> bool:
    """Tell whether a heading leaves open whether it is of the plan or of the height, as sH does."""
    return rank("each", heading) is not None and rank("sigma_up", heading) is not None


def are_lengths(values: Floats) -> bool:
    """Tell whether numbers under a heading that means satellites or a precision (sV) are lengths: broken ones."""
    known = values[np.isfinite(values)]
    return bool((known != np.floor(known)).any())


def is_score(texts: Sequence[str]) -> bool:
    """Tell whether texts are broken numbers, which are no words of anything; 4.0 of a spreadsheet is none."""
    values = decimals(texts)
    return values is not None and are_lengths(values)
