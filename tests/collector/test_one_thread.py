"""Arithmetic keeps to one thread: others would spin beside a recorder that needs the processor."""

import subprocess
import sys

import pytest

CODE = """
import collector.analysis_run
import numpy as np
big = np.ones(1_000_000)
big @ big
print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('Threads')))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="threads are counted where Linux tells them")
def test_products_of_long_arrays_start_no_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    told = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "1"
