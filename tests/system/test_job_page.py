"""The job on the page, with the program itself: filled in while it records, checked, saved, undone; comments stay."""

import subprocess
import sys
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from analysis.model import EventKind
from collector.recording import Recording
from tests.system.programs import Look, browser, lightoff, looking

__all__ = ["browser"]

JOB = """\
# an invented unit
[site]
name = "back basement"   # where it is

[furnace]
fuel = "natural gas"
# rise from the plate
rise = ["35 degF", "65 degF"]   # window

# the humidifier
[[limit]]
point = "humidity_supply"
above = "60 %"
"""
SAVED = "document.querySelector('#job-news').innerText.includes('saved to')"
LINES = "document.querySelector('#tile-draft_switch .tile-lines').innerText"
MARGIN = "document.querySelector('#tile-draft_switch .tile-margin').innerText"


def field(key: str, number: int = 0) -> str:
    return f"[data-key='{key}'] input >> nth={number}"


def open_job(look: Look) -> Page:
    look.page.click(".way[data-view='job']")
    look.until("document.querySelector('#job-form').offsetParent")
    return look.page


def type_in(page: Page, point: str, value: str) -> None:
    page.click(".way[data-view='live']")
    page.select_option("#type-in-point", point)
    page.fill("#type-in-value", value)
    page.press("#type-in-value", "Enter")


def checked(folder: Path, name: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "collector", "check-job", name], cwd=folder, capture_output=True, text=True, check=False
    )
    return done.stdout + done.stderr


@pytest.mark.timeout(120)
def test_numbers_come_first_and_the_job_is_filled_in_while_it_records(browser: Browser, tmp_path: Path):
    """Without a job file: a reading typed in gets its margin when the make point is saved, on every open page."""
    with lightoff("record", "--port", "0", "-o", "call.lightoff", folder=tmp_path) as program:
        address = program.address
        with looking(browser, address) as look, looking(browser, address) as other:
            look.until("document.querySelector('#page-state').innerText === 'connected'")
            type_in(look.page, "draft_switch", "0.70 inH2O")
            other.until("document.querySelector('#tile-draft_switch .tile-value').innerText === '0.70'")
            assert other.text("#tile-draft_switch .tile-lines") == ""
            page = open_job(look)
            assert "no job file yet" in look.text("#job-where")
            page.fill(field("furnace.switch_close", 1), "0.50 inH2O")
            page.fill(field("furnace.rise", 0), "35 degF")
            page.fill(field("furnace.rise", 1), "65 degF")
            page.click("#job-save")
            look.until(SAVED)
            text = (tmp_path / "call.toml").read_text()
            assert text == '[furnace]\nrise = ["35 degF", "65 degF"]\nswitch_close = ["0.50 inH2O"]\n'
            other.until(f"{LINES} === 'make 0.50 in. w.c.'")
            other.until(f"{MARGIN}.startsWith('margin 0.20 in. w.c.')")
            assert other.text("#tile-draft_switch .tile-value") == "0.70", "no reading was lost with the new job"
            type_in(page, "draft_switch", "0.62 inH2O")
            other.until(f"{MARGIN}.startsWith('margin 0.12 in. w.c.')")

            page.click(".way[data-view='job']")
            page.click("#job-undo")
            look.until("document.querySelector('#job-news').innerText.includes('undone')")
            assert not (tmp_path / "call.toml").exists()
            other.until(f"{LINES} === '' && !document.querySelector('#tile-draft_switch .tile-margin').offsetParent")
            assert page.input_value(field("furnace.rise")) == ""
    with Recording(tmp_path / "call.lightoff") as recording:
        assert [event.data["text"] for event in recording.events({EventKind.JOB})] == [text, ""]
        assert recording.read("draft_switch@by hand: not named").value.tolist() == [0.70, 0.62]


