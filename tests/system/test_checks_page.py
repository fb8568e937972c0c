"""The checks in a real browser: ticked by keyboard, kept, replayed; what is open is seen on every view until closed."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from collector.checklists import OPENINGS, words
from collector.recording import Recording
from tests.system.page_bench import START, PageBench, empty_bench
from tests.system.programs import Look, browser, holds, lightoff, looking

__all__ = ["browser"]

VIEWS = ("live", "checks", "meters")
STRIP = "document.querySelector('#open-entries')"
WARNING = "document.querySelector('#open-warning')"
UA = 1e-6


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.hello["checks"] = words()
        made.status["checks"] = checks()
        yield made


def checks(*items: str, **ticked: str) -> dict[str, Any]:
    """State of the checks with these things open, and `list="item item"` ticked."""
    kinds = {one.item: one for one in OPENINGS}
    entries = [
        {"id": f"open-{number}", "item": item, "text": kinds[item].text, "since": START, "caution": kinds[item].caution}
        for number, item in enumerate(items)
    ]
    lists = [
        {"list": name, "ticked": [{"item": item, "since": START} for item in ticked.get(name, "").split()]}
        for name in ("before", "safe")
    ]
    return {"lists": lists, "open": entries, "closed": [], "ignored": 0}


def until_told(look: Look, bench: PageBench, script: str, *rows: tuple[str, float | None]) -> None:
    """Tell the same readings again and again until a script is true in the page."""
    deadline = time.monotonic() + 20
    while not holds(look.page, script):
        assert time.monotonic() < deadline, f"not within 20 s: {script}\n{look.text('#page')}"
        bench.now += 200_000_000
        bench.tell(*rows)
        look.page.wait_for_timeout(100)


def text_of(selector: str, text: str) -> str:
    return f"document.querySelector({selector!r}).innerText.includes({text!r})"


def in_sight(look: Look) -> list[str]:
    """Texts of the strip's rows that are displayed."""
    rows = "[...document.querySelectorAll('#open-list .entry')].filter(one => one.offsetParent)"
    found: list[str] = look.page.evaluate(f"{rows}.map(one => one.querySelector('strong').innerText)")
    return found


@pytest.mark.timeout(60)
def test_checks_by_keyboard_survive_a_reload_and_are_in_the_recording_and_its_replay(browser: Browser, tmp_path: Path):
    with lightoff("record", "-o", "call.lightoff", "--port", "0", folder=tmp_path) as record:
        with looking(browser, record.address) as look:
            page = look.page
            page.click(".way[data-view=checks]")
            look.until("document.querySelectorAll('.check-row').length === 20")
            row = "document.querySelector('[data-key=before-zeroed]')"
            page.focus("[data-key=before-zeroed]")
            page.keyboard.press("Space")
            look.until(f"{row}.getAttribute('aria-checked') === 'true'")
            assert page.evaluate(f"{row} === document.activeElement"), "the keyboard stays where it was"
            look.until(text_of("#checks-before .check-progress", "1 of 8"))
            assert page.inner_text("[data-key=before-zeroed] .check-time").count(":") == 1
            page.keyboard.press("Enter")
            look.until(f"{row}.getAttribute('aria-checked') === 'false'")
            page.keyboard.press("Enter")
            look.until(f"{row}.getAttribute('aria-checked') === 'true'")

            page.fill("#open-text", "by the trap")
            page.focus("[data-item=drain]")
            page.keyboard.press("Enter")
            look.until(text_of("#open-entries", "OPEN: drain opened (by the trap), since "))
            assert page.input_value("#open-text") == ""
            page.focus("[data-item=burner_box]")
            page.keyboard.press("Enter")
            look.until(text_of("#open-entries", "inducer only, gas cock shut, refit before firing"))
            look.until(text_of("#checks-safe .check-progress", "not safe to leave: 2 entries open"))
            page.click("[data-item=other]")
            assert page.evaluate("document.activeElement.id") == "open-text", "something else has to be named"

            assert look.complaints == []
            page.reload()  # may cut off a figure that is being asked for
            look.until(f"{row}.getAttribute('aria-checked') === 'true'")
            look.complaints = [one for one in look.complaints if "_dash-update-component" not in one]
            for view in VIEWS:
                page.click(f".way[data-view={view}]")
                assert in_sight(look) == ["OPEN: drain opened (by the trap)", "OPEN: burner-box cover off"]
            page.focus("#open-list .entry-close")
            page.keyboard.press("Enter")
            look.until("document.querySelectorAll('#open-list .entry').length === 1")
            page.click(".way[data-view=checks]")
            assert "drain closed, trap primed (by the trap), " in look.text("#checks-closed")
            page.click("#checks-closed button")
            look.until("document.querySelectorAll('#open-list .entry').length === 2")
            page.click("[data-key=list-open-2]")
            look.until("document.querySelectorAll('#open-list .entry').length === 1")
    assert any(line.startswith("lightoff: still open: drain opened (by the trap);") for line in record.lines)
    in_the_recording_and_its_replay(browser, tmp_path)


