"""The view of the meters in a real browser: each in plain words, its last trouble kept, and all of them in one line."""

import os
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
        look.until(text_of(CHIP, "2 meters reading · flame meter: not said to be isolated"))
        assert "worried" in (look.page.get_attribute(CHIP, "class") or "")
        look.page.click(".way[data-view=meters]")
        hand = look.page.locator(".instrument[data-name='by hand: wall'] .instrument-state")
        assert hand.inner_text() == "typed in 0 s ago"
        amber = look.page.locator(".instrument.worried[data-name='flame meter'] .instrument-state")
        assert "not said to be isolated" in amber.inner_text()
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


SWAPPED = {
    "name": "switch_hoses",
    "points": ["draft_switch"],
    "instruments": ["switch manometer"],
    "word": "hoses may be swapped",
    "text": "switch manometer: the pressure at the pressure switch reads reversed while the inducer runs; "
    "its hoses may be swapped: check the hoses",
    "since": START,
}
CLOCK = {"offset": 12.3, "offset_u": 0.1, "drift": 10.4, "drift_u": 1.0, "text": "12.3 s behind, losing 0.90 s a day"}


def fill(bench: PageBench, count: int) -> None:
    """A call of so many meters, one with everything to say of itself."""
    draft = "draft_switch@switch manometer"
    bench.rows["switch manometer"] = {
        "readings": 4100,
        "rate": 10.04,
        "latency": {"median": 0.012, "largest": 0.040},
        "accuracy": {draft: "0.5 % + 0.01 inH2O"},
        "response_time": {draft: 0.5},
        "losses": ["12 messages missing by its own counter", "3 messages came twice and were taken once"],
        "facts": {
            "battery": 0.12,
            "low_battery": True,
            "conditions": ["low battery: change or charge it", "display held: what it shows is not the present"],
            "warm_up_left": 41.2,
            "clock": CLOCK,
            "signal": -67,
            "device": {"model": "Example 1", "firmware": "2.0"},
        },
    }
    bench.rows["flame meter"] = {"facts": {"battery": 0.8, "low_battery": False}}
    rest = [f"temp_room@wall thermometer {number}" for number in range(count - 2)]
    bench.greet(draft, "flame_current@flame meter", *rest)


@pytest.mark.timeout(60)
def test_a_meter_tells_its_battery_clock_latency_and_what_is_suspected(bench: PageBench, browser: Browser):
    """In the list, in the line that sums up, and beside the value on the live page."""
    bench.status["suspicions"] = [SWAPPED]
    fill(bench, 3)
    with looking(browser, bench.address) as look:
        look.until(text_of(CHIP, "3 meters reading · switch manometer: low battery, hoses may be swapped"))
        bench.tell(("draft_switch@switch manometer", -120.0))
        look.until(
            "document.querySelector('#tile-draft_switch .tile-note').innerText.startsWith('hoses may be swapped')"
        )
        look.page.click(".way[data-view=meters]")
        row = look.page.locator(".instrument[data-name='switch manometer']")
        state = row.locator(".instrument-state").inner_text()
        assert state == "reading · 0 s ago · hoses may be swapped · warming up, 42 s left · low battery · display held"
        row.locator("summary").click()
        facts = [line for line in row.locator(".meter-facts").inner_text().splitlines() if line.strip()]
        told = dict(zip(facts[::2], facts[1::2], strict=True))
        assert told["latency"] == "taken in 12 ms after arrival, at most 40 ms (last 10 s)"
        assert told["suspected"] == str(SWAPPED["text"]).removeprefix("switch manometer: ")
        assert told["warm-up"] == "42 s left, readings doubtful until then"
        assert told["says"] == "display held: what it shows is not the present"
        assert told["battery"] == "LOW, 12 %, change or charge it"
        assert told["its clock"] == CLOCK["text"]
        assert told["signal"] == "\N{MINUS SIGN}67 dBm"
        assert told["device"] == "model Example 1, firmware 2.0"
        other = look.page.locator(".instrument[data-name='flame meter']")
        other.locator("summary").click()
        assert "battery\n80 %" in other.locator(".meter-facts").inner_text().replace("\n\n", "\n")
        assert other.locator(".instrument-state").inner_text() == "reading · 0 s ago"
        bench.rows["flame meter"] = {"facts": {"battery": 0.1, "low_battery": True}}
        bench.tell()
        low = "low battery: switch manometer, flame meter · hoses may be swapped: switch manometer"
        look.until(text_of(CHIP, f"3 meters reading · {low}"))


@pytest.mark.timeout(60)
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1440, "light")])
def test_twenty_meters_fit_and_every_one_can_be_opened(
    bench: PageBench, browser: Browser, width: int, scheme: str, tmp_path: Path
):
    bench.status["suspicions"] = [SWAPPED]
    fill(bench, 20)
    with looking(browser, bench.address, width=width, height=844, color_scheme=scheme) as look:
        look.until(text_of(CHIP, "20 meters reading · switch manometer: low battery"))
        look.page.click(".way[data-view=meters]")
        look.page.locator(".instrument summary").first.click()
        assert look.page.locator(".instrument").count() == 20
        assert look.page.evaluate("document.documentElement.scrollWidth") <= width
        last = look.page.locator(".instrument summary").last
        last.click()
        box = last.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        keep = Path(os.environ.get("LIGHTOFF_SCREENSHOTS", tmp_path)) / f"meters-{width}-{scheme}.png"
        look.page.evaluate("scrollTo(0, 0)")
        keep.write_bytes(look.page.screenshot())
