"""Electricity: how far the voltages sink as each load comes on, and the currents of motors and igniter."""

from collections.abc import Iterator

from analysis.measures import extremes, spans
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

VOLTAGES = ("volts_control", "volts_line")
SINKS = 3.0
"""How long after a load came on the smallest voltage is looked for. [s]"""


def voltages(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """The smallest of each voltage, over the attempt and as each load comes on."""
    windows = {"": Span(attempt.start, attempt.end)}
    windows |= {f".{name}": spans.after(moment, SINKS, attempt.end) for name, moment in spans.steps(attempt)}
    for point in VOLTAGES:
        for state, span in windows.items():
            for source in bench.at(point):
                found = extremes.extreme(source, span, smallest=True)
                if found:
                    quantity, moment = found
                    name, key = f"{point}.lowest{state}", source.channel.key
                    yield Measured(name, quantity, moment, moment, attempt.number, (key,))
                    break


def currents(bench: Bench, attempt: Attempt) -> Iterator[Measured]:
    """Inducer's current cold and at the end of each stage, igniter's current hot."""
    states = [("amps_inducer", "cold", spans.cold(attempt)), ("amps_igniter", "warmup", spans.igniting(attempt))]
    states += [
        ("amps_inducer", f"hot.{stage}", spans.hot(stretch)) for stage, stretch in spans.longest(attempt).items()
    ]
    for point, state, span in states:
        found = best(bench, point, span) if span else None
        if found and span:
            key = found[1].channel.key
            yield Measured(f"{point}.{state}", found[0], span.start, span.end, attempt.number, (key,))
