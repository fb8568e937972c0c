"""The file of the long forms: a part that is run anew replaces its section, a test that failed is told."""

from pathlib import Path

import pytest

from tests import soak

TESTS = """
from tests.benchmarks.table import say

def test_passes():
    say("ten of ten")

def test_fails():
    assert 1 == 2
"""


def test_what_is_run_is_told_and_what_is_run_anew_is_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    tests, found = tmp_path / "test_some.py", tmp_path / "soak.md"
    tests.write_text(TESTS)
    monkeypatch.setenv("PYTEST_ADDOPTS", "-p no:cacheprovider")
    assert soak.main(found, [str(tests)]) == 1
    text = found.read_text()
    assert "1 of 2 tests passed, 1 failed, 0 were skipped" in text
    assert "- ten of ten\n" in text
    soak.put(found, "another", "## another\n\nkept\n")
    tests.write_text(TESTS.replace("1 == 2", "2 == 2").replace("ten of ten", "nine of ten"))
    assert soak.main(found, [str(tests)]) == 0
    text = found.read_text()
    assert "2 of 2 tests passed, 0 failed, 0 were skipped" in text
    assert "nine of ten" in text
    assert "- ten of ten" not in text
    assert text.count("TESTS=") == 2, "one in the head, and one section"
    assert "kept" in text
