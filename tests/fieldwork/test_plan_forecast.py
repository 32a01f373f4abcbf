"""A day foreseen: against closed forms of error propagation written out here, and what is refused or said of it.

Symbols: o2 is the variance of a reading on a mark (receiver, distance, centring), c2 that of a register's coordinate,
p2 that of a point's reading; one axis of the plan, or the height, at a time. delta0 = 3.2905 + 0.8416 = 4.1321 for 1 in
1000 and 80 % (Baarda, 1968, tables the square: 17.075).
"""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from running import replace_in
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import JobError, run_job
from pipeline.cli.main import app
from pipeline.fieldwork.plan_forecast import Foreseen, NoPlan, plan_job

DELTA0 = math.sqrt(17.075)
CIRCLE, NORMAL = math.sqrt(-2 * math.log(0.05)), 1.959964
#: Of a receiver, a pole and a register's mark, in plan and in height [m]; ppm by distance from the base.
RECEIVER, CENTRING, PPM = {"plan": 0.008, "height": 0.015}, {"plan": 0.003, "height": 0.0}, 1e-6
CONTROL = {"plan": 0.010 / CIRCLE, "height": 0.020 / NORMAL}
PARTS = ("plan", "height")


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> "Day":
    return Day(tmp_path_factory.mktemp("plan"))


class Day:
    """A job without readings and sessions, whose plans are around CM1; CM2 to CM4 stand 800 m from it."""

    def __init__(self, folder: Path) -> None:
        job = simulate(Plan(sessions=1, points=4, noise=False))
        self.marks = job.marks
        self.path = job.write(folder)
        for file in folder.glob("rover*"):
            file.unlink()
        register = folder / "register.csv"
        rows = [line.split(",") for line in register.read_text(encoding="utf-8").splitlines()]
        at = [rows[0].index(name) for name in ("hu95", "vu95")]
        for row in rows[1:]:
            row[at[0]], row[at[1]] = "0.010", "0.020"
        register.write_text("\n".join(map(",".join, rows)) + "\n", encoding="utf-8")
        text = self.path.read_text(encoding="utf-8")
        self.head = "\n[".join(part for part in text.split("\n[") if not part.startswith(("[session]", "session.")))

    def at(self, east: float = 0.0, north: float = 0.0) -> str:
        """A place by its offsets from CM1, as a job file has it."""
        e, n, _ = self.marks.of("CM1")
        return f"[{e + east:.4f}, {n + north:.4f}]"

    def planned(self, sessions: str, more: str = "", half: float = 300.0) -> Path:
        """The job with a plan of sessions over a square around CM1."""
        area = f"[{self.at(-half, -half)}, {self.at(half, half)}]"
        self.path.write_text(f"{self.head}\n[plan]\narea = {area}\n{more}\n{sessions}", encoding="utf-8")
        return self.path

    def foreseen(self, sessions: str, more: str = "", half: float = 300.0) -> Foreseen:
        return plan_job(self.planned(sessions, more, half))

    def away(self, mark: str, east: float = 0.0, north: float = 0.0) -> float:
        """Metres from a mark to a place by its offsets from CM1, on the grid."""
        (e, n, _), (e1, n1, _) = self.marks.of(mark), self.marks.of("CM1")
        return math.hypot(e - e1 - east, n - n1 - north)


def session(name: str = "day 1", **keys: Any) -> str:
    told = "".join(f"{key} = {value if key == 'base' else json.dumps(value)}\n" for key, value in keys.items())
    return f'[[plan.session]]\nname = "{name}"\n{told}'


def reading(part: str, distance: float) -> float:
    """The variance of a reading on a mark so far from the base."""
    return RECEIVER[part] ** 2 + (distance * PPM) ** 2 + CENTRING[part] ** 2


def control(part: str) -> float:
    return CONTROL[part] ** 2


def values(one: Any, part: str) -> float:
    return float(one.horizontal if part == "plan" else one.vertical)


