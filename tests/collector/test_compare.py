"""`lightoff compare`: what it says in text and JSON, and its exit status."""

import json
import re

import pytest
from click.testing import CliRunner

from analysis.model import Event, EventKind
from collector.analysis_layout import WIDTH
from collector.cli import main
from collector.compare_json import in_json, text_of
from collector.compare_run import compared, side_of
from collector.compare_text import lines
from collector.job import parse
from tests.collector.analyses import T0, opened, series
from tests.compare_document import example

TEXT = "\n".join(lines(example()))


def test_stops_and_cautions_come_first_and_no_line_is_long():
    assert TEXT.index("SAFETY") < TEXT.index("ATTEMPTS") < TEXT.index("BETTER") < TEXT.index("CHAIN OF EVIDENCE")
    assert "none clears a heat exchanger" in " ".join(TEXT.split())
    assert max(map(len, TEXT.splitlines())) <= WIDTH


def test_room_co_that_was_not_measured_is_said():
    empty = opened(series=(series("draft_switch", (0.0, 60.0), (0.0, 1.0)),))
    assert "CO NOT MEASURED" in "\n".join(lines(compared(empty, empty)))
    assert any("CO NOT MEASURED" in stop for stop in in_json(compared(empty, empty))["stops"])


def test_a_cleared_drain_is_better_where_it_showed():
    found = {one["name"]: one for one in in_json(example())["measures"]}
    assert found["draft_collector.trend.high"]["verdict"] == "better"
    assert found["draft_margin.smallest"]["verdict"] == "better"
    assert not [name for name, one in found.items() if one["verdict"] == "worse"]
    links = {one["item"]: one["state"] for one in in_json(example())["chain"]}
    assert links["drain"] == "shown"
    assert links["resistance.secondary"] != "shown"


def test_the_difference_is_after_put_right_less_before():
    for one in in_json(example())["measures"]:
        if one["difference"]["value"] is None:
            continue
        moved = sum(each["amount"] for each in one["corrections"])
        apart = one["after"]["value"] - one["before"]["value"] + moved
        assert one["difference"]["value"] == pytest.approx(apart, abs=0.01 * (one["difference"]["u"] or 1.0) + 1e-12)


def test_metric_is_the_same_in_other_units():
    trade = example()
    metric = compared(trade.before.opened, trade.after.opened, units="metric")
    pairs = zip(in_json(trade)["measures"], in_json(metric)["measures"], strict=True)
    units = {(one["difference"]["unit"], other["difference"]["unit"]) for one, other in pairs}
    assert ("inH2O", "Pa") in units
    assert ("degF", "K") in units
    pairs = zip(in_json(trade)["measures"], in_json(metric)["measures"], strict=True)
    assert all(one["verdict"] == other["verdict"] for one, other in pairs)
    rise = {one["name"]: one["difference"] for one in in_json(metric)["measures"]}["temp_supply.highest"]
    there = {one["name"]: one["difference"] for one in in_json(trade)["measures"]}["temp_supply.highest"]
    assert there["value"] == pytest.approx(1.8 * rise["value"], abs=0.01)  # a difference has no zero of 32
    text = "\n".join(lines(metric))
    assert "in. w.c." not in re.sub(r"reads every[^;]*|[^.]*°F/min", "", text)


def test_the_json_is_strict():
    json.loads(text_of(example()), parse_constant=pytest.fail)


CSV = "time,draft_switch [inH2O]\n" + "".join(f"{second},{0.01 * (second % 3):.2f}\n" for second in range(30))


def run(tmp_path, *options: str, after: str = CSV):
    (tmp_path / "before.csv").write_text(CSV)
    (tmp_path / "after.csv").write_text(after)
    return CliRunner().invoke(main, ["compare", str(tmp_path / "before.csv"), str(tmp_path / "after.csv"), *options])


def test_nothing_comparable_is_said_with_status_1(tmp_path):
    result = run(tmp_path)
    assert result.exit_code == 1
    assert "record an ignition attempt on each visit" in result.stderr
    found = run(tmp_path, "--json")
    assert found.exit_code == 1
    assert json.loads(found.stdout)["comparable"] is False


def test_a_file_that_is_none_and_wrong_usage(tmp_path):
    (tmp_path / "empty.csv").write_text("")
    wrong = CliRunner().invoke(main, ["compare", str(tmp_path / "empty.csv"), str(tmp_path / "none.csv")])
    assert wrong.exit_code == 1
    assert len(wrong.stderr.strip().splitlines()) == 1
    assert CliRunner().invoke(main, ["compare", "one.csv"]).exit_code == 2
    assert run(tmp_path, "--units", "other").exit_code == 2


def event(second: float, state: str, text: str) -> Event:
    data = {"list": "open", "item": "drain", "state": state, "id": "open-1"}
    return Event(round((T0 + second) * 1e9), EventKind.CHECK, f"Opened: {text}", None, data)


def test_what_was_opened_and_put_back_is_a_test():
    events = (event(10.0, "open", "drain opened"), event(40.0, "closed", "drain closed, trap primed"))
    found = opened(events=events, series=(series("draft_switch", (0.0, 60.0), (0.0, 1.0)),))
    (test,) = side_of(compared(found, found).before).tests
    assert (test.item, test.text) == ("drain", "drain opened")
    assert test.start == pytest.approx(T0 + 10.0)
    assert test.end == pytest.approx(T0 + 40.0)


def test_two_units_and_two_altitudes_are_said():
    first = parse('[unit]\nserial = "A1"\n[site]\naltitude = "0 ft"\n')
    second = parse('[unit]\nserial = "B2"\n')
    found = compared(opened(job=first), opened(job=second))
    notes = " ".join(found.notes)
    assert "A1 and B2" in notes
    assert "Altitude is not in both job files" in notes
    assert "Outdoor air was not measured" in notes


def test_rows_that_could_not_be_read_are_said(tmp_path):
    result = run(tmp_path, "--json", after=CSV.replace("5,0.02", "5,nothing"))
    assert any("1 row or cell of after could not be read" in note for note in json.loads(result.stdout)["notes"])


def test_an_older_after_is_said():
    found = compared(opened(start=T0, end=T0 + 60), opened(start=T0 - 90_000, end=T0 - 80_000))
    assert any("older" in note for note in found.notes)


def test_the_address_of_a_meter_tells_it_from_another():
    def job(address: str) -> str:
        return (
            '[[instrument]]\nname = "meter"\ndriver = "serial"\naddress = "' + address + '"\nbaud = 9600\n'
            'line = "(?P<value>.+)"\nchannels = {value = "draft_switch"}\nunits = {value = "inH2O"}\n'
        )

    one = series("draft_switch", (0.0, 60.0), (0.0, 1.0))
    jobs = [opened(job=parse(job(place)), series=(one,)) for place in ("/dev/a", "/dev/b")]
    first, second = (side_of(compared(each, each).before).meters[one.channel.key] for each in jobs)
    assert first != second
