"""`lightoff archive BROKER URL`: real workers between a real broker and a real server; nothing is lost."""

import time
from pathlib import Path

import pytest

from tests.collector.archive_bench import Known, gate, serving
from tests.collector.fleet_bench import Archiver, archiving, guarded, technician


def test_what_technicians_share_comes_to_the_server(tmp_path: Path):
    broker = guarded(tmp_path)
    with serving(tmp_path) as server, technician(broker.port) as ann, technician(broker.port, "south/eve") as eve:
        ann.describe()
        with archiving(broker.port, server.url) as worker:
            worker.ready()
            ann.say(5)
            eve.say(5)  # before her channels are known: they wait
            eve.describe()
            server.until_it_holds(together(ann.said, eve.said))
            done = worker.stop()
    broker.close()
    assert (done["status"], done["readings"], done["aside"]) == (0, 200, {})


def together(*known: Known) -> Known:
    found: Known = {}
    for one in known:
        for place, rows in one.items():
            found.setdefault(place, []).extend(rows)
    return {place: sorted(rows) for place, rows in found.items()}
