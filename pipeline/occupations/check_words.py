"""Recognises words that mark a reading as a check, whatever ``checks.codes`` lists: CHECK, Chk-pt, "check 2"."""

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags
from pipeline.letter_case import folded
from pipeline.tables import flags_of, folded_column

#: Words that mean a check wherever they stand, in the usual tongues of exports; letters beside make another word.
_CHECK = r"(?:re)?(?:checks?|chks?|chck|kontroll[a-z]*|controles?|contrôles?|controllo)"
#: What may stand beside: kind, time of day, number. "Check valve" and "check dam" are things, and no checks.
_FILL = (
    r"(?:pts?|points?|shots?|ing|marks?|meas[a-z]*|obs|stn|station|base|ctrl|control|cp|cm|bm"
    r"|open|opening|close|closing|start|end|again|am|pm|at|on|of|the|day|\d{1,4})"
)
_PART = r"[^a-zà-ÿ0-9]*"
#: A text in lower case that holds such a word, and one that holds nothing else.
_HOLDS = rf"(?:^|[^a-zà-ÿ]){_CHECK}(?:pts?|points?|ing)?(?:$|[^a-zà-ÿ])|[0-9]{_CHECK}$"
_WHOLE = rf"^{_PART}(?:{_FILL}{_PART})*{_CHECK}{_PART}(?:{_FILL}{_PART})*$"
#: What every text in lower case holds that holds such a word: it tells quickly which to look at.
IN_CHECK_WORDS = ("ch", "ontr")
#: Codes of control and quality that are used for checks too; they say so only on a mark.
_ALSO = r"^[^a-z]*(?:ck|ctrl|ctl|control|gcp|qc|bm)[^a-z]*$"


def holds_check(texts: pa.Array, codes: bool) -> Flags:
    """Return (n,) which texts hold a word for a check; among ``codes`` also those for control."""
    lower = folded_column(texts)
    likely = pc.or_(*(pc.match_substring(lower, part) for part in IN_CHECK_WORDS))
    if codes:
        likely = pc.or_(likely, pc.match_substring_regex(lower, _ALSO))
    rows = np.flatnonzero(flags_of(likely))
    found = np.zeros(len(texts), bool)
    some = lower.take(pa.array(rows))
    held = pc.match_substring_regex(some, _HOLDS)
    if codes:
        held = pc.or_(held, pc.match_substring_regex(some, _ALSO))
    found[rows] = held.to_numpy(zero_copy_only=False)
    return found


def says_check(text: str | None) -> bool:
    """Tell whether a text says that it is a check, and nothing else."""
    return re.search(_WHOLE, folded(text)) is not None


def mentions_check(text: str | None, code: bool = False) -> bool:
    """Tell whether a text holds a word for a check; a ``code`` also one for control."""
    lower = folded(text)
    return re.search(_HOLDS, lower) is not None or (code and re.search(_ALSO, lower) is not None)