def test_one_tie_and_one_check(day: Day) -> None:
    """A point: p2 + o2 + c2 of the tie; a check's difference: o2 + c2 of both; a blunder: delta0 times its root."""
    found = day.foreseen(session(ties=["CM1"], checks=["CM2"], base=day.at(500.0)), half=2000.0)
    (one,) = found.sessions
    assert not found.attention
    for part, factor, given in (("plan", CIRCLE, one.hu95), ("height", NORMAL, one.vu95)):
        shift = reading(part, 500.0) + control(part)
        corners = [(-2000, -2000), (2000, -2000), (2000, 2000), (-2000, 2000), (0, 0)]
        far = [math.hypot(east - 500, north) for east, north in corners]
        point = [RECEIVER[part] ** 2 + (distance * PPM) ** 2 for distance in far]
        assert_allclose(given, factor * np.sqrt(np.add(point, shift)), rtol=0, atol=2e-6)
        difference = math.sqrt(shift + reading(part, day.away("CM2", 500.0)) + control(part))
        assert values(one.checks[0].shown, part) == pytest.approx(DELTA0 * difference, rel=2e-4)
        assert values(one.ties[0].by_checks, part) == pytest.approx(DELTA0 * difference, rel=2e-4)
        assert math.isnan(values(one.ties[0].own, part))
        tolerance = {"plan": 0.03, "height": 0.05}[part]
        assert values(one.checks[0].fails, part) == pytest.approx(tolerance + 0.8416 * difference, rel=2e-4)
    assert one.checks[0].hu95 == pytest.approx(CIRCLE * values(one.checks[0].shown, "plan") / DELTA0, rel=2e-4)
    assert one.checks[0].vu95 == pytest.approx(NORMAL * values(one.checks[0].shown, "height") / DELTA0, rel=2e-4)


def test_readings_are_as_uncertain_as_the_job_takes_them(day: Day) -> None:
    """`quality.scale` multiplies a receiver's part, that by distance included, and neither pole nor register."""
    scale = {"plan": 2.0, "height": 3.0}
    path = day.planned(session(ties=["CM1"], checks=["CM2"], base=day.at(500.0)), half=2000.0)
    replace_in(path, {"[quality]": "[quality]\nscale = 2.0\nscale_vertical = 3.0"})
    (one,) = plan_job(path).sessions
    for part, factor, given in (("plan", CIRCLE, one.hu95), ("height", NORMAL, one.vu95)):
        tie, check = ((scale[part] ** 2) * (RECEIVER[part] ** 2 + (far * PPM) ** 2) + CENTRING[part] ** 2
                      for far in (500.0, day.away("CM2", 500.0)))  # fmt: skip
        point = scale[part] ** 2 * (RECEIVER[part] ** 2 + (500.0 * PPM) ** 2)
        assert given[-1] == pytest.approx(factor * math.sqrt(point + tie + control(part)), abs=2e-6)
        difference = math.sqrt(tie + check + 2 * control(part))
        assert values(one.checks[0].shown, part) == pytest.approx(DELTA0 * difference, rel=2e-4)


def test_several_ties_share_the_work_and_watch_one_another(day: Day) -> None:
    """With ties of weights w = 1 / (o2 + c2) and W their sum: variance 1 / W, redundancy of a reading o2 w (1 - w / W).

    Its own detectable blunder is delta0 sqrt(o2 / r); a check is moved by w / W of it.
    """
    (one,) = day.foreseen(session(ties=["CM2", "CM3", "CM4"], checks=["CM1"], base=day.at())).sessions
    for part in PARTS:
        noise = np.array([reading(part, day.away(name)) for name in ("CM2", "CM3", "CM4")])
        weight = 1 / (noise + control(part))
        share = weight / weight.sum()
        own = DELTA0 * np.sqrt(noise / (noise * weight * (1 - share)))
        assert_allclose([values(tie.own, part) for tie in one.ties], own, rtol=3e-4, atol=0)
        difference = math.sqrt(1 / weight.sum() + reading(part, 0.0) + control(part))
        assert values(one.checks[0].shown, part) == pytest.approx(DELTA0 * difference, rel=3e-4)
        moved = DELTA0 * difference / share
        assert_allclose([values(tie.by_checks, part) for tie in one.ties], moved, rtol=3e-4, atol=0)


