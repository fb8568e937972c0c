"""The whole way: a technician's program shares, a worker archives, the office's list shows and opens the call."""

import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.collector.archive_bench import serving, stored
from tests.collector.fleet_bench import SECRET, guarded
from tests.collector.test_fleet_archive import turn, working
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]


@pytest.mark.timeout(240)
def test_a_simulated_call_comes_to_the_archive_and_is_on_the_list(
    tmp_path: Path, browser: Browser, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BROKER_SECRET", SECRET)
    broker = guarded(tmp_path)
    place = f"127.0.0.1:{broker.port}"
    (tmp_path / "job.toml").write_text(
        f'site.name = "basement"\n[share]\nbroker = "mqtt://north%2Fann@{place}"\nsecret = "env:BROKER_SECRET"\n'
        'company = "north"\ntechnician = "ann"\n'
        '[[instrument]]\nname = "unit"\ndriver = "simulate"\naddress = "seed=7"\n'
    )
    record = ("record", "--job", "job.toml", "-o", "monday.lightoff", "--port", "0")
    watch = ("watch", f"mqtt://north@{place}/north", "--secret", "env:BROKER_SECRET", "--port", "0")
    try:
        with serving(tmp_path) as server, working(broker, server.url) as worker:
            with lightoff(*record, folder=tmp_path) as recorder, lightoff(*watch, folder=tmp_path) as office:
                assert recorder.address
                turn(worker, lambda: worker.status.readings > 500, "readings come", within=90)
                with looking(browser, office.address, width=390) as look:
                    look.until("document.querySelectorAll('.call.running').length === 1")
                    assert "SIMULATED: no real unit" in look.text(".call")
                    look.page.click(".call button")
                    look.until("document.querySelector('.call a').href", within=90)
                    opened = str(look.page.get_attribute(".call a", "href"))
                with looking(browser, opened, width=390) as look:
                    look.until("document.querySelector('#origin-banner').textContent.includes('SHARED')", within=60)
            deadline = time.monotonic() + 30
            wanted = stored(tmp_path / "monday.lightoff")
            while (found := server.holds()).keys() != wanted.keys() or any(
                len(found[one]) < len(wanted[one]) for one in wanted
            ):
                assert time.monotonic() < deadline, {one: (len(found.get(one, ())), len(wanted[one])) for one in wanted}
                worker.step()
            server.until_it_holds(wanted)
            assert not worker.status.aside
    finally:
        broker.close()
