"""What of a register would tie a session, in words: each case is as a register has it."""

from pipeline.issue.untied_words import of_register

HOLDS = {"CM1": "position", "CM2": "position", "CM3": "height", "CM4": "3d"}


def test_what_the_register_has_and_does_not_hold_is_not_called_missing() -> None:
    said = of_register(["CM1"], ["height"], HOLDS, 3, {"CM1", "CM4"})
    assert said == "a height of CM1, which the register has but does not hold (see its column holds)"


def test_what_the_register_lacks_is_called_missing() -> None:
    said = of_register(["CM2", "CM3", "TP"], ["height", "position"], HOLDS, 3, {"CM1"})
    assert said == (
        "register coordinates of TP or a height of CM2, which the register does not have"
        " or a position of CM3, which the register does not have"
    )


def test_each_of_several_is_told_as_it_is() -> None:
    said = of_register(["CM1", "CM2"], ["height"], HOLDS, 3, {"CM1"})
    assert said == (
        "a height of CM1, which the register has but does not hold (see its column holds)"
        " or a height of CM2, which the register does not have"
    )
