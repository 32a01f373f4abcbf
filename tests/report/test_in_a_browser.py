"""The report in a real browser: on a phone, at a desk, zoomed in, in the dark, by keyboard and on paper."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from browser import CHROMIUM, Browser, checker
from office_jobs import FAILING, NOW, PENDING, add_issue, job_file
from record_made import at, check, diagnosis, failing, mark, record, session, tie

from pipeline.issue.report.page import render
from pipeline.issue.report.thinning import Thinned
from pipeline.office.page import office

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium here")

NEEDS_AXE = pytest.mark.skipif(
    checker() is None, reason="axe-core is not at hand: pip install axe-core-python, or TIEDOWN_AXE=its file"
)

#: Width in pixels and zoom: two phones, a desk, and that desk at 200 %.
WINDOWS = [(360, 1.0), (390, 1.0), (1200, 1.0), (1200, 2.0)]

#: Texts whose contrast with what lies behind is below that of WCAG 2.2, 1.4.3 (level AA): 4.5, or 3 where they are
#: large; by the formula of relative luminance there.
CONTRAST = """(() => {
  const parts = text => (text.match(/[\\d.]+/g) || []).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = one => { for (let at = one; at; at = at.parentElement) {
    const found = parts(getComputedStyle(at).backgroundColor);
    if (found.length === 3 || found[3] > 0) return found; } return [255, 255, 255]; };
  const low = [];
  for (const one of document.querySelectorAll("body *:not(svg *)")) {
    if (![...one.childNodes].some(c => c.nodeType === 3 && c.textContent.trim())) continue;
    const style = getComputedStyle(one), size = parseFloat(style.fontSize);
    const [a, b] = [light(parts(style.color)), light(behind(one))].sort((x, y) => y - x);
    const need = size >= 24 || (size >= 18.66 && style.fontWeight >= 700) ? 3 : 4.5;
    if ((a + 0.05) / (b + 0.05) < need) low.push(one.tagName + ": " + one.textContent.slice(0, 40));
  }
  return low; })()"""

#: Boxes that scroll but that no keyboard reaches (WCAG 2.2, 2.1.1), or whose region has no name (4.1.2).
UNREACHED = """[...document.querySelectorAll("*")]
  .filter(e => e.scrollWidth > e.clientWidth + 1
  && ["auto", "scroll"].includes(getComputedStyle(e).overflowX)
  && !(e.tabIndex === 0 && e.getAttribute("role") && e.getAttribute("aria-label")))
  .map(e => e.outerHTML.slice(0, 80))"""


def many_sessions(number: int, suspects: int = 60) -> dict[str, Any]:
    """A job of many sessions with everything in it, three of which failed."""
    names = [f"s{n:03d}" for n in range(number)]
    verdicts = {name: "failed" for name in names[5:8]}
    checks = [tie(names[0], "CM1", 20)]
    for name in names:
        checks.append((failing if name in verdicts else check)(name, "CM2-with-a-rather-long-name", 30))
    suspect = {
        "name": "P1", "code": "FENCE", "session": "s005", "observed": at(30), "easting": 1500000.0,
        "northing": 5100000.0, "height": 12.0, "held_back": True,
    }  # fmt: skip
    return record(
        verdict="failed",
        local_clock="Pacific/Auckland",
        particulars={"client": "A. Bee", "crew": ["C. Dee", "E. Eff"], "a-long-word": "x" * 200},
        sessions=[session(name, verdict=verdicts.get(name, "proven")) for name in names],
        checks=checks,
        diagnoses=[diagnosis("s005", ["CM2-30"])],
        marks=[mark("CM1", 1500000.0, 5100000.0), mark("CM2-with-a-rather-long-name", 1500900.0, 5100700.0)],
        suspect={"total": suspects, "points": [suspect] * suspects},
        rows={"read": 400, "points": 39, "on_marks": 301, "held_back": 60, "by_reason": {"suspect": 60}},
        notes=["see https://example.org/" + "long/" * 60, 'a note\n[[session]]\nname = "one"'],
    )  # fmt: skip


def load_axe(browser: Browser) -> None:
    script = checker()
    assert script is not None
    browser.run(script.read_text(encoding="utf-8"))


def found_by_axe(browser: Browser, asked: str = "{}") -> tuple[Any, int]:
    """What axe-core, loaded into the page, finds wrong, and how many of its rules were kept."""
    told = "r.violations.map(v => [v.id, v.nodes.slice(0, 3).map(n => n.html.slice(0, 150))])"
    look = f"then(r => [JSON.stringify({told}), r.passes.length])"
    found, passes = browser.run(f"axe.run(document, {{resultTypes: ['violations'], ...{asked}}}).{look}")
    return json.loads(found), passes


@pytest.fixture(scope="module")
def page() -> str:
    return render(many_sessions(300), Thinned.none()).decode()


@pytest.fixture(scope="module")
def shorter() -> str:
    """Enough sessions for every kind of row and everything that is folded: layout takes a fifth of the time."""
    return render(many_sessions(60), Thinned.none()).decode()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with Browser() as found:
        yield found


def test_nothing_makes_the_page_scroll_sideways(browser: Browser, shorter: str) -> None:
    """One page in every window, first as it is opened, then with all that is folded shown."""
    browser.show(shorter, 360)
    for folded in (True, False):
        for width, zoom in (*WINDOWS, (360, 2.0)):
            browser.look(width, zoom=zoom)
            over = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            assert browser.run(over) == 0, (width, zoom, folded)
            assert browser.run(UNREACHED) == [], (width, zoom, folded)
        browser.run("document.querySelectorAll('details').forEach(e => { e.open = true })")


def test_a_phone_shows_the_result_at_once_and_drawings_large_enough_to_read(browser: Browser, page: str) -> None:
    browser.show(page, 360)
    assert browser.run("document.querySelector('.verdict').getBoundingClientRect().bottom") < 640
    assert not browser.run("document.querySelector('.verdict').textContent").isspace()
    # nine pixels: the least that a font of a browser is drawn in by common practice, no source
    assert browser.run("Math.min(...[...document.querySelectorAll('#times ~ figure svg text')].map(e =>"
                       " e.getBoundingClientRect().height))") >= 9  # fmt: skip


def test_captions_of_wide_tables_stay_within_a_phone(browser: Browser, page: str) -> None:
    browser.show(page, 360)
    assert browser.run("Math.max(...[...document.querySelectorAll('caption span')].filter(e => e.checkVisibility())"
                       ".map(e => e.getBoundingClientRect().right))") <= 360  # fmt: skip


@pytest.mark.parametrize(("width", "medium"), [(900, "screen"), (1400, "screen"), (688, "print")])
def test_the_result_of_a_check_needs_no_scrolling(width: int, medium: str, browser: Browser, shorter: str) -> None:
    """In half a desk's window, and on A4 within its margins (210 - 2 x 14 mm at 96 pixels an inch: 688)."""
    browser.show(shorter, width, medium=medium)
    assert 0 < browser.run("Math.max(...[...document.querySelectorAll('th')].filter(e => e.textContent === 'Result' &&"
                           " e.checkVisibility()).map(e => e.getBoundingClientRect().right))") <= width  # fmt: skip


