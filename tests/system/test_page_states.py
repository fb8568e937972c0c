"""What the page makes of what it is told: several instruments, carbon monoxide, alarms, margins, lost connections."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from analysis.model import Channel, Reading
from analysis.units import INCH_OF_WATER
from collector.store import Store
from tests.system.page_bench import START, PageBench, alarm, empty_bench
from tests.system.programs import Look, browser, holds, looking, until

__all__ = ["browser"]

PPM = 1e-6
PLATE = {
    "switch_close": [0.95 * INCH_OF_WATER, 0.50 * INCH_OF_WATER],
    "switch_open": [0.85 * INCH_OF_WATER, 0.42 * INCH_OF_WATER],
}
CORNER = "document.querySelector('#room-co')"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.hello["plate"] = PLATE
        yield made


def until_told(look: Look, bench: PageBench, script: str, *rows: tuple[str, float | None], **changed: Any) -> None:
    """Tell the same readings again and again, as instruments do, until a script is true in the page."""
    deadline = time.monotonic() + 20
    while not holds(look.page, script):
        assert time.monotonic() < deadline, f"not within 20 s: {script}\n{look.text('#page')}"
        bench.now += 200_000_000
        bench.tell(*rows, **changed)
        look.page.wait_for_timeout(100)


def text_of(selector: str, words: str) -> str:
    return f"document.querySelector({selector!r}).innerText.includes({words!r})"


@pytest.mark.timeout(120)
def test_of_several_instruments_the_speaker_is_shown_and_named(bench: PageBench, browser: Browser):
    new, old = "draft_switch@new meter", "draft_switch@old meter"
    bench.rows["old meter"] = {"zeros": {old: "0.03 inH2O"}}
    bench.greet(new, old, "switch_closed@logger", "switch_closed@by hand: lamp")
    rows = ((new, 0.42 * INCH_OF_WATER), (old, 0.30 * INCH_OF_WATER), ("switch_closed@logger", 0.0))
    with looking(browser, bench.address) as look:
        bench.tell(("switch_closed@by hand: lamp", 1.0), before=180)
        told = text_of("#tile-draft_switch .tile-also", "also: new meter 0.42 in. w.c.")
        until_told(look, bench, told, *rows, speakers={"draft_switch": old, "switch_closed": "switch_closed@logger"})
        assert look.text("#tile-draft_switch .tile-value") == "0.30"
        assert look.text("#tile-draft_switch .tile-note") == "old meter · zeroed 0.03 inH2O"
        assert (
            look.text(".contact[data-point=switch_closed] .contact-word") == "open · lamp: closed, typed in 3 min ago"
        )
        look.page.click(".way[data-view=meters]")
        row = look.page.locator(".instrument[data-name='old meter']")
        assert "zeroed" in row.locator("summary").inner_text()
        row.locator("summary").click()
        row.locator(".undo-zero").click()
        look.until(text_of("#reply", "unzero done"))
        assert bench.commands()[-1]["arguments"] == {"channel": old}
        look.page.click(".way[data-view=live]")
        until_told(look, bench, text_of("#tile-draft_switch .tile-value", "0.42"), *rows, speakers={})


@pytest.mark.timeout(120)
def test_room_co_by_level_in_word_shape_and_colour(bench: PageBench, browser: Browser):
    """The worst fresh reading counts; what is old, typed in long ago or below zero never looks calm."""
    near, far, hand = "room_co@badge", "room_co@hall badge", "room_co@by hand: old badge"
    bench.greet(near, far, hand)
    with looking(browser, bench.address) as look:
        assert look.text("#room-co") == "CO not measured"
        shapes, colours = set(), set()
        for value, level, words in (
            (2, "", "room CO 2 ppm"),
            (9, "advise", "room CO 9 ppm: advise, find the source"),
            (45, "shut-down", "room CO 45 ppm: SHUT DOWN, ventilate"),
            (73, "evacuate", "room CO 73 ppm: EVERYBODY OUT"),
        ):
            until_told(look, bench, f"{text_of('#room-co-main', words)}", (near, 1 * PPM), (far, value * PPM))
            assert look.page.get_attribute("#room-co", "class") == level
            assert look.text("#room-co-more") == "hall badge · badge: 1 ppm"
            shapes.add(look.text("#room-co-shape"))
            colours.add(look.page.evaluate(f"getComputedStyle({CORNER}).backgroundColor"))
        assert len(shapes) == 4
        assert len(colours) == 3
        look.until(f"{text_of('#room-co-main', 'stale')} && {CORNER}.classList.contains('not-measured')")
        assert "73 ppm, EVERYBODY OUT" in look.text("#room-co-more"), "what was last seen is not forgotten"
        until_told(look, bench, text_of("#room-co-main", "below zero, check the meter"), (near, -3 * PPM), (far, None))
        assert "not-measured" in str(look.page.get_attribute("#room-co", "class"))


@pytest.mark.timeout(120)
def test_room_co_that_was_typed_in_says_when(bench: PageBench, browser: Browser):
    hand = "room_co@by hand: badge"
    bench.greet(hand)
    with looking(browser, bench.address) as look:
        bench.tell((hand, 0.0), before=120)
        look.until(text_of("#room-co", "room CO 0 ppm"))
        assert look.text("#room-co-more") == "typed in 2 min ago"
        bench.now += 1380 * 10**9
        bench.tell()
        look.until(text_of("#room-co-main", "CO not measured"))
        assert look.text("#room-co-more") == "typed in 25 min ago: 0 ppm"
        assert "not-measured" in str(look.page.get_attribute("#room-co", "class"))
        assert look.page.locator(".instrument button").count() == 0, "a gas meter is not zeroed"


@pytest.mark.timeout(120)
def test_the_highest_level_alone_gives_orders(bench: PageBench, browser: Browser):
    ladder = [
        alarm("advise", "room_co", "high", 9 * PPM, can_be_muted=False),
        alarm("shut_down", "room_co", "safety", 36 * PPM),
        alarm("everybody_out", "room_co", "safety", 70 * PPM),
    ]
    bench.status["alarms"] = ladder
    bench.greet("room_co@badge")
    with looking(browser, bench.address, width=390, height=844) as look:
        look.until("document.querySelectorAll('.alarm-row').length === 3")
        assert look.page.locator("#safety-message .unsafe").count() == 1
        assert "STOP: everybody out" in look.text("#safety-message")
        names = look.page.evaluate("[...document.querySelectorAll('.alarm-row')].map(row => row.dataset.name)")
        assert names == ["everybody_out", "shut_down", "advise"]
        assert "what to do for everybody_out" in look.text(".alarm-row[data-name=everybody_out]")
        for name in ("shut_down", "advise"):
            assert "what to do" not in look.text(f".alarm-row[data-name={name}]")
        assert look.page.locator(".alarm-mute").count() == 0
        bench.tell(alarms=[*ladder[:2], ladder[2] | {"state": "normal", "ended": START}])
        look.until(text_of("#safety-message", "STOP: shut down"))
        assert "what to do for shut_down" in look.text(".alarm-row[data-name=shut_down]")


@pytest.mark.timeout(120)
def test_an_alarm_is_seen_on_the_first_screen_of_a_telephone(bench: PageBench, browser: Browser):
    bench.status["alarms"] = [
        alarm("volts_low", "volts_control", "medium", 21.0),
        alarm("switch_opens", "draft_margin", "high", 0.0),
    ]
    bench.greet("draft_switch@meter", "volts_control@meter")
    rows = (("draft_switch@meter", 120.0), ("volts_control@meter", 20.0), ("draft_margin", -3.0))
    with looking(browser, bench.address, width=390, height=844) as look:
        until_told(look, bench, "document.querySelectorAll('.tile.in-alarm').length === 2", *rows)
        assert look.text("#alarm-line") == "▲ HIGH 2 alarms: switch opens"
        box = look.page.locator("#alarm-line").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844
        assert box["height"] >= 44
        assert look.text("#tile-draft_switch .tile-alarm") == "▲ high alarm: margin at the pressure switch"
        assert look.text("#tile-volts_control .tile-alarm") == "◆ medium alarm: 24 V control supply"
        look.page.focus("#alarm-line")
        look.page.keyboard.press("Enter")
        look.until("document.activeElement.id === 'alarms-title' && scrollY > 300")
        bench.tell(alarms=[])
        look.until("document.querySelector('#alarm-line').hidden && !document.querySelector('.tile.in-alarm')")


@pytest.mark.timeout(120)
def test_alarm_rows_tell_now_only_of_what_is_active_and_fresh(bench: PageBench, browser: Browser):
    over = {"state": "latched_unacknowledged", "since": START - 60 * 10**9, "ended": START - 20 * 10**9}
    bench.status["alarms"] = [
        alarm("too_hot", "temp_supply", "high", 76.7, value=80.0),
        alarm("margin", "draft_margin", "high", 0.0, **over),
    ]
    bench.greet("temp_supply@meter")
    with looking(browser, bench.address, timezone_id="America/Denver") as look:
        facts = ".alarm-row[data-name=too_hot] .alarm-facts"
        until_told(look, bench, text_of(facts, "now 176 °F"), ("temp_supply@meter", 80.0), ("draft_margin", -3.0))
        assert "since 23:31:20" in look.text(facts), "06:31:20 UTC in the mountains"
        row = look.text(".alarm-row[data-name=margin]")
        assert "over, held until acknowledged" in row
        assert "raised 23:30:20 · over 23:31:00" in row
        assert "now" not in look.text(".alarm-row[data-name=margin] .alarm-facts")
        until(look.page, "document.querySelector('#tile-temp_supply .tile-row.stale')", within=10)
        bench.tell()
        look.until(f"{text_of(facts, 'last 176 °F, stale')} && !{text_of(facts, 'now')}")


@pytest.mark.timeout(120)
def test_an_alarm_row_gives_the_age_of_a_number_that_is_no_present_value(bench: PageBench, browser: Browser):
    bench.status["alarms"] = [alarm("short", "draft_margin", "high", 0.0, value=-410.0)]
    bench.greet("draft_switch@meter")
    facts = ".alarm-row[data-name=short] .alarm-facts"
    with looking(browser, bench.address) as look:
        now = text_of(facts, "now \u22121.65")
        until_told(look, bench, now, ("draft_switch@meter", -400.0), ("draft_margin", -410.0))
        bench.now += 300 * 10**9
        gone = (("draft_switch@meter", None), ("draft_margin", None))
        last = "last \u22121.65 in. w.c., 5 min ago, no good value now"
        until_told(look, bench, f"{text_of(facts, last)} && !{now}", *gone)


@pytest.mark.timeout(120)
def test_an_alarm_whose_meter_was_taken_away_is_not_called_over(bench: PageBench, browser: Browser):
    over = {"state": "latched_unacknowledged", "since": START - 60 * 10**9, "ended": START - 20 * 10**9}
    bench.status["alarms"] = [alarm("too_hot", "temp_supply", "high", 76.7, value=None, **over)]
    typed = "temp_supply@by hand: dial gauge"
    bench.greet("temp_room@meter", typed)
    row = ".alarm-row[data-name=too_hot]"
    with looking(browser, bench.address) as look:
        lost = text_of(row, "no longer measured, held until acknowledged")
        bench.rows["by hand: dial gauge"] = {"age": 1500.0}
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        bench.tell((typed, 60.0), before=1500.0)
        look.until("document.querySelector('#tile-temp_supply .tile-row.stale')")
        until_told(look, bench, f"{lost} && {text_of(row, 'not measured since')}")
        assert "over" not in look.text(row)
        assert "alarm no longer measured, not acknowledged" in look.text("#alarm-line")
        note = look.text("#tile-temp_supply .tile-row")
        assert "dial gauge" in note
        assert "typed in 25 min ago" in note
        bench.greet("temp_supply@meter", typed)
        until_told(look, bench, text_of(row, "over, held until acknowledged"), ("temp_supply@meter", 60.0))


@pytest.mark.timeout(120)
def test_margins_say_what_they_are_margins_to(bench: PageBench, browser: Browser):
    low, high = "#tile-draft_switch .tile-margin", "#tile-draft_switch_high .tile-margin"
    meters = ("draft_switch@meter", "draft_switch_high@meter")
    bench.greet(*meters, "switch_high_closed@logger", "switch_closed@logger")
    margins = (("draft_margin", 10.0), ("draft_margin_high", 13.4))
    pressures = ((meters[0], 134.5), (meters[1], 250.0))
    with looking(browser, bench.address) as look:
        told = text_of(high, "margin 0.05 in. w.c. to make")
        contact = ("switch_high_closed@logger", 0.0)
        until_told(look, bench, told, *pressures, *margins, contact, making=True, making_high=True)
        assert look.text(low) == "margin 0.04 in. w.c. (switch contact not measured)"
        contacts = (("switch_high_closed@logger", 1.0), ("switch_closed@logger", 0.0))
        until_told(look, bench, text_of(low, "to make"), *pressures, *margins, *contacts, making_high=False)
        look.until(text_of(high, "to break"))
        assert look.page.evaluate(f"getComputedStyle(document.querySelector({low!r})).fontWeight") == "600"
        told = f"{text_of(low, 'pressure stale')} && document.querySelector({low!r}).classList.contains('dimmed')"
        until_told(look, bench, told, pressures[1], *margins, *contacts)
        assert look.page.evaluate(f"getComputedStyle(document.querySelector({low!r})).fontWeight") == "400"
        until_told(look, bench, text_of(low, "no good pressure"), (meters[0], None), ("draft_margin", None), *contacts)


@pytest.mark.timeout(120)
def test_a_recording_that_is_not_kept_and_a_recorder_that_is_gone(bench: PageBench, browser: Browser):
    bench.hello["kept"] = False
    names = [f"meter {number}" for number in range(12)]
    bench.greet(*(f"temp_room@{name}" for name in names), "draft_switch@meter 0")
    with looking(browser, bench.address, width=390, height=844) as look:
        look.until(text_of("#recorder-state", "not kept: notes will be lost when this ends"))
        look.page.click(".way[data-view=meters]")
        look.until(text_of(".instrument[data-name='meter 3'] .instrument-state", "reading · 0 s ago"))
        box = look.page.locator("#instruments").bounding_box()
        assert box is not None
        assert box["height"] < 844, "twelve instruments are one screen, not twelve"
        look.page.click(".way[data-view=live]")
        still = {"name": "call", "position": 5, "start": 0, "end": 9, "speed": 1, "paused": True, "loop": False}
        bench.tell(("draft_switch@meter 0", 100.0), replay=still)
        look.until(text_of("#tile-draft_switch", "paused"))
        stale = "document.querySelector('#tile-draft_switch .tile-main').classList.contains('stale')"
        assert not look.page.evaluate(stale)
        bench.cut()
        look.page.click(".way[data-view=meters]")
        look.until(text_of(".instrument[data-name='meter 3']", "not known: no connection"))
        assert "ago" not in look.text(".instrument[data-name='meter 3']")
        look.page.click(".way[data-view=live]")
        look.until(f"{text_of('#tile-draft_switch', 'no connection')} && {stale}")
        assert "whether it records is not known" in look.text("#recorder-state")


@pytest.mark.timeout(120)
def test_without_an_instrument_the_page_leads_to_the_form(bench: PageBench, browser: Browser):
    """On a telephone too; a bare number is meant in the unit shown."""
    bench.greet()
    with looking(browser, bench.address, width=390, height=844) as look:
        look.until(text_of("#no-tiles", "No instrument yet: type in a reading below"))
        look.until(text_of("#trends-message", "no readings yet"))
        assert look.page.locator("#trends .xtick").count() == 0
        look.page.click("#to-type-in")
        look.until("document.activeElement.id === 'type-in-point'")
        look.page.wait_for_selector("#type-in-value", state="visible")
        assert look.page.get_attribute("#type-in-value", "placeholder") == "0.52 in. w.c."
        sent = []
        for number, (point, text) in enumerate(
            (("draft_switch", ".5"), ("room_co", "0 ppm"), ("limit_closed", "1")), 1
        ):
            look.page.select_option("#type-in-point", point)
            look.page.fill("#type-in-value", text)
            look.page.click("#type-in-send")
            look.until("document.querySelector('#type-in-value').value === ''")
            sent.append(bench.commands()[number - 1]["arguments"]["value"])
        assert sent == [".5 in. w.c.", "0 ppm", "1"]
        look.choose("#units-switch")
        look.page.select_option("#type-in-point", "temp_supply")
        assert look.page.get_attribute("#type-in-value", "placeholder") == "20.0 °C"
        look.page.fill("#type-in-value", "−3")  # noqa: RUF001
        look.page.press("#type-in-value", "Enter")
        look.until("document.querySelector('#type-in-value').value === ''")
        assert bench.commands()[-1]["arguments"]["value"] == "−3 °C"  # noqa: RUF001


@pytest.mark.timeout(120)
def test_the_time_axis_is_local_wherever_the_browser_is(bench: PageBench, browser: Browser):
    """06:31:20 UTC is 23:31:20 of the day before in Denver; a zoom shows what was marked; live readings go on there."""
    channel = Channel("draft_switch", "meter", "inH2O")
    with Store(bench.recording) as store:
        store.append([channel, *(Reading(channel.key, START + second * 10**9, 0.5) for second in range(121))])
    bench.now = START + 120 * 10**9
    bench.greet(channel.key)
    bench.tell((channel.key, 124.5))
    graph = "document.querySelector('#trends .js-plotly-plot')"
    ticks = "[...document.querySelectorAll('#trends .xtick text')].map(tick => tick.textContent)"
    with looking(browser, bench.address, timezone_id="America/Denver") as look:
        look.page.click(".window[data-window='60']")
        look.until(f"{ticks}.some(text => text.startsWith('23:33:00'))")
        assert look.text("#trends-axis") == "local time"
        last = f"{graph}.data[0].x[{graph}.data[0].x.length - 1]"
        until_told(look, bench, f"{last} > {(START + 121 * 10**9) / 1e6}", (channel.key, 124.5))
        assert look.page.evaluate(f"{last} <= {bench.now / 1e6}")
        assert look.page.evaluate(f"{graph}.data[0].x.every((time, at, all) => !at || time - all[at - 1] <= 3000)")
        bench.event("water in the hose")
        look.until(text_of("#events", "23:33:2"))

        box = look.page.locator("#trends .nsewdrag").first.bounding_box()
        assert box is not None
        look.page.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + 40)
        before = look.page.evaluate(f"{graph}._fullLayout.xaxis.range.map(text => Date.parse(text.replace(' ', 'T')))")
        look.page.mouse.down()
        look.page.mouse.move(box["x"] + 0.75 * box["width"], box["y"] + 40, steps=4)
        look.page.mouse.up()
        marked = [before[0] + part * (before[1] - before[0]) for part in (0.25, 0.75)]
        look.until(f"{graph}.layout.xaxis.range.every((time, at) => Math.abs(time - {marked}[at]) < 3000)")
        assert look.text("#follow") == "back to live"
