"""A new meter on the page, with the program itself and a meter on a pseudo-terminal: found moving, added, undone."""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from analysis.model import EventKind
from collector.offers import offers
from collector.recording import Recording
from drivers.registry import KINDS
from tests.drivers.ptys import PtyPort
from tests.system.page_bench import PageBench, empty_bench
from tests.system.programs import Look, browser, lightoff, looking
from tests.system.test_accessibility import found
from tests.system.test_screenshots import keep

__all__ = ["browser"]

JOB = """\
# an invented unit
[furnace]
fuel = "natural gas"   # from the plate
switch_close = ["0.50 inH2O"]
switch_open = ["0.42 inH2O"]
"""
STEP = "document.querySelector('#wizard-step').innerText.startsWith('Step {}')"
VALUE = "document.querySelector('#tile-draft_switch .tile-value').innerText"


class Meter:
    """Says its pressure ten times a second from a thread of its own, for as long as its block."""

    def __init__(self, folder: Path) -> None:
        self.port = PtyPort(folder)
        self.value = 0.0

    @contextmanager
    def talking(self) -> Iterator["Meter"]:
        """While the block runs."""
        stop = threading.Event()

        def talk() -> None:
            while not stop.wait(0.1):
                self.port.offer(f"P={self.value:.3f} inH2O\r\n".encode(), within=0.01)

        thread = threading.Thread(target=talk, name="meter")
        thread.start()
        try:
            yield self
        finally:
            stop.set()
            thread.join()
            self.port.close()


def until_step(look: Look, number: int) -> None:
    look.until(STEP.format(number))


def open_form(look: Look, address: object) -> Page:
    """To the form of step 1, filled in for a meter on a serial port."""
    page = look.page
    look.until("document.querySelector('#page-state').textContent === 'connected'")
    page.click(".way[data-view='meters']")
    page.click("#wizard-open")
    until_step(look, 1)
    page.click("#wizard-other summary")
    page.select_option("#wizard-by", "serial")
    page.select_option("#wizard-profile", "line-pressure")
    page.fill("#wizard-address", str(address))
    return page


@pytest.mark.timeout(120)
def test_a_meter_is_seen_to_move_then_added_then_taken_back(browser: Browser, tmp_path: Path):
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    asked = ("record", "--job", "job.toml", "--port", "0", "-o", "call.lightoff")
    with Meter(tmp_path).talking() as meter, lightoff(*asked, folder=tmp_path) as program:
        with looking(browser, program.address) as look:
            page = open_form(look, meter.port.path)
            page.click("#wizard-next")
            until_step(look, 2)
            page.click("#wizard-next")
            look.until("document.querySelector('#wizard-trouble').innerText.includes('at least one of its values')")
            page.select_option("#wizard-value-0", "draft_switch")
            assert "tee in the hose right at the low-stage" in look.text("#wizard-value-0-where")
            assert page.input_value("#wizard-named") == "pressure switch meter"
            page.fill("#wizard-named", "switch manometer")
            page.click("#wizard-next")
            until_step(look, 3)
            look.until("document.querySelector('.trial-number').innerText === '0.00 in. w.c.'")
            assert look.text(".trial-moved").startswith("○ has not moved yet")
            assert "pinch it between two fingers" in look.text(".trial-how")
            assert look.text("#wizard-next") == "go on without having seen it move"
            meter.value = 0.63
            look.until("document.querySelector('.trial-moved').innerText === '✓ moved by 0.63 in. w.c.'")
            assert look.text("#wizard-next") == "next"
            assert file.read_text() == JOB, "a trial writes nothing"
            page.click("#wizard-next")
            until_step(look, 4)
            page.click("#wizard-next")
            look.until("document.querySelector('#wizard-done').innerText.includes('saved to job.toml, in force now')")
            entry = (
                '\n[[instrument]]\nname = "switch manometer"\ndriver = "serial"\nprofile = "line-pressure"\n'
                f'address = "{meter.port.path}"\nchannels = {{ pressure = "draft_switch" }}\n'
            )
            assert file.read_text() == JOB + entry
            page.click(".way[data-view='live']")
            look.until(f"{VALUE} === '0.63'")
            page.click(".way[data-view='meters']")
            look.until(
                "document.querySelector('[data-name=\"switch manometer\"] .instrument-state')"
                ".innerText.startsWith('reading')"
            )
            page.click("#wizard-undo")
            look.until("document.querySelector('#wizard-done').innerText.includes('has again what it had before')")
            assert file.read_text() == JOB
            look.until("!document.querySelector(\"[data-name='switch manometer']\")")
            page.click(".way[data-view='live']")
            look.until("!document.querySelector('#tile-draft_switch').offsetParent")
    with Recording(tmp_path / "call.lightoff") as recording:
        rows = recording.read("draft_switch@switch manometer").value
        assert set(rows) == {0.63}, "nothing of the trial is recorded"
        told = [event.data["state"] for event in recording.events({EventKind.INSTRUMENT})]
        assert told == ["added", "reading", "removed"]


