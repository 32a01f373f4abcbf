"""What would decide between causes is said once: "CM2 occupied again" is part of what says what it would show."""

from pipeline.blunders.sentences import once


def test_what_another_says_too_is_left_out() -> None:
    longer, shorter, other = (
        "CM2 occupied again: it fails too if the base moved",
        "CM2 occupied again",
        "CM3 occupied again",
    )
    assert once([longer, shorter, other]) == [longer, other]
    assert once([shorter, longer]) == [longer]
    assert once([shorter, other]) == [shorter, other]
