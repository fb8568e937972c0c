"""The form of a job file has what the models have, in words; values come and go as they are written."""

import tomllib
from typing import Any

import pytest

from collector import job_form, sections
from collector.job import parse
from collector.job_edit import Bare, Change, edited
from collector.job_sections import File, SiteSettings
from collector.job_words import OPTIONS, SECTIONS, WORDS
from drivers.base import InputError
from tests.collector.job_texts import FULL


def models_keys(model=File, before: str = "") -> list[str]:
    """Keys by the models' own schema, which the form does not read."""
    schema = model.model_json_schema()
    found: list[str] = []

    def into(part: dict[str, Any], before: str) -> None:
        for name, whole in part["properties"].items():
            inner = whole.get("items", whole)
            reference = inner.get("$ref") or next(
                (one["$ref"] for one in inner.get("allOf", ()) if "$ref" in one), None
            )
            if reference:
                into(schema["$defs"][reference.rpartition("/")[2]], f"{before}{name}.")
            else:
                found.append(before + name)

    into(schema, before)
    return found


def test_the_form_has_the_keys_of_the_models_and_words_for_each():
    keys = [field.key for field in job_form.fields()]
    assert sorted(keys) == sorted(models_keys())
    assert len(keys) > 60
    assert set(WORDS) == set(keys), "a key without words, or words without a key"
    assert set(SECTIONS) == {key.rpartition(".")[0] for key in keys}
    assert all(words.label for words in WORDS.values())
    assert set(OPTIONS) <= {option for field in job_form.fields() for option, _ in field.options}


def test_a_new_key_appears_by_itself(monkeypatch):
    class Site(SiteSettings):
        plan_number: float = 0.0

    class Whole(File):
        site: Site = Site()

    monkeypatch.setattr(job_form, "keys", lambda _: sections.keys(Whole))
    field = next(field for field in job_form.fields() if field.key == "site.plan_number")
    assert field.label == "plan number"
    section: dict[str, Any] = next(section for section in job_form.sections() if section["name"] == "site")
    assert "site.plan_number" in [one["key"] for one in section["fields"]]


def test_the_kinds_are_those_of_the_readers():
    kinds = {field.key: field.kind for field in job_form.fields()}
    assert {key: kinds[key] for key in ("furnace.rise", "furnace.input", "furnace.fuel", "furnace.condensing")} == {
        "furnace.rise": "pair",
        "furnace.input": "stages",
        "furnace.fuel": "choice",
        "furnace.condensing": "truth",
    }
    assert (kinds["site.altitude"], kinds["furnace.efficiency"], kinds["furnace.elbows"]) == (
        "number",
        "fraction",
        "whole",
    )
    assert (kinds["furnace.timing.prepurge"], kinds["limit.above"], kinds["limit.point"]) == (
        "seconds",
        "limit",
        "choice",
    )
    assert (kinds["instrument.channels"], kinds["instrument.line"], kinds["limit.on_delay"]) == (
        "table",
        "text",
        "number",
    )


def test_every_example_is_what_the_file_takes():
    """Typed into the form, all examples together make a job without a mistake."""
    told: list[object] = []
    limit: dict[str, object] = {}
    instrument: dict[str, object] = {}
    for field in job_form.fields():
        section, _, key = field.key.rpartition(".")
        example: object = field.example.split("|") if field.inputs else field.example
        if field.kind == "table":
            name, _, value = field.example.partition(" = ")
            example = {name: value}
        if not field.example or "rating plate" in field.example:
            continue
        if section in ("limit", "instrument"):
            (limit if section == "limit" else instrument)[key] = example
        else:
            told.append({"path": field.key.split("."), "value": example})
    limit |= {"point": "temp_supply"}
    del limit["below"]
    instrument |= {"driver": "serial"}
    told += [{"path": ["limit", 0], "value": limit}, {"path": ["instrument", 0], "value": instrument}]
    job = parse(edited("", job_form.changes(told)))
    assert job.plate.rise == pytest.approx((35 / 1.8, 65 / 1.8))
    assert job.limits[0].above == pytest.approx(76.67, abs=0.01)


def test_values_stand_as_they_are_written():
    values = job_form.values(FULL.replace("efficiency = 0.95", "efficiency = 0.950"))
    assert values is not None
    assert values["furnace"]["efficiency"] == "0.950"
    assert values["furnace"]["switch_open"] == ["0.85 in. w.c.", "0.42 inH2O"]
    assert values["unit"] == {"model": "INV-80", "serial": "12345", "installed": "2014-10-01"}
    assert values["furnace.timing"]["blower_off_delay"] == "2 min"
    assert values["limit"][3] == {"point": "call_heat", "below": "0.5"}
    assert values["instrument"][1]["channels"] == {"inlet": "gas_inlet", "manifold": "gas_manifold"}
    assert job_form.values("no toml") is None
    odd = job_form.values("furnace = 3\nlimit = 4\nsite.name = [[1]]\n[[instrument]]\nname = { a = [1] }\n")
    assert odd is not None
    assert (odd["furnace"], odd["limit"], odd["site"]) == ({}, [], {"name": None})
    assert odd["instrument"] == [{"name": None}]


def test_what_was_typed_becomes_what_the_file_takes():
    told = [
        {"path": ["furnace", "rise"], "value": ["35 degF", ""]},
        {"path": ["furnace", "efficiency"], "value": "0.950"},
        {"path": ["furnace", "condensing"], "value": "true"},
        {"path": ["unit", "serial"], "value": "12345"},
        {"path": ["site", "name"], "value": "  "},
        {"path": ["limit", 1, "above"], "value": "0.5"},
        {"path": ["limit", 0], "value": None},
        {"path": ["limit", 1], "value": {"point": "temp_rise", "text": ""}},
    ]
    changes = job_form.changes(told)
    assert changes == [
        Change(("furnace", "rise"), ["35 degF"]),
        Change(("furnace", "efficiency"), "0.950"),
        Change(("furnace", "condensing"), True),
        Change(("unit", "serial"), "12345"),
        Change(("site", "name"), None),
        Change(("limit", 1, "above"), "0.5"),
        Change(("limit", 0), None),
        Change(("limit", 1), {"point": "temp_rise"}),
    ]
    assert isinstance(changes[1].value, Bare)
    assert not isinstance(changes[3].value, Bare), "a serial number is a text"
    assert tomllib.loads(edited("", changes[1:2])) == {"furnace": {"efficiency": 0.95}}


@pytest.mark.parametrize(
    "told",
    [
        "x",
        [1],
        [{"path": ["furnace"], "value": "x"}],
        [{"path": ["furnace", "nothing"], "value": "x"}],
        [{"path": ["limit", -1], "value": None}],
        [{"path": ["limit", True, 3], "value": "x"}],
        [{"path": ["limit", "x"], "value": "x"}],
        [{"path": ["site", 0], "value": None}],
        [{"path": ["furnace", "rise"], "value": [["x"]]}],
        [{"path": ["furnace", "fuel"], "value": 3}],
        [{"path": ["furnace", "fuel"], "value": "x" * 4001}],
        [{"path": ["furnace", "fuel"], "value": {"a": "b"}}],
        [{"path": ["furnace", "fuel"]}],
        [{"path": ["furnace", "fuel"], "value": None}] * 401,
    ],
)
def test_what_no_form_tells_is_refused_in_a_sentence(told):
    with pytest.raises(InputError):
        job_form.changes(told)
