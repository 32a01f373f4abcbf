"""The hemisphere that the heading of a longitude or latitude states: "Longitude (W)", "Lat S", "Südbreite"."""

import re
from enum import StrEnum

from msgspec import Struct

from pipeline.files.heading_words import plain_letters, words_of


class Side(StrEnum):
    """A hemisphere, in words."""

    NORTH = "north"
    SOUTH = "south"
    EAST = "east"
    WEST = "west"


class SideSaid(Struct, frozen=True):
    """The hemisphere that a heading states; not ``sure`` where its letter is another one in some languages."""

    side: Side
    sure: bool = True

    @property
    def below(self) -> bool:
        """Tell whether degrees of this hemisphere are negative as they are read."""
        return self.side in (Side.SOUTH, Side.WEST)


def _all(side: Side, words: str) -> dict[str, Side]:
    return dict.fromkeys(words.split(), side)


#: Words of a hemisphere, small and without accents.
_WORDS = {
    "latitude": {
        **_all(
            Side.NORTH,
            """
            north northern nord nordlich nordliche nordlicher norte noord noorder noorderbreedte nordlig nordlige norra
            polnoc polnocna severni severna severne sjever sjeverna kuzey eszak eszaki siaures ziemelu pohjoinen
            pohjoista северная βορειο 北 北纬 北緯
            """,
        ),
        **_all(
            Side.SOUTH,
            """
            south southern sud sudlich sudliche sudlicher suedlich suedliche sued sur sul zuid zuider zuiderbreedte syd
            sydlig sydlige sodra sor sorlig poludnie poludniowa jizni juzni jih jug juzna guney deli pietu dienvidu
            etela etelaista южная νοτιο 南 南纬 南緯
            """,
        ),
    },
    "longitude": {
        **_all(
            Side.EAST,
            """
            east eastern est este ost leste oost ooster oosterlengte ostlich ostliche ostlicher ostra ostlig ostlige
            wschod wschodnia vychodni vychodna vzhod vzhodna istok istocna dogu kelet keleti rytu austrumu itainen
            itaista восточная ανατολικο 东 東 东经 東経 東經
            """,
        ),
        **_all(
            Side.WEST,
            """
            west western ouest oeste ovest vest westlich westliche westlicher wester westerlengte vestlig vestlige vast
            vastra vaster vastlig zachod zachodnia zapadni zapadna zahod zahodna bati nyugat nyugati vakaru rietumu
            lansi lantinen lantista западная δυτικο 西 西经 西経 西經
            """,
        ),
    },
}
#: Two words in one, as in German: "Westlänge".
_JOINED = re.compile(r"(west|ost|nord|sud|sued)(?:liche)?(lae?nge|breite)")
#: The letters of hemispheres beside the words of languages that have others than most: a piece of such a word, and what
#: each letter is there. O is east beside a Germanic word, and the west, or not, beside "longitude".
_LETTERS: dict[str, tuple[tuple[str, dict[str, SideSaid]], ...]] = {
    "latitude": (
        (r"sirk|sirin|zemepisn", {"s": SideSaid(Side.NORTH), "j": SideSaid(Side.SOUTH)}),  # sever, jih
        (r"platum", {"s": SideSaid(Side.NORTH, False), "p": SideSaid(Side.SOUTH), "d": SideSaid(Side.SOUTH)}),
        (r"szeless", {"e": SideSaid(Side.NORTH), "d": SideSaid(Side.SOUTH)}),
        (r"enlem", {"k": SideSaid(Side.NORTH), "g": SideSaid(Side.SOUTH)}),
        (r"leveys", {"p": SideSaid(Side.NORTH), "e": SideSaid(Side.SOUTH)}),
        (r"laius", {"p": SideSaid(Side.NORTH), "l": SideSaid(Side.SOUTH)}),
        (r"", {"n": SideSaid(Side.NORTH), "s": SideSaid(Side.SOUTH)}),
    ),
    "longitude": (
        (r"lae?ng|lengt|lengd|oe?stl", {"o": SideSaid(Side.EAST), "v": SideSaid(Side.WEST)}),
        (
            r"delk|dlzk|duzin|dolzin|zemepisn",
            {"v": SideSaid(Side.EAST), "i": SideSaid(Side.EAST), "z": SideSaid(Side.WEST)},
        ),
        (r"dlugosc", {"w": SideSaid(Side.WEST, False), "z": SideSaid(Side.WEST)}),  # wschod is the east
        (r"hossz", {"k": SideSaid(Side.EAST), "ny": SideSaid(Side.WEST)}),
        (r"boylam", {"d": SideSaid(Side.EAST), "b": SideSaid(Side.WEST)}),
        (r"pituus|pikkus", {"i": SideSaid(Side.EAST), "l": SideSaid(Side.WEST)}),
        (r"ilgum", {"r": SideSaid(Side.EAST), "v": SideSaid(Side.WEST)}),
        (r"garum", {"a": SideSaid(Side.EAST), "r": SideSaid(Side.WEST)}),
        (r"longitud", {"v": SideSaid(Side.WEST), "o": SideSaid(Side.WEST, False)}),
        (r"", {"e": SideSaid(Side.EAST), "w": SideSaid(Side.WEST), "o": SideSaid(Side.WEST, False)}),
    ),
}
#: Signs beside a letter, which say that degrees of that hemisphere have it: "(W-)", "-W", "W = -".
_SIGNED = re.compile(r"(?<![^\s(\[,;/])[-−]\w|\w\s?=?\s?[-−](?=\s*(?:[)\],;]|$))|\bneg", re.IGNORECASE)


