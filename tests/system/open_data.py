"""Open measurements that nobody of this project made, read from the folder that LIGHTOFF_OPEN_DATA names.

Each is turned into the CSV form here, by the standard library alone, so that the program's own reader has to agree.
"""

import csv
import io
import os
import zipfile
from pathlib import Path
from typing import NamedTuple

import pytest


class OpenData(NamedTuple):
    """A data set in the CSV form, and the values of each column as the source wrote them."""

    text: str
    columns: dict[str, list[tuple[str, str]]]
    """Head of the column: (time, value) as the source wrote them, without the blanks."""


def folder() -> Path:
    """The folder of the open data; skips where it is not named."""
    name = os.environ.get("LIGHTOFF_OPEN_DATA")
    if not name:
        pytest.skip("set LIGHTOFF_OPEN_DATA to the folder of the open measurements")
    return Path(name)


def _built(heads: list[str], rows: list[tuple[str, list[str]]]) -> OpenData:
    columns: dict[str, list[tuple[str, str]]] = {head: [] for head in heads}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", *heads])
    for time, values in rows:
        writer.writerow([time, *values])
        for head, value in zip(heads, values, strict=True):
            if value:
                columns[head].append((time, value))
    return OpenData(out.getvalue(), columns)


def room() -> OpenData:
    """One room, 2022 (Twomes brains4buildings, CC BY 4.0): offsets, blanks, irregular, a daylight-saving change."""
    with zipfile.ZipFile(folder() / "rooms.zip") as archive:
        text = archive.read("925038_raw_properties.csv").decode()
    rows = [
        (row["timestamp"], [row["temp_in__degC"], row["rel_humidity__0"]]) for row in csv.DictReader(io.StringIO(text))
    ]
    return _built(["temp_room@room meter [degC]", "humidity_room@room meter [1]"], rows)


def machine() -> OpenData:
    """Ambient temperature, hourly (numenta/NAB, MIT): long gaps and a known failure; its times are taken as UTC."""
    with (folder() / "ambient.csv").open() as file:
        rows = [(row["timestamp"].replace(" ", "T") + "Z", [row["value"]]) for row in csv.DictReader(file)]
    return _built(["temp_room@ambient [degF]"], rows)


def office() -> OpenData:
    """An office, one minute (UCI occupancy detection, Candanedo & Feldheim 2016): its head has one name too few."""
    with (folder() / "occupancy.txt").open() as file:
        lines = list(csv.reader(file))
    rows = [(line[1].replace(" ", "T") + "Z", [line[2], line[3]]) for line in lines[1:]]
    return _built(["temp_room@office [degC]", "humidity_room@office [%]"], rows)
