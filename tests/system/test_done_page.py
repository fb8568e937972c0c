"""What I did, in a real browser on a telephone: entered with a thumb, taken back, and in the recording."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from collector.recording import Recording
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]

SMALL = (
    "[...document.querySelectorAll('#done .done-button')].filter(one => one.offsetParent)"
    ".filter(one => Math.min(one.getBoundingClientRect().height, one.getBoundingClientRect().width) < 56.6).length"
)
"""Targets under 15 mm, which are 56.7 px."""


def told(text: str) -> str:
    return f"document.querySelector('#done-list').innerText.includes({text!r})"


@pytest.mark.timeout(60)
def test_a_deed_and_a_result_are_entered_taken_back_and_in_the_recording(browser: Browser, tmp_path: Path):
    with lightoff("record", "-o", "call.lightoff", "--port", "0", folder=tmp_path) as record:
        with looking(browser, record.address, width=390, height=844) as look:
            page = look.page
            look.until(told("nothing is entered"))
            page.click("#done-add summary")
            page.click("[data-what=filter_changed]")
            look.until(told("filter changed, "))
            page.fill("#done-text", "both ends")
            page.click("[data-what=hose_replaced]")
            look.until(told("hose replaced (both ends), "))
            page.select_option("#done-test", "terminations")
            assert page.evaluate(SMALL) == 0
            page.click("[data-result=intake]")
            look.until(told("Look at the terminations outside: intake covered or iced, "))
            assert page.is_hidden("#done-results")
            page.click("[data-what=other]")
            assert page.evaluate("document.activeElement.id") == "done-text", "something else has to be named"
            page.click("[data-id=done-1]")
            look.until(f"!{told('filter changed')}")
            assert page.evaluate("document.documentElement.scrollWidth") <= 390
            assert look.complaints == []
    with Recording(tmp_path / "call.lightoff") as recording:
        texts = [event.text for event in recording.events({EventKind.DONE})]
    assert texts == [
        "filter changed",
        "hose replaced (both ends)",
        "Look at the terminations outside: intake covered or iced",
        "taken back: filter changed",
    ]