RADIO = {
    "driver": "ble",
    "address": "00:00:5E:00:53:01",
    "name": "Example flame and draft",
    "signal": -57,
    "profile": "two-values",
    "measures": [{"name": "flame", "unit": "uA", "value": 0.0}, {"name": "draft", "unit": "Pa", "value": -3.5}],
    "device": None,
    "topic": "",
    "note": "",
    "facts": {"battery": "80 %"},
    "taken": "",
}
WIRED = {
    **RADIO,
    "driver": "serial",
    "address": "/dev/ttyUSB0",
    "name": "USB serial plug",
    "signal": None,
    "profile": None,
    "measures": [],
    "facts": {},
    "note": "It says lines that no profile knows.",
}
TAKEN = {**RADIO, "address": "00:00:5E:00:53:02", "name": "Example room", "signal": -81, "taken": "room meter"}
FLAME = {
    "point": "flame_current",
    "unit": "uA",
    "native": 0.0,
    "value": 0.0,
    "quality": 0,
    "age": 0.2,
    "count": 9,
    "by": 0.0,
    "moved": False,
    "recent": [0.0] * 9,
}
DRAFT = {
    **FLAME,
    "point": "draft_collector",
    "unit": "Pa",
    "native": -61.5,
    "value": -61.5,
    "by": 63.0,
    "moved": True,
    "recent": [1.5, 0.0, -20.0, -55.0, -61.5],
}


def with_answers(bench: PageBench) -> None:
    """A recorder that has found three meters and has one on trial."""
    points = {"flame": ["flame_current"], "draft": ["draft_collector", "gas_inlet", "static_return"]}
    values = [
        {"name": name, "unit": {"flame": "uA", "draft": "Pa"}[name], "points": fitting, "accuracy": None}
        for name, fitting in points.items()
    ]
    what = dict(offers().data)
    radio = {"name": "ble", "title": "Bluetooth", "example": "00:00:5E:00:53:01", "secret": True}
    what["ways"] = [*offers(KINDS).data["ways"], radio]  # type: ignore[misc]
    what["wired"] = ["serial", "ble"]  # so that the question is asked
    profiles = [
        {"name": f"two-values{end}", "title": "flame and draft meter", "driver": way, "values": values}
        for way, end in (("ble", ""), ("serial", "-serial"))
    ]
    what["profiles"] = [*profiles, *offers().data["profiles"]]  # type: ignore[misc]
    scan = {"running": True, "why": "", "left": 7.2, "found": [RADIO, WIRED, TAKEN], "dropped": 0}
    trouble = {"title": "messages of a gateway (MQTT)", "text": "it cannot be looked for; give its address"}
    trial = {"running": True, "why": "", "left": 100.0, "name": "m", "state": "reading", "text": "", "said": ""}
    job = {"writable": True, "name": "job.toml", "text": "", "version": "", "values": {"instrument": []}}
    bench.server.answers |= {
        "job_read": {"data": {**job, "why": ""}},
        "job_save": {"text": "saved to job.toml, in force now", "data": {"saved": True, "undo": True}},
        "meter_offers": {"data": what},
        "scan_state": {"data": {**scan, "troubles": [trouble]}},
        "trial_start": {"data": {"started": True, "number": 1, "cautions": []}},
        "trial_state": {"data": {**trial, "values": [FLAME, DRAFT], "uncounted": 0}},
    }


FOCUSED = "document.activeElement.id === 'wizard-step'"
PICTURES = os.environ.get("LIGHTOFF_SCREENSHOTS")
LOOKS = [("dark", 390), ("light", 1280), *([("light", 390), ("dark", 1280)] if PICTURES else [])]


def press(look: Look, selector: str) -> None:
    look.page.focus(selector)
    look.page.keyboard.press("Enter")


