"""The live view: phase and first drop, trends of a tile, one time read off across the charts, jumps, keys, settings."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import Channel, Event, EventKind, Reading
from analysis.units import INCH_OF_WATER
from collector.store import Store
from tests.system.page_bench import START, PageBench
from tests.system.programs import CHARTS, TRACES, Look, browser, has_trends, looking

__all__ = ["browser"]

SWITCH = Channel("draft_switch", "meter", "inH2O")
CLOSED = Channel("switch_closed", "logger", "1")
FLAME = Channel("flame_current", "meter", "uA")
SECOND = 10**9
LENGTH = 600
"""Of the recording. [s]"""
SHOWN = f"{CHARTS}.filter(one => one.offsetParent)"
RANGE = f"{SHOWN}.map(one => one._fullLayout.xaxis.range.map(lightoff.charts.milliseconds))"
CONNECTED = "document.querySelector('#page-state').innerText === 'connected'"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    """Ten minutes: the pressure rises by 0.001 in. w.c. a second; the switch is open from 300 to 310 s; a mark."""
    path = tmp_path / "call.lightoff"
    readings = [
        reading
        for second in range(LENGTH + 1)
        for reading in (
            Reading(SWITCH.key, START + second * SECOND, 0.3 + second / 1000),
            Reading(CLOSED.key, START + second * SECOND, float(not 300 <= second < 310)),
            Reading(FLAME.key, START + second * SECOND, 3.0),
        )
    ]
    with Store(path) as store:
        store.append([SWITCH, CLOSED, FLAME, *readings, Event(START + 120 * SECOND, EventKind.MARK, "water heard")])
    with PageBench(path).running() as made:
        made.now = START + LENGTH * SECOND
        made.greet(SWITCH.key, CLOSED.key, FLAME.key)
        yield made


def begin(look: Look, bench: PageBench) -> None:
    """The page is there, and every meter has said something."""
    look.until(CONNECTED)
    bench.tell((SWITCH.key, 0.9 * INCH_OF_WATER), (CLOSED.key, 1.0), (FLAME.key, 3e-6))
    look.page.wait_for_selector("#tile-draft_switch .tile-main")


def go_on(look: Look, bench: PageBench, seconds: int, value: float, step: float) -> None:
    """Readings of the pressure twice a second [in. w.c.]."""
    for half in range(2 * seconds):
        bench.now += SECOND // 2
        bench.tell((SWITCH.key, (value + half * step) * INCH_OF_WATER))
        look.page.wait_for_timeout(20)


@pytest.mark.timeout(120)
def test_the_phase_is_the_largest_and_says_what_comes_next(bench: PageBench, browser: Browser):
    phase = {"phase": "prepurge", "text": "purge: pressure switch closed, gas off", "since": bench.now - 9 * SECOND}
    phase |= {"expected": 15.0, "next": "igniter", "trial": 1, "trials": 3}
    with looking(browser, bench.address, width=390, height=844, timezone_id="UTC") as look:
        begin(look, bench)
        bench.tell(phase=phase)
        look.until("!document.querySelector('#headline').hidden")
        assert look.text("#headline-phase") == "Purge: pressure switch closed, gas off"
        assert look.text("#headline-more") == "9 s of about 15 s · try 1 of 3 · next: igniter"
        size = "parseFloat(getComputedStyle(document.querySelector('{}')).fontSize)"
        assert look.page.evaluate(f"{size.format('#headline-phase')} > {size.format('.tile h2')}")
        bench.tell(phase=phase | {"settled": False})
        look.until("document.querySelector('#headline-phase').innerText.startsWith('Probably purge')")
        assert look.text("#headline-more").endswith("next, probably: igniter")
        stop = {"name": "flame_without_gas", "text": "STOP: flame with the gas valve closed", "stop": True}
        bench.tell(phase=phase, warnings=[stop])
        look.until("document.querySelector('#headline.danger #headline-warnings').innerText.startsWith('STOP: flame')")
        ends = "document.querySelector('{}').getBoundingClientRect().{}"
        above = f"{ends.format('#headline-warnings', 'bottom')} <= {ends.format('#headline-phase', 'top')} + 1"
        assert look.page.evaluate(above)
        bench.tell(phase=None)
        look.until("document.querySelector('#headline-phase').hidden")
        assert look.page.is_visible("#headline-warnings"), "also where no phase is known"
        bench.tell(phase=phase, warnings=[])
        look.until("document.querySelector('#headline-warnings').hidden")
        assert not look.page.is_visible("#headline-drop")
        first = {"time": START + 300 * SECOND, "points": ["switch_closed"]}
        bench.tell(
            phase=phase | {"phase": "stopped", "text": "pressure switch open", "expected": None}, first_drop=first
        )
        look.until("document.querySelector('#headline-drop').innerText === 'opened first: pressure switch at 06:36:20'")
        look.until(
            "document.querySelector('.contact[data-point=switch_closed] .contact-first').innerText === 'opened first'"
        )
        bench.tell(first_drop=first | {"points": ["switch_closed", "gas_valve"]})
        look.until("document.querySelector('#headline-drop').innerText.includes('not told apart by these meters')")
        bench.tell(phase=None)
        look.until("document.querySelector('#headline').hidden")


@pytest.mark.timeout(120)
def test_a_tile_says_whether_its_value_rises_or_falls(bench: PageBench, browser: Browser):
    row = "#tile-draft_switch .tile-main"
    with looking(browser, bench.address) as look:
        begin(look, bench)
        go_on(look, bench, 10, 0.90, 0.01)
        look.until(f"document.querySelector('{row} .tile-trend').innerText === '↗ rising'")
        go_on(look, bench, 12, 1.10, 0.0)
        look.until(f"document.querySelector('{row} .tile-trend').innerText === '→ steady'")
        go_on(look, bench, 10, 1.10, -0.01)
        look.until(f"document.querySelector('{row} .tile-trend').innerText === '↘ falling'")
        look.until(f"document.querySelector('{row}').classList.contains('stale')")
        look.until(f"document.querySelector('{row} .trend-word').innerText === ''", within=5)


@pytest.mark.timeout(120)
def test_a_growing_suction_is_told_as_rising(bench: PageBench, browser: Browser):
    key = "draft_collector@meter"
    bench.greet(key)
    with looking(browser, bench.address) as look:
        look.until(CONNECTED)
        for half in range(20):
            bench.now += SECOND // 2
            bench.tell((key, -(1.0 + half / 100) * INCH_OF_WATER))
            look.page.wait_for_timeout(20)
        look.until("document.querySelector('#tile-draft_collector .trend-word').innerText === 'rising'")
        assert look.text("#tile-draft_collector .tile-word") == "suction"


@pytest.mark.timeout(120)
def test_the_pressure_stands_on_a_scale_with_make_and_break(bench: PageBench, browser: Browser):
    bench.hello["plate"] = {"switch_close": [0.5 * INCH_OF_WATER], "switch_open": [0.4 * INCH_OF_WATER]}
    bench.greet(SWITCH.key)
    left = "parseFloat(document.querySelector('#tile-draft_switch .scale-{}').style.{})"
    with looking(browser, bench.address) as look:
        bench.tell((SWITCH.key, 0.6 * INCH_OF_WATER))
        look.until("document.querySelector('#tile-draft_switch .tile-value').innerText === '0.60'")
        parts = [
            look.page.evaluate(left.format(*one)) for one in (("break", "left"), ("make", "left"), ("fill", "width"))
        ]
        assert parts == pytest.approx([40.0, 50.0, 60.0], abs=0.1)
        assert not look.page.evaluate("document.querySelector('.tile-scale').classList.contains('under')")
        bench.now += SECOND
        bench.tell((SWITCH.key, 0.3 * INCH_OF_WATER))
        look.until("document.querySelector('.tile-scale').classList.contains('under')")
        bench.now += SECOND
        bench.tell((SWITCH.key, 1.2 * INCH_OF_WATER))
        look.until(f"{left.format('make', 'left')} < 50")
        bench.now += SECOND
        bench.tell((SWITCH.key, 0.6 * INCH_OF_WATER))
        look.until("document.querySelector('#tile-draft_switch .tile-value').innerText === '0.60'")
        assert look.page.evaluate(left.format("make", "left")) < 50, "it does not shrink under the eye"


@pytest.mark.timeout(120)
def test_one_time_is_read_off_across_all_charts(bench: PageBench, browser: Browser):
    """With the slider by keys, and under the mouse; pausing keeps the span, and live goes on where it is."""
    with looking(browser, bench.address, width=1400, height=1000, timezone_id="UTC") as look:
        page = look.page
        begin(look, bench)
        page.click(".window[data-window='0']")
        look.until(has_trends(500))
        look.until(f"{RANGE}.every(range => Math.abs(range[0] - {START / 1e6}) < 15000)")
        page.click("#follow")
        assert look.text("#follow") == "back to live"
        page.focus("#trends-cursor")
        page.keyboard.press("Home")
        look.until("document.querySelector('#trends-cursor-time').innerText === 'at 06:31:20'")
        values = "[...document.querySelectorAll('.chart:not([hidden]) .legend-value')].map(one => one.innerText)"
        look.until(f"{values}.join('; ') === '0.30 in. w.c.; closed; 3.0 µA'")
        page.fill("#trends-cursor", "505")
        look.until(f"{values}[1] === 'open'")
        seen = page.evaluate(values)
        assert seen[0] in ("0.60 in. w.c.", "0.61 in. w.c.")
        page.keyboard.press("ArrowRight")
        box = page.locator("[data-chart=draft] .nsewdrag").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 50)
        look.until(f"{values}[1] === 'closed' && {values}[0].startsWith('0.4')")
        line = page.locator("#trends-cursor-line").bounding_box()
        assert line is not None
        assert line["x"] == pytest.approx(box["x"] + 0.2 * box["width"], abs=3)
        assert line["height"] > 300, "across all charts"
        page.mouse.move(5, 5)
        look.until("document.querySelector('#trends-cursor-time').innerText.startsWith('at 06:36:2')")
        page.click("#trends-cursor-clear")
        look.until(f"{values}.every(text => text === '') && document.querySelector('#trends-cursor-line').hidden")
        before = page.evaluate(RANGE)
        go_on(look, bench, 3, 0.9, 0.0)
        assert page.evaluate(RANGE) == before, "paused"
        page.click("#follow")
        look.until(f"{RANGE}.every(range => range[1] >= {bench.now / 1e6})")


@pytest.mark.timeout(120)
def test_a_mark_is_jumped_to_and_the_span_moves_by_buttons(bench: PageBench, browser: Browser):
    """On a telephone, where nothing is dragged."""
    mark = START + 120 * SECOND
    with looking(browser, bench.address, width=390, height=844, timezone_id="UTC") as look:
        begin(look, bench)
        bench.now, now = mark, bench.now
        bench.event("water heard")
        bench.now = now
        look.until("document.querySelector('.event-show') !== null")
        look.page.click(".event-show")
        look.until(f"{RANGE}.length && {RANGE}.every(r => r[0] < {mark / 1e6} - 50000 && r[1] > {mark / 1e6} + 50000)")
        assert look.text("#trends-cursor-time") == "at 06:33:20"
        look.until(f"{SHOWN}[0].layout.shapes.some(shape => shape.x0 === {mark / 1e6})")
        assert "▼ mark" in look.page.evaluate(f"{SHOWN}[0].layout.annotations.map(note => note.text)")
        before = look.page.evaluate(RANGE)[0]
        look.page.click("#trends-earlier")
        look.until(f"{RANGE}.every(r => Math.abs(r[0] - {before[0] - (before[1] - before[0]) / 2}) < 500)")
        look.page.click("#trends-later")
        look.until(f"{RANGE}.every(r => Math.abs(r[0] - {before[0]}) < 500)")
        assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
        look.page.click("#follow")
        look.until(f"{RANGE}.every(r => r[1] >= {bench.now / 1e6})")


@pytest.mark.timeout(120)
def test_an_axis_grows_and_does_not_shrink_until_a_window_is_chosen(bench: PageBench, browser: Browser):
    axis = f"{SHOWN}[0]._fullLayout.yaxis.range"
    with looking(browser, bench.address) as look:
        begin(look, bench)
        look.until(has_trends(100))
        look.until(f"{axis}[1] === 1.5")
        go_on(look, bench, 1, 2.2, 0.0)
        look.until(f"{axis}[1] === 2.5")
        go_on(look, bench, 2, 0.5, 0.0)
        bench.event("a note asks for fresh charts")
        look.page.wait_for_timeout(800)
        assert look.page.evaluate(f"{axis}[1]") == 2.5
        look.page.click(".window[data-window='60']")
        look.until(f"{RANGE}[0][1] - {RANGE}[0][0] < 70000")
        assert look.page.evaluate(f"{TRACES}.every(trace => trace.x.length <= 2000)")


@pytest.mark.timeout(120)
def test_one_key_each_and_none_when_they_are_switched_off(bench: PageBench, browser: Browser):
    with looking(browser, bench.address) as look:
        page = look.page
        look.until(CONNECTED)
        page.keyboard.press("m")
        look.until("document.querySelector('#reply').innerText.includes('mark done')")
        page.keyboard.press("p")
        look.until("document.querySelector('#follow').innerText === 'back to live'")
        page.keyboard.press("n")
        look.until("document.activeElement.id === 'note-text'")
        page.keyboard.type("mnp 2")
        assert page.input_value("#note-text") == "mnp 2", "while something is typed a key is a letter"
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press("2")
        look.until("!document.querySelector('#view-checks').hidden && location.hash === '#checks'")
        page.go_back()
        look.until("document.querySelector('#view-checks').hidden")
        look.choose("#keys-switch")
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press("m")
        page.keyboard.press("2")
        page.wait_for_timeout(300)
        assert [one["name"] for one in bench.commands()] == ["mark"]
        assert page.evaluate("document.querySelector('#view-checks').hidden")
        page.reload()
        look.until(
            "document.querySelector('#keys-switch') && document.querySelector('#keys-switch').textContent === 'keys on'"
        )


@pytest.mark.timeout(120)
def test_a_replay_of_a_simulated_unit_says_both(bench: PageBench, browser: Browser):
    bench.greet("draft_switch@replay: simulated: meter")
    still = {"name": "drain", "position": 5, "start": 0, "end": 9, "speed": 1, "paused": False, "loop": False}
    with looking(browser, bench.address) as look:
        bench.tell(replay=still)
        banner = "REPLAY: drain, a simulated unit — not a live call"
        look.until(f"document.querySelector('#origin-banner').innerText === {banner!r}")