@pytest.mark.timeout(120)
def test_a_given_file_keeps_its_comments_and_a_mistake_is_never_saved(browser: Browser, tmp_path: Path):
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    asked = ("record", "--job", "job.toml", "--port", "0", "-o", "call.lightoff")
    with lightoff(*asked, folder=tmp_path) as program:
        with looking(browser, program.address) as look:
            page = open_job(look)
            page.fill(field("furnace.rise", 0), "65 degF")
            page.fill(field("furnace.rise", 1), "35")
            page.click("#job-save")
            look.until(
                "document.querySelector('[data-key=\"furnace.rise\"] .job-wrong').innerText.includes('has no unit')"
            )
            assert file.read_text() == JOB
            assert "nothing was saved: 1 mistake to correct first" in look.text("#job-news")
            assert page.get_attribute(field("furnace.rise", 1), "aria-invalid") == "true"
            assert look.text(".job-mistake").startswith("line 8, temperature rise window: '35' has no unit")
            page.click(".job-mistake")
            look.until("document.activeElement.closest('[data-key=\"furnace.rise\"]')")

            page.click("#job-as-text")
            look.until("document.querySelector('#job-text').offsetParent")
            typed = page.input_value("#job-text")
            assert 'rise = ["65 degF", "35"]   # window' in typed, "what was typed goes along"
            page.click(".job-mistake")
            assert page.evaluate("String(getSelection())").startswith("rise = ") or page.evaluate(
                "(t => t.value.slice(t.selectionStart, t.selectionEnd))(document.querySelector('#job-text'))"
            ).startswith("rise = ")
            page.fill("#job-text", typed.replace('["65 degF", "35"]', '["40 degF", "70 degF"]') + "nonsense\n")
            page.click("#job-as-form")
            look.until("document.querySelector('#job-news').innerText.includes('once the text is TOML')")
            assert "line 14" in look.text(".job-mistake")
            page.fill("#job-text", typed.replace('["65 degF", "35"]', '["40 degF", "70 degF"]'))
            page.click("#job-as-form")
            look.until("document.querySelector('#job-form').offsetParent")
            assert page.input_value(field("furnace.rise", 0)) == "40 degF"

            page.click("[data-section='limit'] summary")
            page.click("[data-section='limit'] .job-remove")
            page.click("[data-section='limit'] .job-add")
            row = "[data-section='limit'] .job-entry >> nth=1"
            page.locator(row).locator("[data-key='limit.point'] select").select_option("temp_supply")
            page.locator(row).locator("[data-key='limit.above'] input").fill("150 degF")
            page.click("[data-section='limit'] .job-remove")  # taken back
            page.click("#job-save")
            look.until(SAVED)
            expected = JOB.replace('["35 degF", "65 degF"]', '["40 degF", "70 degF"]')
            assert file.read_text() == expected + '\n[[limit]]\npoint = "temp_supply"\nabove = "150 degF"\n'
            assert "nothing to correct" in checked(tmp_path, "job.toml")

            type_in(page, "temp_supply", "155 degF")
            look.until("document.querySelector('#alarms').innerText.includes('155 °F')")
    with Recording(tmp_path / "call.lightoff") as recording:
        assert recording.job() == file.read_text()