def on(look: Look, number: int) -> None:
    """To another step, whose heading has the keyboard."""
    press(look, "#wizard-next")
    look.until(f"{FOCUSED} && {STEP.format(number)}")


@pytest.mark.timeout(180)
def test_every_step_by_the_keyboard_and_for_everybody(browser: Browser, tmp_path: Path):
    """Axe, sizes and focus at each step; the caution stands before the meter is connected and before it is added."""
    with empty_bench(tmp_path) as bench:
        for scheme, width in LOOKS:
            with_answers(bench)
            bench.greet("temp_room@room meter")
            with looking(browser, bench.address, width=width, height=844, color_scheme=scheme) as look:
                walk(look, bench, scheme, width)


def walk(look: Look, bench: PageBench, scheme: str, width: int) -> None:
    """From the button to the button again."""

    def judge(step: str) -> None:
        if PICTURES:
            keep(look, Path(PICTURES) / f"wizard-{step}-{'phone' if width == 390 else 'wide'}-{scheme}.png")
        assert found(look) == [], step
        assert look.page.evaluate("document.documentElement.scrollWidth") <= width, step
        assert width != 390 or look.small_targets() == [], step

    to_points(look, judge)
    from_points_on(look, judge)
    look.until("document.activeElement.id === 'wizard-done'")
    judge("done")
    saved = next(one for one in reversed(bench.commands()) if one["name"] == "job_save")
    assert saved["arguments"]["minded"] is True, "the caution was shown"
    (change,) = saved["arguments"]["changes"]
    assert change["path"] == ["instrument", 0]
    assert change["value"] == {
        "name": "Example flame and draft",
        "driver": "ble",
        "profile": "two-values",
        "address": "00:00:5E:00:53:01",
        "channels": {"flame": "flame_current", "draft": "draft_collector"},
        "isolated": "false",
    }
    press(look, "#wizard-close")
    look.until("document.activeElement.id === 'wizard-open'")
    why = "A replay plays what was recorded."
    bench.server.answers["job_read"] = {"data": {"writable": False, "why": why}}
    press(look, "#wizard-open")
    look.until(f"document.querySelector('#wizard-why').innerText === {why!r}")


def to_points(look: Look, judge: Callable[[str], None]) -> None:
    """Step 1: what is found with its signal and values; one without a profile, one that is read already."""
    look.until("document.querySelector('#page-state').textContent === 'connected'")
    look.page.click(".way[data-view='meters']")
    press(look, "#wizard-open")
    look.until(f"{FOCUSED} && document.querySelectorAll('.wizard-found').length === 3")
    assert "signal strong (\u221257 dBm)" in look.text(".wizard-found")
    assert "flame 0 uA · draft \u22123.5 Pa" in look.text(".wizard-found")
    assert "MQTT" in look.text("#wizard-troubles")
    judge("reach")
    press(look, "li:nth-child(3) > .wizard-found")
    assert look.text("#wizard-step").startswith("Step 1"), "what is read already cannot be taken twice"
    press(look, "li:nth-child(2) > .wizard-found")
    look.until("document.activeElement.id === 'wizard-profile'")
    judge("form")
    press(look, "li:nth-child(1) > .wizard-found")
    look.until(f"{FOCUSED} && {STEP.format(2)}")


def from_points_on(look: Look, judge: Callable[[str], None]) -> None:
    """Steps 2 to 4, with a meter that is not isolated on the flame rod."""
    look.page.select_option("#wizard-value-0", "flame_current")
    look.page.select_option("#wizard-value-1", "draft_collector")
    press(look, "#wizard-next")
    look.until("document.querySelector('#wizard-trouble').innerText.includes('whether it is isolated')")
    look.page.focus("[name='wizard-isolated'][value='true']")
    look.page.keyboard.press("ArrowDown")
    look.until("document.querySelector('#wizard-caution').innerText.includes('mains voltage')")
    judge("points")
    on(look, 3)
    look.until("document.querySelectorAll('.trial-row').length === 2")
    assert "mains voltage" in look.text(".wizard-caution")
    assert look.text("#trial-summary") == "1 of 2 values have moved"
    judge("trial")
    on(look, 4)
    assert "mains voltage" in look.text(".wizard-caution")
    judge("add")
    press(look, "#wizard-back")
    look.until(f"{FOCUSED} && {STEP.format(3)}")
    on(look, 4)
    press(look, "#wizard-next")
