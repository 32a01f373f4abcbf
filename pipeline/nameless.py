"""Bytes and batches laid down in a nameless file, which is gone with the process whatever becomes of that."""

import tempfile
from contextlib import suppress
from typing import IO, Any

import pyarrow as pa


class NamelessFile:
    """What is laid down lies one behind the other; ``full`` once the disk had no room, or no file could be made.

    The file is made with what is laid first, and it is not buffered: what waits to be written would be in the way of
    reading where the disk is full.
    """

    def __init__(self) -> None:
        self.full = False
        self._file: IO[bytes] | None = None
        self._end = 0

    def lay(self, *parts: Any) -> int | None:
        """Write buffers of bytes behind all else and return the place of the first, None where there is no room.

        What was written of them until then is taken away again, and nothing more is laid down.
        """
        if self.full:
            return None
        place = self._end
        try:
            self._file = self._file or tempfile.TemporaryFile(buffering=0)  # noqa: SIM115  (open as long as this)
            self._file.seek(place)
            for part in parts:
                left = memoryview(part)
                while left:
                    left = left[self._file.write(left) :]
            self._end = self._file.tell()
        except OSError:
            self.full = True
            if self._file is not None:
                with suppress(OSError):
                    self._file.truncate(place)  # what is left of the room is not ours alone
            return None
        return place

    def read(self, place: int, size: int) -> bytes:
        """Return bytes that were laid down. Raises OSError."""
        assert self._file is not None
        self._file.seek(place)
        return self._file.read(size)

    def lay_batch(self, batch: pa.RecordBatch) -> int | None:
        """Write rows behind all else, as `lay`."""
        written = pa.BufferOutputStream()
        with pa.ipc.new_stream(written, batch.schema) as stream:
            stream.write_batch(batch)
        return self.lay(written.getvalue())

    def batch(self, place: int) -> pa.RecordBatch:
        """Return rows that were laid down. Raises OSError."""
        assert self._file is not None
        self._file.seek(place)
        with pa.ipc.open_stream(self._file) as stream:
            return stream.read_next_batch()