@pytest.mark.timeout(120)
def test_what_somebody_else_changed_is_never_written_over(browser: Browser, tmp_path: Path):
    """A second page that types meanwhile keeps what it typed, is told, and reads again when it wants to."""
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    asked = ("record", "--job", "job.toml", "--port", "0", "-o", "call.lightoff")
    with lightoff(*asked, folder=tmp_path) as program:
        address = program.address
        with looking(browser, address) as look, looking(browser, address) as other:
            page = open_job(look)
            second = open_job(other)
            second.fill(field("furnace.supply_max"), "160 degF")
            page.fill(field("furnace.supply_max"), "170 degF")
            page.click("#job-save")
            look.until(SAVED)
            other.until("document.querySelector('#job-news').innerText.includes('changed on another page')")
            assert second.input_value(field("furnace.supply_max")) == "160 degF"
            second.click("#job-save")
            other.until(
                "document.querySelector('#job-news').innerText.includes('changed meanwhile, nothing was saved')"
            )
            assert second.input_value(field("furnace.supply_max")) == "160 degF"
            assert "170 degF" in file.read_text()
            second.click("#job-again")
            other.until("document.querySelector('[data-key=\"furnace.supply_max\"] input').value === '170 degF'")
            second.fill(field("furnace.supply_max"), "165 degF")
            second.click("#job-save")
            other.until(SAVED)
            look.until("document.querySelector('[data-key=\"furnace.supply_max\"] input').value === '165 degF'")

            refused = page.evaluate("lightoff.live.send('job_check', { text: 'x'.repeat(500000) }, true)")
            assert not refused["ok"]
            assert "too long" in refused["text"]
            large = JOB + "#" * 180_000 + "\n"
            taken = page.evaluate("text => lightoff.live.send('job_check', { text }, true)", large)
            assert taken["text"] == "nothing to correct"


@pytest.mark.timeout(120)
def test_a_telephone_and_the_keyboard_alone(browser: Browser, tmp_path: Path):
    (tmp_path / "job.toml").write_text(JOB)
    asked = ("record", "--job", "job.toml", "--port", "0", "-o", "call.lightoff")
    with lightoff(*asked, folder=tmp_path) as program:
        with looking(browser, program.address, width=390, height=844, color_scheme="light") as look:
            page = look.page
            look.until("document.querySelector('#page-state').innerText === 'connected'")
            page.focus(".way[data-view='job']")
            page.keyboard.press("Enter")
            look.until("document.querySelector('#job-form').offsetParent")
            page.focus("[data-key='furnace.fuel'] select")
            for _ in range(4):  # condensing, input high and low, efficiency
                page.keyboard.press("Tab")
            page.keyboard.type("95 %")
            page.keyboard.press("Tab")
            page.keyboard.press("Control+a")
            page.keyboard.type("30 degF")
            page.focus("[data-section='instrument'] summary")
            page.keyboard.press("Enter")
            page.keyboard.press("Tab")
            page.keyboard.press("Enter")  # add an instrument
            look.until("document.activeElement.closest('[data-key=\"instrument.name\"]')")
            page.evaluate("for (const fold of document.querySelectorAll('#job details')) fold.open = true")
            assert page.evaluate("document.documentElement.scrollWidth") <= 390
            small = page.evaluate(
                "[...document.querySelectorAll('#job button, #job select, #job input, #job textarea, #job summary')]"
                ".filter(one => one.offsetParent).map(one => [one.getBoundingClientRect(), one.id || one.className])"
                ".filter(([box]) => box.height < 44 || box.width < 44).map(([, name]) => name)"
            )
            assert small == []
            found = Axe().run(page, context="#job").response["violations"]
            assert [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found] == []
            page.keyboard.press("Shift+Tab")  # remove it again
            page.keyboard.press("Enter")
            look.until("document.querySelectorAll('[data-section=instrument] .job-entry').length === 0")
            page.focus("#job-save")
            page.keyboard.press("Enter")
            look.until(SAVED)
            look.until("document.querySelector('#job-undo')")
    text = (tmp_path / "job.toml").read_text()
    assert 'rise = ["30 degF", "65 degF"]   # window\nefficiency = "95 %"\n' in text


@pytest.mark.timeout(120)
def test_a_replay_shows_its_job_and_says_why_it_stays_as_it_is(browser: Browser, tmp_path: Path):
    with lightoff("demo", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address) as look:
            page = open_job(look)
            assert look.text("#job-where").startswith("A replay plays what was recorded")
            assert not page.is_visible("#job-save")
            assert page.is_disabled(field("furnace.rise"))
            page.click("#job-as-text")
            look.until("document.querySelector('#job-text').offsetParent")
            assert page.evaluate("document.querySelector('#job-text').readOnly")