def test_notes_below_rows_stay_within_a_phone(browser: Browser, page: str) -> None:
    browser.show(page, 360)
    assert 0 < browser.run("Math.max(...[...document.querySelectorAll('tr.more span')].filter(e => e.checkVisibility())"
                           ".map(e => e.getBoundingClientRect().right))") <= 360  # fmt: skip


@pytest.mark.parametrize("dark", [False, True])
def test_texts_stand_out_in_the_light_and_in_the_dark(dark: bool, browser: Browser, shorter: str) -> None:
    browser.show(shorter, 1200, dark=dark)
    background = browser.run("getComputedStyle(document.documentElement).backgroundColor")
    assert (background == "rgb(255, 255, 255)") != dark
    assert browser.run(CONTRAST) == []


def test_on_paper_three_hundred_sessions_are_folded_to_what_matters(browser: Browser, page: str) -> None:
    browser.show(page, 1200, medium="print")
    seen = browser.run("[...document.querySelectorAll('#times ~ figure, #times ~ details figure')].filter(e =>"
                       " e.checkVisibility({contentVisibilityAuto: true})).length")  # fmt: skip
    assert seen == 3, "those that failed"
    pages = browser.printed().count(b"/Type /Page\n")
    assert 0 < pages <= 24


#: Window, scheme, and what of axe-core's rules is asked: the page has no scripts and is one document in all windows, so
#: that colours are looked at on a phone, at a desk and in the dark, and all that hangs on layout in every window.
LOOKS = [
    (360, 1.0, False, "{}"),
    (390, 1.0, False, "{rules: {'color-contrast': {enabled: false}}}"),
    (1200, 1.0, False, "{}"),
    (1200, 2.0, False, "{rules: {'color-contrast': {enabled: false}}}"),
    (1200, 1.0, True, "{runOnly: ['color-contrast']}"),
]


