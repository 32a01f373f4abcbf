"""The summary of an issue: what a person reads in ten seconds, made from the issue record alone."""

from collections.abc import Sequence
from textwrap import indent
from typing import Any

Record = dict[str, Any]

#: How many failing occupations the summary lists before it points at the layer.
_FAILING = 12


def summary(record: Record, headline: str) -> str:
    """Return the summary of an issue record; ``headline`` says what became of the run."""
    rows = record["rows"]
    lines = [
        f"{record['job']}: {headline}, verdict {record['verdict'].upper()}",
        f"  {rows['read']:,} rows read = {rows['points']:,} points + {rows['on_marks']:,} on marks"
        f" + {rows['held_back']:,} held back",
        f"  grid {record['target']['grid_name']}; heights {record['target']['height_name']}",
        "",
        *_sessions(record["sessions"]),
        "",
        *_checks(record["checks"], record["diagnoses"]),
    ]
    if rows["by_reason"]:
        counts = sorted(rows["by_reason"].items(), key=lambda item: -item[1])
        lines.append("  held back: " + ", ".join(f"{count} {reason}" for reason, count in counts))
    # a note may end in lines for the job file
    doubts = {doubt["what"]: doubt["confirmed"] for doubt in record.get("doubts", [])}
    lines += [f"  DOUBT: {doubt}" for doubt, confirmed in doubts.items() if not confirmed]
    notes = [note for note in record["notes"] if doubts.get(note, True)]
    lines += [f"  note: {indent(note, '    ').lstrip()}" for note in notes]
    return "\n".join(lines)


def _sessions(sessions: Sequence[Record]) -> list[str]:
    header = ("session", "points", "ties", "checks", "east", "north", "up", "+- h", "+- v", "verdict")
    cells = [
        (
            session["session"],
            f"{session['points']:,}",
            str(session["ties"]),
            str(session["checks"]),
            *(_metres(session[f"shift_{axis}"], sign=True) for axis in ("east", "north", "up")),
            _metres(session["sigma_east"]),
            _metres(session["sigma_up"]),
            session["verdict"],
        )
        for session in sessions
    ]
    return _table(header, cells, left=(0, 9))


def _checks(checks: Sequence[Record], diagnoses: Sequence[Record]) -> list[str]:
    splits = {(one["session"], point): one["split"] for one in diagnoses for point in one["points"] if one["split"]}
    told: set[str] = set()
    judged = [check for check in checks if check["passed"] is not None]
    failing = [check for check in judged if not check["passed"]]
    lines = [f"  {len(judged) - len(failing)} of {len(judged)} occupations of control marks pass"]
    for check in failing[:_FAILING]:
        lines.append(
            f"  FAILS: {check['point']} on {check['mark']} ({check['role']}, {check['place']} of {check['session']}):"
            f" east {_metres(check['d_east'], sign=True)}, north {_metres(check['d_north'], sign=True)},"
            f" height {_metres(check['d_height'], sign=True)}"
        )
        if check["cause"]:
            lines.append(f"         {check['cause']}")
        split = splits.get((check["session"], check["point"]))
        if split and split not in told:
            told.add(split)
            lines += ["         if its base moved, the session split there:", ""]
            lines += [f"    {line}".rstrip() for line in split.splitlines()]
            lines.append("")
    if len(failing) > _FAILING:
        lines.append(f"  and {len(failing) - _FAILING} more in the layer check_marks")
    return lines


def _metres(value: float | None, *, sign: bool = False) -> str:
    if value is None:
        return "-"
    return f"{value:+.3f}" if sign else f"{value:.3f}"


def _table(header: Sequence[str], cells: Sequence[Sequence[str]], left: Sequence[int]) -> list[str]:
    widths = [max(len(row[column]) for row in (header, *cells)) for column in range(len(header))]
    return [
        "  "
        + "  ".join(
            text.ljust(width) if column in left else text.rjust(width)
            for column, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (header, *cells)
    ]
