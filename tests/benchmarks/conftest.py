"""The table of what was measured, at the end."""

import os
from pathlib import Path

import pytest

from tests.benchmarks import table


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print it, and write it where that is wished for."""
    if found := table.text():
        terminalreporter.write_line(f"\n{found}")
        if path := os.environ.get("LIGHTOFF_BENCH_TABLE"):
            Path(path).write_text(f"{found}\n", encoding="utf-8")
