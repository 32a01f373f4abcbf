"""Answers the marked questions of a job file that `tiedown new` wrote, as somebody would: by taking a # off."""

import re
from collections.abc import Collection, Mapping
from pathlib import Path

OPEN = "# OPEN: "


def answer(path: Path, answers: Mapping[str, str], own: Collection[str] = ()) -> list[str]:
    """Take the # off the candidate that is right under every question, and return the keys that were asked.

    ``answers`` are the values as TOML writes them by key, as "grid" or "time_zone"; a key with its table before it
    ("control.crs") is for that table alone. Those of ``own`` are written by hand, over the first candidate. A question
    without an answer, or without the candidate wanted, is an error; so is an answer that no question asks for.
    Start and end of sessions take the answer to ``time_format``, by its words.
    """
    lines, table, asked = path.read_text(encoding="utf-8").splitlines(), "", []
    used: set[str] = set()
    order = ""
    for at, line in enumerate(lines):
        if header := re.fullmatch(r"\[+([a-z.]+)\]+", line):
            table = header[1]
        if not line.startswith(OPEN):
            continue
        after = at + 1
        while not re.match(r"# [a-z_]+ = ", lines[after]):
            after += 1
        key = lines[after].split()[1]
        if line.endswith("the same answer as time_format"):
            place = after
            while lines[place].split("  # ")[-1] != order:
                place += 1
                assert lines[place].startswith(f"# {key} = "), f"no {key} is offered with {order}"
            lines[place] = lines[place].removeprefix("# ")
            continue
        name = next((name for name in (f"{table}.{key}", key) if name in answers), None)
        assert name is not None, f"nobody answers {table}.{key}: {line}"
        wanted = f"# {key} = {answers[name]}"
        place = after
        if lines[place].rstrip() == f"# {key} =" or name in own:
            lines[place] = f"{wanted} "
        while not (lines[place] + " ").startswith(wanted + " "):
            place += 1
            assert lines[place].startswith(f"# {key} = "), f"{wanted} is no candidate"
        lines[place] = lines[place].removeprefix("# ").rstrip()
        order = lines[place].split("  # ")[-1] if key == "time_format" else order
        asked.append(f"{table}.{key}")
        used.add(name)
    assert used == set(answers), f"nobody asked for {set(answers) - used}"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return asked