def test_a_session_tied_through_a_peg(day: Day) -> None:
    """Base over the peg on the second day: c2 + o2 of the tie, o2 of the peg, and the set-up's centring in all axes."""
    sessions = session("monday", ties=["CM1", "TM1"], checks=["CM2"], base=day.at()) + session(
        "tuesday", setup="TM1", checks=["CM3"]
    )
    found = day.foreseen(sessions, f'pegs = [{{ mark = "TM1", at = {day.at(400.0)} }}]')
    monday, tuesday = found.sessions
    assert not found.attention and tuesday.ties[0].setup
    for part, factor, given in (("plan", CIRCLE, tuesday.hu95), ("height", NORMAL, tuesday.vu95)):
        first = reading(part, 0.0) + control(part)
        shift = first + reading(part, 400.0) + 0.003**2
        middle = RECEIVER[part] ** 2 + (400.0 * PPM) ** 2
        assert given[-1] == pytest.approx(factor * math.sqrt(shift + middle), abs=2e-6)
        difference = math.sqrt(shift + reading(part, day.away("CM3", 400.0)) + control(part))
        assert values(tuesday.checks[0].shown, part) == pytest.approx(DELTA0 * difference, rel=2e-4)
        # a blunder in Monday's reading of the peg moves Tuesday alone, and its check sees it whole
        assert values(monday.ties[1].shown, part) == pytest.approx(DELTA0 * difference, rel=2e-4)


def test_a_check_is_worth_what_the_adjustment_says_of_a_tie_in_its_place(day: Day) -> None:
    (one,) = day.foreseen(session(ties=["CM1"], checks=["CM2"], base=day.at(200.0))).sessions
    (other,) = day.foreseen(session(ties=["CM1", "CM2"], base=day.at(200.0))).sessions
    for part in PARTS:
        assert values(one.checks[0].shown, part) == pytest.approx(values(other.ties[1].own, part), rel=1e-5)


def test_a_check_shares_its_mark_with_the_ties_of_another_session(day: Day) -> None:
    """CM1 ties Monday and checks Tuesday, which the peg ties to Monday: the mark's own error is in both and cancels."""
    sessions = session("monday", ties=["CM1", "TM1"], base=day.at()) + session(
        "tuesday", ties=["TM1"], checks=["CM1"], base=day.at()
    )
    tuesday = day.foreseen(sessions, f'pegs = [{{ mark = "TM1", at = {day.at(400.0)} }}]').sessions[1]
    for part in PARTS:
        variance = 2 * reading(part, 0.0) + 2 * reading(part, 400.0)
        assert values(tuesday.checks[0].shown, part) == pytest.approx(DELTA0 * math.sqrt(variance), rel=2e-4)


def test_what_one_more_tie_or_check_would_gain(day: Day) -> None:
    found = day.foreseen(session(ties=["CM1"], checks=["CM2"], base=day.at()))
    gained = {(str(one.role), found.marks.names[one.mark]): one for one in found.gains}
    assert set(gained) == {("tie", f"CM{n}") for n in (1, 3, 4)} | {("check", "CM3"), ("check", "CM4")}
    tie, check = gained["tie", "CM3"], gained["check", "CM3"]
    noise = np.array([reading("plan", 0.0), reading("plan", day.away("CM3"))])
    shift = 1 / (1 / (noise + control("plan"))).sum()
    worst = RECEIVER["plan"] ** 2 + 2 * (300.0 * PPM) ** 2
    assert tie.hu95[1] == pytest.approx(CIRCLE * math.sqrt(worst + shift), abs=2e-6)
    assert tie.hu95[0] == pytest.approx(CIRCLE * math.sqrt(worst + noise[0] + control("plan")), abs=2e-6)
    assert check.hu95[0] == check.hu95[1] and check.shown[1].horizontal <= check.shown[0].horizontal
    worth = [round(one.worth, 3) for one in found.gains]
    assert worth == sorted(worth, reverse=True) and worth[0] > worth[-1]
    # a first check is worth more than anything
    alone = day.foreseen(session(ties=["CM1"], base=day.at()))
    assert str(alone.gains[0].role) == "check" and math.isnan(alone.gains[0].shown[0].horizontal)


