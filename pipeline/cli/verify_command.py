"""`tiedown verify`: what was issued is what is there, or what differs."""

import sys
from pathlib import Path

from msgspec.structs import asdict

from pipeline.cli.console import print_json
from pipeline.cli.faults import report
from pipeline.verify import Finding, Verified, verify
from pipeline.visible import one_line
from pipeline.words import counted

DIFFERS = 3


def verify_folder(folder: Path, *, as_json: bool) -> int:
    """Print what was found and return the exit code: 0 intact, 3 something differs, 2 where there is no issue."""
    try:
        verified = verify(folder)
    except Exception as error:
        return report(str(folder), error, as_json=as_json)
    if as_json:
        found = {"issues": list(verified.issues), "intact": verified.intact}
        print_json(found | {"findings": [asdict(each) for each in verified.findings]})
    else:
        print("\n".join(_lines(verified)))
        sys.stdout.flush()
    return 0 if verified.intact else DIFFERS


def _lines(verified: Verified) -> list[str]:
    lines = []
    numbers = {*verified.issues, *(finding.issue for finding in verified.findings)} - {0}
    for number in sorted(numbers):
        found = verified.of(number)
        state = "intact" if number in verified.issues else "not there"
        lines.append(f"issue {number:03d}: {'DIFFERS' if any(one.differs for one in found) else state}")
        lines += [_line(one) for one in found]
    lines += [_line(one) for one in verified.of(0)]
    bad = sum(one.differs for one in verified.findings)
    issues = counted(len(verified.issues), "issue")
    lines.append(f"{issues}: every file is what was issued" if not bad else f"{issues}, {counted(bad, 'difference')}")
    return lines


def _line(finding: Finding) -> str:
    return f"  {'DIFFERS' if finding.differs else 'remark'}: {one_line(str(finding))}"
