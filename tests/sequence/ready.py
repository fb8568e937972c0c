"""Tests of the recognizer wait for it."""

from importlib.util import find_spec

import pytest

NEEDS_RECOGNIZER = pytest.mark.skipif(
    find_spec("analysis.sequence.recognizer") is None, reason="the recognizer of ignition sequences is not there yet"
)
