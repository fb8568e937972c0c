"""An alarm from its rise to its end, driven from the page; sounds; a screen kept awake; text that does not flicker."""

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import EventKind
from analysis.units import INCH_OF_WATER
from collector.recording import Recording
from tests.system.page_bench import PageBench, alarm, empty_bench
from tests.system.programs import CHARTS, Look, browser, lightoff, looking

__all__ = ["browser"]

ROW = ".alarm-row[data-name=damp]"
JOB = """
[[limit]]
name = "damp"
point = "humidity_room"
above = "60 %"
deadband = "3 %"
priority = "medium"
text = "The room is damp"
"""
LISTENING = """
window.tones = [];
window.locks = [];
window.AudioContext = class {
  constructor() { this.currentTime = 0; this.state = "running"; this.destination = {}; }
  createOscillator() {
    const one = { frequency: {}, connect: (next) => next, stop: () => {} };
    one.start = () => window.tones.push([one.type, one.frequency.value]);
    return one;
  }
  createGain() {
    const ramp = { setValueAtTime: () => {}, linearRampToValueAtTime: () => {} };
    return { gain: ramp, connect: (next) => next };
  }
};
Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
  const lock = { kind, released: false, release: () => { lock.released = true; } };
  window.locks.push(lock);
  return lock;
} } });
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.greet("draft_switch@meter")
        yield made


def begin_again(look: Look, script: str) -> None:
    """Load the page anew with a script before its own."""
    look.until("document.querySelector('#page-state').innerText === 'connected'")
    look.page.add_init_script(script)
    look.page.reload()
    look.until("document.querySelector('#page-state').innerText === 'connected'")


def type_in(look: Look, text: str) -> None:
    look.page.select_option("#type-in-point", "humidity_room")
    look.page.fill("#type-in-value", text)
    look.page.press("#type-in-value", "Enter")
    look.until("document.querySelector('#type-in-value').value === ''")


@pytest.mark.timeout(120)
def test_an_alarm_comes_is_muted_returns_is_acknowledged_and_ends(browser: Browser, tmp_path: Path):
    (tmp_path / "job.toml").write_text(JOB)
    state = f"document.querySelector('{ROW} .alarm-state').innerText"
    with lightoff("record", "--job", "job.toml", "--port", "0", "-o", "call.lightoff", folder=tmp_path) as program:
        with looking(browser, program.address) as look:
            page = look.page
            page.wait_for_selector("#type-in-point")
            type_in(look, "55")
            type_in(look, "72")
            look.until(f"{state} === 'ACTIVE, not acknowledged'")
            assert "The room is damp" in look.text("#alarm-line")
            page.click(f"{ROW} .alarm-mute")
            look.until(f"{state} === 'muted'")
            look.until("document.querySelector('#alarm-line').hidden")
            page.click(f"{ROW} .alarm-unmute")
            look.until(f"{state} === 'ACTIVE, not acknowledged'")
            page.click(f"{ROW} .alarm-show")
            look.until("document.querySelector('#follow').innerText === 'back to live'")
            look.until(f"{CHARTS}.some(one => (one.layout.annotations || []).some(note => note.text === '▲ alarm'))")
            page.click("#follow")
            page.click(f"{ROW} .alarm-acknowledge")
            look.until(f"{state} === 'active, acknowledged'")
            type_in(look, "50")
            look.until(f"document.querySelector('{ROW}') === null")
            look.until("document.querySelector('#alarm-line').hidden")
    with Recording(tmp_path / "call.lightoff") as recording:
        moved = [event.data["to"] for event in recording.events({EventKind.ALARM}) if event.subject == "damp"]
    assert moved == ["unacknowledged", "shelved", "unacknowledged", "acknowledged", "normal"]


@pytest.mark.timeout(120)
def test_a_sound_for_a_phase_and_another_for_an_alarm_and_none_when_they_are_off(bench: PageBench, browser: Browser):
    """None before the first touch either: a browser allows none, and complains."""
    phase = {
        "phase": "prepurge",
        "text": "purge",
        "since": bench.now,
        "expected": None,
        "next": "",
        "trial": 0,
        "trials": 3,
    }
    with looking(browser, bench.address) as look:
        page = look.page
        begin_again(look, LISTENING)
        bench.tell(phase=phase)
        look.until("document.querySelector('#headline-phase').innerText === 'Purge'")
        bench.tell(phase=phase | {"phase": "ignition_trial", "text": "trial"})
        look.until("document.querySelector('#headline-phase').innerText === 'Trial'")
        assert page.evaluate("window.tones") == []
        page.click("#headline")
        bench.tell(phase=phase | {"phase": "run_low", "text": "firing"})
        look.until("window.tones.length === 1")
        bench.tell(alarms=[alarm("switch_opens", "draft_margin", "high", 0.0)])
        look.until("window.tones.length === 4")
        kinds = [kind for kind, _ in page.evaluate("window.tones")]
        assert kinds == ["sine", "square", "square", "square"]
        look.choose("#sound-switch")
        bench.tell(phase=phase | {"phase": "standby", "text": "rest"})
        look.until("document.querySelector('#headline-phase').innerText === 'Rest'")
        page.wait_for_timeout(4500)  # an alarm is heard again after four seconds, unless sounds are off
        assert len(page.evaluate("window.tones")) == 4


@pytest.mark.timeout(120)
def test_the_screen_is_kept_awake_until_somebody_lets_it_sleep(bench: PageBench, browser: Browser):
    with looking(browser, bench.address) as look:
        page = look.page
        begin_again(look, LISTENING)
        look.until("window.locks.length === 1 && window.locks[0].kind === 'screen'")
        look.choose("#awake-switch")
        look.until("window.locks[0].released")
        page.reload()
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        assert page.evaluate("window.locks") == []


@pytest.mark.timeout(120)
def test_a_number_changes_four_times_a_second_at_most(bench: PageBench, browser: Browser):
    """And at once after a pause: thirty readings a second, a different number each."""
    value = "document.querySelector('#tile-draft_switch .tile-value')"
    with looking(browser, bench.address) as look:
        bench.tell(("draft_switch@meter", 100.0))
        look.until(f"{value}.innerText !== '–'")  # noqa: RUF001
        look.page.evaluate(
            "window.changes = []; new MutationObserver(() => window.changes.push(performance.now()))"
            f".observe({value}, {{ childList: true, characterData: true, subtree: true }})"
        )
        for number in range(120):
            bench.now += 33_000_000
            bench.tell(("draft_switch@meter", (1.0 + number / 100) * INCH_OF_WATER))
            look.page.wait_for_timeout(33)
        changes = look.page.evaluate("window.changes")
        gaps = [later - before for before, later in itertools.pairwise(changes)]
    assert min(gaps) >= 245, "the clock of a browser is rounded"
    assert len(changes) >= 8, "and not much less often either"
