"""The view of the meters in a real browser: each in plain words, its last trouble kept, and all of them in one line."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.system.page_bench import START, PageBench, empty_bench
from tests.system.programs import browser, looking

__all__ = ["browser"]

CHIP = "#meters-state"
TROUBLE = {"time": START - 600 * 10**9, "text": "switch manometer: unplugged; plug it in"}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        yield made


def text_of(selector: str, text: str) -> str:
    return f"document.querySelector({selector!r}).innerText.includes({text!r})"


@pytest.mark.timeout(60)
def test_a_meter_tells_everything_about_itself_in_plain_words(bench: PageBench, browser: Browser):
    draft, flame = "draft_switch@switch manometer", "flame_current@flame meter"
    bench.rows["switch manometer"] = {
        "since": START - 3600 * 10**9,
        "readings": 4100,
        "rate": 10.04,
        "age": 2.0,
        "losses": ["lost 2 times, without readings for 14 s", "3 lines could not be read"],
        "last_error": TROUBLE,
        "errors": 5,
        "accuracy": {draft: "0.5 % + 0.01 inH2O"},
        "response_time": {draft: 0.5},
        "zeros": {draft: "0.03 inH2O"},
        "zeroed": {draft: START - 1800 * 10**9},
        "isolated": True,
    }
    bench.rows["flame meter"] = {"isolated": None, "needs_isolation": True}
    bench.greet(draft, flame, "temp_room@by hand: wall")
    with looking(browser, bench.address, timezone_id="America/Denver") as look:
        look.until(text_of(CHIP, "2 meters reading"))
        look.page.click(".way[data-view=meters]")
        row = look.page.locator(".instrument[data-name='switch manometer']")
        assert row.locator(".instrument-state").inner_text() == "reading · 2 s ago · zeroed · lost 2 times"
        row.locator("summary").click()
        facts = row.locator(".meter-facts").inner_text().splitlines()
        assert [line for line in facts if line.strip()] == [
            *("state", "reading since 22:31:20"),
            *("last reading", "2 s ago"),
            *("readings", "4100, 10 a second"),
            *("losses", "lost 2 times, without readings for 14 s; 3 lines could not be read"),
            *("last trouble", "23:21:20: unplugged; plug it in (5 times in all)"),
            *("isolated", "yes, the job says so"),
            "measures",
            "at the pressure switch [inH2O]: accuracy 0.5 % + 0.01 inH2O, response time 0.5 s,"
            " zeroed 0.03 inH2O at 23:01:20",
        ]
        other = look.page.locator(".instrument[data-name='flame meter']")
        other.locator("summary").click()
        told = other.locator(".meter-facts").inner_text()
        assert "not stated: on the flame rod, igniter or line circuit use an isolated meter" in told
        assert "accuracy not stated, response time not stated" in told
        assert "losses\nnone" in told.replace("\n\n", "\n")

        zero = row.locator(".buttons button").first
        assert zero.inner_text() == "zero at the pressure switch"
        zero.click()
        assert bench.commands() == [], "the first press asks"
        assert zero.inner_text() == "hoses off? zero now"
        zero.click()
        look.until(text_of("#reply", "zero done"))
        assert bench.commands()[-1]["arguments"] == {"channel": draft}
        row.locator(".undo-zero").click()
        look.until(text_of("#reply", "unzero done"))


@pytest.mark.timeout(60)
def test_one_line_says_how_all_meters_do_and_leads_to_them(bench: PageBench, browser: Browser):
    """A lost meter is named, on a telephone too; hands are no meter; what nobody typed in is not listed."""
    names = [f"temp_room@meter {number}" for number in range(5)]
    bench.rows["by hand"] = {"readings": 0, "age": None, "origin": "by hand"}
    everyone = (*names, "draft_switch@switch manometer", "temp_outdoor@by hand")
    bench.greet(*everyone)
    with looking(browser, bench.address, width=390, height=844) as look:
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        look.until("document.querySelector('#meters-state').textContent === '6 meters reading'")
        bench.rows["switch manometer"] = {"state": "trying again", "last_error": TROUBLE, "text": TROUBLE["text"]}
        bench.tell()
        look.until(text_of(CHIP, "1 of 6 lost: switch manometer"))
        box = look.page.locator(CHIP).bounding_box()
        assert box is not None
        assert box["height"] >= 44
        assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
        look.page.focus(CHIP)
        look.page.keyboard.press("Enter")
        look.until(text_of(".instrument[data-name='switch manometer'] .instrument-state", "lost, trying again"))
        assert look.page.locator(".instrument").count() == 6
        assert "unplugged; plug it in" in look.text(".instrument[data-name='switch manometer'] .instrument-text")
        bench.rows["meter 0"] = bench.rows["meter 1"] = {"state": "stopped"}
        bench.tell()
        look.until(text_of(CHIP, "3 of 6 lost: meter 0, meter 1 and 1 more"))
        bench.rows["switch manometer"] = {"state": "connecting", "lost_since": START - 90 * 10**9}
        bench.rows["meter 0"] = bench.rows["meter 1"] = {}
        bench.tell()
        look.until(text_of(CHIP, "1 of 6 lost: switch manometer"))
        assert "lost, connecting again" in look.text(".instrument[data-name='switch manometer'] .instrument-state")
        bench.rows["switch manometer"] = {"state": "connecting", "readings": 0, "age": None, "errors": 2}
        bench.tell()
        look.until(text_of(CHIP, "1 of 6 not there: switch manometer"))
        bench.rows["switch manometer"] = {"state": "connecting", "readings": 0, "age": None}
        bench.tell()
        look.until(text_of(CHIP, "1 of 6 connecting: switch manometer"))
        bench.cut()
        look.until(text_of(CHIP, "meters not known"))
