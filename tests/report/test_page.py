"""The page of an invented record: every section says what the record says, safely, and never at endless length."""

import html
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from page_read import Element, read_page
from record_made import check, diagnosis, failing, mark, record, session, tie

from pipeline.issue.report.glossary import GLOSSARY
from pipeline.issue.report.page import render
from pipeline.issue.report.thinning import Thinned
from pipeline.issue.report.word_meanings import REASONS
from pipeline.words import Reason

ROOT = Path(__file__).resolve().parents[2]
HOSTILE = "<script>alert('x')</script> & \"quoted\" </style></title>"
SECTIONS = (
    "words", "changes", "rows", "sessions", "checks", "times", "plan", "differences", "causes", "adjustment",
    "marks", "untied", "operations", "inputs", "model", "notes", "accuracy",
    "signatures",
)  # fmt: skip


def page(made: dict[str, Any]) -> Element:
    return read_page(render(made, Thinned.none()))


def test_a_record_gives_a_page_with_every_section_and_the_caution() -> None:
    root = page(record())
    heads = [one.attributes["id"] for one in root.all("h2")]
    assert heads == list(SECTIONS)
    assert "No substitute for a licensed surveyor." in root.text()
    assert root.all("h1")[0].text() == "made-up, issue 001"
    assert root.all("title")[0].text() == "made-up, issue 001: proven"
    assert "13 rows read = 10 points + 3 on marks + 0 held back" in root.section("rows").text()
    assert "tiedown 0, PROJ 0" in root.text()


