"""Leading causes for the live page: what the worker says, that nobody waits for it, and how often it looks."""

import json
import sys
import time
from pathlib import Path

import pytest
from fastapi import FastAPI

from collector.causes_worker import causes_of
from dashboard.app import page
from dashboard.found_causes import FoundCauses, add_causes
from dashboard.guests import VIEWER
from dashboard.hub import Hub
from tests.dashboard.asgi import request

DATA = Path(__file__).parents[2] / "replay_data"
SIZE = """import sys, json, pathlib
for line in sys.stdin:
    print(json.dumps({"size": pathlib.Path(json.loads(line)).stat().st_size}), flush=True)"""
WORKER = (sys.executable, "-c", SIZE)


async def command(name: str, arguments: object) -> dict[str, object]:
    return {"ok": True, "text": name}


def told(found: FoundCauses, path: Path, size: int) -> dict[str, object]:
    """The answer, once it is that for a file of this size."""
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        answer = found.latest(path)
        if answer == {"size": size}:
            return answer
        time.sleep(0.01)
    raise AssertionError("no answer")


def test_the_worker_says_the_causes_of_a_recording_with_evidence_that_has_a_moment() -> None:
    found = causes_of(DATA / "drain_backs_up.csv.gz")
    assert found["causes"][0]["text"] == "condensate drain or trap blocked"
    assert found["causes"][0]["evidence"][0]["text"].startswith(("strongly for", "for", "a little for"))
    assert any(one["at"] is not None for one in found["causes"][0]["evidence"])
    assert "Smell of gas" in " ".join(found["before"])
    json.dumps(found, allow_nan=False)


def test_a_file_that_cannot_be_read_is_a_problem_without_its_folder(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("no head\n1\n")
    found = causes_of(tmp_path / "bad.csv")
    assert found["problem"]
    assert str(tmp_path) not in found["problem"]


def test_who_asks_never_waits_and_gets_the_last_answer(tmp_path: Path) -> None:
    path = tmp_path / "call.lightoff"
    path.write_bytes(b"1")
    found = FoundCauses(WORKER, every=0.0)
    assert found.latest(path) is None
    told(found, path, 1)
    path.write_bytes(b"12")
    assert found.latest(path) == {"size": 1}
    told(found, path, 2)
    assert found.latest(tmp_path / "other.lightoff") is None


def test_a_call_that_goes_on_is_looked_at_no_more_often_than_that(tmp_path: Path) -> None:
    path = tmp_path / "call.lightoff"
    path.write_bytes(b"1")
    found = FoundCauses(WORKER, every=3600.0)
    told(found, path, 1)
    path.write_bytes(b"12")
    assert found.latest(path) == {"size": 1}
    found.wait()
    assert found.latest(path) == {"size": 1}


@pytest.mark.parametrize(("host", "status"), [("127.0.0.1:8350", 200), ("elsewhere.example", 403)])
async def test_the_route_answers_this_machine_only(tmp_path: Path, host: str, status: int) -> None:
    made = page(Hub(tmp_path / "none.lightoff"), command)
    found, _, body = await request(made, "/causes", "GET", {"Host": host})
    assert found == status
    if status == 200:
        assert json.loads(body) is None


@pytest.mark.parametrize(
    ("found", "guest", "told"),
    [
        ({"causes": []}, True, {"causes": []}),
        ({"problem": "call.lightoff has no readings"}, True, None),
        ({"problem": "call.lightoff has no readings"}, False, {"problem": "call.lightoff has no readings"}),
    ],
)
async def test_guests_are_told_causes_and_no_name_of_a_file(found, guest, told) -> None:
    server = FastAPI()
    answering = FoundCauses(WORKER)
    answering.latest = lambda path: found  # type: ignore[method-assign]
    add_causes(server, Path("call.lightoff"), answering)

    async def asked(scope, receive, send) -> None:
        await server({**scope, **({VIEWER: object()} if guest else {})}, receive, send)

    status, _, body = await request(asked, "/causes", "GET", {})
    assert (status, json.loads(body)) == (200, told)
