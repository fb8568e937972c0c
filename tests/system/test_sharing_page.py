"""The page shared in the same building, and what is said from elsewhere, with real browsers on two addresses."""

import json
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.units import INCH_OF_WATER
from tests.system.page_bench import START, PageBench, alarm, empty_bench
from tests.system.programs import Look, browser, looking
from tests.system.test_accessibility import found

__all__ = ["browser"]

ADDRESS = "127.0.0.2"
"""Of this machine, and not where the technician's page is."""
PHONE = "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Mobile Safari/537.36"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.hello["site"] = "Invented Street 3"
        made.hello["plate"] = {"switch_close": [0.5 * INCH_OF_WATER], "switch_open": [0.42 * INCH_OF_WATER]}
        made.status["alarms"] = [alarm("volts_low", "volts_control", "medium", 21.0)]
        made.greet("draft_switch@simulated: meter", "volts_control@simulated: meter")
        yield made


def share(look: Look) -> str:
    """Share on the page; the link that it shows."""
    look.until("document.querySelector('#share-begin')")
    look.page.fill("#share-address", ADDRESS)
    look.page.click("#share-begin")
    look.until("document.querySelector('.share-link')")
    return str(look.page.input_value(".share-link"))


@contextmanager
def guest(browser: Browser, link: str, *, width: int = 390) -> Iterator[Look]:
    """Somebody who opens a link; what a browser says of refused requests is no complaint here."""
    context = browser.new_context(viewport={"width": width, "height": 844}, user_agent=PHONE)
    try:
        look = Look(context.new_page())
        look.page.goto(link)
        yield look
        assert [one for one in look.complaints if "403" not in one and "WebSocket" not in one] == []
    finally:
        context.close()


def answer(address: str, host: str) -> int:
    asked = urllib.request.Request(address, headers={"Host": host})
    try:
        with urllib.request.urlopen(asked, timeout=20) as answered:
            return int(answered.status)
    except urllib.error.HTTPError as error:
        return error.code


def listens(address: str) -> bool:
    """Whether anything is reached there, whatever it answers."""
    try:
        answer(address, f"{ADDRESS}:1")
    except urllib.error.URLError:
        return False
    return True


@pytest.mark.timeout(180)
def test_a_guest_looks_on_by_the_link_can_do_nothing_and_is_cut_off(bench: PageBench, browser: Browser) -> None:
    with looking(browser, bench.address) as own:
        link = share(own)
        token = link.partition("#")[2]
        assert link.startswith(f"http://{ADDRESS}:")
        assert own.text("#sharing-state") == "shared: nobody looks on"
        with guest(browser, link) as looker:
            looker.page.wait_for_selector("#guest-banner:not([hidden])", timeout=60_000)
            bench.tell(("draft_switch@simulated: meter", 0.6 * INCH_OF_WATER))
            looker.until("document.querySelector('.tile-first .tile-value').textContent === '0.60'")
            assert looker.text("#guest-banner") == "Read only · shared by Invented Street 3"
            assert "SIMULATED" in looker.text("#origin-banner")
            assert token not in looker.page.url
            assert token not in looker.page.content()
            assert not any(token in url for url in looker.foreign), "what is behind # is never sent"
            assert looker.page.evaluate("document.cookie") == ""
            cookies = looker.page.context.cookies()
            assert [(one["httpOnly"], one["sameSite"]) for one in cookies] == [(True, "Strict")]
            assert looker.page.evaluate("document.documentElement.scrollWidth") <= 390
            assert looker.small_targets() == []
            assert found(looker) == []
            visible = looker.page.evaluate(
                "[...document.querySelectorAll('button, input, select')].filter(one => one.offsetParent)"
                ".map(one => one.id || one.textContent)"
            )
            for hidden in ("mark", "enter", "note-send", "share-end", "acknowledge", "mute 10 min"):
                assert hidden not in visible
            assert "Checks" not in looker.text("#ways")

            done = looker.page.evaluate("lightoff.live.send('mark', {text: 'x'})")
            assert (done["ok"], "read only" in done["text"]) == (False, True)
            assert looker.page.evaluate("fetch('/library').then(answer => answer.status)") == 403
            assert bench.commands() == []

            own.until("document.querySelector('#viewers li')")
            row = own.text("#viewers li span")
            assert row.startswith("telephone, since ")
            assert row.endswith(", looks on")
            own.until("document.querySelector('#sharing-state').textContent === 'shared: 1 looks on'")
            assert found(own) == []
            own.page.click(".viewer-cut")
            looker.until("document.documentElement.dataset.guest === 'ended'", within=10)
            assert "the technician cut you off" in looker.text("#guest-banner")
            assert not looker.page.is_visible("#view-live")
        own.until(f"document.querySelector('.share-link').value !== {json.dumps(link)}")
        with guest(browser, link) as late:
            late.until("document.querySelector('#said').textContent.startsWith('refused: this link does not hold')")
            assert token not in late.page.url
        own.page.click("#share-end")
        own.until("document.querySelector('#share-begin')")
        assert not own.page.is_visible("#sharing-state")
        gone_by = time.monotonic() + 20
        while listens(link.partition("#")[0]):
            assert time.monotonic() < gone_by, "something listens there"


