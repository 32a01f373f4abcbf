"""Text in quotes in a format of times: compared with the file without them, and with them where they stand there."""

import pyarrow as pa
import pytest

from pipeline.read.clock_fields import pattern_of


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("%d.%m.%Y %H:%M:%S'Z'", "04.03.2026 08:00:00Z"),
        ("'GPS' %d.%m.%Y %H:%M:%S", "GPS 04.03.2026 08:00:00"),
        ("%d.%m.%Y %H:%M:%S'-0012'", "04.03.2026 08:00:00-0012"),
        ("%d.%m.%Y 'kl. Z' %H:%M", "04.03.2026  kl.  Z 08:00"),
        ("%d.%m.%Y 'um' %H:%M", "04.03.2026 'um' 08:00"),
        ("%d.%m.%Y %H°%M'%S''", "04.03.2026 08°00'00''"),
    ],
)
def test_quoted_text_is_compared_with_the_file(form: str, text: str) -> None:
    cells = pa.array([text, text.replace("2026", "none"), f"x{text}"])
    assert pattern_of(form).matched(cells).tolist() == [True, False, False]
