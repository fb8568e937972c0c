"""The view of the recordings in a real browser: looked at, scrubbed, compared, replayed, exported, deleted and back."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from analysis.model import Event, EventKind
from collector.exchange import export_csv, import_csv
from collector.recording import Recording
from collector.store import Store
from dashboard.recorded import values_at
from tests.collector.recordings import DRAFT, ramp, recorded
from tests.system.page_bench import PageBench
from tests.system.programs import Look, browser, lightoff, looking

__all__ = ["browser"]

DATA = Path(__file__).parents[2] / "replay_data"
SECOND = 10**9
INCH = 249.08891
ZONE = "America/Denver"
BEFORE, AFTER = "drain_backs_up.lightoff", "drain_cleared.lightoff"
SMALL = (
    "[...document.querySelectorAll('button, select, input, a, summary')].filter(e => e.offsetParent).filter(e => {"
    "const r = e.getBoundingClientRect(); return r.height < 44 || r.width < 44 }).map(e => e.id || e.className)"
)
WIDE = "document.documentElement.scrollWidth"
DRAFT_ROW = (
    "[...document.querySelectorAll('#recorded-values li')].find(e => e.innerText.startsWith('at the pressure sw'))"
)


CURSOR = (
    "(() => { const axis = document.querySelector('#recorded-charts .js-plotly-plot')._fullLayout.xaxis;"
    " const line = document.querySelector('#recorded-charts .chart-cursor');"
    " return line.hidden ? NaN : axis.p2l(parseFloat(line.style.left) - axis._offset) })()"
)
"""Time at which the cursor is drawn. [ms]"""


def stocked(folder: Path) -> Path:
    """A folder with two recordings of one unit, before and after, with a note in the first."""
    folder.mkdir()
    for name in (BEFORE, AFTER):
        source = DATA / name.replace(".lightoff", ".csv.gz")
        text = (DATA / name.replace(".lightoff", ".toml")).read_text()
        job = Event(0, EventKind.JOB, "job", None, {"text": text, "name": "job.toml"})
        import_csv(source, folder / name, job=job, start=0, now=0)
    with Recording(folder / BEFORE) as recording:
        span = recording.span()
    assert span is not None
    with Store(folder / BEFORE) as store:
        store.append([Event(span[0] + 300 * SECOND, EventKind.NOTE, "trap gurgles", None, {})])
    return folder


def row(name: str) -> str:
    return f"#recordings-list [data-name='{name}']"


def shown(look: Look, name: str) -> None:
    look.page.click("[data-view='recordings']")
    look.until(f'document.querySelector("{row(name)}")')


@pytest.mark.timeout(150)
def test_the_recordings_of_a_call(browser: Browser, tmp_path: Path):
    folder = stocked(tmp_path / "calls")
    began = start_of(folder / BEFORE)
    with lightoff("demo", "--speed", "2", "--port", "0", "-o", "calls/now.lightoff", folder=tmp_path) as demo:
        with looking(browser, demo.address) as look:
            shown(look, BEFORE)
            first = look.text("#recordings-list .recording:first-child")
            assert first.startswith("now.lightoff")
            assert "being recorded now" in first
            listed = look.text(row(BEFORE))
            assert "invented demo house" in listed
            assert "length 22:00" in listed
            assert "attempts – being looked for" in listed  # noqa: RUF001
            assert "1 note, 0 marks" in listed
            opened(look, folder / BEFORE, began)
            compared(look)
            downloaded(look, folder / BEFORE, tmp_path / "export.csv")
            replayed(look)
            deleted(look, folder)


def start_of(path: Path) -> float:
    """First time of a recording. [s]"""
    with Recording(path) as recording:
        span = recording.span()
    assert span is not None
    return span[0] / SECOND


def opened(look: Look, path: Path, began: float) -> None:
    """Trends, the cursor moved by keys, what the meter showed there, and the way to a note."""
    page = look.page
    page.click(f"{row(path.name)} .recording-open")
    look.until("document.activeElement.id === 'recorded-seek'")
    look.until("document.querySelector('#recorded-charts .js-plotly-plot').data.some(t => t.x.length > 500)")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    for _ in range(12):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowLeft")
    at = began + 122.0
    look.until(f"Math.abs(document.querySelector('#recorded-values').dataset.at - {at * 1000}) < 1")
    value = next(one["value"] for one in values_at(path, at)["values"] if one["point"] == "draft_switch")
    look.until(f"{DRAFT_ROW}.innerText.includes('{value / INCH:.2f}')")
    assert "calling" in look.text("#recorded-values")
    look.choose("#units-switch")
    look.until(f"{DRAFT_ROW}.innerText.includes('{value:.0f}') && {DRAFT_ROW}.innerText.includes('Pa')")
    look.choose("#units-switch")
    page.click("text=trap gurgles")
    look.until(f"Math.abs(document.querySelector('#recorded-values').dataset.at - {(began + 300) * 1000}) < 1")
    look.until("document.querySelector('#recorded-charts .js-plotly-plot').data.every(t => t.x.length < 1300)")
    page.click("#recorded-close")
    look.until("document.querySelector('#recorded').hidden")


def compared(look: Look) -> None:
    """Aligned by the gas valve, then nudged: lines solid and dashed on one axis from the start of A."""
    page = look.page
    page.select_option("#compare-a", BEFORE)
    page.select_option("#compare-b", AFTER)
    page.select_option("#compare-align", "gas")
    look.until("document.querySelector('#compare-text').innerText.includes('gas valve')")
    moved = float(page.get_attribute("#compare-text", "data-moved") or "nan")
    page.click("[aria-label='move B by +10 s']")
    page.click("[aria-label='move B by −1 s']")  # noqa: RUF001
    assert page.input_value("#compare-by") == "9"
    look.until(f"Math.abs(document.querySelector('#compare-text').dataset.moved - {moved + 9}) < 0.01")
    look.until("document.querySelectorAll('#compare-charts .js-plotly-plot').length > 5")
    names = page.evaluate(
        "document.querySelector('#compare-charts .js-plotly-plot').data.filter(t => t.mode === 'lines')"
        ".map(t => [t.name, t.line.dash, t.x.length])"
    )
    assert ["A (solid): at the pressure switch", "solid"] in [name[:2] for name in names]
    assert ["B (dash): at the pressure switch", "dash"] in [name[:2] for name in names]
    assert all(1000 < length <= 2000 for _, _, length in names)
    page.fill("#compare-by", "soon")
    look.until("document.querySelector('#compare-text').innerText.startsWith('Type a number')")


def downloaded(look: Look, path: Path, target: Path) -> None:
    """The file that the browser saves is what the program exports."""
    with look.page.expect_download() as waiting:
        look.page.click(f"{row(path.name)} .recording-export")
    with Recording(path) as recording:
        export_csv(recording, target)
    assert waiting.value.suggested_filename == path.name.replace(".lightoff", ".csv")
    assert Path(waiting.value.path()).read_bytes() == target.read_bytes()


def replayed(look: Look) -> None:
    """A replay at speed 10 in a tab of its own, which says what it is; meanwhile the file cannot be deleted."""
    page = look.page
    page.select_option("#replay-file-speed", "10")
    page.click(f"{row(AFTER)} .recording-replay")
    look.until(f"document.querySelector(\"{row(AFTER)} .recording-replays\").innerText.includes('opening')")
    link = page.wait_for_selector(f"{row(AFTER)} .replay-open", timeout=30_000)
    assert link is not None
    with page.context.expect_page() as waiting:
        link.click()
    tab = waiting.value
    tab.wait_for_selector("#origin-banner:not([hidden])")
    assert re.match(r"REPLAY: drain_cleared", tab.inner_text("#origin-banner"))
    tab.wait_for_selector("#replay:not([hidden])")
    assert tab.input_value("#replay-speed") == "10"
    tab.close()
    page.click(f"{row(AFTER)} .recording-delete")
    look.until("document.querySelector('#reply').innerText.includes('end its replay first')")
    page.click(f"{row(AFTER)} .replay-end")
    look.until(f'document.querySelector("{row(AFTER)} .recording-replays").hidden')


def deleted(look: Look, folder: Path) -> None:
    """Gone from the list and back with one press; and once more by way of the deleted ones after a reload."""
    page = look.page
    before = (folder / AFTER).read_bytes()
    page.click(f"{row(AFTER)} .recording-delete")
    look.until(f'!document.querySelector("{row(AFTER)}")')
    assert not (folder / AFTER).exists()
    assert (folder / "deleted" / AFTER).read_bytes() == before
    look.until("document.activeElement.className === 'recording-undo'")
    page.keyboard.press("Enter")
    look.until(f'document.querySelector("{row(AFTER)}")')
    assert (folder / AFTER).read_bytes() == before
    page.click(f"{row(AFTER)} .recording-delete")
    look.until(f'!document.querySelector("{row(AFTER)}")')
    page.reload()
    page.click("#deleted-list .recording-restore")
    look.until(f'document.querySelector("{row(AFTER)}")')
    assert (folder / AFTER).read_bytes() == before
    assert page.is_hidden(f"{row('now.lightoff')} .recording-delete"), "not the one being recorded"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with Store(tmp_path / "now.lightoff"):
        pass
    with PageBench(tmp_path / "now.lightoff").running() as made:
        yield made


@pytest.mark.timeout(120)
def test_on_a_telephone_everything_fits_and_can_be_touched(bench: PageBench, browser: Browser, tmp_path: Path):
    """390 pixels, light, times from the start; a damaged file, a hostile name, and a replay that did not start."""
    for name in ("a", "b" * 90, "<img src=x onerror=alert(1)>"):
        note = Event(5 * SECOND, EventKind.NOTE, "<b>" + "water" * 40, None, {})
        recorded(tmp_path / f"{name}.lightoff", ramp(DRAFT, 90), note, start=0)
    (tmp_path / "letter.lightoff").write_text("dear Sir")
    bench.status["replays"] = [
        {"name": "a.lightoff", "speed": 10, "address": None, "text": "the replay did not start; try again"},
        {"name": f"{'b' * 90}.lightoff", "speed": "max", "address": "javascript:alert(1)", "text": "open"},
    ]
    bench.greet("draft_switch@meter")
    with looking(browser, bench.address, width=390, height=844, color_scheme="light", timezone_id=ZONE) as look:
        page = look.page
        shown(look, "a.lightoff")
        assert "the replay did not start; try again" in look.text(row("a.lightoff"))
        assert "This is no recording" in look.text(row("letter.lightoff"))
        assert page.query_selector("#recordings-list img, .recording a[href^='javascript']") is None
        assert page.evaluate(WIDE) <= 390
        assert page.evaluate(SMALL) == []
        page.click(f"{row('a.lightoff')} .recording-open")
        look.until("document.querySelector('#recorded-time').innerText === '00:00:00 from the start'")
        look.until("document.querySelectorAll('#recorded-values li').length === 1")
        page.click(".recorded-event")
        look.until("document.querySelector('#recorded-time').innerText === '00:00:05 from the start'")
        look.until(f"{DRAFT_ROW}.innerText.includes('5.00')")
        look.until(f"Math.abs({CURSOR} - 5000) < 500")
        page.locator("#recorded-charts .chart-plot").click(position={"x": 200, "y": 200})
        look.until("document.querySelector('#recorded-time').innerText > '00:00:40'")
        assert page.evaluate(WIDE) <= 390
        assert page.evaluate(SMALL) == []
        page.select_option("#compare-a", "a.lightoff")
        page.select_option("#compare-b", "b" * 90 + ".lightoff")
        look.until("document.querySelectorAll('#compare-charts .js-plotly-plot').length === 1")
        assert page.evaluate(WIDE) <= 390
        assert page.evaluate(SMALL) == []
        page.click(f"{row('a.lightoff')} .recording-delete")
        look.until("document.querySelector('#reply').innerText.includes('delete_recording done')")
        assert bench.commands()[-1]["arguments"] == {"name": "a.lightoff"}
    for path in tmp_path.glob("*.lightoff"):
        path.unlink()
    with looking(browser, bench.address) as look:
        look.page.click("[data-view='recordings']")
        look.until(
            f"document.querySelector('#recordings-folder').innerText === 'No recordings yet in {tmp_path.name}.'"
        )
