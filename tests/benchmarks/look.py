"""One look at a page by a browser of its own: `python -m tests.benchmarks.look ADDRESS SETTLED SECONDS [begins]`.

Prints the ages of what each paint showed [ms] as JSON. A process of its own, since a tab that hangs answers nothing and
can only be killed.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.benchmarks.other_ways import TILES
from tests.system.programs import CHROMIUM, chromium_path, until

Ages = dict[str, list[float]]

WATCH = (Path(__file__).parent / "watch.js").read_text().replace("POINTS;", f"{TILES};")
LOADED_WITHIN = 30.0
"""[s]"""
AFTER_LOAD = 3.0
"""From the first drawing until a way begins that has to be told to; it hangs the tab when it begins earlier. [s]"""


def look(address: str, settled: float, seconds: float, *, begins: bool) -> Ages:
    """Ages at each paint during some time [s], from when the page has been drawn and has settled [s]. [ms]

    `begins`: the page has to be told to begin.
    """
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=list(CHROMIUM))
        page = browser.new_page(viewport={"width": 1280, "height": 1400})
        page.add_init_script(WATCH)
        page.goto(address)
        until(page, "document.querySelectorAll('#tiles .tile-value').length >= 8", within=LOADED_WITHIN)
        until(page, "seen.drawn()", within=LOADED_WITHIN)
        if begins:
            page.wait_for_timeout(AFTER_LOAD * 1000)
            page.evaluate("dash_clientside.set_props('begin', { data: 1 })")
        page.wait_for_timeout(settled * 1000)
        page.evaluate("seen.since = Date.now()")
        page.wait_for_timeout(seconds * 1000)
        ages: Ages = page.evaluate("({ tiles: seen.tiles, trends: seen.trends, longest: [seen.longest] })")
        browser.close()
    return ages


def looked_at(address: str, settled: float, seconds: float, *, begins: bool) -> Ages:
    """The same from a process of its own; nothing was seen where the tab hangs."""
    command = [
        sys.executable,
        "-m",
        "tests.benchmarks.look",
        address,
        str(settled),
        str(seconds),
        *(["begins"] if begins else []),
    ]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)
    try:
        printed, _ = process.communicate(timeout=LOADED_WITHIN + AFTER_LOAD + settled + 2 * seconds)
    except subprocess.TimeoutExpired:
        return {"tiles": [], "trends": [], "longest": []}
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
    ages: Ages = json.loads(printed)
    return ages


if __name__ == "__main__":
    print(json.dumps(look(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]), begins="begins" in sys.argv)))  # noqa: T201
