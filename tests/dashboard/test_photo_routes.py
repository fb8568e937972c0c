"""Photographs over HTTP: as what they are, to this page alone, and nothing else."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from collector.attachments import Attachment, pieces
from collector.store import Store
from dashboard.access import Application
from dashboard.app import page
from dashboard.hub import Hub
from tests.collector.pictures import JPEG, PNG
from tests.collector.recordings import DRAFT, T0, ramp, recorded
from tests.dashboard.asgi import HOST, ORIGIN, knock, request
from tests.dashboard.test_access import FOREIGN_HOSTS, FOREIGN_ORIGINS, command

PLATE = Attachment("aa" * 16, T0, "rating plate ä.jpg", "image/jpeg", "", len(JPEG))
METER = Attachment("bb" * 16, T0, "meter.png", "image/png", "", len(PNG))
SCRIPT = b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>"
DRAWN = replace(METER, id="cc" * 16, media_type="image/svg+xml", size=len(SCRIPT))
RUNNING, LISTED = f"/photos/{PLATE.id}", f"/library/call.lightoff/photos/{METER.id}"


def attached(path: Path, known: Attachment, content: bytes) -> None:
    recorded(path, ramp(DRAFT, 1))
    with Store(path) as store:
        store.append([*pieces(known, content), known])


@pytest.fixture
def application(tmp_path: Path) -> Application:
    attached(tmp_path / "now.lightoff", PLATE, JPEG)
    (tmp_path / "calls").mkdir()
    attached(tmp_path / "calls" / "call.lightoff", METER, PNG)
    with Store(tmp_path / "calls" / "call.lightoff") as store:
        store.append([*pieces(DRAWN, SCRIPT), DRAWN])
    return page(Hub(tmp_path / "now.lightoff"), command, tmp_path / "calls")


@pytest.mark.parametrize(("path", "kind", "content"), [(RUNNING, "image/jpeg", JPEG), (LISTED, "image/png", PNG)])
async def test_a_photograph_is_served_as_what_it_is(application: Application, path: str, kind: str, content: bytes):
    status, headers, body = await request(application, path)
    assert (status, headers["content-type"], body) == (200, kind, content)
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["content-disposition"].startswith("inline; filename*=utf-8''")
    assert headers["cache-control"] == "private, max-age=86400, immutable"


async def test_what_is_no_picture_is_not_served_even_if_it_got_in(application: Application):
    status, headers, body = await request(application, f"/library/call.lightoff/photos/{DRAWN.id}")
    assert (status, headers["content-type"]) == (404, "text/plain; charset=utf-8")
    assert b"svg" not in body


@pytest.mark.parametrize(
    "path",
    [
        f"/photos/{METER.id}",
        "/photos/..%2f..%2fetc%2fpasswd",
        "/photos/" + "a" * 5000,
        f"/library/none.lightoff/photos/{METER.id}",
        f"/library/../now.lightoff/photos/{PLATE.id}",
    ],
)
async def test_what_is_not_there_is_said_in_one_sentence_without_a_folder(
    application: Application, path: str, tmp_path
):
    status, headers, body = await request(application, path)
    assert (status, headers["content-type"]) == (404, "text/plain; charset=utf-8")
    assert str(tmp_path) not in body.decode()
    assert len(body.splitlines()) == 1


FORGED: list[Mapping[str, str]] = [
    *({"Host": host} for host in FOREIGN_HOSTS),
    *({"Host": HOST, "Origin": origin} for origin in FOREIGN_ORIGINS),
]


@pytest.mark.parametrize("path", [RUNNING, LISTED])
@pytest.mark.parametrize("headers", FORGED, ids=str)
async def test_a_foreign_page_gets_none(application: Application, path: str, headers: dict[str, str]):
    status, _, body = await request(application, path, headers=headers)
    assert (status, body[:7]) == (403, b"refused")


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
async def test_nothing_is_attached_or_removed_over_these_routes(application: Application, method: str):
    status, _, _ = await request(application, RUNNING, method, {"Host": HOST, "Origin": ORIGIN}, JPEG)
    assert status == 405
    status, _, _ = await request(application, RUNNING, method, {"Host": HOST}, JPEG)
    assert status == 403, "a form of another page sends no origin that is ours"


async def test_a_foreign_page_cannot_send_one(application: Application):
    """Parts of photographs come as commands, over the one websocket."""
    for headers in FORGED:
        assert await knock(application, "/live", {"Origin": ORIGIN, **headers}) == "websocket.close"
    assert await knock(application, "/live", {"Host": HOST, "Origin": ORIGIN}) == "websocket.accept"
