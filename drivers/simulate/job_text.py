"""The papers of a unit and its meters as the text of a job file, in the trade's units with the digits of the trade."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields

from analysis.model import Channel, origin_of
from analysis.points import measure_of
from analysis.uncertainty import Accuracy, AccuracyError
from analysis.units import conversion
from drivers.simulate.papers import Papers

_PRESSURE = ("Pa", "inH2O", 2)
_POWER = ("W", "kBtu/hr", 1)
_TEMPERATURE = ("degC", "degF", 0)

Lines = Iterator[tuple[str, str]]
"""Keys and values of one section."""


def job_text(papers: Papers, channels: Iterable[Channel] = (), *, seed: int) -> str:
    """Text of a job file without a mistake; read again it gives the same papers within the digits written.

    The channels of the meters stand in it by instrument, as ones whose readings are in a recording.
    """
    sections = {
        "site": _site(papers),
        "furnace": _furnace(papers),
        "furnace.baseline": _baseline(papers),
        "furnace.timing": ((field.name, _plain(getattr(papers.timing, field.name))) for field in fields(papers.timing)),
        "heat_pump": _heat_pump(papers),
        "humidifier": _humidifier(papers),
    }
    blocks = [_head(seed)]
    for name, lines in sections.items():
        if written := [f"{key} = {value}" for key, value in lines]:
            blocks.append("\n".join([f"[{name}]", *written]))
    blocks += ["\n".join(lines) for lines in _instruments(list(channels))]
    return "\n\n".join(blocks) + "\n"


def _head(seed: int) -> str:
    return (
        f"# Job file of a simulated unit, seed {seed}. The house, the unit and every figure are invented: they are no\n"
        "# reference for real equipment, where the maker's instructions, local codes and a licensed person decide."
    )


def _site(papers: Papers) -> Lines:
    yield "name", _text(papers.name)
    yield "altitude", _quantity(papers.altitude, "m", "ft", 0)


def _furnace(papers: Papers) -> Lines:
    plate = papers.plate
    if plate.fuel is not None:
        yield "fuel", _text(plate.fuel)
    if plate.condensing is not None:
        yield "condensing", str(plate.condensing).lower()
    if plate.input:
        yield "input", _several(plate.input, _POWER)
    if plate.efficiency is not None:
        yield "efficiency", _plain(round(plate.efficiency, 3))
    if plate.rise is not None:
        yield "rise", _several(plate.rise, ("K", "degF", 0), distinct=True)
    if plate.static_max is not None:
        yield "static_max", _quantity(plate.static_max, *_PRESSURE)
    if plate.supply_max is not None:
        yield "supply_max", _quantity(plate.supply_max, *_TEMPERATURE)
    if plate.manifold:
        yield "manifold", _several(plate.manifold, _PRESSURE)
    if plate.gas_inlet is not None:
        yield "gas_inlet", _several(plate.gas_inlet, _PRESSURE, distinct=True)
    yield from _switches(plate.switch_close, plate.switch_open)
    if plate.flame_current_min is not None:
        yield "flame_current_min", _quantity(plate.flame_current_min, "A", "uA", 2)
    yield "switch_label", _text(plate.switch_label)
    yield "manifold_reference", _text(plate.manifold_reference)
    if plate.pipes is not None:
        yield "pipes", str(plate.pipes)


def _switches(closing: Sequence[float], opening: Sequence[float]) -> Lines:
    """Closing and opening points, with a digit more where they would else be one figure."""
    unit, trade, digits = _PRESSURE
    while digits < 6 and any(
        _figure(low, unit, trade, digits) == _figure(high, unit, trade, digits)
        for low, high in zip(opening, closing, strict=False)
    ):
        digits += 1
    if closing:
        yield "switch_close", _several(closing, (unit, trade, digits))
    if opening:
        yield "switch_open", _several(opening, (unit, trade, digits))


def _baseline(papers: Papers) -> Lines:
    for field in fields(papers.baseline):
        if (pressure := getattr(papers.baseline, field.name)) is not None:
            yield field.name, _quantity(pressure, *_PRESSURE)


def _heat_pump(papers: Papers) -> Lines:
    for name in ("capacity_47", "capacity_17"):
        if (capacity := getattr(papers, name)) is not None:
            yield name, _quantity(capacity, *_POWER)
    for name in ("compressor_lockout", "auxiliary_lockout"):
        if (temp := getattr(papers, name)) is not None:
            yield name, _quantity(temp, *_TEMPERATURE)


def _humidifier(papers: Papers) -> Lines:
    if papers.humidifier_setting is not None:
        yield "setting", _plain(round(papers.humidifier_setting, 3))


def _instruments(channels: Sequence[Channel]) -> Iterator[list[str]]:
    """A table for each instrument, under the name that its meter has in the trade: without its origin."""
    by_name: dict[str, list[Channel]] = {}
    for channel in channels:
        by_name.setdefault(_meter(channel.instrument), []).append(channel)
    for name, own in by_name.items():
        lines = ["[[instrument]]", f"name = {_text(name)}", 'driver = "replay"  # simulated: its readings are a file']
        lines.append(f"channels = {_table((channel.point, channel.point) for channel in own)}")
        lines.append(f"units = {_table((channel.point, channel.unit) for channel in own)}")
        if (accuracy := _common_accuracy(own)) is not None:
            lines.append(f"accuracy = {_text(accuracy)}")
        times = {channel.response_time for channel in own}
        if len(times) == 1 and (time := times.pop()) is not None:
            lines.append(f'response_time = "{_plain(time)} s"')
        yield lines


def _meter(instrument: str) -> str:
    origin = origin_of(instrument)
    return instrument.removeprefix(f"{origin}: ") if origin else instrument


def _common_accuracy(channels: Sequence[Channel]) -> str | None:
    """Accuracy that one statement says for all channels of an instrument, None where none does."""
    stated = {channel.accuracy for channel in channels}
    if len(stated) != 1 or (accuracy := stated.pop()) is None:
        return None
    try:
        for channel in channels:
            Accuracy.parse(accuracy, measure_of(channel.point).name)
    except AccuracyError:
        return None
    return accuracy


def _figure(value: float, unit: str, trade: str, digits: int) -> str:
    scale, offset = conversion(unit, trade, difference=unit == "K")
    figure = f"{value * scale + offset:.{digits}f}"
    if trade == _POWER[1]:
        figure = figure.removesuffix(".0")
    return figure if float(figure) else figure.removeprefix("-")


def _quantity(value: float, unit: str, trade: str, digits: int) -> str:
    return f'"{_figure(value, unit, trade, digits)} {trade}"'


def _several(values: Iterable[float], how: tuple[str, str, int], *, distinct: bool = False) -> str:
    """List of quantities; with a digit more where two different ones would else be one figure."""
    unit, trade, digits = how
    wanted = [*values]
    while distinct and digits < 6 and len({_figure(value, unit, trade, digits) for value in wanted}) < len(wanted):
        digits += 1
    return f"[{', '.join(_quantity(value, unit, trade, digits) for value in wanted)}]"


def _plain(number: float) -> str:
    return f"{round(number, 3):g}"


def _text(text: str) -> str:
    """TOML's basic string: as in JSON, but for one control character."""
    return json.dumps(text.encode("utf-8", "replace").decode(), ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(pairs: Iterable[tuple[str, str]]) -> str:
    return "{ " + ", ".join(f"{key} = {_text(value)}" for key, value in pairs) + " }"
