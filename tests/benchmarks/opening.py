"""A recording's CSV of so many hours, and a child that opens one and says what it took: `opening.py FILE`."""

import json
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

POINTS = {
    "inH2O": "draft_burner_box draft_transition draft_collector draft_vent draft_switch gas_inlet gas_manifold",
    "degF": "temp_return temp_supply",
    "uA": "flame_current",
    "V": "volts_control",
    "1": "call_heat switch_closed gas_valve blower_on limit_closed",
}
CHANNELS = 16
RATE = 10
"""Rows in one second. [1/s]"""


def day_like(path: Path, hours: float) -> Path:
    """Write a file of 16 channels at 10 Hz, about 105 bytes a row."""
    heads = [
        f"{point}@meter {number} [{unit}]" for number, (unit, own) in enumerate(POINTS.items()) for point in own.split()
    ]
    assert len(heads) == CHANNELS
    with path.open("w") as file:
        file.write(",".join(["time", *heads]) + "\n")
        file.writelines(_rows(round(hours * 3600)))
    return path


def _rows(seconds: int) -> Iterator[str]:
    cells = [
        ",".join(
            [
                *(f"{-0.1 * n - row / 7919:.3f}" for n in range(7)),
                *(f"{90 + n * 30 + row / 613:.1f}" for n in range(2)),
                f"{2 + row / 3001:.2f},{25 + row / 5003:.2f}",
                *(str(row >> n & 1) for n in range(5)),
            ]
        )
        for row in range(997)
    ]
    begin = datetime(2026, 1, 14, 6, 31, 20, tzinfo=UTC)
    row = 0
    for second in range(seconds):
        stamp = f"{begin + timedelta(seconds=second):%Y-%m-%dT%H:%M:%S}"
        for tenth in range(RATE):
            yield f"{stamp}.{tenth}00Z,{cells[row % len(cells)]}\n"
            row += 1


def main(path: Path) -> None:
    """Open a file and print the seconds by the clock and of the processor, and the largest memory [MB]."""
    from collector.opened import open_data

    wall, used = time.perf_counter(), time.process_time()
    found = open_data(path)
    took = {"wall": time.perf_counter() - wall, "processor": time.process_time() - used}
    sys.stdout.write(json.dumps({**took, "memory": _largest(), "rows": found.rows, "readings": found.readings}))


def _largest() -> float:
    """Most memory up to now; what `getrusage` says counts from the parent's. [MB]"""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:")) / 1024


if __name__ == "__main__":
    main(Path(sys.argv[1]))
