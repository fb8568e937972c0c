"""What must not wait takes the whole page; a reading below its level and a silent meter do not."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.system.page_bench import PageBench, alarm, empty_bench
from tests.system.programs import browser, lightoff, looking

__all__ = ["browser"]

PPM = 1e-6
UP = "!document.querySelector('#takeover').hidden"
CO = alarm("room_co_shut_down", "room_co", "safety", 36 * PPM, value=45 * PPM)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[PageBench]:
    with empty_bench(tmp_path) as made:
        made.greet("room_co@badge", "gas_inlet@manometer")
        yield made


@pytest.mark.timeout(120)
def test_it_takes_the_page_until_it_is_acknowledged(bench: PageBench, browser: Browser):
    """It covers everything, has the focus, lets nothing else be reached, and gives the focus back."""
    with looking(browser, bench.address, width=390, height=844) as look:
        page = look.page
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        page.focus("#mark")
        bench.tell(("room_co@badge", 45 * PPM), alarms=[CO])
        look.until(UP)
        assert look.text("#takeover-title") == "■ STOP"
        assert look.text(".takeover-value") == "now 45 ppm · limit 36 ppm"
        assert "what to do for room_co_shut_down" in look.text("#takeover")
        box = page.locator("#takeover").bounding_box()
        assert box == {"x": 0, "y": 0, "width": 390, "height": 844}
        at = "document.elementFromPoint({}, {}).closest('#takeover') !== null"
        assert all(page.evaluate(at.format(x, y)) for x, y in ((5, 5), (200, 420), (380, 838)))
        assert page.evaluate("document.activeElement.id") == "takeover-title"
        for _ in range(4):
            page.keyboard.press("Tab")
            assert page.evaluate(
                "document.activeElement === document.body || !!document.activeElement.closest('#takeover')"
            )
        page.keyboard.press("m")
        assert bench.commands() == [], "no key reaches the page under it"
        page.click(".takeover-acknowledge")
        look.until("document.querySelector('#reply').innerText.includes('acknowledge done')")
        assert bench.commands()[-1]["arguments"] == {"alarm": "room_co_shut_down"}
        assert page.evaluate(UP), "until the recorder says so"
        bench.tell(("room_co@badge", 45 * PPM), alarms=[CO | {"state": "acknowledged"}])
        look.until(f"!({UP})")
        assert page.evaluate("document.activeElement.id") == "mark"
        assert "STOP" in look.text("#safety-message"), "what is dangerous stays on top"


@pytest.mark.timeout(120)
def test_it_stays_although_the_air_is_better_before_anybody_saw_it(bench: PageBench, browser: Browser):
    with looking(browser, bench.address) as look:
        bench.tell(("room_co@badge", 45 * PPM), alarms=[CO])
        look.until(UP)
        bench.tell(("room_co@badge", 3 * PPM), alarms=[CO | {"state": "returned", "value": 3 * PPM}])
        look.until("document.querySelector('.takeover-value').innerText.startsWith('over, now 3 ppm')")
        assert look.page.evaluate(UP)


@pytest.mark.timeout(120)
@pytest.mark.parametrize("why", ["below", "stale", "bad", "acknowledged", "over", "high", "typed in long ago"])
def test_it_does_not_take_the_page_without_need(bench: PageBench, browser: Browser, why: str):
    """Below its level, from a silent meter, or not of the kind: the line on top says what there is to say."""
    key = "room_co@by hand: badge" if why == "typed in long ago" else "room_co@badge"
    bench.greet(key, "draft_switch@meter")
    states = {"below": "normal", "acknowledged": "acknowledged", "over": "returned"}
    told = CO | {"state": states.get(why, "unacknowledged")}
    if why == "high":
        told |= {"priority": "high", "takes_over": False}
    with looking(browser, bench.address) as look:
        look.until("document.querySelector('#page-state').innerText === 'connected'")
        value = {"below": 20.0, "bad": None}.get(why, 45.0)
        before = {"stale": 60.0, "typed in long ago": 1800.0}.get(why, 0.0)
        row = (key, None if value is None else value * PPM)
        bench.tell(row, before=before, quality=2 if why == "bad" else 0, alarms=[told])
        bench.tell(("draft_switch@meter", 100.0))
        look.until("document.querySelector('#tile-draft_switch .tile-value').innerText === '0.40'")
        look.page.wait_for_timeout(700)
        assert not look.page.evaluate(UP)
        if why in ("stale", "bad", "typed in long ago"):
            assert "STOP" in look.text("#safety-message"), "it is told all the same"


@pytest.mark.timeout(120)
@pytest.mark.parametrize(
    ("higher", "row"),
    [
        (alarm("everybody_out", "room_co", "safety", 70 * PPM, state="returned"), ("room_co@badge", 50 * PPM)),
        (alarm("own_limit", "room_co", "high", 40 * PPM), ("room_co@badge", 50 * PPM)),
    ],
)
def test_a_level_that_is_over_or_takes_nothing_over_hides_no_lower_one(
    bench: PageBench, browser: Browser, higher: dict[str, object], row: tuple[str, float]
):
    with looking(browser, bench.address) as look:
        bench.tell(row, alarms=[higher, CO])
        look.until(UP)
        assert "room co shut down" in look.text("#takeover")


@pytest.mark.timeout(120)
def test_of_two_levels_the_higher_one_speaks_also_when_it_is_acknowledged(bench: PageBench, browser: Browser):
    out = alarm("everybody_out", "room_co", "safety", 70 * PPM)
    with looking(browser, bench.address) as look:
        bench.tell(("room_co@badge", 80 * PPM), alarms=[out, CO])
        look.until(UP)
        assert look.page.locator(".takeover-alarm").count() == 1
        assert "everybody out" in look.text("#takeover")
        bench.tell(("room_co@badge", 80 * PPM), alarms=[out | {"state": "acknowledged"}, CO])
        look.until(f"!({UP})")


@pytest.mark.timeout(120)
def test_a_safety_limit_on_what_is_derived_takes_the_page_too(bench: PageBench, browser: Browser):
    bench.greet("temp_supply@meter", "temp_return@meter")
    hot = alarm("far_too_hot", "temp_rise", "safety", 50.0, value=55.0)
    with looking(browser, bench.address) as look:
        bench.tell(("temp_supply@meter", 80.0), ("temp_return@meter", 25.0), ("temp_rise", 55.0), alarms=[hot])
        look.until(UP)
        assert look.text(".takeover-value") == "now 99 °F · limit 90 °F"


@pytest.mark.timeout(120)
def test_without_a_connection_the_page_can_be_looked_at_and_it_comes_back(bench: PageBench, browser: Browser):
    with looking(browser, bench.address) as look:
        bench.tell(("room_co@badge", 45 * PPM), alarms=[CO])
        look.until(UP)
        bench.cut()
        look.until("document.querySelector('#takeover').innerText.includes('cannot be acknowledged now')")
        look.page.get_by_text("look at the page").click()
        look.until(f"!({UP})")
        assert "STOP" in look.text("#safety-message")


@pytest.mark.timeout(120)
def test_gas_above_the_plates_window_takes_the_page(browser: Browser, tmp_path: Path):
    """The program itself: a number typed in above the inlet window, and one of carbon monoxide that is just below."""
    job = tmp_path / "job.toml"
    job.write_text('[furnace]\ngas_inlet = ["4.5 inH2O", "10.5 inH2O"]\n')
    with lightoff("record", "--job", str(job), "--port", "0", "-o", "call.lightoff", folder=tmp_path) as program:
        with looking(browser, program.address) as look:
            page = look.page

            def type_in(point: str, text: str) -> None:
                page.select_option("#type-in-point", point)
                page.fill("#type-in-value", text)
                page.press("#type-in-value", "Enter")
                look.until("document.querySelector('#type-in-value').value === ''")

            page.wait_for_selector("#type-in-point")
            type_in("room_co", "35 ppm")
            look.until("document.querySelector('#room-co').innerText.includes('35 ppm')")
            type_in("gas_inlet", "10.4")
            look.until("document.querySelector('#tile-gas_manifold').innerText.includes('10.40')")
            assert not page.evaluate(UP)
            for _ in range(3):  # it counts when it is seen for two seconds
                type_in("gas_inlet", "11.2")
                page.wait_for_timeout(800)
            look.until(UP)
            assert "Gas inlet pressure is above the window on the rating plate" in look.text("#takeover")
            assert "Shut the gas cock and do not fire" in look.text("#takeover")
            assert look.text(".takeover-value") == "now 11.20 in. w.c. · limit 10.50 in. w.c."
            page.click(".takeover-acknowledge")
            look.until(f"!({UP})")
            type_in("room_co", "36 ppm")
            look.until(UP)
            assert "shut down and ventilate" in look.text("#takeover")
