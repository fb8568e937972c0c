"""Foreign pages and foreign names are refused, on the page, its routes and its websocket."""

import json
import re
from pathlib import Path

import pytest

from dashboard.access import Application
from dashboard.app import page
from dashboard.hub import Hub
from tests.dashboard.asgi import HOST, ORIGIN, knock, request

TRENDS = "/trends"
CALLBACKS = "/_dash-update-component"
FOREIGN_ORIGINS = (
    "http://example.com",
    "https://127.0.0.1:8350",
    "http://127.0.0.1:9999",
    "http://localhost:8350",
    "null",
)
FOREIGN_HOSTS = ("example.com", "example.com:8350", "127.0.0.1.example.com:8350", "127.0.0.1:8350@example.com", "[", "")


async def command(name: str, arguments: object) -> dict[str, object]:
    return {"ok": True, "text": name}


@pytest.fixture(scope="module")
def application() -> Application:
    return page(Hub(Path("none.lightoff")), command)


def asked() -> bytes:
    return json.dumps({"window": 60}).encode()


JSON = {"Content-Type": "application/json"}


async def test_the_page_itself_is_served(application: Application) -> None:
    status, headers, body = await request(application)
    assert status == 200
    assert b"lightoff" in body
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("name", ["127.0.0.1:8350", "localhost:8350", "[::1]:8350", "localhost", "LOCALHOST:1"])
async def test_every_name_of_this_computer_will_do(application: Application, name: str) -> None:
    assert (await request(application, headers={"Host": name}))[0] == 200


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
async def test_foreign_host_is_refused_everywhere(application: Application, host: str) -> None:
    origin = f"http://{host}"
    assert (await request(application, headers={"Host": host}))[0] == 403
    assert (await request(application, "/assets/live.js", headers={"Host": host}))[0] == 403
    headers = {"Host": host, "Origin": origin, **JSON}
    assert (await request(application, TRENDS, "POST", headers, asked()))[0] == 403
    assert await knock(application, "/live", {"Host": host, "Origin": origin}) == "websocket.close"


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
async def test_foreign_origin_is_refused_everywhere(application: Application, origin: str) -> None:
    headers = {"Host": HOST, "Origin": origin}
    assert (await request(application, headers=headers))[0] == 403
    assert (await request(application, TRENDS, "POST", {**headers, **JSON}, asked()))[0] == 403
    assert await knock(application, "/live", headers) == "websocket.close"


async def test_what_changes_something_needs_an_origin(application: Application) -> None:
    assert (await request(application, TRENDS, "POST", {"Host": HOST, **JSON}, asked()))[0] == 403
    assert await knock(application, "/live", {"Host": HOST}) == "websocket.close"


async def test_two_hosts_or_none_are_refused(application: Application) -> None:
    assert (await request(application, headers={"Accept": "*/*"}))[0] == 403
    assert (await request(application, headers={"Host": HOST, "host": HOST}))[0] == 403


async def test_the_page_may_ask_for_trends_and_use_its_websocket(application: Application) -> None:
    headers = {"Host": HOST, "Origin": ORIGIN}
    status, _, body = await request(application, TRENDS, "POST", {**headers, **JSON}, asked())
    assert status == 200
    assert "none.lightoff" in json.loads(body)["message"]
    assert await knock(application, "/live", headers) == "websocket.accept"


@pytest.mark.parametrize("body", [b"", b"[", b"[]", b"3", b"[" * 3000, b'{"window": 60, "x": "' + b"x" * 5000 + b'"}'])
async def test_a_request_for_trends_that_is_none_is_refused_in_a_sentence(
    application: Application, body: bytes
) -> None:
    status, _, answer = await request(application, TRENDS, "POST", {"Host": HOST, "Origin": ORIGIN}, body)
    assert status == 400
    assert "load it again" in json.loads(answer)["message"]


async def test_a_foreign_page_cannot_use_dashs_own_callbacks_either(application: Application) -> None:
    headers = {"Host": HOST, "Origin": "http://example.com", **JSON}
    assert (await request(application, CALLBACKS, "POST", headers, b"{}"))[0] == 403


async def test_the_library_that_draws_comes_from_this_machine(application: Application) -> None:
    status, headers, body = await request(application, "/plotly.min.js")
    assert (status, headers["content-type"].split(";")[0]) == (200, "text/javascript")
    assert b"plotly" in body[:500]


async def test_the_websocket_of_the_page_is_the_only_one(application: Application) -> None:
    headers = {"Host": HOST, "Origin": ORIGIN}
    assert await knock(application, "/_dash-ws-callback", headers) == "websocket.close"


async def test_policy_allows_the_page_its_own_files_and_no_more(application: Application) -> None:
    _, headers, body = await request(application)
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'self'"
    assert policy["connect-src"] == "'self'"
    assert "unsafe" not in policy["script-src"]
    assert re.fullmatch(r"'self'( 'sha256-[\w+/=]+')+", policy["script-src"])
    sources = re.findall(rb'(?:src|href)="([^"]+)"', body)
    assert sources
    assert all(source.startswith(b"/") and not source.startswith(b"//") for source in sources)
