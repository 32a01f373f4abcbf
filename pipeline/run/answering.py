"""Finds job files that do not answer, as on a network folder that is gone, without being caught there.

The system holds whoever looks at such a file, and lets no signal through. So a process beside this one looks, and is
left behind where it is held: this file run as a program. It imports nothing of the package, and reads no job file in
full.
"""

import os
import re
import stat
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from threading import Thread

#: Seconds in which every job file is to answer. One that does later has lost nothing: a worker waits for it.
PATIENCE = 5.0
#: Bytes of a job file that are looked at: the folder for its issues is named near its beginning.
_BEGINNING = 65_536
_FOLDER = re.compile(rb"""^\s*(?:job\.)?folder\s*=\s*["']([^"'\r\n]+)["']""", re.MULTILINE)
_END = b"end\n"


def silent(jobs: Sequence[Path], patience: float = PATIENCE) -> frozenset[Path]:
    """Return the job files that do not answer in time, or whose folder for issues does not.

    Where no process can be started to look, none is said to be silent.
    """
    import subprocess  # a job alone needs none of it

    command = [sys.executable, "-I", "-S", __file__, str(patience)]
    own = subprocess.PIPE
    try:
        looking = subprocess.Popen(command, stdin=own, stdout=own, stderr=subprocess.DEVNULL, start_new_session=True)
    except (OSError, ValueError):
        return frozenset()
    assert looking.stdin is not None and looking.stdout is not None
    with suppress(OSError), looking.stdin:
        looking.stdin.write(b"\0".join(map(os.fsencode, jobs)))
    answered, whole = set[int](), False
    with looking.stdout:
        for line in looking.stdout:
            if whole := line == _END:
                break
            answered.add(int(line))
    looking.kill()  # it is not waited for: the system may hold it
    return frozenset(job for number, job in enumerate(jobs) if whole and number not in answered)


# In the other process


def _look_at_all(patience: float) -> None:
    """Look at each of the files that standard input names, and say which of them answered."""
    ends = time.monotonic() + patience
    threads = []
    for number, job in enumerate(sys.stdin.buffer.read().split(b"\0")):
        threads.append(Thread(target=_look, args=(number, job), daemon=True))
        with suppress(RuntimeError):  # the system lets no more be started: this one is as if it did not answer
            threads[-1].start()
    for thread in threads:
        if thread.ident is not None:
            thread.join(max(ends - time.monotonic(), 0.0))
    os.write(1, _END)
    os._exit(0)


def _look(number: int, job: bytes) -> None:
    """Look at a job file and the folder that it names, as whoever runs jobs does, and say so whatever was found."""
    with suppress(OSError, ValueError):
        path = os.path.realpath(job)
        if stat.S_ISREG(os.stat(path).st_mode):
            with open(path, "rb") as file:
                named = _FOLDER.search(file.read(_BEGINNING))
            if named is not None:
                os.stat(os.path.realpath(os.path.join(os.path.dirname(os.path.abspath(job)), named[1])))
    os.write(1, b"%d\n" % number)


if __name__ == "__main__":
    _look_at_all(float(sys.argv[1]))
