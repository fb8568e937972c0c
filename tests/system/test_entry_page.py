"""Readings and photographs by hand on the page, at the width of a telephone and of a desk."""

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from collector.pictures import media_type_of
from collector.recording import Recording
from tests.collector.pictures import png
from tests.system.page_bench import alarm, empty_bench
from tests.system.programs import browser, lightoff, looking
from tests.system.test_screenshots import keep

__all__ = ["browser"]

PICTURES = os.environ.get("LIGHTOFF_SCREENSHOTS")
WIDE, HIGH = 3000, 900
ROW = bytes(value for place in range(WIDE) for value in (place % 256, place * 7 % 256, place * 13 % 256))
KEY = "gas_inlet@by hand: dial gauge"


@pytest.mark.timeout(120)
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_a_reading_and_its_photograph_by_keys_alone(  # noqa: PLR0915 - one story, told once
    browser: Browser, tmp_path: Path, monkeypatch, width: int, scheme: str
):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    path = tmp_path / "call.lightoff"
    picture = tmp_path / "meter.png"
    picture.write_bytes(png(WIDE, HIGH, ROW))
    with lightoff("record", "-o", str(path), "--port", "0", folder=tmp_path) as recorder:
        with looking(browser, recorder.address, width=width, height=844, color_scheme=scheme) as look:
            page = look.page
            page.wait_for_selector("#type-in-value")
            page.click(".way[data-view=meters]")
            page.keyboard.press("e")
            look.until("document.activeElement.id === 'type-in-value' && !document.querySelector('#view-live').hidden")
            page.select_option("#type-in-point", "gas_inlet")
            units = "[...document.querySelectorAll('#type-in-unit-choice option')].map(one => one.value)"
            assert page.evaluate(units) == ["in. w.c.", "Pa", "hPa", "mbar", "kPa", "psi"]
            page.select_option("#type-in-unit-choice", "mbar")
            page.fill("#type-in-meter", "dial gauge")
            page.fill("#type-in-when", "5 min ago")
            page.set_input_files("#type-in-photo", str(picture))
            page.fill("#type-in-value", "17.4")
            page.press("#type-in-value", "Enter")
            look.until("document.querySelector('#reply').innerText.startsWith('gas inlet: 17.4 mbar recorded at ')")
            look.until("document.querySelectorAll('#entries li').length === 1")
            look.until("[...document.querySelectorAll('#events img')].some(one => one.naturalWidth === 2048)")
            assert page.evaluate("document.querySelector('#type-in-when').value") == "", "the next one is of now"
            page.keyboard.press("Escape")
            look.until("!document.querySelector('#view-meters').hidden")  # back to where it was

            page.keyboard.press("e")
            assert page.input_value("#type-in-point") == "gas_inlet", "the point is remembered"
            assert page.input_value("#type-in-unit-choice") == "mbar"
            page.keyboard.type("174")
            page.keyboard.press("Enter")
            look.until("document.querySelectorAll('#entries li').length === 2")
            look.until("document.querySelector('#tile-gas_manifold').innerText.includes('69.85')")
            page.click("#entries li:first-child .entry-withdraw")
            look.until("document.querySelector('#entries li').classList.contains('withdrawn')")
            look.until("document.querySelector('#tile-gas_manifold').innerText.includes('6.99')")  # the first again
            meters = "[...document.querySelectorAll('#type-in-meters option')].map(one => one.value)"
            page.focus("#type-in-meter")
            assert page.evaluate(meters) == ["dial gauge"]

            page.fill("#note-text", "rating plate")
            page.set_input_files("#note-photo", str(picture))
            look.until("document.querySelectorAll('#events img').length === 2")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            if width == 390:
                assert look.small_targets() == []
            page.click(".way[data-view=recordings]")
            page.click(".recording-open")
            look.until("document.querySelectorAll('#recorded-events img').length === 2")
            look.until("document.querySelectorAll('#recorded-events .withdrawn').length === 1")
            look.until("[...document.querySelectorAll('#recorded-events img')].every(one => one.complete)")
            look.page.wait_for_load_state("networkidle")
    with Recording(path) as recording:
        assert recording.read(KEY).value.tolist() == [17.4, 174.0], "nothing was removed"
        first, second = recording.attachments()
        assert (first.name, first.media_type, second.text) == ("meter.jpg", "image/jpeg", "rating plate")
        for one in (first, second):
            content = recording.content(one.id)
            assert media_type_of(content) == "image/jpeg"
            assert _size(content) == (2048, 614), "made smaller before it was sent"
        (photo,) = [event for event in recording.events({EventKind.PHOTO}) if "channel" in event.data]
        assert (photo.data["channel"], photo.data["at"]) == (KEY, recording.read(KEY).time[0])


@pytest.mark.timeout(60)
def test_the_key_shows_the_whole_form_below_a_high_header(browser: Browser, tmp_path: Path):
    with empty_bench(tmp_path) as bench:
        bench.status["alarms"] = [alarm("room_co_high", "room_co", "high", 36e-6, text="Carbon monoxide in the room")]
        bench.greet("room_co@simulated: room meter", "temp_room@shared: a meter of another room")
        with looking(browser, bench.address, width=390, height=480) as look:
            look.until("document.querySelector('#page-state').innerText === 'connected'")
            look.until("!document.querySelector('#alarm-line').hidden")
            look.page.keyboard.press("e")
            look.until("document.activeElement.id === 'type-in-value'")
            header = look.page.locator("#top").bounding_box()
            where = look.page.locator("#entry-label-where").bounding_box()
            assert header is not None
            assert where is not None
            assert where["y"] >= header["y"] + header["height"]
            if PICTURES:
                keep(look, Path(PICTURES) / "entry-by-key-phone.png")


def _size(jpeg: bytes) -> tuple[int, int]:
    """Width and height in the frame header (ITU-T T.81, B.2.2)."""
    at = 2
    while not 0xC0 <= jpeg[at + 1] <= 0xC2:
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4])
    return int.from_bytes(jpeg[at + 7 : at + 9]), int.from_bytes(jpeg[at + 5 : at + 7])
