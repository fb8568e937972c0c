"""Attempts in the view of the recordings: counted in the list, and in an opened one a list and a strip."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import Event, EventKind
from analysis.sequence.recognize import recognize
from collector.analysis_layout import tally
from collector.exchange import import_csv
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]

DATA = Path(__file__).parents[2] / "replay_data"
NAME = "igniter_aged"
STRIP = "document.querySelector('#recorded-strip')"
AXIS = (
    "(() => { const plot = document.querySelector('#recorded-charts .js-plotly-plot');"
    " const axis = plot._fullLayout.xaxis; const left = plot.getBoundingClientRect().left + axis._offset;"
    " return [left, left + axis._length] })()"
)
"""Where the time axis of the trends begins and ends. [px]"""
PLACE = f"(() => {{ const r = {STRIP}.getBoundingClientRect(); return [r.left, r.right] }})()"
AT = "Number(document.querySelector('#recorded-values').dataset.at)"


def test_the_attempts_of_a_recording(browser: Browser, tmp_path: Path):
    opened = pytest.importorskip("collector.opened", reason="recordings cannot be opened for analysis yet")
    (tmp_path / "calls").mkdir()
    path = tmp_path / "calls" / f"{NAME}.lightoff"
    text = (DATA / f"{NAME}.toml").read_text()
    job = Event(0, EventKind.JOB, "job", None, {"text": text, "name": "job.toml"})
    import_csv(DATA / f"{NAME}.csv.gz", path, job=job, start=0, now=0)
    data = opened.open_data(path)
    found = recognize(data.series, data.job.timing, data.job.plate).attempts
    assert found
    with lightoff("demo", "--port", "0", "-o", "calls/now.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address) as look:
            look.page.click("[data-view='recordings']")
            row = f"#recordings-list [data-name='{path.name}']"
            look.until(f"document.querySelector(\"{row}\")?.innerText.includes('{tally(found)}')")
            assert "attempts – on the view Live" in look.text("#recordings-list [data-name='now.lightoff']")  # noqa: RUF001
            look.page.click(f"{row} .recording-open")
            look.until(f"document.querySelectorAll('#recorded-attempts button').length === {len(found)}")
            assert look.text("#recorded-attempts-title").startswith(tally(found))
            look.until(f"{STRIP}.querySelectorAll('.strip-phase').length === {sum(len(a.phases) for a in found)}")
            apart = f"{AXIS}.map((end, place) => Math.abs(end - {PLACE}[place]))"
            look.until(f"Math.max(...{apart}) < 1.5")
            assert look.page.evaluate("document.querySelector('#recorded-attempts > *').scrollTop") == 0
            last = found[-1]
            look.page.click(f"#recorded-attempts button[data-number='{last.number}']")
            look.until(f"[{last.deciding_time}, {last.start}].some(t => Math.abs({AT} - 1000 * t) < 1)")
            look.until(f"{STRIP}.querySelectorAll('.strip-phase').length < {sum(len(a.phases) for a in found)}")
            look.until(f"Math.max(...{apart}) < 1.5")
            look.page.set_viewport_size({"width": 390, "height": 844})
            look.until(f"Math.max(...{apart}) < 1.5 && {PLACE}[1] < 390")
            assert look.small_targets() == []
