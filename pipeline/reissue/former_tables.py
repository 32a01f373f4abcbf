"""Finds what a table of the job file said before, of which an earlier record has nothing but a checksum.

It is found by trial: tables that the former one is likely to have been are laid out and summed as it was, and whichever
gives the same sum is it. Tried are keys that were at their defaults or had any other choice of words, several at a
time, and another number of one key, as people write numbers. Where none gives the sum, what it said is not known.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, combinations, product
from math import prod
from typing import Any

from pipeline.job.annotations import choices, leaves
from pipeline.job.canonical_text import KEYS_LATER, KEYS_SILENT, LIMITS, LIMITS_OF
from pipeline.job.model import Checks, ControlSection, Issue, Points, Quality, Shift, Target
from pipeline.job.stated_keys import in_words, plain
from pipeline.reissue.fingerprint import sum_of

_MODELS = {
    name: model.model_fields
    for name, model in (
        ("checks", Checks),
        ("control", ControlSection),
        ("issue", Issue),
        ("quality", Quality),
        ("shift", Shift),
        ("target", Target),
    )
}

#: Numbers that people write: up to 0.1, 2, 10 and 120, to three, two, one and no decimals.
_NUMBERS = tuple(
    number / parts for parts, most in ((1000, 100), (100, 200), (10, 100), (1, 120)) for number in range(1, most + 1)
)
#: Words of a list up to which every choice of them is tried; of more, one more or one less.
_WORDS = 5
#: Blocks of exports up to which they are tried.
_BLOCKS = 8
#: What some of their keys say in most jobs, beside words and numbers.
_OFTEN = {"time_zone": ("UTC",)}
#: Tables that are tried at most with more than one key changed: some 50 ms.
_MOST = 4_000

#: What a table says: values by key.
Values = dict[str, Any]


def changed_keys(part: str, now: Mapping[str, Any], total: str | None) -> list[str]:
    """Return which keys of a table say something else than before, from what to what; nothing where it is not known.

    Args:
        part: the table's name, as `canonical_text.meanings` has it.
        now: what it says, as far as it is stated.
        total: the checksum of what it said, None where there is none.
    """
    name = part.removeprefix(LIMITS_OF).strip("[]")
    if total is None or name not in _MODELS:
        return []
    fields, limits = _MODELS[name], LIMITS.get(name, ())
    keys = [
        key for key in fields if (key in limits) == part.startswith(LIMITS_OF) and key not in KEYS_SILENT.get(name, ())
    ]
    defaults = {key: _default(fields[key], now.get(key)) for key in keys}
    current = {key: now.get(key, defaults[key]) for key in keys}
    options = {key: _options(fields[key].annotation, defaults[key], current[key]) for key in keys}
    for former in chain(_several_changed(current, defaults, options), _one_changed(current, options)):
        summed = json.dumps(_without_silent(former, defaults, name), sort_keys=True, ensure_ascii=False)
        if sum_of(summed) == total:
            changed = [key for key in keys if former[key] != current[key]]
            return [f"{key} {in_words(former[key])} -> {in_words(current[key])}" for key in changed]
    return []


def changed_in_blocks(blocks: Sequence[Mapping[str, Any]], total: str | None) -> tuple[str, str] | None:
    """Return which key of all or one of the ``[[points]]`` blocks says something else, and from what to what.

    Args:
        blocks: what they say, with what ``[source]`` says for them, as far as it is stated.
        total: the checksum of what they said, None where there is none.
    """
    if total is None or len(blocks) > _BLOCKS:
        return None
    every = list(range(len(blocks)))
    for key, field in Points.model_fields.items():
        default = _default(field, None)
        for one in (every, *([number] for number in every if len(every) > 1)):
            current = blocks[one[0]].get(key, default)
            if isinstance(current, dict) or any(blocks[number].get(key, default) != current for number in one):
                continue
            numbers = _options(field.annotation, default, current) if one == every else []
            for option in [default, *_OFTEN.get(key, ()), *numbers]:
                changed = {} if option is None else {key: option}
                former = [
                    {name: value for name, value in block.items() if name != key} | changed if number in one else block
                    for number, block in enumerate(blocks)
                ]
                if option != current and sum_of(json.dumps(former, sort_keys=True, ensure_ascii=False)) == total:
                    return key, f"{key} {in_words(option)} -> {in_words(current)}"
    return None


def _default(field: Any, current: Any) -> Any:
    """Return what a key says where it is not stated; of one that must be stated what it says now."""
    return current if field.is_required() else plain(field.get_default(call_default_factory=True))


def _options(annotation: Any, default: Any, current: Any) -> list[Any]:
    """Return what a key may have said: every choice of words, numbers as people write them; else its default."""
    words, types = [*map(str, choices(annotation))], set(leaves(annotation))
    if isinstance(default, list):
        if not words:
            return [default]
        if len(words) <= _WORDS:
            return [sorted(some) for count in range(len(words) + 1) for some in combinations(words, count)]
        one_more = (
            [*current[:at], word, *current[at:]]
            for word in words
            if word not in current
            for at in range(len(current) + 1)
        )
        one_less = ([word for word in current if word != left_out] for left_out in current)
        return [default, *one_more, *one_less]
    if words or bool in types:
        none: list[Any] = [None] if default is None else []
        return [*none, *(words or (False, True))]
    return [default, *_NUMBERS] if float in types else [default]


def _several_changed(current: Values, defaults: Values, options: Mapping[str, Sequence[Any]]) -> Iterator[Values]:
    """Yield tables of which any keys say something else: by words, or where that is too many, by defaults alone."""
    tried = {key: [current[key], *(options[key] if len(options[key]) <= 1 << _WORDS else ())] for key in current}
    if prod(map(len, tried.values())) > _MOST:
        tried = {key: [value, *([defaults[key]] if value != defaults[key] else [])] for key, value in current.items()}
    if prod(map(len, tried.values())) <= _MOST:
        yield from (dict(zip(current, values, strict=True)) for values in product(*tried.values()))


def _one_changed(current: Values, options: Mapping[str, Sequence[Any]]) -> Iterator[Values]:
    """Yield tables of which one key says something else, whatever that may be."""
    yield from ({**current, key: value} for key in current for value in options[key])


def _without_silent(table: Values, defaults: Values, name: str) -> Values:
    """Return a table as it is summed: without keys of no value, and without newer keys that are at their defaults.

    So a record that knew nothing of a newer key has the same sum.
    """
    newer = [key for key in KEYS_LATER.get(name, ()) if key in table and table[key] == defaults[key]]
    return {key: value for key, value in table.items() if value is not None and key not in newer}
