"""Recognises headings and words of slant antenna heights, measured to the antenna's rim.

Such a length is no height: it becomes one by the radius of the antenna, and by how far its mark of measure lies from
its reference point, which no export says.
"""

import re

from pipeline.files.heading_words import words_of

#: What words of a slant begin with or are, in the languages of the trade, without accents.
_SLANT = re.compile(
    r"slant(?:ed|wise)?|schrag(?:e[rsnm]?)?|schraeg(?:e[rsnm]?)?|schief(?:e[rsnm]?)?|geneigt\w*|"
    r"obliqu[aeo]s?|inclin(?:e|ee|es|ees|ad[ao]s?|at[aeio])|"
    r"sesgad[ao]s?|sghemb[ao]|obliku[ao]|skra(?:tt|a)?|sned|snett?|lutande|skosn\w*|ukosn\w*|pochyl\w*|sikm\w*|"
    r"viisto|vino|ferde|egik|schuine?|scheve|kos[aio]|posevn\w*|oblic[ae]|inclinata|kaldus|slip[as]|istriz\w*|"
    r"наклонн\w*|κεκλιμεν\w*|κεκλιμενο|斜高?|斜距"
)
#: The same at the beginning of one word with what they are of, "Schraghohe".
_JOINED = re.compile(r"(?:slant|schrag|schraeg|skra|sned|vino|viisto|ferde)(?=h|ant|alt|korkeu|mag|mal|maa|mes)")
#: Words that say that it was made a height of, or never was a slant.
_UPRIGHT = re.compile(
    r"vert\w*|senkrecht\w*|lotrecht\w*|lodrecht\w*|lodrett\w*|pion\w*|svisl\w*|pysty\w*|dikey|"
    r"not|true|reduced|corrected|reduziert\w*"
)


def is_slant(text: str) -> bool:
    """Tell whether a heading, or a word in a cell, says that lengths were measured slantwise."""
    words = words_of(text)
    return not any(map(_UPRIGHT.fullmatch, words)) and any(map(_says, words))


def but_for_slant(heading: str) -> str:
    """Return what a heading says besides: "Antenna height (slant)" is "antenna height"."""
    words = [_JOINED.sub("", word) for word in words_of(heading) if not _SLANT.fullmatch(word)]
    return " ".join(words)


def _says(word: str) -> bool:
    return _SLANT.fullmatch(word) is not None or _JOINED.match(word) is not None