def everywhere(value: Any, key: str = "") -> Any:
    """The same record with a hostile ending to every text that a user can write."""
    kept = {
        "role", "place", "verdict", "proof", "status", "holds", "observed", "start", "end", "from", "until", "data_to",
        "first_point", "last_point", "kind", "model", "sigma horizontal", "sigma vertical", "lacks",
    }  # fmt: skip
    if isinstance(value, dict):
        return {name: everywhere(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [everywhere(inner, key) for inner in value]
    return f"{value}{HOSTILE}" if isinstance(value, str) and key not in kept else value


def full() -> dict[str, Any]:
    """A record in which everything that the page can show is there."""
    span = {"readings": 3, "from": "2026-03-01T20:00:00.000Z", "until": "2026-03-01T21:00:00.000Z"}
    log = {
        "positions": [
            {"longitude": 171.5, "latitude": -43.5, "height": 20.0, **span},
            {"easting": 1.0, "northing": 2.0, "height": 3.0, **span},
        ],
        "antenna_heights": [{"antenna_height": 1.612, **span}],
        "first_reading": {"point": "P1", "from_base": 3.4},
    }  # fmt: skip
    kinds = ("redundancy", "standardised", "detectable")
    control = {f"{kind}_{axis}": 0.3 for kind in kinds for axis in ("east", "north", "up")}
    control |= {"residual_east": 0.001, "residual_north": -0.002, "residual_up": 0.002}  # 3 mm: 1 + 4 + 4 = 9
    farthest = {"session": "one", "point": "P9", "horizontal": 0.0131, "vertical": 0.001}
    made = record(
        issue=2,
        verdict="failed",
        changes={"since": 1, "because": ["CM1 moved"], "altered": [], "moved": 3, "added": 0, "withdrawn": 1, "held": 0,
                 "released": 0, "max_horizontal": 0.0214, "max_vertical": 0.008},
        rows={"read": 16, "points": 10, "on_marks": 4, "held_back": 2, "by_reason": {"suspect": 2}},
        sessions=[session("one", verdict="failed", base_log=log), session("two", 600, "untied", base=None)],
        checks=[tie("one", "CM1", 20), check("one", "TM1", 25, passed=None, d_horizontal=None, d_height=None,
                                             known_easting=None, known_northing=None, point=None),
                failing("one", "CM2", 30), check("one", "CM2", 450)],
        diagnoses=[diagnosis("one", ["P"]), diagnosis("two", [], explanations=[], split=None)],
        marks=[mark("CM1", 1000.0, 5000.0), mark("TM1", None, None, height=None, holds=None, status="adjusted")],
        untied=[{"sessions": ["two"], "marks": ["TM1"], "lacks": ["position", "height"]}],
        notes=["a note"],
        shift_model={"model": "grid", "farthest": [farthest]},
    )  # fmt: skip
    made["adjustment"]["set_ups"] = [{"session": "one", "mark": "CM1", **control}]
    made["adjustment"]["control"] = [{"mark": "CM1", **control}]
    made["operations"][0]["grids"] = [{"name": "geoid.gtx", "sha256": "ef" * 32}]
    return made


def test_names_of_any_kind_stay_text() -> None:
    """Reading the page strictly is the test: an unescaped name would open an element, and there is no script."""
    made = everywhere(full())
    root = page(made)
    said = root.text()
    for piece in ("CM1", "one", "a note", "rover.csv", "geoid.gtx", "CM1 moved", "P9"):
        assert " ".join(f"{piece}{HOSTILE}".split()) in said, piece
    raw = render(made, Thinned.none()).decode()
    assert html.escape(HOSTILE, quote=False).split("&#")[0][:14] in raw
    assert "<script" not in raw


def test_characters_that_act_unseen_are_shown_as_escapes() -> None:
    """HTML (13.2.3.5) forbids the controls and what is no character; Unicode's signs of direction reorder a line."""
    root = page(record(notes=["a\x00b\x1bc\x85d\ufffee\u202ef\u2066g\u200bh"]))
    assert r"a\x00b\x1bc\x85d\ufffee\u202ef\u2066g\u200bh" in root.section("notes").text()


def test_a_first_issue_supersedes_nothing() -> None:
    assert "first issue" in page(record()).section("changes").text()


def test_a_later_issue_says_what_changed_and_why() -> None:
    told = page(full()).section("changes").text()
    assert "Issue 001 is superseded" in told and "CM1 moved" in told
    assert "0.021 m horizontally and 0.008 m in height" in told
    assert "moved 3" in told and "withdrawn 1" in told


def test_a_later_issue_whose_changes_cannot_be_counted_says_why() -> None:
    told = (
        page(record(issue=2, changes={"since": 1, "because": ["what moved is not told"], "altered": []}))
        .section("changes")
        .text()
    )
    assert "superseded" in told and "what moved is not told" in told


@pytest.mark.parametrize("reason", list(Reason))
def test_every_reason_is_explained(reason: Reason) -> None:
    rows = {"read": 4, "points": 1, "on_marks": 0, "held_back": 3, "by_reason": {str(reason): 3}}
    told = page(record(rows=rows)).section("rows").text()
    assert f"{reason} 3 {REASONS[reason]}" in told


def test_a_failing_check_is_told_by_word_with_how_much_and_why() -> None:
    root = page(full())
    told = root.section("checks").text()
    assert "-0.181" in told and "failed" in told and "not tested" in told
    assert "Fails: 0.151 m over in position. Possible causes: a cause" in told
    assert "1 of 3 occupations of control marks fails" in root.section("needed").text()


def by_reason(**counts: int) -> dict[str, Any]:
    held = sum(counts.values())
    return {"read": 13 + held, "points": 10, "on_marks": 3, "held_back": held, "by_reason": counts}


OVER = {"low": 0.2, "high": 2.0, "passed": False}
REPEATS = {"pairs": 4, "failed": 1}
WAITS = {"rule": "proven", "current": None, "at_stake": []}
WHOLLY = [{"kind": "day", "name": "2026-03-02", "rows": 3, "on_marks": 0, "held_back": 3, "by_reason": {"no_time": 3}}]
DOUBT = {"what": "a thing in doubt", "confirmed": None}


@pytest.mark.parametrize(
    ("made", "needed", "noted"),
    [
        (record(), (), ()),
        (record(notes=["one", "two"]), (), ("2 notes",)),
        (record(rows=by_reason(not_fixed=4)), (), ()),
        (record(rows=by_reason(unclosed=2000)), (), ("2\u202f000 rows are held back as unclosed",)),
        (record(sessions=[session("one", verdict="unchecked")]), (), ("1 session unchecked",)),
        (record(checks=[]), (), ("no control mark was occupied that the coordinates could be compared with",)),
        (record(repeats=record()["repeats"] | REPEATS), (), ("1 of 4 pairs of readings of one point does not agree",)),
        (
            record(adjustment=record()["adjustment"] | {"chi_square": OVER}), (),
            ("the ties agree less well than their uncertainties suggest",),
        ),
        (
            record(checks=[tie("one", "CM1", 20, standardised_up=-4.0)]), (),
            ("1 observation with a standardised residual over the critical value",),
        ),
        (record(doubts=[DOUBT]), ("a thing in doubt",), ()),
        (record(doubts=[DOUBT | {"confirmed": "looked at"}]), (), ()),
        (record(rows=by_reason(suspect=1, unclosed=2)), ("1 row is held back as suspect",),
         ("2 rows are held back as unclosed",)),
        (record(rows=by_reason(untied=3)), ("3 rows are held back as untied",), ()),
        (record(checks=[failing("one", "CM2", 30)]), ("1 of 1 occupation of a control mark fails",), ()),
        (record(wholly_held_back=WHOLLY), ("2026-03-02: all of its 3 rows are held back (3 no_time)",), ()),
        (
            record(release=WAITS, verdict="unclosed", notes=["one"]),
            ('not released when it was made, there is no current issue yet: its verdict is unclosed, and issue.release'
             ' asks for "proven"',),
            ("1 note",),
        ),
    ],
)  # fmt: skip
def test_what_needs_attention_and_what_is_for_information_stand_apart(
    made: dict[str, Any], needed: tuple[str, ...], noted: tuple[str, ...]
) -> None:
    """By README and contract: only what makes exit code 3 needs attention; a section with nothing in it is left out."""
    root = page(made)
    heads = {one.attributes["id"]: one.text() for one in root.all("h2")}
    for identity, title, lines in (("needed", "Needs attention", needed), ("noted", "For information", noted)):
        assert heads.get(identity) == (title if lines else None)
        assert (tuple(one.text() for one in root.section(identity).all("li")) if lines else ()) == lines
    for link in (one for identity in heads.keys() & {"needed", "noted"} for one in root.section(identity).all("a")):
        assert link.attributes["href"].removeprefix("#") in heads


def test_a_check_that_cannot_be_compared_fails_all_the_same() -> None:
    lost = failing("one", "CM2", 30, d_horizontal=None, d_east=None, d_north=None, d_height=None, cause=None)
    root = page(record(checks=[lost]))
    assert "Fails: it cannot be compared." in root.section("checks").text()


def test_a_mark_that_holds_its_height_alone_fails_in_height_alone() -> None:
    made = record(checks=[failing("one", "H1", 30, d_height=0.08, cause=None)])
    made["register"][0] |= {"mark": "H1", "holds": "height"}
    assert "Fails: 0.030 m over in height." in page(made).section("checks").text()


def test_the_position_of_a_mark_that_holds_its_height_alone_counts_in_no_statement() -> None:
    """Its easting may be scaled off a map: the largest difference in plan is the other check's 5 mm."""
    level = check("one", "H1", 40, d_east=1.0, d_horizontal=1.0, d_height=0.02, tolerance_h=None)
    for before in ({}, {"tolerance_h": 0.03}):  # an earlier issue gave a tolerance beside it
        made = record(checks=[level | before, check("one", "CM2", 60)])
        made["register"].append(made["register"][0] | {"mark": "H1", "holds": "height"})
        root = page(made)
        stated = root.section("accuracy").text()
        assert "Horizontally the largest difference is 0.005 m" in stated
        assert "In height the largest difference is 0.020 m" in stated
        assert "within 0.030 m horizontally and 0.050 m in height" in stated
        assert "only what the register holds is tested: of H1 the height alone." in root.section("checks").text()


def test_where_no_position_is_held_no_tolerance_of_it_is_stated() -> None:
    made = record(checks=[check("one", "CM1", 40, tolerance_h=None)])
    made["register"][0]["holds"] = "height"
    root = page(made)
    assert "It passes where the height difference is at most 0.050 m;" in root.section("checks").text()
    assert "agrees with the published coordinates within 0.050 m in height." in root.section("accuracy").text()
    assert "circle of" not in root.section("differences").text()


def test_a_cause_that_two_rows_share_is_told_once() -> None:
    told = page(record(checks=[failing("one", "CM2", 30), failing("one", "CM3", 40)])).section("checks").text()
    assert told.count("a cause") == 1 and told.count("Fails: 0.151 m over in position.") == 2


def test_a_standardised_residual_over_the_critical_value_is_pointed_out() -> None:
    root = page(record(checks=[tie("one", "CM1", 20, standardised_north=-4.2)]))
    assert "-4.20 over" in root.section("adjustment").text()
    assert "1 observation is over it" in root.section("adjustment").text()


def test_a_failure_has_its_explanations_and_the_lines_that_split_its_session() -> None:
    section = page(full()).section("causes")
    assert "about as likely" in section.text() and "CM1 occupied again" in section.text()
    assert [one.children for one in section.all("pre")] == [['[[session]]\nname = "one"\n']]
    assert "None of 900 possible causes tested explains it" in section.text()


def test_untied_sessions_say_what_would_tie_them() -> None:
    told = page(full()).section("untied").text()
    assert "Not connected in position and height: two. One occupation, in it, of a mark" in told
    assert "or register coordinates of TM1" in told


def test_a_mark_says_what_fixes_it_and_how_far_it_is_from_the_register() -> None:
    told = page(full()).section("marks").text()
    assert "constrained (weighted), 0.003 m from the register position and height" in told
    assert "adjusted nothing: a temporary mark" in told


def test_the_glossary_stands_in_the_report() -> None:
    told = page(record()).section("words").text()
    assert all(word in told and meaning in told for word, meaning in GLOSSARY.items())


def test_operations_have_their_accuracy_and_grids_with_sums() -> None:
    told = page(full()).section("operations").text()
    assert "not stated" in told and "geoid.gtx " + "ef" * 32 in told


def test_the_grid_model_is_compared_with_the_geocentric_one() -> None:
    assert "P9 0.013 0.001" in page(full()).section("model").text()
    assert "one geocentric vector" in page(record()).section("model").text()


def large() -> dict[str, Any]:
    """3,000 sessions and 20,000 occupations, hundreds of them failing, with sentences as long as they come."""
    names = [f"a-session-with-a-long-name-{number:04d}" for number in range(3000)]
    checks = []
    for number in range(20_000):
        make = failing if number % 50 == 0 else tie if number % 2 else check
        cause = {"cause": f"{number} " + "words " * 2000} if number % 50 == 0 else {}
        checks.append(make(names[number * 3 // 20], f"a-mark-with-a-long-name-{number % 900}", number % 480, **cause))
    failures = [diagnosis(name, [name] * 5000, split="line\n" * 50_000) for name in names[::20]]
    return record(
        verdict="failed",
        sessions=[session(name, 600 * n, "failed" if n % 20 == 0 else "proven") for n, name in enumerate(names)],
        checks=checks,
        diagnoses=failures,
        marks=[mark(f"M{n}", 1000.0 + n, 5000.0 + n) for n in range(1000)],
        notes=["note " * 5000] * 3000,
        untied=[{"sessions": names, "marks": names, "lacks": ["height"]}] * 300,
        inputs=[{"path": f"{n}.csv", "sha256": "ab" * 32, "rows": 1} for n in range(5000)],
        rows={"read": 20_000, "points": 0, "on_marks": 20_000, "held_back": 0, "by_reason": {}},
    )


def test_a_large_record_gives_a_page_of_a_few_megabytes_that_says_what_is_left_out() -> None:
    made = large()
    text = render(made, Thinned.none())
    assert len(text) < 5_000_000
    root = read_page(text)
    checks = root.section("checks")
    assert "18\u202f000 rows of 20\u202f000 are left out here" in checks.text()
    assert "the layer check_marks of made-up-001.gpkg has all of them" in checks.text()
    assert "2\u202f000 rows of 3\u202f000 are left out here" in root.section("sessions").text()
    assert "2\u202f900 sessions of 3\u202f000 are not drawn" in root.section("times").text()
    shown = [row for row in checks.all("tr") if "failed" in [cell.text() for cell in row.all("td")]]
    assert len(shown) == 400  # all that fail are among those shown


def test_of_a_long_list_the_failing_rows_stand_first_and_the_rest_is_folded() -> None:
    checks = [check("one", "CM1", n) for n in range(200)] + [failing("one", "CM9", 300)]
    section = page(record(checks=checks)).section("checks")
    first, rest = section.all("table")
    assert [row.all("th")[0].text() for row in first.all("tr")[1:] if row.all("th")] == ["CM9-300"]
    assert len(rest.all("tr")) == 201
    assert section.all("details")[0].all("summary")[0].text() == "The other 200"


def test_the_same_record_gives_the_same_bytes_in_any_process(tmp_path: Path) -> None:
    """The order of a set is another in each process, by the seed of its hashes."""
    path = tmp_path / "record.json"
    path.write_text(json.dumps(full()), encoding="utf-8")
    script = (
        "import json, sys; from pathlib import Path; from pipeline.issue.report.page import render;"
        " from pipeline.issue.report.thinning import Thinned;"
        " made = json.loads(Path(sys.argv[1]).read_text(encoding='utf-8'));"
        " sys.stdout.buffer.write(render(made, Thinned.none()))"
    )
    pages = {
        subprocess.run(
            [sys.executable, "-c", script, str(path)], check=True, capture_output=True, cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "77", "4000")
    }  # fmt: skip
    assert pages == {render(full(), Thinned.none())}


def test_an_issue_without_sessions_checks_or_coordinates_has_a_page_too() -> None:
    root = page(record(sessions=[], checks=[], marks=[], register=[], verdict="unchecked", inputs=[], files=[]))
    assert "Nothing in this issue has coordinates." in root.section("plan").text()
    assert "No control mark was occupied." in root.section("checks").text()