@NEEDS_AXE
def test_axe_finds_nothing(browser: Browser) -> None:
    """A page with one row at least of everything; how long it is changes nothing but the time."""
    browser.show(render(many_sessions(9, suspects=3), Thinned.none()).decode(), 360)
    load_axe(browser)
    for width, zoom, dark, asked in LOOKS:
        browser.look(width, zoom=zoom, dark=dark)
        found, passes = found_by_axe(browser, asked)
        assert found == [] and passes, (width, zoom, dark)


@NEEDS_AXE
def test_axe_finds_what_is_wrong(browser: Browser) -> None:
    """That it is asked rightly: a picture without words, and grey on grey."""
    browser.show("<!DOCTYPE html><title>x</title><img src='data:,'><p style='color:#aaa;background:#bbb'>low</p>", 360)
    load_axe(browser)
    found = {rule for rule, _ in found_by_axe(browser)[0]}
    assert {"image-alt", "color-contrast", "html-has-lang"} <= found


# The page over many jobs, in the same look


@pytest.fixture(scope="module")
def office_page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Over jobs of every kind, with long names: 70 that need attention, so that some are folded."""
    top = tmp_path_factory.mktemp("office")
    for number in range(64):
        job_file(top / "never" / f"{number:03d}", f"never-{number:03d}")
    for name, more in (("good" * 12, {}), ("failing", FAILING), ("long" * 30, {"local_clock": "Pacific/Auckland"})):
        add_issue(job_file(top / name), NOW, "because-of-" + "a-long-word" * 12, **more)
    waiting = job_file(top / "waiting")
    add_issue(waiting)
    add_issue(waiting, NOW, **FAILING, **PENDING)
    (top / "pyproject.toml").write_text("[tool]\n")
    (job_file(top / "broken")).write_text("[job]\nname = \n")
    office([top, top / ("gone" * 40)], top / "page.html", NOW - timedelta(days=1), NOW)
    return (top / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(("width", "zoom"), [(360, 1.0), (1200, 2.0)])
def test_nothing_makes_the_office_page_scroll_sideways(
    width: int, zoom: float, browser: Browser, office_page: str
) -> None:
    browser.show(office_page, width, zoom=zoom)
    for folded in (True, False):
        assert browser.run("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0, folded
        assert browser.run(UNREACHED) == []
        browser.run("document.querySelectorAll('details').forEach(e => { e.open = true })")


def test_the_office_page_shows_on_a_phone_at_once_how_many_need_attention(browser: Browser, office_page: str) -> None:
    browser.show(office_page, 360)
    assert browser.run("document.querySelector('.verdict').getBoundingClientRect().bottom") < 640
    assert "67 need attention" in browser.run("document.querySelector('.verdict').textContent")


@pytest.mark.parametrize("dark", [False, True])
def test_texts_of_the_office_page_stand_out(dark: bool, browser: Browser, office_page: str) -> None:
    browser.show(office_page, 1200, dark=dark)
    assert browser.run(CONTRAST) == []


@NEEDS_AXE
def test_axe_finds_nothing_on_the_office_page(browser: Browser, office_page: str) -> None:
    browser.show(office_page, 360)
    load_axe(browser)
    for width, dark in ((360, False), (1200, True)):
        browser.look(width, dark=dark)
        found, passes = found_by_axe(browser)
        assert found == [] and passes, (width, dark)
