"""The demo in a real browser: it lives, alarms, takes notes, survives, and says that it is a replay."""

import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from collector.recording import Recording
from tests.system import open_data
from tests.system.programs import CHARTS, NEWEST, TRACES, browser, has_trends, lightoff, looking, page_process, until

__all__ = ["browser"]


@pytest.mark.timeout(180)
def test_the_demo_lives(browser: Browser, tmp_path: Path):
    """Tiles and trends change, an alarm comes and is acknowledged, a note is taken, a reload keeps it all."""
    with lightoff("demo", "--speed", "40", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        address = demo.address
        with looking(browser, address) as look:
            page = look.page
            page.wait_for_selector("#tile-draft_switch .tile-value")
            assert "REPLAY: drain_backs_up" in look.text("#origin-banner")
            assert "not a live call" in look.text("#origin-banner")
            assert look.text("#room-co").startswith("room CO")

            before = look.text("#tile-draft_switch .tile-value")
            look.until(f"document.querySelector('#tile-draft_switch .tile-value').innerText !== {before!r}")
            look.until(has_trends(20))
            newest = page.evaluate(NEWEST)
            look.until(f"{NEWEST} > {newest} + 5000")
            labels = page.evaluate(f"{CHARTS}.flatMap(one => one.layout.annotations || []).map(a => a.text)")
            assert {"make", "break", "plate: supply limit"} <= set(labels)

            row = page.locator(".alarm-row", has_text="close to its opening point")
            row.locator(".alarm-acknowledge").click(timeout=60_000)
            look.until("[...document.querySelectorAll('.event')].some(e => e.innerText.includes('acknowledged'))")

            page.select_option("#replay-speed", "5")
            page.fill("#note-text", "trap cleared, 1½ cups of water")
            page.click("#note-send")
            look.until("document.querySelector('#events').innerText.includes('1½ cups')")
            page.keyboard.press("Escape")
            page.evaluate("document.activeElement.blur()")
            page.keyboard.press("m")
            look.until("[...document.querySelectorAll('.event-kind')].some(e => e.innerText === 'mark')")

            page.reload()
            look.until("document.querySelector('#events').innerText.includes('1½ cups')")
            look.until(has_trends(20))
            assert page.evaluate(f"Math.max(...{TRACES}.map(t => t.x.length))") <= 2000
    with Recording(tmp_path / "demo.lightoff") as recording:
        assert [event.text for event in recording.events({EventKind.NOTE})] == ["trap cleared, 1½ cups of water"]
        assert len(recording.events({EventKind.MARK})) == 1
        moved = [event.data["to"] for event in recording.events({EventKind.ALARM})]
        assert "unacknowledged" in moved
        assert "acknowledged" in moved or "latched_acknowledged" in moved


@pytest.mark.timeout(120)
def test_units_theme_and_a_telephone(browser: Browser, tmp_path: Path):
    """One switch turns every number; at the width of a telephone nothing has to be scrolled sideways."""
    with lightoff("demo", "--speed", "10", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address, width=390, height=844, color_scheme="light", has_touch=True) as look:
            look.page.wait_for_selector("#tile-draft_switch .tile-value")
            look.until("document.querySelector('#tile-temp_supply .tile-unit').innerText === '°F'")
            look.choose("#units-switch")
            look.until("document.querySelector('#tile-temp_supply .tile-unit').innerText === '°C'")
            look.until("document.querySelector('#tile-draft_switch .tile-unit').innerText === 'Pa'")
            look.until(has_trends(5))
            assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
            assert look.small_targets() == []
            look.page.reload()
            look.until("document.querySelector('#tile-temp_supply .tile-unit').innerText === '°C'")


@pytest.mark.timeout(120)
def test_the_replay_is_driven_from_the_page(browser: Browser, tmp_path: Path):
    with lightoff("demo", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address) as look:
            look.page.wait_for_selector("#replay-pause")
            look.until("document.querySelector('#replay-position').innerText.includes('of 22:')")
            look.page.click("#replay-pause")
            look.until("document.querySelector('#replay-position').innerText.includes('paused')")
            look.page.evaluate(
                "const s = document.querySelector('#replay-seek'); s.value = 700;"
                "s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change'));"
            )
            look.page.click("#replay-pause")
            look.until("document.querySelector('#replay-position').innerText.startsWith('11:4')")
            look.until("document.querySelector('#tile-flame_current .tile-value').innerText !== '–'")  # noqa: RUF001
            look.until(has_trends(3))


# Of each trace: its channel, and the times at which it has a value; a break in a line has none.
LINES = """[...document.querySelectorAll('#trends .js-plotly-plot, #trends.js-plotly-plot')]
    .flatMap(g => g.data || []).filter(t => t.meta && t.meta.key && !("lane" in t.meta) && t.meta.longest !== null)
    .map(t => [t.meta.key, Array.from(t.x).filter((_, place) => t.y[place] !== null)])"""

BACK_WITHIN = 5.0
"""From the new page's address to a browser that is connected again. [s]"""


@pytest.mark.alone
@pytest.mark.timeout(120)
def test_a_page_that_is_killed_comes_back_and_the_recording_never_noticed(browser: Browser, tmp_path: Path):
    """Kill -9 of the page's process: a new one serves the same address, the browser connects again by itself."""
    with lightoff("demo", "--speed", "5", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        address = demo.address
        context = browser.new_context()
        page = context.new_page()
        page.goto(address)
        page.wait_for_selector("#tile-draft_switch .tile-value")
        until(page, has_trends(20), within=20)
        before = page.evaluate(NEWEST)
        until(page, f"{NEWEST} > {before} + 5000", within=20)
        killed = time.monotonic()
        os.kill(page_process(demo.process.pid), signal.SIGKILL)
        until(page, "document.querySelector('#page-state').innerText.includes('lost')", within=20)
        assert demo.says("page:").split()[0] == address
        back = time.monotonic()
        until(page, "document.querySelector('#page-state').innerText === 'connected'", within=BACK_WITHIN)
        connected = time.monotonic()
        print(f"\nkilled, served again after {back - killed:.1f} s, connected {connected - back:.1f} s later")  # noqa: T201
        until(page, has_trends(20), within=20)
        reached = page.evaluate(NEWEST)
        until(page, f"{NEWEST} > {reached} + 5000", within=20)
        lines = page.evaluate(LINES)
        context.close()
    with Recording(tmp_path / "demo.lightoff") as recording:
        time_ = recording.read("draft_switch@replay: simulated: switch manometer").time
        assert ((time_[1:] - time_[:-1]) < 0.3e9).all(), "the recording has a hole"
        assert len(lines) > 3
        for key, shown in (line for line in lines if "@" in line[0] and len(line[1]) > 1):
            there = recording.read(key).time / 1e6
            there = there[(there >= shown[0] - 1) & (there <= shown[-1] + 1)]  # drawn to the millisecond
            outage = 5 * 1000 * (connected - killed)  # [ms of the replay]
            hole = float(np.diff(there).max()) + outage / 2
            assert np.diff(shown).max() < hole, f"{key}: the trend has a hole that the recording does not have"


@pytest.mark.timeout(120)
def test_open_measurements_are_replayed_onto_the_page(browser: Browser, tmp_path: Path):
    """Measurements of a real room appear on the page as the source has them; its last reading is checked."""
    data = open_data.room()
    (tmp_path / "room.csv").write_text(data.text)
    times = [(time, float(value)) for time, value in data.columns["temp_room@room meter [degC]"]]
    with lightoff("replay", "room.csv", "--speed", "max", "--port", "0", folder=tmp_path) as replay:
        with looking(browser, replay.address) as look:
            look.page.wait_for_selector("#tile-temp_outdoor", state="attached")
            look.choose("#units-switch")
            last = f"{times[-1][1]:.1f}"
            row = "document.querySelector('.tile-row[data-point=temp_room] .tile-value')"
            look.until(f"{row} && {row}.innerText === '{last}'")
            look.page.click(".window[data-window='0']")
            look.until(has_trends(500))
            lines = look.page.evaluate(f"{TRACES}.map(t => [t.meta && t.meta.key, t.y])")
    humidity = next(y for key, y in lines if key == "humidity_room@replay: room meter")
    shown = [value for value in humidity if value is not None]
    source = [100 * float(value) for _, value in data.columns["humidity_room@room meter [1]"]]
    assert min(shown) == pytest.approx(min(source))
    assert max(shown) == pytest.approx(max(source))
