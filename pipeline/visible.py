"""Texts from files and names as they may be shown: what acts unseen on whoever looks becomes a visible escape.

The one rule for a terminal, a log, a document of JSON that is printed, and the report. What a layer or an output file
holds stays as it is.
"""

import json
import re

#: What a terminal or a browser would act upon instead of showing it: control characters, marks of writing direction,
#: separators of lines, invisible characters, blanks and tags, what is no character, halves of surrogate pairs (a byte
#: of a file name that is no UTF-8).
_HIDDEN = (
    "\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180e\u200b\u200e\u200f\u2028-\u202e"
    "\u2060-\u206f\u3164\ud800-\udfff\ufdd0-\ufdef\ufeff\uffa0\ufff9-\ufffb\ufffe\uffff\U0001d173-\U0001d17a"
    "\U000e0000-\U000e007f"
)
#: Joiners, which the scripts from Arabic to Mongolian are spelled with; anywhere else nobody would see them.
_JOINER = "(?<![\u0600-\u1fff])[\u200c\u200d]|[\u200c\u200d](?![\u0600-\u1fff])"
_NOT_SHOWN = re.compile(f"[{_HIDDEN}]|{_JOINER}")
#: Beyond these no character is either; one class alone is looked for five times as fast.
_SUSPECT = re.compile(f"[{_HIDDEN}\u200c\u200d]")


def visible(text: str) -> str:
    """Return a text with escapes for what would act unseen; its line feeds and tabs stay."""
    return _NOT_SHOWN.sub(lambda found: _escape(found[0]), text) if _SUSPECT.search(text) else text


def one_line(text: str) -> str:
    """Return a name or the like with escapes for what would act unseen, line feeds and tabs too."""
    return visible(text).replace("\t", _escape("\t")).replace("\n", _escape("\n"))


def visible_json(text: str) -> str:
    """Return the text of a JSON document, which says the same, with JSON's own escapes for what would act unseen."""
    return _NOT_SHOWN.sub(lambda found: json.dumps(found[0])[1:-1], text) if _SUSPECT.search(text) else text


def _escape(character: str) -> str:
    """Return the escape of a character; that of a byte which no character stands for is the byte's."""
    code = ord(character)
    if 0xDC80 <= code <= 0xDCFF:
        return f"\\x{code - 0xDC00:02x}"
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