def words_for(side: Side) -> frozenset[str]:
    """Return the words of a hemisphere, small and without accents."""
    return frozenset(word for words in _WORDS.values() for word, of in words.items() if of is side)


def side_in_heading(heading: str, word: str) -> SideSaid | None:
    """Return the hemisphere that a heading states; None where it states none, both, or with which sign.

    ``word`` is "longitude" or "latitude", whatever the heading calls it.
    """
    words = words_of(heading, figures=True)
    said = {found for each in words if (found := _of(each, heading, word)) is not None}
    return said.pop() if len(said) == 1 and not _SIGNED.search(heading) else None


def without_side(heading: str, word: str) -> str:
    """Return the words of a heading without that of a hemisphere: "longitude" of "West Longitude"."""
    words = [
        joined[2] if (joined := _JOINED.fullmatch(each)) else each
        for each in words_of(heading, figures=True)
        if _JOINED.fullmatch(each) or _of(each, heading, word) is None
    ]
    return " ".join(words)


def told_side(heading: str, said: SideSaid) -> str:
    """Return what a heading of positive numbers states against how they are read."""
    read = "north" if said.side is Side.SOUTH else "east"
    return (
        f'the heading "{heading}" states degrees {said.side}, but its numbers are positive and would be read as {read}'
    )


#: What to do about positive numbers under such a heading; renaming it would lose the sign.
NEGATE = "export signed degrees, negative in the west and south; only if the heading itself is wrong, correct that"


def _of(each: str, heading: str, word: str) -> SideSaid | None:
    if joined := _JOINED.fullmatch(each):
        each = joined[1]
    if (side := _WORDS[word].get(each)) is not None:
        return SideSaid(side)
    plain = plain_letters(heading).casefold()
    for piece, letters in _LETTERS[word]:
        if re.search(piece, plain) and each in letters:
            return letters[each]
        if piece and re.search(piece, plain) and _is_sure(letters, each):
            return None
    return None


def _is_sure(letters: dict[str, SideSaid], each: str) -> bool:
    """Tell whether a language's own letters leave no room for a letter of most others: "S" beside "šířka"."""
    return each == "o" or (each in ("e", "s") and each in letters)
