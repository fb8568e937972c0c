"""Recordings over HTTP, through the same gate as the page: names only, no side effects, one sentence where refused."""

import json
import tempfile
from pathlib import Path
from urllib.parse import quote

import pytest

from collector.exchange import export_csv
from collector.recording import Recording
from dashboard.access import Application
from dashboard.app import page
from dashboard.hub import Hub
from tests.collector.recordings import DRAFT, T0, ramp, recorded
from tests.dashboard.asgi import HOST, request
from tests.dashboard.test_access import FOREIGN_HOSTS, FOREIGN_ORIGINS, command

PATHS = ("/library", "/library/call.lightoff/export.csv", "/library/call.lightoff/figure", "/comparison?a=x&b=y")
OUTSIDE = (
    "../call.lightoff",
    "../../etc/passwd",
    "/etc/passwd",
    "//call.lightoff",
    "deleted/call.lightoff",
    "..\\call.lightoff",
    "call\0.lightoff",
    "none.lightoff",
    "letter.lightoff",
    "x" * 5000 + ".lightoff",
    "..",
)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where temporary files go while the test runs."""
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "scratch"))
    return tmp_path / "scratch"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "calls" / "deleted").mkdir(parents=True)
    recorded(tmp_path / "call.lightoff", ramp(DRAFT, 5))
    recorded(tmp_path / "calls" / "deleted" / "call.lightoff", ramp(DRAFT, 5))
    (tmp_path / "calls" / "letter.lightoff").write_text("dear Sir")
    recorded(tmp_path / "calls" / "call.lightoff", ramp(DRAFT, 30))
    return tmp_path / "calls"


@pytest.fixture
def application(folder: Path) -> Application:
    return page(Hub(folder / "now.lightoff"), command, folder)


async def test_the_list_is_json_and_nobody_stores_it(application: Application):
    status, headers, body = await request(application, "/library")
    assert status == 200
    assert headers["content-type"] == "application/json"
    assert headers["cache-control"] == "no-store"
    listing = json.loads(body)
    assert listing["folder"] == "calls"
    assert {row["name"] for row in listing["recordings"]} == {"call.lightoff", "letter.lightoff"}
    assert [row["name"] for row in listing["deleted"]] == ["call.lightoff"]


async def test_a_download_is_what_export_writes_and_nothing_stays(
    application: Application, folder: Path, scratch: Path, tmp_path: Path
):
    with Recording(folder / "call.lightoff") as recording:
        assert export_csv(recording, tmp_path / "export.csv") == 31
    before = names(folder)
    status, headers, body = await request(application, "/library/call.lightoff/export.csv")
    assert status == 200
    assert body == (tmp_path / "export.csv").read_bytes()
    assert headers["content-type"].startswith("text/csv")
    assert headers["content-disposition"] == "attachment; filename*=utf-8''call.csv"
    assert headers["content-length"] == str(len(body))
    assert names(scratch) == []
    assert names(folder) == before


async def test_nothing_stays_where_a_download_fails(
    application: Application, scratch: Path, monkeypatch: pytest.MonkeyPatch
):
    def broken(recording: Recording, target: Path) -> int:
        target.write_text("half of it")
        raise ValueError("the medium is gone")

    monkeypatch.setattr("dashboard.library_routes.export_csv", broken)
    status, _, body = await request(application, "/library/call.lightoff/export.csv")
    assert (status, body) == (404, b"the medium is gone")
    assert names(scratch) == []


@pytest.mark.parametrize("name", OUTSIDE)
@pytest.mark.parametrize("what", ["export.csv", "figure", "events", "values?at=0"])
async def test_a_name_that_is_not_in_the_library_is_refused_in_a_sentence(
    application: Application, folder: Path, name: str, what: str
):
    status, headers, body = await request(application, f"/library/{name}/{what}")
    assert status == 404
    assert headers["content-type"].startswith("text/plain")
    text = body.decode()
    assert "\n" not in text
    assert str(folder.parent) not in text
    assert "recording" in text


async def test_events_values_and_figure_of_one(application: Application):
    _, _, body = await request(application, "/library/call.lightoff/events")
    assert json.loads(body) == {"events": [], "more": 0}
    _, _, body = await request(application, f"/library/call.lightoff/values?at={T0 / 1e6 + 3000}")
    (row,) = json.loads(body)["values"]
    assert row["value"] == pytest.approx(3 * 249.08891)
    _, _, body = await request(application, "/library/call.lightoff/figure?units=metric&light=true&width=390")
    found = json.loads(body)
    assert found["span"] == [T0 / 1e6, T0 / 1e6 + 30_000]
    assert found["figures"][0]["figure"]["data"]


@pytest.mark.parametrize("query", ["start=nan&end=inf", "start=1e300&width=-inf", "units=<b>"])
async def test_numbers_that_cannot_be_meant_do_no_harm(application: Application, query: str):
    status, _, body = await request(application, f"/library/call.lightoff/figure?{query}")
    assert status == 200
    assert json.loads(body)["shown"] == [T0 / 1e6, T0 / 1e6 + 30_000]
    status, _, body = await request(application, f"/comparison?a=call.lightoff&b=call.lightoff&by=nan&align=x&{query}")
    assert status == 200
    assert json.loads(body)["moved"] == 0.0
    assert (await request(application, "/library/call.lightoff/values?at=nan"))[0] == 200


async def test_two_are_compared_by_their_names(application: Application):
    status, _, body = await request(application, "/comparison?a=call.lightoff&b=call.lightoff&by=2.5")
    assert status == 200
    assert json.loads(body)["moved"] == 2.5
    for pair in (
        "a=call.lightoff&b=",
        "a=..%2Fcall.lightoff&b=call.lightoff",
        f"a={quote('x' * 3000)}&b=call.lightoff",
    ):
        status, _, body = await request(application, f"/comparison?{pair}")
        assert status == 404
        assert "\n" not in body.decode()


async def test_a_damaged_recording_is_refused_by_its_name_alone(application: Application, folder: Path):
    path = recorded(folder / "half.lightoff", ramp(DRAFT, 3000))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2 // 4096 * 4096])
    status, _, body = await request(application, "/library/half.lightoff/export.csv")
    assert status == 404
    assert "half.lightoff" in body.decode()
    assert str(folder) not in body.decode()


@pytest.mark.parametrize("path", PATHS)
async def test_other_pages_and_other_names_of_this_machine_get_nothing(application: Application, path: str):
    for host in FOREIGN_HOSTS:
        assert (await request(application, path, headers={"Host": host}))[0] == 403
    for origin in FOREIGN_ORIGINS:
        assert (await request(application, path, headers={"Host": HOST, "Origin": origin}))[0] == 403
    headers = (await request(application, path))[1]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
async def test_it_is_for_reading_only(application: Application, path: str, method: str):
    headers = {"Host": HOST, "Origin": f"http://{HOST}"}
    assert (await request(application, path, method, headers))[0] == 405


async def test_an_empty_library_is_no_error(tmp_path: Path):
    application = page(Hub(tmp_path / "now.lightoff"), command, tmp_path / "recordings")
    _, _, body = await request(application, "/library")
    assert json.loads(body)["recordings"] == []
