"""A child that takes one file to another form and says what it took: `exchange_child.py HOW SOURCE TARGET`."""

import json
import sys
from pathlib import Path


def main(how: str, source: Path, target: Path) -> None:
    """Do it and print the readings, and the largest memory [MB]."""
    from collector.exchange import export_csv, import_csv
    from collector.exchange_parquet import export_parquet, import_parquet
    from collector.recording import Recording

    if how.startswith("export"):
        with Recording(source) as recording:
            count = (export_csv if how == "export csv" else export_parquet)(recording, target)
    elif how == "import csv":
        count = import_csv(source, target, job=None, start=0, now=1).kept
    else:
        count = import_parquet(source, target, job=None, now=1).kept
    sys.stdout.write(json.dumps({"memory": _largest(), "readings": count}))


def _largest() -> float:
    """Most memory up to now; what `getrusage` says counts from the parent's. [MB]"""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:")) / 1024


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
