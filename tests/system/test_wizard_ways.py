"""A new meter where something is amiss: an error and its correction, a line that does not fit, a meter taken back."""

from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.system.page_bench import PageBench, empty_bench
from tests.system.programs import Look, browser, looking
from tests.system.test_screenshots import keep
from tests.system.test_wizard import FLAME, PICTURES, until_step, with_answers

__all__ = ["browser"]


def to_form(look: Look, bench: PageBench) -> Page:
    """To the form of step 1, filled in for a meter on a serial port."""
    with_answers(bench)
    bench.greet("temp_room@room meter")
    page = look.page
    look.until("document.querySelector('#page-state').textContent === 'connected'")
    page.click(".way[data-view='meters']")
    page.click("#wizard-open")
    until_step(look, 1)
    page.click("#wizard-other summary")
    page.select_option("#wizard-by", "serial")
    page.select_option("#wizard-profile", "line-pressure")
    page.fill("#wizard-address", "/dev/ttyUSB0")
    return page


def to_points(look: Look, bench: PageBench, point: str = "draft_switch") -> Page:
    """To step 2 with its point chosen."""
    page = to_form(look, bench)
    page.click("#wizard-next")
    until_step(look, 2)
    page.select_option("#wizard-value-0", point)
    return page


def test_a_click_on_next_counts_though_it_ends_the_typing_that_corrects_an_error(browser: Browser, tmp_path: Path):
    with empty_bench(tmp_path) as bench, looking(browser, bench.address, width=390, height=844) as look:
        page = to_points(look, bench)
        page.fill("#wizard-named", "")
        page.click("#wizard-next")
        look.until("document.querySelector('#wizard-trouble').innerText.includes('give it a name')")
        page.click("#wizard-named")
        page.keyboard.type("switch manometer")
        page.locator("#wizard-next").scroll_into_view_if_needed()
        before = page.locator("#wizard-next").bounding_box()
        assert before is not None
        page.mouse.move(before["x"] + 20, before["y"] + 6)
        page.mouse.down()
        look.until("document.activeElement.id !== 'wizard-named'")
        assert page.locator("#wizard-next").bounding_box() == before, "it moved under the finger"
        assert not page.locator("#wizard-trouble").is_visible(), "an error that is corrected still stands there"
        page.mouse.up()
        until_step(look, 3)


def test_a_line_that_does_not_fit_is_said_and_another_baud_can_be_chosen(browser: Browser, tmp_path: Path):
    with empty_bench(tmp_path) as bench, looking(browser, bench.address, width=1280, height=844) as look:
        page = to_form(look, bench)
        assert look.text("#wizard-baud option") == "9600, as its kind has it"
        page.select_option("#wizard-baud", "38400")
        page.select_option("#wizard-by", "mqtt")
        assert not page.locator("#wizard-baud").is_visible()
        page.select_option("#wizard-by", "serial")
        page.select_option("#wizard-profile", "line-pressure")
        page.select_option("#wizard-baud", "38400")
        page.click("#wizard-next")
        until_step(look, 2)
        page.select_option("#wizard-value-0", "draft_switch_high")
        assert page.input_value("#wizard-named") == "high-stage pressure switch meter"
        page.click("#wizard-more summary")
        assert page.get_attribute("#wizard-accuracy", "placeholder") == "e.g. 0.5 % + 0.01 inH2O"
        trial = bench.server.answers["trial_state"]["data"]
        silent = {**FLAME, "point": "draft_switch_high", "count": 0, "value": None, "native": None, "recent": []}
        bench.server.answers["trial_state"] = {
            "data": {**trial, "state": "connecting", "unreadable": 7, "values": [silent]}
        }
        page.click("#wizard-next")
        until_step(look, 3)
        words = "it speaks, but nothing fits: go back and choose another kind or baud"
        look.until(f"document.querySelector('#trial-state.bad').innerText === {words!r}")
        begun = next(one for one in reversed(bench.commands()) if one["name"] == "trial_start")
        assert begun["arguments"]["instrument"]["baud"] == "38400"
        keep_where_wanted(look, "misfit")
        bench.server.answers["trial_state"] = {"data": {**trial, "unreadable": 7, "values": [{**silent, "count": 3}]}}
        look.until("document.querySelector('#trial-state').innerText.startsWith('reading')")


def test_the_heading_says_what_was_done(browser: Browser, tmp_path: Path):
    with empty_bench(tmp_path) as bench, looking(browser, bench.address, width=390, height=844) as look:
        page = to_points(look, bench, "draft_switch_high")
        bench.server.answers["job_undo"] = {"text": "undone", "data": {"saved": True}}
        page.click("#wizard-next")
        until_step(look, 3)
        page.click("#wizard-next")
        until_step(look, 4)
        assert "pressure: at the high-stage pressure switch" in look.text("#wizard-room")
        page.click("#wizard-next")
        look.until("document.querySelector('#wizard-step').innerText === 'Added'")
        page.click("#wizard-undo")
        look.until("document.querySelector('#wizard-step').innerText === 'Taken back'")
        keep_where_wanted(look, "taken-back")


def keep_where_wanted(look: Look, name: str) -> None:
    if PICTURES:
        keep(look, Path(PICTURES) / f"wizard-{name}.png")
