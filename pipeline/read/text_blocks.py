"""A text file as UTF-8 in blocks of whole lines, whatever its encoding and its line ends."""

import codecs
import hashlib
from collections.abc import Iterator
from pathlib import Path

from pipeline.digest import Sum, Summed
from pipeline.limits import LINE
from pipeline.read.findings import Unusable
from pipeline.words import counted

#: Bytes read at once: large enough for the kernels, small enough for the processor's caches.
CHUNK = 4 << 20

#: Longest first: the UTF-16 mark is the beginning of the UTF-32 one.
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


#: Names that Python has for spelling out single texts, not for what a file is written in.
_NO_FILES = {"idna", "punycode", "unicode_escape", "raw_unicode_escape", "undefined"}


def known_encoding(name: str) -> bool:
    """Whether ``name`` is a text encoding that Python knows."""
    try:
        "".encode(name)
        return codecs.lookup(name).name.replace("-", "_") not in _NO_FILES
    except (LookupError, ValueError):  # the latter for a name with a NUL
        return False


def encoding_of(path: Path, stated: str | None) -> tuple[str, int]:
    """Return the file's encoding and the length of its byte order mark, which wins over what is stated."""
    with path.open("rb") as file:
        head = file.read(4)
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, len(mark)
    name = codecs.lookup(stated or "utf-8").name
    return ("utf-8" if name == "utf-8-sig" else name), 0


def check_text(path: Path, stated: str | None, *, in_lines: bool = True) -> str:
    """Read the whole file once: return its SHA-256.

    Raises `Unusable` with the line of the first bytes that are not text in the encoding; in a file with a row per line
    also with that of a line that is longer than one may be, in others of a NUL.
    """
    encoding, skip = encoding_of(path, stated)
    decoder = codecs.getincrementaldecoder(encoding)()
    seen = hashlib.sha256()
    read = begun = 0  # bytes before the chunk, and of them those before the line that it begins in
    with path.open("rb") as file:
        seen.update(file.read(skip))
        read = skip
        while True:
            chunk = file.read(CHUNK)
            seen.update(chunk)
            if in_lines:
                begun = _check_lines(path, chunk, read, begun, encoding)
            elif encoding == "utf-8" and b"\0" in chunk:
                raise _nul(_line_at(path, read + chunk.index(b"\0"), encoding))
            try:
                # The decoder remembers a character cut by the chunk's end only when it has seen a byte beyond ASCII.
                plain = encoding == "utf-8" and chunk.isascii() and chunk and decoder.getstate()[0] == b""
                if not plain and "\0" in decoder.decode(chunk, final=not chunk) and not in_lines:
                    raise _nul(1)
            except UnicodeDecodeError as error:
                at = read - (len(error.object) - len(chunk)) + error.start
                raise _not_text(path, at, encoding, stated, error) from error
            except UnicodeError as error:  # an encoding that wants a byte order mark, say
                fix = f'the file is not in the encoding "{stated}"; omit encoding if it is UTF-8'
                raise Unusable(1, f"this is not {encoding.upper()} text: {error}", fix) from error
            if not chunk:
                return seen.hexdigest()
            read += len(chunk)


def _nul(line: int) -> Unusable:
    return Unusable(line, "the file cannot be read: there is a NUL character", "export it again")


def _check_lines(path: Path, chunk: bytes, read: int, begun: int, encoding: str) -> int:
    """Look for a line that is too long, which nothing may be kept of; return where the last line begins.

    Lines end where bytes are those of a line's end; in UTF-16 and UTF-32 these may be part of a character.
    """
    end = read + len(chunk)
    while end - begun > LINE:
        at = max(begun - read, 0)
        stop = begun + LINE - read
        last = max(chunk.rfind(b"\n", at, stop), chunk.rfind(b"\r", at, stop))
        if last < 0:
            what = f"this line has more than {counted(LINE, 'byte')}"
            raise Unusable(_line_at(path, begun, encoding), what, "check that it is a text file with one line per row")
        begun = read + last + 1
    return begun


_STATE = 'state its encoding, such as encoding = "cp1252" (Windows, western Europe) or "cp932" (Windows, Japan)'


def _not_text(path: Path, at: int, encoding: str, stated: str | None, error: UnicodeDecodeError) -> Unusable:
    found = error.object[error.start : error.start + 1].hex().upper()
    fix = f'the file is not in the encoding "{stated}"' if stated else _STATE
    return Unusable(_line_at(path, at, encoding), f"byte {found} is not {encoding.upper()} text", fix)


def _line_at(path: Path, at: int, encoding: str) -> int:
    with path.open("rb") as file:
        before = file.read(at).decode(encoding, errors="replace")
    return 1 + before.count("\n") + before.count("\r") - before.count("\r\n")


def _utf8(file: Summed, encoding: str, size: int) -> Iterator[bytes]:
    if encoding == "utf-8":
        while chunk := file.read(size):
            yield chunk
        return
    decoder = codecs.getincrementaldecoder(encoding)()
    while chunk := file.read(size):
        yield decoder.decode(chunk).encode()
    yield decoder.decode(b"", final=True).encode()


def blocks(path: Path, stated: str | None, size: int = CHUNK, seen: Sum | None = None) -> Iterator[bytes]:
    """Give the file as UTF-8 without its mark, in blocks of whole lines that all end in one line feed.

    A line ends at CR LF, LF or a lone CR; the last one need not. A line longer than ``size`` makes a longer block. All
    bytes of the file are added to ``seen``.
    Raises UnicodeDecodeError where the bytes are not text (`check_text` has said so before).
    """
    encoding, skip = encoding_of(path, stated)
    with path.open("rb") as opened:
        file = Summed(opened, seen)
        file.read(skip)
        kept: list[bytes] = []
        held = b""
        for chunk in _utf8(file, encoding, size):
            data = held + chunk if held else chunk
            held = b""
            if b"\r" in data:
                if data.endswith(b"\r"):  # its LF may follow
                    data, held = data[:-1], b"\r"
                data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            cut = data.rfind(b"\n") + 1
            if not cut:
                kept.append(data)
                continue
            yield b"".join((*kept, memoryview(data)[:cut])) if kept or cut < len(data) else data
            kept = [data[cut:]] if cut < len(data) else []
        rest = b"".join(kept) + (b"\n" if held else b"")
        if rest:
            yield rest if rest.endswith(b"\n") else rest + b"\n"
