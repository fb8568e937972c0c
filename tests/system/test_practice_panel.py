"""The panel for faults of a simulated unit: there only while one runs, and it keeps to itself what is set."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from collector.recording import Recording
from tests.system.page_bench import PageBench, empty_bench
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]

CAUSES = {"drain_blocked": "condensate drain blocked", "no_call": "call does not arrive"}
SHOWN = "document.querySelector('#practice').offsetParent !== null"
LIST = "document.querySelector('#practice-list').innerText"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        yield made


@pytest.mark.timeout(120)
def test_it_is_there_only_while_a_simulated_unit_runs(bench: PageBench, browser: Browser):
    bench.greet("draft_switch@meter")
    with looking(browser, bench.address) as look:
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        assert not look.page.evaluate(SHOWN)
        bench.hello["causes"] = CAUSES
        bench.status["practice"] = {"set": []}
        bench.greet("draft_switch@simulated: meter")
        look.until(SHOWN)
        look.until("document.querySelector('#origin-banner').innerText.startsWith('SIMULATED: meter')")
        options = look.page.evaluate(
            "[...document.querySelectorAll('#practice-cause option')].map(one => one.innerText)"
        )
        assert options[1:] == list(CAUSES.values())
        bench.tell(practice=None)
        look.until(f"!({SHOWN})")


@pytest.mark.timeout(120)
def test_a_fault_is_set_and_repaired_by_keyboard_alone(bench: PageBench, browser: Browser):
    """On a telephone's width, light; the form tells nothing of what was set, and neither does the folded list."""
    bench.hello["causes"] = CAUSES
    bench.status["practice"] = {"set": []}
    bench.greet("draft_switch@simulated: meter")
    with looking(browser, bench.address, width=390, height=844, color_scheme="light") as look:
        look.until(SHOWN)
        page = look.page
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        small = page.evaluate(
            "[...document.querySelectorAll('#practice button, #practice select, #practice input, #practice summary')]"
            ".filter(one => one.getBoundingClientRect().height < 44).map(one => one.id)"
        )
        assert small == []
        page.focus("#practice-inject")
        page.keyboard.press("Enter")
        look.until("document.activeElement.id === 'practice-cause'")
        assert bench.commands() == [], "nothing is chosen yet"
        page.keyboard.type("cond")
        page.keyboard.press("Tab")
        for _ in range(3):
            page.keyboard.press("ArrowRight")
        assert look.text("#practice-severity-text") == "how bad: 85 %"
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        look.until("document.querySelector('#reply').innerText.includes('inject done')")
        (command,) = bench.commands()
        assert (command["name"], command["arguments"]) == ("inject", {"cause": "drain_blocked", "severity": 0.85})
        look.until("document.querySelector('#practice-cause').value === ''")
        assert look.text("#practice-severity-text") == "how bad: 70 %"

        bench.tell(practice={"set": [{"cause": "drain_blocked", "severity": 0.85}]})
        look.until("document.querySelector('#practice-list').textContent.includes('drain')")
        assert "drain" not in look.text("#practice").replace("condensate drain blocked\n", ""), "only as a choice"
        assert not page.is_visible("#practice-list")
        page.focus("#practice-set summary")
        page.keyboard.press("Enter")
        look.until(f"{LIST} === 'condensate drain blocked: 85 %'")

        page.select_option("#practice-cause", "no_call")
        page.click("#practice-repair")
        look.until("document.querySelector('#reply').innerText.includes('repair done')")
        assert bench.commands()[-1]["arguments"] == {"cause": "no_call"}
        bench.tell(practice={"set": []})
        look.until(f"{LIST} === 'nothing: it works as it should'")


@pytest.mark.timeout(120)
def test_what_is_refused_is_said_and_stays_in_the_form(bench: PageBench, browser: Browser):
    bench.hello["causes"] = CAUSES
    bench.status["practice"] = {"set": []}
    bench.greet("draft_switch@simulated: meter")
    with looking(browser, bench.address) as look:
        look.until(SHOWN)
        bench.cut()
        look.page.select_option("#practice-cause", "no_call")
        look.page.click("#practice-inject")
        look.until("document.querySelector('#reply').className === 'bad'")
        assert look.page.input_value("#practice-cause") == "no_call"


@pytest.mark.timeout(180)
def test_a_simulated_unit_gets_a_fault_from_the_page_and_is_repaired(browser: Browser, tmp_path: Path):
    """The program itself: the meter falls, comes back, and the recording knows of a change and not of which."""
    asked = ("simulate", "--live", "--speed", "10", "--seed", "3", "--port", "0", "-o", "live.lightoff")
    volts = "parseFloat(document.querySelector('#tile-volts_control .tile-value').innerText)"
    with lightoff(*asked, folder=tmp_path) as program:
        with looking(browser, program.address) as look:
            look.until(f"{volts} > 20")
            assert "SIMULATED" in look.text("#origin-banner")
            assert "not a live call" in look.text("#origin-banner")
            look.page.select_option("#practice-cause", "control_power_lost")
            look.page.fill("#practice-severity", "100")
            look.page.click("#practice-inject")
            look.until(f"{volts} < 1")
            look.page.click("#practice-set summary")
            look.until(f"{LIST} === 'control power weak or lost: 100 %'")
            look.page.select_option("#practice-cause", "control_power_lost")
            look.page.click("#practice-repair")
            look.until(f"{volts} > 20")
            look.until(f"{LIST} === 'nothing: it works as it should'")
            assert "control power" not in look.text("#notes")
            look.page.fill("#note-text", "found it")
            look.page.press("#note-text", "Enter")
            look.until("document.querySelector('#events').innerText.includes('found it')")
    with Recording(tmp_path / "live.lightoff") as recording:
        assert [event.text for event in recording.events({EventKind.NOTE})] == ["found it"]
    assert b"power_lost" not in (tmp_path / "live.lightoff").read_bytes()
    assert b"power weak" not in (tmp_path / "live.lightoff").read_bytes()
