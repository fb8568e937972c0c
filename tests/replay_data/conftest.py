"""What the tests of the bundled recording share: the recording, its job, and the script that makes both."""

import importlib.util
import sys
import tomllib
from types import ModuleType
from typing import Any

import pytest

from tests.replay_data.recording import FOLDER, RECORDING, SCRIPT, Recording, lines_of


@pytest.fixture(scope="session")
def recording() -> Recording:
    """As shipped."""
    return Recording(lines_of(RECORDING))


@pytest.fixture(scope="session")
def job() -> dict[str, Any]:
    """Job file of the recording, as TOML."""
    return tomllib.loads((FOLDER / "drain_backs_up.toml").read_text("utf-8"))


@pytest.fixture(scope="session")
def script() -> ModuleType:
    """The script that makes the recording."""
    spec = importlib.util.spec_from_file_location("demo_recording_script", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module
