"""What guests get, route by route: each that the page has, whatever it is, is only read or refused."""

import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute

from collector.building import Share
from dashboard.app import page
from dashboard.feed import COMMANDS
from dashboard.guest_view import for_guest
from dashboard.guests import LONGEST_TOKEN, NO_LINK, READ_ONLY, Guests, read_only
from dashboard.hub import Hub
from dashboard.sharing import GONE, Sharing
from tests.dashboard.asgi import knock, request

ADDRESS = "192.168.7.5:8350"
ORIGIN = f"http://{ADDRESS}"
TOKEN = "t" * 32

READ = {
    "/",
    "/assets",
    "/_dash-component-suites/{package_name}/{fingerprinted_path:path}",
    "/_dash-layout",
    "/_dash-dependencies",
    "/_reload-hash",
    "/_favicon.ico",
    "/live",
    "/trends",
    "/plotly.min.js",
    "/photos/{identity}",
    "/causes",
}
"""Routes that may be read by guests; whoever adds another has to want that here."""
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


async def command(name: str, arguments: object) -> dict[str, object]:
    raise AssertionError(f"a guest's command reached the recorder: {name}")


@pytest.fixture(scope="module")
def server() -> FastAPI:
    application = page(Hub(Path("none.lightoff")), command).application
    assert isinstance(application, FastAPI)
    return application


def hour() -> Share:
    """From now on for an hour."""
    return Share(("192.168.7.5", "10.0.0.7"), TOKEN, until=time.time() + 3600, port=8350)


@pytest.fixture
def guests(server: FastAPI) -> Iterator[Guests]:
    made = page(Hub(Path("none.lightoff")), command)
    sharing = Sharing()
    sharing.begin(hour())
    yield Guests(made, sharing)
    sharing.end()


async def joined(guests: Guests, token: str = TOKEN, **headers: str) -> tuple[int, dict[str, str], bytes]:
    given = {"Host": ADDRESS, "Origin": ORIGIN} | headers
    return await request(guests, "/join", "POST", given, token.encode())


async def pass_of(guests: Guests) -> dict[str, str]:
    status, headers, _ = await joined(guests)
    assert status == 200
    return {"Host": ADDRESS, "Origin": ORIGIN, "Cookie": headers["set-cookie"].partition(";")[0]}


def example(route: BaseRoute) -> str:
    return re.sub(r"\{\w+(:path)?\}", "0123456789abcdef", str(getattr(route, "path", "/"))) + (
        "/live.js" if isinstance(route, Mount) else ""
    )


async def test_every_route_of_the_page_is_only_read_or_refused(guests: Guests, server: FastAPI) -> None:
    headers = await pass_of(guests)
    seen = set()
    for route in server.routes:
        path, place = str(getattr(route, "path", "/")), example(route)
        seen.add(path)
        if isinstance(route, WebSocketRoute) or not isinstance(route, Route | Mount):
            assert path == "/live", "the one websocket"
            continue
        for method in METHODS:
            status, _, body = await request(guests, place, method, headers)
            reads = method in ("GET", "HEAD") if path != "/trends" else method == "POST"
            if path in READ and reads:
                assert status != 403, (method, path)
            else:
                assert (status, body) == (403, READ_ONLY.encode()), (method, path)
    assert seen >= READ


async def test_a_route_that_is_added_later_is_refused(guests: Guests, server: FastAPI) -> None:
    headers = await pass_of(guests)
    for path in ("/settings", "/library", "/library/a.lightoff/export.csv", "/live/more", "/trends/all"):
        assert (await request(guests, path, "GET", headers))[::2] == (403, READ_ONLY.encode())
    assert await knock(guests, "/other", headers) == "websocket.close"


async def test_every_command_is_refused_with_one_sentence() -> None:
    for name in (*COMMANDS, "share_begin", "share_end", "share_cut"):
        assert await read_only(name, {}) == {"ok": False, "text": READ_ONLY}


async def test_without_the_link_nothing_is_shown(guests: Guests, server: FastAPI) -> None:
    headers = {"Host": ADDRESS, "Origin": ORIGIN}
    for route in server.routes:
        status, _, body = await request(guests, example(route), "GET", headers)
        assert (status, body) == (403, NO_LINK.encode())
    assert await knock(guests, "/live", headers) == "websocket.close"
    forged = headers | {"Cookie": "lightoff_guest_8350=" + "x" * 32}
    assert (await request(guests, "/", "GET", forged))[::2] == (403, GONE.encode())
    assert await knock(guests, "/live", forged) == "websocket.close"


async def test_the_page_of_the_link_takes_the_token_from_where_browsers_send_nothing(guests: Guests) -> None:
    status, headers, body = await request(guests, "/join", "GET", {"Host": ADDRESS})
    assert (status, headers["cache-control"]) == (200, "no-store")
    assert TOKEN.encode() not in body
    script = (await request(guests, "/join.js", "GET", {"Host": ADDRESS}))[2]
    assert b"location.hash" in script
    assert b"history.replaceState" in script


