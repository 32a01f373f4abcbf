"""What is written beside a mark's name: when or how often it was occupied, or what else lies near it."""

import re
from collections.abc import Iterable

from pipeline.clock import MONTHS
from pipeline.letter_case import folded

#: Words for the time or the turn of an occupation, and for what it is, in the usual tongues of exports.
OCCASION = (
    "(?:am|pm|mid|midday|noon|morn|morning|afternoon|eve|evening|night|first|last|final|end|close|closed|closing"
    "|closure|open|opening|start|begin|again|second|third|time|st|nd|rd|th|bis|ter|repeat|rep|reocc|return|back|before|after|late|early|occ|obs|tie|ctl|ctrl"
    "|control|verify|proof|day|visit|abends?|morgens?|frueh|früh|mittags?|nachm|vorm|ende|anfang|letzte[rs]?|zuletzt"
    "|schluss|abschluss|erneut|wieder|wdh|nochmals?|matin|soir|midi|fin|debut|début|dernier|fermeture|ouverture|mañana|manana"
    "|tarde|noche|cierre|inicio|ultim[ao]|último|mattina|sera|fine|inizio|chiusura|apertura|manha|noite|fim|ochtend"
    "|avond|einde|laatste|slot|(?:re)?(?:check|chk))"
)
#: Words for what lies beside a mark on purpose: witness marks, offsets, things.
_BESIDE = (
    r"(?:[nesw]|[ns][ew]|north|south|east|west|off|offs|offset|os|ecc|exz|exc|wit|witness|wp|wm|ref|rm|rp|az|sat|satellite"
    r"|so|setout|stake|staked|stk|nail|peg|tag|post|fence|kerb|top|bot|bottom|bm)"
)
#: What a spreadsheet makes of a name such as 3-4 or 4/3: a date at midnight, or one as it writes it into a text.
_MONTH = f"(?i:{'|'.join(MONTHS)})"
DATE = (
    r"^(?:\d{4}-\d\d-\d\d(?:[Tt ]00:00:00)?|\d{1,2}[./]\d{1,2}[./]\d{4}"
    rf"|\d{{1,2}}[-. ]{_MONTH}|{_MONTH}-\d\d)$"
)
#: What a spreadsheet makes of a name such as 2E1, which it takes for a number.
POWER = r"^[+-]?\d+(?:[.,]\d+)?E\+\d\d+$"
#: Shapes of listed names that are looked for.
_SHAPES = 20
#: Pieces of what is written there.
_PIECE = re.compile(r"[^\W\d_]+|\d+")


def of_occasion(beside: str) -> bool:
    """Tell whether a text in lower case is words that say when a mark was occupied, numbers and single letters."""
    pieces = _PIECE.findall(beside)
    words = [piece for piece in pieces if re.fullmatch(OCCASION, piece)]
    return bool(words) and all(piece in words or piece.isdigit() or len(piece) == 1 for piece in pieces)


def of_numbers(beside: str) -> bool:
    """Tell whether a text in lower case is numbers, single letters and signs, of which no direction is the only one."""
    pieces = _PIECE.findall(beside)
    return bool(beside) and not of_witness(beside) and all(piece.isdigit() or len(piece) == 1 for piece in pieces)


def of_witness(beside: str) -> bool:
    """Tell whether a text in lower case says that something else lies beside the mark: a direction, offset, thing."""
    words = [piece for piece in _PIECE.findall(beside) if not piece.isdigit()]
    return any(re.fullmatch(_BESIDE, word) and (len(word) > 1 or len(words) == 1) for word in words)


def direction(beside: str) -> bool:
    """Tell whether a text in lower case is a single letter for a direction, with a number at the most."""
    words = [piece for piece in _PIECE.findall(beside) if not piece.isdigit()]
    return len(words) == 1 and words[0] in tuple("nesw")


def shape(name: str) -> str:
    """Return a name in lower case with # for every number and @ for every word that `of_occasion` knows."""
    return _PIECE.sub(lambda found: "#" if found[0].isdigit() else _word(found[0]), folded(name))


def _word(word: str) -> str:
    return "@" if re.fullmatch(OCCASION, word) else word


def shape_patterns(names: Iterable[str]) -> dict[str, str]:
    """Return the shapes of some names, but plain numbers and no more than are looked for, and a pattern of each."""
    shapes = sorted({shape(name) for name in names} - {"#", ""})
    return {one: shape_pattern(one) for one in shapes[:_SHAPES]}


def shape_pattern(of: str) -> str:
    """Return a pattern of the names in lower case that have a `shape`."""
    inner = re.escape(of).replace(r"\#", "#").replace("#", "[0-9]+").replace("@", OCCASION)
    return f"^{inner}$"
