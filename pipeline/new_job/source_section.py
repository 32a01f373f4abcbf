"""Drafts ``[source]``: what all blocks of exports have in common, and the clock that sessions are written on."""

from collections.abc import Sequence

from pipeline.new_job.clocks import ClockState
from pipeline.new_job.draft import Block, Draft
from pipeline.new_job.questions import Known, Question, State


def on_one_clock(clocks: Sequence[ClockState]) -> bool:
    """Tell whether sessions may be written on a clock that is still asked for: the same for all that lack one."""
    asked = [clock.zone for clock in clocks if isinstance(clock.zone, Question)]
    return bool(asked) and all(_meaning(one) == _meaning(asked[0]) for one in asked)


def _meaning(state: State) -> object:
    """Return what two states have in common that are one: a value, or a question of the same answers.

    What speaks for an answer is of each file's own rows. A question without answers is what it says.
    """
    if isinstance(state, Question):
        return (state.key, [(each.key, each.value) for each in state.candidates] or state.asks)
    return state.value if isinstance(state, Known) else None


def draft_source(draft: Draft, on_clock: bool) -> None:
    """Put what all blocks have in common into ``[source]``, and a clock that is asked for where sessions need it."""
    for key in ("crs", "time_zone"):
        states = [block.states.get(key) for block in draft.blocks]
        if all(_meaning(state) == _meaning(states[0]) for state in states):
            if states[0] is not None:
                draft.source[key] = states[0]
            for block in draft.blocks:
                block.states[key] = None
        elif key == "time_zone" and on_clock:
            draft.source[key] = next(state for state in states if isinstance(state, Question))
            for block, state in zip(draft.blocks, states, strict=True):
                said = Known('"UTC"', "its times say their own offset")
                block.states[key] = None if isinstance(state, Question) else state or said


def add_block(draft: Draft, block: Block) -> None:
    """Put an export's block into a draft, or the export into a block of others that are read alike.

    Files of one layout are asked about once, in the words of the first. What is noted of others alone names them.
    """
    same = next((each for each in draft.blocks if _alike(each, block)), None)
    if same is not None:
        same.files += block.files
        same.notes += [f"{block.files[0]}: {note}" for note in block.notes if note not in same.notes]
    else:
        draft.blocks.append(block)


def _alike(one: Block, other: Block) -> bool:
    def shape(block: Block) -> list[object]:
        said = [(key, _meaning(state)) for key, state in block.states.items()]
        return [block.columns, said, block.layer, list(map(_meaning, block.asks))]

    return shape(one) == shape(other)