async def test_the_link_becomes_a_cookie_that_scripts_and_other_sites_do_not_get(guests: Guests) -> None:
    status, headers, body = await joined(guests)
    cookie = headers["set-cookie"]
    assert status == 200
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert TOKEN not in cookie + body.decode()
    (age,) = re.findall(r"Max-Age=(\d+)", cookie)
    assert 3500 < int(age) <= 3600
    given = {"Host": ADDRESS, "Cookie": cookie.partition(";")[0]}
    status, headers, _ = await request(guests, "/", "GET", given)
    assert status == 200
    assert "frame-ancestors 'none'" in headers["content-security-policy"]


@pytest.mark.parametrize("token", ["", "wrong", "t" * 31, "t" * (LONGEST_TOKEN + 1)])
async def test_a_wrong_link_is_refused_and_nothing_of_it_is_said(guests: Guests, token: str) -> None:
    status, headers, body = await joined(guests, token)
    assert (status, body) == (403, GONE.encode())
    assert "set-cookie" not in headers


HOSTS = ["127.0.0.1:8350", "localhost:8350", "192.168.7.6:8350", "192.168.7.5", "192.168.7.5:80", "example.com:8350"]


@pytest.mark.parametrize("host", HOSTS)
async def test_only_an_address_that_is_shared_is_answered(guests: Guests, host: str) -> None:
    headers = await pass_of(guests) | {"Host": host, "Origin": f"http://{host}"}
    for path in ("/", "/join", "/join.js"):
        assert (await request(guests, path, "GET", headers))[0] == 403
    assert (await joined(guests, Host=host, Origin=f"http://{host}"))[0] == 403
    assert await knock(guests, "/live", headers) == "websocket.close"


async def test_each_address_that_is_shared_is_answered(guests: Guests) -> None:
    other = "10.0.0.7:8350"
    assert (await joined(guests, Host=other, Origin=f"http://{other}"))[0] == 200


@pytest.mark.parametrize("origin", ["http://example.com", "https://192.168.7.5:8350", "http://10.0.0.7:8350", "null"])
async def test_another_page_cannot_use_what_the_browser_keeps(guests: Guests, origin: str) -> None:
    headers = await pass_of(guests) | {"Origin": origin}
    assert (await request(guests, "/trends", "POST", headers, b"{}"))[0] == 403
    assert (await joined(guests, Origin=origin))[0] == 403
    assert await knock(guests, "/live", headers) == "websocket.close"
    headers.pop("Origin")
    assert await knock(guests, "/live", headers) == "websocket.close"
    assert (await request(guests, "/trends", "POST", headers, b"{}"))[0] == 403


async def test_the_technicians_own_page_does_not_answer_under_a_shared_address() -> None:
    made = page(Hub(Path("none.lightoff")), command)
    assert (await request(made, "/", "GET", {"Host": ADDRESS}))[0] == 403


async def test_ended_expired_and_replaced_links_are_refused(server: FastAPI) -> None:
    now = [time.time()]
    sharing = Sharing(now=lambda: now[0])
    guests = Guests(page(Hub(Path("none.lightoff")), command), sharing)
    assert (await joined(guests))[0] == 403, "not shared yet"
    share = hour()
    sharing.begin(share)
    headers = await pass_of(guests)
    now[0] = share.until
    assert (await request(guests, "/", "GET", headers))[::2] == (403, GONE.encode())
    assert (await joined(guests))[::2][1] == GONE.encode()
    now[0] = 0.0
    sharing.begin(replace(share, token="n" * 32))
    assert (await joined(guests))[::2][1] == GONE.encode()
    sharing.end()
    assert (await request(guests, "/", "GET", headers))[0] == 403


SAID: list[dict[str, Any]] = [
    {"type": "hello", "recording": "/home/me/calls/smith.lightoff", "job": "smith.toml", "plate": {}, "limits": []},
    {"type": "status", "now": 1, "archive": {"text": "behind http://server"}, "replays": [{"url": "http://127.0.0.1"}],
     "practice": {"set": []}, "talk": {}, "entries": [{"text": "x"}],
     "recorder": {"state": "standing still", "text": "/home/me is full", "lost": 3, "queued": 5},
     "instruments": [{"name": "meter", "origin": None, "text": "cannot open /dev/ttyUSB0", "facts": {"serial": 1}}]},
    {"type": "sharing", "links": [{"link": f"{ORIGIN}/join#{TOKEN}"}]},
    {"type": "something new", "secret": "/home"},
]  # fmt: skip


def test_guests_are_told_nothing_about_this_computer_nor_the_link() -> None:
    told = str([for_guest(one) for one in SAID])
    for private in ("/home", "smith", "http", "ttyUSB", "serial", TOKEN, "practice"):
        assert private not in told
    status = for_guest(SAID[1])
    assert status is not None
    assert status["instruments"][0]["name"] == "meter"
    assert status["recorder"]["state"] == "standing still"
    assert for_guest({"type": "readings", "readings": []}) == {"type": "readings", "readings": []}