def in_the_recording_and_its_replay(browser: Browser, tmp_path: Path) -> None:
    with Recording(tmp_path / "call.lightoff") as recording:
        texts = [event.text for event in recording.events({EventKind.CHECK})]
    assert texts == [
        "before you start: meters zeroed",
        "before you start: meters zeroed, not done",
        "before you start: meters zeroed",
        "opened: drain opened (by the trap)",
        "opened: burner-box cover off",
        "closed: drain closed, trap primed (by the trap)",
        "opened again: drain opened (by the trap)",
        "closed: burner-box cover refitted",
    ]
    with lightoff("replay", "call.lightoff", "--speed", "max", "--port", "0", folder=tmp_path) as replay:
        with looking(browser, replay.address) as look:
            look.until(text_of("#open-entries", "OPEN: drain opened (by the trap)"))
            assert in_sight(look) == ["OPEN: drain opened (by the trap)"]
            look.page.click(".way[data-view=checks]")
            look.until("document.querySelector('[data-key=before-zeroed]').getAttribute('aria-checked') === 'true'")
            assert look.page.is_disabled("[data-key=before-zeroed]")
            assert "nothing can be ticked here" in look.text("#checks-open")
            assert look.page.locator("#view-checks button:visible:enabled, #open-entries button:visible").count() == 0


@pytest.mark.timeout(60)
def test_firing_while_a_cover_is_off_is_told_in_words_from_fresh_readings_only(bench: PageBench, browser: Browser):
    valve, flame = "gas_valve@logger", "flame_current@meter"
    bench.greet(valve, flame)
    with looking(browser, bench.address) as look:
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        assert look.page.is_hidden("#open-entries")
        bench.status["checks"] = checks("burner_box", "hose")
        hidden, shown = f"{WARNING}.hidden && !{STRIP}.hidden", f"!{WARNING}.hidden"
        until_told(look, bench, hidden, (valve, 0.0), (flame, 0.4 * UA))
        until_told(look, bench, shown, (valve, 1.0), (flame, 0.0))
        assert look.text("#open-warning") == "▲ gas valve on while the burner-box cover is off: stop firing"
        assert look.page.get_attribute("#open-warning", "role") == "alert"
        until_told(look, bench, hidden, (flame, 0.4 * UA))
        until_told(look, bench, shown, (valve, 0.0), (flame, 2.0 * UA))
        assert look.text("#open-warning") == "▲ flame current while the burner-box cover is off: stop firing"
        bench.status["checks"] = checks("intake_pipe", "vent_joint")
        both = text_of("#open-warning", "while the intake pipe is off and a vent joint is open: stop firing")
        until_told(look, bench, both, (valve, 1.0))
        bench.status["checks"] = checks("drain")
        until_told(look, bench, text_of("#open-warning", "while the drain is open: stop firing"), (valve, 1.0))
        bench.status["checks"] = checks("hose", "gas_cock")
        until_told(look, bench, hidden, (valve, 1.0), (flame, 2.0 * UA))
        bench.status["checks"] = checks()
        until_told(look, bench, f"{STRIP}.hidden", (valve, 1.0))


@pytest.mark.timeout(60)
@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_on_a_telephone_every_entry_is_in_sight_and_everything_is_for_a_thumb(
    bench: PageBench, browser: Browser, scheme: str
):
    items = [one.item for one in OPENINGS][:6]
    bench.status["checks"] = checks(*items, before="room_co plate", safe="tees tagged")
    bench.greet("draft_switch@meter")
    with looking(browser, bench.address, width=390, height=844, color_scheme=scheme) as look:
        look.until("document.querySelectorAll('#open-list .entry').length === 6")
        for view in VIEWS:
            look.page.click(f".way[data-view={view}]")
            assert len(in_sight(look)) == 6
            assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
            small = look.page.evaluate(
                "[...document.querySelectorAll('button, input, select, summary')].filter(e => e.offsetParent)"
                ".filter(e => Math.min(e.getBoundingClientRect().height, e.getBoundingClientRect().width) < 44)"
                ".map(e => e.id || e.className)"
            )
            assert small == []
        look.page.click(".way[data-view=checks]")
        assert look.text("#checks-before .check-progress") == "2 of 8"
        assert look.text("#checks-safe .check-progress") == "gas and power off, tagged · 6 entries stay open"
        look.page.click("[data-key=safe-hoses]")
        look.until(text_of("#reply", "check done"))
        assert bench.commands()[-1]["arguments"] == {"list": "safe", "item": "hoses", "done": True}
        look.page.click("[data-key=safe-tees]")
        look.page.click("[data-key=strip-open-0]")
        look.until(text_of("#reply", "close_entry done"))
        assert [one["arguments"] for one in bench.commands()[-2:]] == [
            {"list": "safe", "item": "tees", "done": False},
            {"id": "open-0"},
        ]


@pytest.mark.timeout(60)
def test_what_another_version_recorded_is_shown_by_its_text(bench: PageBench, browser: Browser):
    told = checks()
    told["lists"][0]["ticked"] = [
        {"item": "ladder", "since": START, "title": "before", "text": "ladder <b>secured</b>"}
    ]
    told["lists"].append(
        {"list": "customer", "ticked": [{"item": "x", "since": START, "title": "customer", "text": "told"}]}
    )
    told["open"] = [{"id": "open-3", "item": "roof", "text": "roof hatch open", "since": START, "caution": ""}]
    bench.status["checks"] = told | {"ignored": 2}
    bench.greet("draft_switch@meter")
    with looking(browser, bench.address, timezone_id="America/Denver") as look:
        look.page.click(".way[data-view=checks]")
        look.until(text_of("#checks-before", "✓ ladder <b>secured</b>, 23:31"))
        assert look.text("#checks-before .check-progress") == "0 of 8"
        assert "✓ customer: told, 23:31" in look.text("#checks-more")
        assert "2 checks of this recording could not be followed" in look.text("#checks-more")
        assert "OPEN: roof hatch open, since 23:31" in look.text("#open-entries")
        assert look.text("#open-list .entry-close") == "put back"