@pytest.mark.parametrize("checks", [["CM2"], ["CM2", "CM3"], []])
def test_whatever_is_advised_can_be_planned(checks: list[str], day: Day) -> None:
    """Each of it added to the plan as it stands: a mark that checks a session may not tie it too."""
    found = day.foreseen(session(ties=["CM1"], checks=checks, base=day.at()))
    assert {str(one.role) for one in found.gains} == {"tie", "check"}
    for one in found.gains:
        mark = found.marks.names[one.mark]
        ties, more = (["CM1", mark], []) if one.role == "tie" else (["CM1"], [mark])
        (followed,) = day.foreseen(session(ties=ties, checks=[*checks, *more], base=day.at())).sessions
        assert max(followed.hu95) == pytest.approx(one.hu95[1], abs=1e-9)


@pytest.mark.parametrize(
    ("sessions", "more", "said"),
    [
        (session(checks=["CM1"]), "", "day 1 would not be tied in position and height"),
        (session(ties=["CM1"]), "", "day 1 would be unchecked in position and height"),
        (session(ties=["TM1"], checks=["CM1"]), "peg", "day 1 would not be tied in position and height"),
        (session(ties=["CM1", "TM1"], checks=["CM2"]), "peg", "nothing would show a blunder in the tie on TM1"),
    ],
)
def test_what_a_plan_leaves_open_is_said_and_ends_with_3(sessions: str, more: str, said: str, day: Day) -> None:
    path = day.planned(sessions, f'pegs = [{{ mark = "TM1", at = {day.at(100.0)} }}]' if more else "")
    found = CliRunner().invoke(app, ["plan", str(path), "--json"])
    document = json.loads(found.stdout)
    assert found.exit_code == document["exit_code"] == 3 and any(said in one for one in document["attention"])


def test_the_command_says_it_in_metres(day: Day) -> None:
    path = day.planned(session(ties=["CM1"], base=day.at()))
    found = CliRunner().invoke(app, ["plan", str(path)])
    assert found.exit_code == 3 and "ATTENTION: session day 1 would be unchecked" in found.stdout
    far = CIRCLE * math.sqrt(RECEIVER["plan"] ** 2 + 2 * (300 * PPM) ** 2 + reading("plan", 0.0) + control("plan"))
    assert f"points, 95 %: {far:.3f} in plan" in found.stdout and "424 m from the base" in found.stdout
    assert "a blunder in it shows from never in plan, never in height" in found.stdout


@pytest.mark.parametrize(
    ("sessions", "more", "said"),
    [
        (session(ties=["CM11"]), "", "did you mean CM1"),
        (session(ties=["CM1"], checks=["CM1"]), "", "is not independent"),
        (session(ties=["CM1"], setup="CM2", base="[1.0, 2.0]"), "", "at a place and over a mark"),
        (session(ties=["CM1"]) + session(ties=["CM2"]), "", "there is a planned session 'day 1' already"),
        (session(checks=["CM1"]), 'pegs = [{ mark = "CM2", at = [1.0, 2.0] }]', "has the name of another mark"),
        (session(checks=["TM1"]), 'pegs = [{ mark = "TM1", at = [1.0, 2.0] }]', "proves nothing"),
        (session(base="[1.0]"), "", "a place is written as [easting, northing]"),
        (session(tie=["CM1"]), "", "'tie'"),
        (session(), "area = [1]", "is there twice"),
    ],
)
def test_a_plan_that_contradicts_itself_is_refused_at_its_line(sessions: str, more: str, said: str, day: Day) -> None:
    found = CliRunner().invoke(app, ["plan", str(day.planned(sessions, more))])
    assert found.exit_code == 2 and said in found.stderr and found.stdout == "", found.output


def test_without_a_plan_lines_to_start_from_are_given_and_work(day: Day) -> None:
    day.path.write_text(day.head, encoding="utf-8")
    with pytest.raises(NoPlan, match="has no \\[plan\\]") as refused:
        plan_job(day.path)
    day.path.write_text(day.head + "\n" + "\n".join(refused.value.lines) + "\n", encoding="utf-8")
    (one,) = plan_job(day.path).sessions
    assert all(one.tied) and one.checks
    with pytest.raises(JobError, match="no session"):
        run_job(day.path)


def test_a_plan_makes_no_new_issue(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=4, noise=False)).write(tmp_path)
    assert run_job(path).issued
    plan = '[plan]\narea = [[1500000.0, 5160000.0], [1501000.0, 5161000.0]]\n[[plan.session]]\nname = "next"\n'
    replace_in(path, {"[job]": f"{plan}[job]"})
    assert not run_job(path).issued
