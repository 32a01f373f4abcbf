"""`tiedown check --explain`: what a key of the job file is written as, means and counts in, with an example."""

import sys

from pipeline.cli.line_folding import fitted
from pipeline.job.key_lookup import Key, find_keys
from pipeline.near import listed
from pipeline.visible import one_line

WRONG = 2


def explain_key(text: str) -> int:
    """Print what there is to say of a key; of an unknown one the nearest, and return 2."""
    found, near = find_keys(text)
    if found:
        _print(found)
        return 0
    print(f"there is no key '{one_line(text)}'" + (f"; the nearest: {listed(near)}" if near else ""))
    if near:
        _print(find_keys(near[0])[0])
    else:
        print("  the tables are job, target, source, points, quality, control, session, sessions, shift, checks, issue")
    return WRONG


def _print(keys: list[Key]) -> None:
    for key in keys:
        for line in key.lines():
            print(fitted(line, sys.stdout))
    sys.stdout.flush()
