"""Pictures of the page for the documents: dark and light, wide and phone, calm and in alarm; `make screenshots`."""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.system.page_bench import PageBench, alarm, empty_bench
from tests.system.programs import Look, browser, has_trends, lightoff, looking

__all__ = ["browser"]

SIZES = {"wide": (1440, 1000), "phone": (390, 844)}
POSITION = "lightoff.readings.status().replay.position"
PAUSED = "lightoff.readings.status().replay.paused"
WANTED = bool(os.environ.get("LIGHTOFF_SCREENSHOTS"))
"""Whether the pictures are for the documents; else two of the four looks are tried."""
SMALLEST = 25_000
"""An empty page is smaller. [bytes]"""


@pytest.fixture
def docs(tmp_path: Path) -> Path:
    return Path(os.environ.get("LIGHTOFF_SCREENSHOTS", tmp_path))


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.greet("room_co@badge")
        yield made


def keep(look: Look, path: Path) -> None:
    """A picture as it is on the screen."""
    path.write_bytes(look.page.screenshot())
    assert path.stat().st_size > SMALLEST


@pytest.mark.timeout(240)
def test_the_live_view_calm_and_in_alarm(browser: Browser, tmp_path: Path, docs: Path):
    with lightoff("demo", "--speed", "20", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        address = demo.address
        with ExitStack() as stack:
            looks = {
                (size, scheme): stack.enter_context(
                    looking(
                        browser,
                        address,
                        width=width,
                        height=height,
                        color_scheme=scheme,
                        device_scale_factor=2 if size == "phone" else 1,
                    )
                )
                for size, (width, height) in SIZES.items()
                for scheme in ("dark", "light")
                if WANTED or (size == "wide") == (scheme == "dark")
            }
            first = looks["wide", "dark"]
            first.until(f"{POSITION} > 200", within=60)
            keep_all(looks, docs, "calm")
            for position, speed in ((300, "5"), (372, "1")):  # slowly into the moment that the alarm warns of
                first.until(f"{POSITION} > {position}", within=60)
                first.page.select_option("#replay-speed", speed)
            first.until("document.querySelector('.alarm-row') !== null", within=60)
            keep_all(looks, docs, "alarm")


def keep_all(looks: dict[tuple[str, str], Look], docs: Path, state: str) -> None:
    """Pause, keep every picture, go on."""
    first = looks["wide", "dark"]
    first.page.click("#replay-pause")
    for (size, scheme), look in looks.items():
        look.until(f"{PAUSED} && document.querySelector('#reply').hidden")
        look.until(has_trends(100))
        look.page.evaluate("lightoff.trends.fresh(); scrollTo(0, 0)")
        look.page.wait_for_timeout(1000)
        keep(look, docs / f"live-{size}-{scheme}-{state}.png")
    first.page.click("#replay-pause")


@pytest.mark.timeout(240)
def test_the_other_views(browser: Browser, tmp_path: Path, docs: Path):
    """As a telephone shows them, while a demo runs beside an earlier recording."""
    with lightoff(
        "demo", "--speed", "20", "--port", "0", "--for", "8", "-o", "tuesday.lightoff", folder=tmp_path
    ) as demo:
        demo.says("stopped:")
        demo.process.wait(20)
    with lightoff("demo", "--speed", "20", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address, width=390, height=844, color_scheme="dark", device_scale_factor=2) as look:
            look.until(has_trends(20))
            for name in ("checks", "recordings", "meters", "job"):
                look.page.click(f".way[data-view={name}]")
                look.page.wait_for_timeout(1500)
                look.page.evaluate("scrollTo(0, 0)")
                keep(look, docs / f"{name}-phone-dark.png")


@pytest.mark.timeout(120)
def test_carbon_monoxide_takes_the_page(bench: PageBench, browser: Browser, docs: Path):
    text = "Carbon monoxide in the room: shut down and ventilate"
    action = (
        "Shut the appliances down, ventilate and keep people out of the room. No more firing until a licensed person "
        "has found and removed the source; local codes come first."
    )
    co = alarm("room_co_shut_down", "room_co", "safety", 36e-6, value=45e-6, text=text, action=action)
    with looking(browser, bench.address, width=390, height=844, device_scale_factor=2) as look:
        bench.tell(("room_co@badge", 45e-6), alarms=[co])
        look.until("!document.querySelector('#takeover').hidden")
        keep(look, docs / "takeover-phone.png")
