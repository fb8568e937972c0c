"""What the feed tells before the next status is due."""

from analysis.model import Event, EventKind
from tests.collector.test_feed import connected, served


async def test_what_is_said_from_elsewhere_is_told_at_once(tmp_path, monkeypatch):
    monkeypatch.setattr("collector.feed.STATUS", 3600.0)
    async with (
        served(tmp_path / "a.lightoff") as (collector, feed, host, port),
        connected(host, port, feed.token) as client,
    ):
        await client.next("status")
        for kind in (EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST, EventKind.REMOTE_DONE):
            collector.ingest(Event(collector.now(), kind, "the draft sags", None, {"id": "a1"}))
            await client.next("status")
