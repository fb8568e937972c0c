"""The attempts of a call on the live view: a strip on the axis of the trends, a list to jump from, what is said."""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import Channel, Reading
from analysis.sequence.attempts import Attempt
from analysis.units import INCH_OF_WATER
from collector.attempt_rows import attempt_row
from collector.store import Store
from tests.collector.scripted import attempts_of
from tests.system.page_bench import START, PageBench
from tests.system.programs import CHARTS, Look, browser, has_trends, looking
from tests.system.test_accessibility import found

__all__ = ["browser"]

SWITCH = Channel("draft_switch", "meter", "inH2O")
CLOSED = Channel("switch_closed", "logger", "1")
SECOND = 10**9
ATTEMPTS = attempts_of("flame_rod_dirty", START / SECOND)
LENGTH = 190
"""Of the recording: two attempts that lost their flame, and a third one that fires. [s]"""
RANGE = f"{CHARTS}.filter(one => one.offsetParent)[0]._fullLayout.xaxis.range.map(lightoff.charts.milliseconds)"
SAID = "document.querySelector('#headline-said').innerText"
PRESSED = "[...document.querySelectorAll('.attempt-row[aria-pressed=true]')].map(one => one.dataset.number).join()"
LABELS = "[...document.querySelectorAll('.strip-label')].filter(one => one.offsetParent).map(one => one.innerText)"
LIST = "document.querySelector('.attempt-list')"
ROW = "#attempts .attempt-row[data-number='{}']"
PHASE = {
    "phase": "run_low",
    "text": "firing, low stage",
    "since": START + (LENGTH - 5) * SECOND,
    "expected": None,
    "next": "",
    "trial": 3,
    "trials": 3,
    "attempt": 3,
    "settled": True,
}
PLACE = """(() => {
  const strip = document.querySelector('#attempts-strip').getBoundingClientRect();
  const drag = document.querySelector('[data-chart=draft] .nsewdrag').getBoundingClientRect();
  return [strip.left - drag.left, strip.right - drag.right].map(Math.abs);
})()"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    path = tmp_path / "call.lightoff"
    readings = [
        reading
        for second in range(LENGTH + 1)
        for reading in (
            Reading(SWITCH.key, START + second * SECOND, 0.6),
            Reading(CLOSED.key, START + second * SECOND, float(closed(START / SECOND + second))),
        )
    ]
    with Store(path) as store:
        store.append([SWITCH, CLOSED, *readings])
    with PageBench(path).running() as made:
        made.now = START + LENGTH * SECOND
        made.greet(SWITCH.key, CLOSED.key)
        yield made


def closed(time: float) -> bool:
    """Whether the switch was closed at a time [s]."""
    return not any(
        span.start <= time < span.end for one in ATTEMPTS for span in one.spans("inducer_start", "interpurge")
    )


def so_far(attempt: Attempt, now: float) -> Attempt:
    """What is known of an attempt at a time [s]."""
    return replace(attempt, phases=tuple(span for span in attempt.phases if span.start <= now))


def keep(look: Look, name: str) -> None:
    if folder := os.environ.get("LIGHTOFF_SCREENSHOTS"):
        (Path(folder) / f"attempts-{name}.png").write_bytes(look.page.screenshot(full_page=True))


def shown(look: Look) -> None:
    """Strip and list are there, in line with the charts, and it is said what happened."""
    look.until(has_trends(100))
    look.until("document.querySelectorAll('.attempt-row').length === 3")
    look.until(f"{PLACE}.every(apart => apart < 2)")
    look.until(f"{LABELS}.some(text => text.startsWith('1 ✖'))")
    look.until(f"{SAID}.startsWith('attempt 2: flame proved, then lost, at 06:33:')")
    assert " · attempt 3 started at 06:33:" in look.text("#headline-said")
    assert look.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert look.small_targets() == []


def there_and_back(look: Look, bench: PageBench) -> None:
    """By keys: to what decided the first attempt, and pressed once more to the present."""
    page, before = look.page, look.page.evaluate(RANGE)
    page.focus(ROW.format(3))
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    middle = ATTEMPTS[0].deciding_time * 1000
    look.until(f"{RANGE}[0] < {middle} - 50000 && {RANGE}[1] > {middle} + 50000 && {RANGE}[1] < {before[1]}")
    assert page.evaluate(PRESSED) == "1"
    assert page.evaluate("document.activeElement.dataset.number") == "1", "the focus stays for the second press"
    assert look.text("#follow") == "back to live"
    look.until("document.querySelector('#attempts-at').innerText.startsWith('attempt 1, ')")
    look.until(f"{LABELS}.includes('prepurge') && {LABELS}.includes('1 ✖ flame proved, then lost')")
    keep(look, "wide-jumped")
    page.keyboard.press("Enter")
    look.until(f"{RANGE}[1] >= {bench.now / 1e6} && document.querySelector('#follow').innerText === 'pause'")
    assert page.evaluate(PRESSED) == ""


@pytest.mark.timeout(120)
def test_attempts_are_a_strip_on_the_axis_of_the_trends_and_a_list_to_jump_from(bench: PageBench, browser: Browser):
    """Wide by keys and in the dark, on a telephone by touch and in the light; who comes late sees them at once."""
    first, second, third = ATTEMPTS
    rows = [attempt_row(first), attempt_row(second)]
    with ExitStack() as stack:
        looks = [
            stack.enter_context(looking(browser, bench.address, timezone_id="UTC", **how))
            for how in ({"color_scheme": "dark"}, {"color_scheme": "light", "width": 390, "height": 844})
        ]
        wide, phone = looks
        for look in looks:
            look.until("document.querySelector('#page-state').innerText === 'connected'")
        bench.tell((SWITCH.key, 0.6 * INCH_OF_WATER), (CLOSED.key, 1.0), phase=PHASE)
        bench.attempts(*rows, whole=True)
        bench.attempts(attempt_row(so_far(third, bench.now / SECOND), under_way=True, outcome=""))
        for look, name in zip(looks, ("wide-dark", "phone-light"), strict=True):
            shown(look)
            assert found(look) == []
            keep(look, name)
        there_and_back(wide, bench)
        phone.page.click(ROW.format(2))
        phone.until(f"{PRESSED} === '2' && {RANGE}[1] < {bench.now / 1e6} + 70000")
        phone.page.click("#follow")
        phone.until(f"{PRESSED} === ''")
        many = [attempt_row(replace(second, number=number)) for number in range(4, 60)]
        bench.attempts(*rows, attempt_row(third), *many, whole=True)
        for look in looks:
            look.until("document.querySelectorAll('.attempt-row').length === 59")
            assert look.page.evaluate(f"{LIST}.clientHeight") <= 345
            look.until(f"{LIST}.scrollTop + {LIST}.clientHeight >= {LIST}.scrollHeight - 4")
        phone.page.reload()
        phone.until("document.querySelectorAll('.attempt-row').length === 59")
        bench.attempts(first=58)
        wide.until("document.querySelectorAll('.attempt-row').length === 2")
        bench.attempts(whole=True)
        wide.until("document.querySelector('#attempts').hidden && document.querySelector('#headline-said').hidden")
