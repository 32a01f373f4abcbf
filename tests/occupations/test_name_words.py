"""What stands beside a mark's name: an occasion, numbers, a witness; and which mark a name bears."""

import pyarrow as pa
import pytest

from pipeline.occupations.name_words import of_numbers, of_occasion, of_witness, shape
from pipeline.occupations.signs import MarkNames


@pytest.mark.parametrize(
    ("beside", "kind"),
    [
        ("-1-pm", "occasion"), ("_eve", "occasion"), (" abend", "occasion"), ("-last", "occasion"), ("-1710", "number"),
        ("-1-2", "number"), ("-b", "number"), ("-n", "witness"), ("-off1", "witness"), (" rm2", "witness"),
        ("-fence-1", "witness"), (" stone", ""), ("-fence end", "witness"), ("", ""), ("-1-n", "witness"),
    ],
)  # fmt: skip
def test_what_is_written_beside_a_marks_name(beside: str, kind: str) -> None:
    """Common practice, no source."""
    found = [(of_occasion, "occasion"), (of_numbers, "number"), (of_witness, "witness")]
    assert [word for tells, word in found if tells(beside)] == ([kind] if kind else [])


def test_names_of_one_shape() -> None:
    assert shape("CM1-1-AM") == shape("cm20-3-eve") == "cm#-#-@"
    assert shape("CM1-1-AM") != shape("CM1-AM") and shape("P17") == "p#"


@pytest.mark.parametrize(
    ("name", "bears"),
    [
        ("KP2-1-PM", ("KP2", "-1-pm")), ("kp-02 fence", ("KP2", " fence")), ("EVE-KP2", ("KP2", "eve-")),
        ("KP2EVE", ("KP2", "eve")), ("KP22-LAST", ("KP22", "-last")), ("KP21", None), ("KP2X7", None), ("KP2", None),
        ("1-PM", ("1", "-pm")), ("1-2", None), ("1001", None), ("1-FENCE", None), ("TRIGGER", None),
        ("TRIG-LAST", ("TRIG", "-last")), ("TRIGLAST", None), ("A-EVE", ("A", "-eve")), ("A-1", None), (None, None),
    ],
)  # fmt: skip
def test_the_mark_that_a_name_bears(name: str | None, bears: tuple[str, str] | None) -> None:
    names = MarkNames.of(["KP2", "1", "A", "TRIG", "KP22"])
    assert names.bearing(name) == bears
    assert bool(names.further(pa.array([name], pa.string()))[0]) >= (bears is not None)
