"""A technician's page and that of who watches him through a broker, side by side in a real browser.

Both show the same; how long notes take there and an answer back, while the call goes at its own pace, is printed, and
awaited for longer: the machine of the tests has other work. LIGHTOFF_SCREENSHOTS keeps the pictures.
"""

import json
import os
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.benchmarks.table import say
from tests.drivers.brokers import Broker
from tests.system.programs import Look, browser, has_trends, lightoff, looking
from tests.system.test_accessibility import found

__all__ = ["browser"]

NOTES = 20 if os.environ.get("LIGHTOFF_BENCH") == "1" else 3
"""Notes that are sent one after another. [1]"""
LONG = 180.0
"""Where a machine is loaded, a program takes a minute to begin. [s]"""
POSITION = "lightoff.readings.status().replay.position"
SEEN = """(() => {
  const shown = (one) => one.offsetParent !== null;
  const text = (one) => one ? one.textContent.trim() : "";
  return {
    phase: text(document.querySelector('#headline-phase')),
    values: [...document.querySelectorAll('.tile [data-point]')].filter(shown)
      .map(one => [one.dataset.point, text(one.querySelector('.tile-value')), text(one.querySelector('.tile-unit'))]),
    alarms: [...document.querySelectorAll('.alarm-row')]
      .map(one => [one.dataset.name, one.dataset.state, text(one.querySelector('strong'))]),
  };
})()"""
"""What a page shows of the call: phase, values as they stand in the tiles, alarms."""


@pytest.fixture
def docs(tmp_path: Path) -> Path:
    return Path(os.environ.get("LIGHTOFF_SCREENSHOTS", tmp_path))


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Of the demo's page, shared by a broker; and beside it the URL to watch."""
    with closing(Broker(tmp_path)) as broker:
        job = (
            f'[share]\nbroker = "mqtt://127.0.0.1:{broker.port}"\ncompany = "north"\ntechnician = "ann"\ncall = "one"\n'
        )
        (tmp_path / "job.toml").write_text(job)
        yield f"mqtt://127.0.0.1:{broker.port}/north/ann/one"


def stamp(look: Look, name: str, script: str) -> None:
    """Have a page note when something becomes true, by this machine's clock."""
    holds = f"() => {{ try {{ return Boolean({script}) }} catch {{ return false }} }}"
    note = f"if (holds()) {{ window.{name} = Date.now(); clearInterval(timer); }}"
    look.page.evaluate(
        f"(() => {{ delete window.{name}; const holds = {holds};"
        f" const timer = setInterval(() => {{ {note} }}, 5); }})()"
    )


def took(look: Look, name: str, began: float) -> float:
    """How long that took. [s]"""
    look.until(f"window.{name}", within=LONG)
    return (float(look.page.evaluate(f"window.{name}")) - began) / 1000


def alike(own: Look, other: Look) -> None:
    """Wait until both pages show the same, for some readings are on their way."""
    left = right = {}
    for _ in range(600):
        left, right = own.page.evaluate(SEEN), other.page.evaluate(SEEN)
        if left == right and left["alarms"] and left["values"] and left["phase"]:
            return
        own.page.wait_for_timeout(100)
    raise AssertionError(json.dumps([left, right], indent=1))


@pytest.mark.timeout(900)
def test_both_pages_show_the_same_and_what_is_said_comes_and_is_answered(
    tmp_path: Path, browser: Browser, address: str, docs: Path
):
    there = ("demo", "--share", "job.toml", "-o", "there.lightoff", "--port", "0")
    here = ("watch", address, "-o", "here.lightoff", "--port", "0")
    with lightoff(*there, folder=tmp_path) as technician:
        assert technician.says("shared:", within=LONG) == address
        place = technician.says("page:", within=LONG).split()[0]
        with (
            looking(browser, place, width=390, height=844, color_scheme="dark", device_scale_factor=2) as own,
            lightoff(*here, folder=tmp_path) as supervisor,
        ):
            watched = supervisor.says("page:", within=LONG).split()[0]
            with looking(browser, watched, width=1440, height=1000, color_scheme="dark") as other:
                both_come_to_the_alarm(own, other)
                what_is_said_comes(own, other)
                own.page.evaluate(
                    "lightoff.live.send('pause', {})"
                )  # values move: they are compared as they stand still
                alike(own, other)
                other.until("document.querySelector('#watching-state').textContent.includes('paused there')")
                for look, name in ((own, "shared-technician-phone"), (other, "shared-watcher-wide")):
                    look.until(has_trends(20), within=LONG)
                    look.page.evaluate("lightoff.trends.fresh(); scrollTo(0, 0)")
                    look.page.wait_for_timeout(1000)
                    (docs / f"{name}.png").write_bytes(look.page.screenshot())
                narrow(browser, watched, docs)


def both_come_to_the_alarm(own: Look, other: Look) -> None:
    """From before the alarm until both pages show it."""
    other.until("document.querySelector('#origin-banner').textContent.includes('SHARED')", within=LONG)
    assert "REPLAY" in other.text("#origin-banner").upper()
    own.page.evaluate("lightoff.live.send('seek', { position: 368 })")
    for look in (own, other):
        look.until("document.querySelector('.alarm-row') !== null", within=LONG)
    own.page.evaluate("lightoff.live.send('speed', { speed: 1 })")  # as a call that is read now
    own.until("lightoff.readings.status().replay.speed === 1", within=LONG)


def what_is_said_comes(own: Look, other: Look) -> None:
    """Notes and a request from the supervisor, and the technician's answer."""
    other.page.fill("#talk-author", "A. Supervisor")
    notes = sorted(comes(own, other, "#talk-note", f"the draft sags {number}") for number in range(NOTES))
    request = comes(own, other, "#talk-request", "the slope of the drain")
    assert own.page.is_visible("#talk-line")
    own.page.click("#talk-line")
    stamp(other, "answered", "document.querySelector('#talk-answered').textContent.includes('done')")
    began = float(own.page.evaluate("Date.now()"))
    own.page.click(".talk-row:has-text('the slope of the drain') .talk-done")
    back = took(other, "answered", began)
    other.until("!document.querySelector('#talk-open').textContent.includes('the slope of the drain')")
    say(
        f"{NOTES} notes are on the technician's page after {notes[0]:.2f} to {notes[-1]:.2f} s, half of them by "
        f"{notes[NOTES // 2]:.2f} s, a request after {request:.2f} s, its answer back after {back:.2f} s"
    )


def comes(own: Look, other: Look, button: str, words: str) -> float:
    """How long it takes until what the supervisor says is on the technician's page. [s]"""
    stamp(own, "came", f"document.querySelector('#talk-line').textContent.includes({json.dumps(words)})")
    other.page.fill("#talk-text", words)
    began = float(other.page.evaluate("Date.now()"))
    other.page.click(button)
    return took(own, "came", began)


def narrow(browser: Browser, watched: str, docs: Path) -> None:
    """The watcher's page on a telephone."""
    with looking(browser, watched, width=390, height=844, color_scheme="light", device_scale_factor=2) as look:
        look.until(has_trends(20), within=LONG)
        look.until("document.querySelector('#talk-note')", within=LONG)
        assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
        assert look.small_targets() == []
        assert found(look) == []
        look.page.evaluate("scrollTo(0, 0)")
        (docs / "shared-watcher-phone.png").write_bytes(look.page.screenshot())
        look.page.evaluate("document.querySelector('#talk').scrollIntoView()")
        (docs / "shared-talk-phone.png").write_bytes(look.page.screenshot())
