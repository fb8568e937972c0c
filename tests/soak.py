"""The long forms of the tests, and what they found: `python -m tests.soak FILE [TESTS]`, as `make soak` says it.

The file has a section for everything and one for each choice of tests that was run by itself; a section that is run
anew is replaced. The exit status is 1 where a test failed.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.benchmarks.table import SAID, machine

COUNTS = {
    "KILLS": 200, "LOSSES": 6500, "REFUSALS": 600, "SCHEDULES": 10_000, "MEMORY_MINUTES": 30, "LOAD_SECONDS": 60,
    "RECORDINGS": 400, "HEALTHY_HOURS": 48, "HOURS": 24, "ROUND_TRIPS": 500, "COMPARED": 24, "FRAMES": 1_000_000,
    "CYCLES": 500, "EVERY_LOOK": 1, "SHARE_KILLS": 50, "SHARE_CUT_RATE": 10, "SHARE_SLEEPS": 10,
}  # fmt: skip
"""Of what each is, says DEVELOPERS.md."""
PARTS: tuple[tuple[str, ...], ...] = (
    ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "-m", "not alone", "--ignore=tests/benchmarks"),
    ("-m", "alone", "tests/system", "tests/collector"),
    ("tests/benchmarks",),
)
"""Of everything: side by side, then what needs the machine for itself."""
HEAD = """# What the long forms of the tests found

`make soak` runs everything with its full counts and writes this file; `make soak TESTS=...` runs a part of it and
replaces that section. Where a line tells no machine, it is the one above.
"""


def run(parts: Iterable[Sequence[str]], folder: Path) -> bool:
    """Run parts one after another; their results are in the folder. Whether all passed."""
    counts = {f"LIGHTOFF_{name}": str(count) for name, count in COUNTS.items()}
    environment = {**os.environ, **counts, SAID: str(folder / "said.txt")}
    passed = True
    for number, part in enumerate(parts):
        command = [sys.executable, "-m", "pytest", "--timeout=7200", f"--junitxml={folder}/{number}.xml", *part]
        passed &= subprocess.run(command, env=environment, check=False).returncode == 0
    return passed


def section(title: str, folder: Path, began: float) -> str:
    """What was found, in Markdown."""
    suites = [suite for path in sorted(folder.glob("*.xml")) for suite in ET.parse(path).getroot().iter("testsuite")]
    tests, failed, skipped = (
        sum(int(suite.get(name, "0")) for suite in suites for name in names)
        for names in (("tests",), ("failures", "errors"), ("skipped",))
    )
    day = time.strftime("%Y-%m-%d", time.gmtime(began))
    whole = f"{tests - failed - skipped:,} of {tests:,} tests passed, {failed} failed, {skipped} were skipped"
    said = folder / "said.txt"
    lines = [line for line in said.read_text("utf-8").split("\0") if line] if said.exists() else []
    items = "\n".join("- " + line.replace("\n", "\n  ") for line in lines)
    took = (time.time() - began) / 60
    return f"## {title}\n\nMeasured {day}: {machine()}. {whole}, in {took:.0f} minutes.\n\n{items}\n"


def put(path: Path, title: str, new: str) -> None:
    """Replace a section of the file, or add it."""
    text = path.read_text("utf-8") if path.exists() else HEAD
    head, *sections = re.split(r"(?m)^(?=## )", text)
    kept = [one for one in sections if one.splitlines()[0] != f"## {title}"]
    path.write_text("\n".join(one.rstrip() + "\n" for one in (head, *kept, new)), "utf-8")


def main(path: Path, tests: Sequence[str]) -> int:
    """Exit status."""
    title = f'`make soak TESTS="{" ".join(tests)}"`' if tests else "`make soak`"
    began = time.time()
    with tempfile.TemporaryDirectory() as folder:
        passed = run([tests] if tests else PARTS, Path(folder))
        put(path, title, section(title, Path(folder), began))
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:]))
