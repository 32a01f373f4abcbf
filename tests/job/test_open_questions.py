"""Questions marked OPEN in a job file: told until somebody answers them, in whatever way."""

import tomllib

import pytest

from pipeline.job.open_questions import check_open
from pipeline.problems import Problems

HEAD = '[points.columns]\ntime = "Time"\n'
ASKS = '# OPEN: are heights of the ground, or of the antenna at the top of the pole,\n#  whose length is in "Rod"?\n'
CANDIDATE = '# pole_height = "Rod"  # of the antenna; of the ground: delete this line\n'
TAIL = "\n[quality]\n# max_sigma_horizontal = 0.05\n"


def told(text: str) -> list[str]:
    problems = Problems()
    check_open(text, tomllib.loads(text), "job.toml", problems)
    return [str(problem) for problem in problems.found]


@pytest.mark.parametrize("more", ["", CANDIDATE.replace("Rod", "Pole")])
def test_a_question_with_candidates_alone_is_told_in_full_at_its_line(more: str) -> None:
    (problem,) = told(HEAD + ASKS + CANDIDATE + more + TAIL)
    assert problem.startswith("job.toml:3: this question is still open: are heights of the ground")
    assert 'at the top of the pole, whose length is in "Rod"?' in problem and "delete the lines" in problem


@pytest.mark.parametrize(
    "text",
    [
        HEAD + ASKS + CANDIDATE.removeprefix("# ") + TAIL,
        HEAD + ASKS + CANDIDATE.removeprefix("#") + TAIL,
        HEAD + ASKS + CANDIDATE + 'pole_height = "Pole"\n' + TAIL,
        HEAD + ASKS + 'pole_height = "Pole"\n' + CANDIDATE + TAIL,
        '[points.columns]\npole_height="Pole"\n' + ASKS + CANDIDATE + TAIL,
        HEAD + ASKS + TAIL,  # answered by deleting the line
        HEAD + CANDIDATE + TAIL,  # the question deleted, its candidate left
        HEAD + "# pole_height may be OPEN: nobody knows\n" + TAIL,
        "[quality]\n# OPEN: which solutions are fixed?\n# max_sigma_horizontal = 0.05\n",
        '[source]\ntime_zone = "UTC"\n[[points]]\n# OPEN: which clock?\n# time_zone = "Asia/Jakarta"\n',
        '[source]\n# OPEN: which clock?\n# time_zone = "Asia/Jakarta"\n[[points]]\ntime_zone = "UTC"\n',
        'source = { time_zone = "UTC" }\n[[points]]\n# OPEN: which clock?\n# time_zone = "Asia/Jakarta"\n',
        '[[points]]\nfiles = []\n[[points]]\n# OPEN: which clock?\n# time_zone = "UTC"\n"time_zone" = "UTC"\n',
    ],
)
def test_an_answered_question_is_not_told(text: str) -> None:
    assert told(text) == []


@pytest.mark.parametrize(
    "text",
    [
        '[source]\n# OPEN: which clock?\n# time_zone = "UTC"\n[[points]]\ntime_zone = "UTC"\n[[points]]\nfiles = []\n',
        '[[points]]\ntime_zone = "UTC"\n[[points]]\n# OPEN: which clock?\n# time_zone = "UTC"\n',
    ],
)
def test_an_answer_for_another_block_is_none(text: str) -> None:
    assert len(told(text)) == 1


def test_two_questions_of_one_table_are_told_apart() -> None:
    text = '[target]\n# OPEN: which grid?\n# grid = "EPSG:25832"\n# OPEN: which datum?\n# height = "EPSG:7837"\n'
    assert len(told(text)) == 2
    (problem,) = told(text.replace("# grid", "grid"))
    assert problem.startswith("job.toml:4")


def test_a_key_without_a_candidate() -> None:
    assert len(told('[[session]]\nname = "a"\n# OPEN: which reading ties?\n# ties = \n')) == 1
    assert told('[[session]]\nname = "a"\n# OPEN: which reading ties?\nties = []\n') == []


def test_beside_other_mistakes_a_key_that_is_told_as_missing_is_told_once() -> None:
    problems = Problems()
    text = (
        '[target]\n# OPEN: which grid?\n# grid = "EPSG:25832"\n\n[source]\n# OPEN: which clock?\n# time_zone = "UTC"\n'
    )
    check_open(text, tomllib.loads(text), "job.toml", problems, alone=False)
    assert [problem.line for problem in problems.found] == [6]


def test_a_key_told_as_missing_names_the_question_that_asks_for_it() -> None:
    text = "[target]\n# OPEN: which grid?\n# grid = \n"
    problems = Problems()
    problems.add("job.toml", 1, "'grid' in [target] is missing")
    check_open(text, tomllib.loads(text), "job.toml", problems, alone=False)
    (problem,) = problems.found
    assert (problem.line, problem.what) == (1, "'grid' in [target] is missing")
    assert problem.fix.startswith("line 2 asks for it, and is still open: remove the #")