@pytest.mark.timeout(120)
def test_what_is_shared_is_no_way_to_the_technicians_page(bench: PageBench, browser: Browser) -> None:
    with looking(browser, bench.address) as own:
        link = share(own).partition("/join")[0]
        host = link.removeprefix("http://")
        port = bench.address.rstrip("/").rpartition(":")[2]
        assert answer(f"{link}/join", host) == 200
        assert answer(f"{link}/", host) == 403
        assert answer(f"{link}/join", "example.com") == 403
        assert answer(f"{link}/join", f"127.0.0.1:{port}") == 403
        assert answer(bench.address, host) == 403
        assert answer(bench.address, f"127.0.0.1:{port}") == 200


def talk(bench: PageBench, *rows: dict[str, object], watching: bool) -> None:
    bench.tell(talk={"watching": watching, "way": watching, "waiting": len(rows), "open": list(rows), "answered": []})


def said(identity: str, kind: str, text: str) -> dict[str, object]:
    return {
        "id": identity,
        "kind": kind,
        "at": START,
        "text": text,
        "author": "A. Supervisor",
        "point": None,
        "came": START,
        "answer": "",
        "answered": None,
    }


@pytest.mark.timeout(120)
@pytest.mark.parametrize(("scheme", "width"), [("dark", 390), ("light", 1280)])
def test_who_is_at_the_unit_sees_what_is_asked_and_answers(
    bench: PageBench, browser: Browser, scheme: str, width: int
) -> None:
    with looking(browser, bench.address, width=width, height=844, color_scheme=scheme) as look:
        look.until("document.querySelector('#share-begin')")
        assert not look.page.is_visible("#talk")
        talk(
            bench,
            said("a1", "note", "the draft sags"),
            said("b2", "request", "please measure the inlet"),
            watching=False,
        )
        look.until("!document.querySelector('#talk-line').hidden")
        assert look.text("#talk-line") == "✉ 2 wait for an answer, the last: please measure the inlet"
        assert found(look) == []
        if width == 390:
            assert look.small_targets() == []
        assert look.page.evaluate("document.documentElement.scrollWidth") <= width
        look.page.click("#talk-line")
        look.page.fill("#talk-answer", "7.0 in. w.c.")
        look.page.click("[data-id=b2] .talk-done")
        look.until("document.querySelector('#talk-answer').value === ''")
        look.page.focus("[data-id=a1] .talk-done")
        look.page.keyboard.press("Enter")
        given_by = time.monotonic() + 20
        while len(bench.commands()) < 2:
            assert time.monotonic() < given_by, "two answers were given"
            look.page.wait_for_timeout(20)
        given = [(one["name"], one["arguments"]) for one in bench.commands()]
        assert given[0] == ("remote_done", {"id": "b2", "text": "7.0 in. w.c."})
        assert given[-1] == ("remote_done", {"id": "a1", "text": ""})
        talk(bench, watching=False)
        look.until("document.querySelector('#talk').hidden && document.querySelector('#talk-line').hidden")


@pytest.mark.timeout(120)
def test_who_looks_on_from_elsewhere_writes_and_asks(bench: PageBench, browser: Browser) -> None:
    with looking(browser, bench.address, width=390, height=844) as look:
        look.until("document.querySelector('#share-begin')")
        talk(bench, said("a1", "note", "the draft sags"), watching=True)
        look.until("document.querySelector('#talk-note')")
        assert not look.page.is_visible("#talk-line")
        assert not look.page.is_visible(".talk-done")
        assert found(look) == []
        assert look.small_targets() == []
        look.page.fill("#talk-author", "A. Supervisor")
        look.page.fill("#talk-text", "watch the manifold")
        look.page.click("#talk-note")
        look.until("document.querySelector('#talk-text').value === ''")
        look.page.select_option("#talk-point", "gas_inlet")
        look.page.click("#talk-request")
        look.until("document.querySelector('#reply').textContent === 'remote_request done'")
        assert [(one["name"], one["arguments"]) for one in bench.commands()] == [
            ("remote_note", {"text": "watch the manifold", "author": "A. Supervisor"}),
            ("remote_request", {"text": "", "author": "A. Supervisor", "point": "gas_inlet"}),
        ]
