"""Every view against the success criteria of WCAG 2.2 at level AA, as far as a program can judge them (axe)."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest
from playwright.sync_api import Browser

from analysis.units import INCH_OF_WATER
from dashboard.views import views
from tests.system.page_bench import PageBench, alarm, empty_bench
from tests.system.programs import Look, browser, lightoff, looking

__all__ = ["browser"]

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
VIEWS = [view.name for view in views()]
EVERY_LOOK = bool(os.environ.get("LIGHTOFF_EVERY_LOOK"))
"""Whether each colour scheme is tried at each width; else each of them once."""
LOOKS = [("dark", 390), ("light", 1280), *([("light", 390), ("dark", 1280)] if EVERY_LOOK else [])]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        yield made


def found(look: Look) -> list[str]:
    """What axe finds, each as its rule and the elements."""
    look.page.evaluate(AXE)
    result: dict[str, Any] = look.page.evaluate(
        "tags => axe.run({exclude: [['.js-plotly-plot']]}, {runOnly: {type: 'tag', values: tags}})", TAGS
    )
    assert len(result["passes"]) > 10, "it looked at something"
    return [
        f"{one['id']}: {node['target']} {node['any'][0]['message'] if node['any'] else ''}"
        for one in result["violations"]
        for node in one["nodes"]
    ]


@pytest.mark.timeout(300)
@pytest.mark.parametrize(("scheme", "width"), LOOKS)
def test_axe_finds_nothing_in_any_view(browser: Browser, tmp_path: Path, scheme: str, width: int):
    """The demo with its alarm; settings opened; and nothing to press is smaller than 44 pixels on a telephone."""
    with lightoff("demo", "--speed", "60", "--port", "0", "-o", "demo.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address, width=width, height=844, color_scheme=scheme) as look:
            look.page.wait_for_selector(".alarm-row", timeout=60_000)
            look.page.select_option("#replay-speed", "1")  # it has shown what is looked at
            look.page.click("#settings summary")
            for name in VIEWS:
                look.page.click(f".way[data-view={name}]")
                look.until(f"!document.querySelector('#view-{name}').hidden")
                look.page.wait_for_timeout(300)
                assert found(look) == [], name
                assert look.page.evaluate("document.documentElement.scrollWidth") <= width, name
                if width == 390:
                    assert look.small_targets() == [], name


@pytest.mark.timeout(120)
@pytest.mark.parametrize("scheme", ["dark", "light"])
def test_axe_finds_nothing_when_it_is_dangerous(bench: PageBench, browser: Browser, scheme: str):
    """The takeover, then what stays of it, with contacts that opened first and a meter below zero."""
    co = alarm("room_co_shut_down", "room_co", "safety", 36e-6, value=45e-6)
    bench.status["alarms"] = [co, alarm("volts_low", "volts_control", "medium", 21.0)]
    bench.status["phase"] = {
        "phase": "rest",
        "text": "no call for heat",
        "since": bench.now,
        "expected": None,
        "next": "",
    }
    bench.status["warnings"] = [
        {"name": "flame_without_gas", "text": "STOP: flame with the gas valve closed", "stop": True},
        {"name": "limit_open", "text": "a limit switch is open", "stop": False},
    ]
    bench.status["first_drop"] = {"time": bench.now, "points": ["switch_closed"]}
    bench.hello["plate"] = {"switch_close": [0.5 * INCH_OF_WATER], "switch_open": [0.42 * INCH_OF_WATER]}
    bench.greet("room_co@badge", "draft_switch@meter", "switch_closed@logger", "volts_control@meter")
    rows = (
        ("room_co@badge", 45e-6),
        ("draft_switch@meter", 60.0),
        ("switch_closed@logger", 0.0),
        ("draft_margin", -60.0),
    )
    with looking(browser, bench.address, color_scheme=scheme) as look:
        bench.tell(*rows, ("volts_control@meter", 20.0))
        look.until("!document.querySelector('#takeover').hidden")
        assert found(look) == []
        bench.tell(*rows, alarms=[co | {"state": "acknowledged"}, *bench.status["alarms"][1:]])
        look.until("document.querySelector('#takeover').hidden")
        assert found(look) == []
