"""The program as its users run it, and a real browser looking at its page."""

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty, Queue

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, sync_playwright

CHROMIUM = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


CHARTS = "[...document.querySelectorAll('#trends .js-plotly-plot')]"
"""The drawings of the trends, from top to bottom."""

TRACES = f"{CHARTS}.filter(one => one.offsetParent).flatMap(one => one.data || [])"
"""The lines of all of them."""

NEWEST = f"Math.max(...{TRACES}.map(t => t.x.length ? t.x[t.x.length - 1] : 0))"
"""Time of the newest point drawn. [ms]"""


def has_trends(minimum: int) -> str:
    """Whether a line of the trends has more points than this."""
    return f"{TRACES}.some(t => t.x.length > {minimum})"


class Program:
    """A running `lightoff`, its address and what it prints."""

    def __init__(self, arguments: tuple[str, ...], folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "collector", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            cwd=folder,
            start_new_session=True,
        )
        self.lines: list[str] = []
        self._new: Queue[str | None] = Queue()
        self._reader = threading.Thread(target=self._read, name="output of lightoff")
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._new.put(line.rstrip("\n"))
        self._new.put(None)

    def says(self, start: str, *, within: float = 30.0) -> str:
        """The rest of the next line that begins so; AssertionError with everything printed when none comes."""
        while True:
            try:
                line = self._new.get(timeout=within)
            except Empty:
                line = None
            assert line is not None, f"lightoff did not say '{start}':\n" + "\n".join(self.lines)
            self.lines.append(line)
            if line.startswith(start):
                return line.removeprefix(start).strip()

    @property
    def address(self) -> str:
        """Where the page is."""
        return self.says("page:").split()[0]

    def stop(self) -> None:
        """Ask it to stop and wait; AssertionError when it does not end well or leaves a process behind."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        try:
            status = self.process.wait(20)
        finally:
            left = _kill_group(self.process.pid)
            self.process.wait()
            self._reader.join()
            assert self.process.stdout is not None
            self.process.stdout.close()
        while not self._new.empty():
            self.lines.append(self._new.get() or "")
        assert status == 0, "\n".join(self.lines)
        assert not left, "a process of it went on"


def page_process(recorder: int) -> int:
    """Number of the page's process, by that of the recorder's."""
    children = subprocess.run(
        ["ps", "--no-headers", "-o", "pid,args", "--ppid", str(recorder)], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    (found,) = [int(line.split()[0]) for line in children if "dashboard" in line]
    return found


def _kill_group(group: int) -> bool:
    """Kill whatever is left of a group of processes; whether there was anything."""
    try:
        os.killpg(group, signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True


@contextmanager
def lightoff(*arguments: str, folder: Path) -> Iterator[Program]:
    """The program while the block runs."""
    program = Program((*arguments, "--no-browser"), folder)
    try:
        yield program
    finally:
        program.stop()


def chromium_path() -> str:
    """Where the browser is; skips where there is none."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no browser to look at the page with; run: sudo apt-get install -y chromium")
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A real browser without a screen."""
    path = chromium_path()
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=list(CHROMIUM))
        yield running
        running.close()


class Look:
    """A page in the browser, and everything it complained about."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", self._hear)
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.on("requestfailed", self._failed)
        self.foreign: list[str] = []
        page.on("request", lambda request: self.foreign.append(request.url))

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"{message.type}: {message.text}")

    def _failed(self, request: Request) -> None:
        """Complain, but of the tab's picture and what the page was asking for when a reload made it superfluous."""
        superfluous = request.resource_type == "fetch" or "_favicon.ico" in request.url
        if not (request.failure == "net::ERR_ABORTED" and superfluous):
            self.complaints.append(f"failed: {request.url} {request.failure}")

    def text(self, selector: str) -> str:
        """Text of an element."""
        return self.page.inner_text(selector)

    def until(self, script: str, *, within: float = 30.0) -> None:
        """Wait until a script is true in the page."""
        until(self.page, script, within=within)

    def choose(self, button: str) -> None:
        """Press a button of the settings, which are folded away."""
        if not self.page.is_visible(button):
            self.page.click("#settings summary")
        self.page.click(button)

    def small_targets(self) -> list[str]:
        """What can be pressed and is smaller than 44 pixels, in either direction."""
        script = (
            "[...document.querySelectorAll('button, select, input, textarea, summary, a[href]')]"
            ".filter(e => e.offsetParent || getComputedStyle(e).position === 'fixed')"
            ".map(e => [e, e.getBoundingClientRect()])"
            ".filter(([, b]) => b.height && Math.min(b.height, b.width) < 43.9)"
            ".map(([e]) => e.id || e.className || e.textContent)"
        )
        return list(self.page.evaluate(script))


def holds(page: Page, script: str) -> bool:
    """Whether a script is true in a page; what is not there yet is not true."""
    return bool(page.evaluate(f"(() => {{ try {{ return Boolean({script}) }} catch {{ return false }} }})()"))


def until(page: Page, script: str, *, within: float = 30.0) -> None:
    """Wait until a script is true in a page; asked from outside, since the page's policy allows no evaluation."""
    deadline = time.monotonic() + within
    while not holds(page, script):
        assert time.monotonic() < deadline, f"not within {within} s: {script}"
        page.wait_for_timeout(50)


@contextmanager
def looking(browser: Browser, address: str, *, width: int = 1280, height: int = 900, **more: object) -> Iterator[Look]:
    """A page that shows the address; at the end it must not have complained nor asked anyone else for anything."""
    context = browser.new_context(viewport={"width": width, "height": height}, **more)  # type: ignore[arg-type]
    try:
        look = Look(context.new_page())
        look.page.goto(address)
        yield look
        assert look.complaints == [], look.complaints
        own = tuple(scheme + address.split("://")[1] for scheme in ("http://", "ws://"))
        assert [url for url in look.foreign if not url.startswith((*own, "data:", "blob:"))] == []
    finally:
        context.close()
