"""Coroutine tests run in a loop of their own and fail when they leave a task behind; skips are failures where asked."""

import asyncio
import gc
import inspect
import os
import threading
from collections.abc import Iterator

import pytest

REQUIRE_ALL = os.environ.get("LIGHTOFF_REQUIRE_ALL") == "1"


FIRST = ("test_page_memory", "test_screenshots", "test_recordings_page", "test_live_page", "test_wizard")
"""Files that take long: begun first, so that several workers end together."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files in the order of the longest first; no test depends on it."""
    items.sort(key=_turn)


def _turn(item: pytest.Item) -> int:
    if item.path.stem in FIRST:
        return FIRST.index(item.path.stem)
    return len(FIRST) + (item.path.parent.name != "system")


async def _guarded(function: object, arguments: dict[str, object]) -> None:
    await function(**arguments)  # type: ignore[operator]
    left = [task.get_name() for task in asyncio.all_tasks() if task is not asyncio.current_task()]
    if left:
        pytest.fail(f"tasks left running: {', '.join(sorted(left))}")


@pytest.hookimpl(tryfirst=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> bool | None:
    """Run `async def` tests; a task that is still there at the end fails the test."""
    if not inspect.iscoroutinefunction(pyfuncitem.obj):
        return None
    names = inspect.signature(pyfuncitem.obj).parameters
    arguments = {name: pyfuncitem.funcargs[name] for name in names}
    asyncio.run(_guarded(pyfuncitem.obj, arguments))
    return True


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """Fail a test that leaves a thread which is not a daemon."""
    before = set(threading.enumerate())
    gc.freeze()  # what is there already is not looked through again: with large libraries that takes longer than a test
    yield
    gc.collect()  # an unclosed file or socket warns here, and a warning is an error
    left = [thread.name for thread in threading.enumerate() if thread not in before and not thread.daemon]
    assert not left, f"threads left running: {left}"


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[None]:
    """Turn a skip into a failure where nothing may skip."""
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    if REQUIRE_ALL and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although LIGHTOFF_REQUIRE_ALL=1: {call.excinfo.value if call.excinfo else ''}"
