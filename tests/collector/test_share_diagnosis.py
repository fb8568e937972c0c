"""What may be wrong goes to whoever watches: looked for when an attempt has ended, and nothing waits for it."""

import json
import sys
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from collector.share_diagnosis import SharedDiagnosis, leading
from tests.collector.share_bench import here, job_text, there, together, url
from tests.drivers.brokers import Broker
from tests.support import until

LONG = 300.0
CAUSE = {"text": "condensate drain or trap blocked", "likely": "96 %"}
FOUND = {"causes": [CAUSE, {"text": "another", "likely": "3 %"}], "cannot_tell": ""}
TOLD = {**CAUSE, "cannot_tell": ""}
ANSWERS = (sys.executable, "-c", f"import sys; sys.stdin.readline(); print({json.dumps(FOUND)!r}, flush=True)")
pytestmark = pytest.mark.timeout(600)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (FOUND, TOLD),
        (
            {"causes": [], "cannot_tell": "nothing was fired"},
            {"text": "", "likely": "", "cannot_tell": "nothing was fired"},
        ),
        ({"problem": "call.lightoff has no readings"}, None),
        ({}, None),
    ],
)
def test_the_leading_cause_is_told_and_no_name_of_a_file(found, told):
    assert leading(found) == told


async def test_a_call_is_looked_at_once_for_each_attempt_that_ended(tmp_path: Path):
    ended, heard, looks = [0], list[Mapping[str, Any] | None](), list[int]()

    def newest() -> int:
        looks.append(ended[0])
        return ended[0]

    asked = tmp_path / "asked"
    counting = (
        sys.executable,
        "-c",
        f"open({str(asked)!r}, 'a').write(input() + chr(10)); print({json.dumps(FOUND)!r})",
    )
    diagnosis = SharedDiagnosis(
        tmp_path / "call.lightoff", ended=newest, use=heard.append, command=counting, every=0.0, turn=0.01
    )
    async with diagnosis.looking():
        ended[0] = 1
        await until(lambda: heard, within=LONG, what="the first")
        before = len(looks)
        await until(lambda: len(looks) > before + 5, within=LONG, what="further looks")
        ended[0] = 2
        await until(lambda: len(heard) == 2, within=LONG, what="the second")
    assert heard == [TOLD, TOLD]
    assert asked.read_text().splitlines() == [json.dumps(str(tmp_path / "call.lightoff"))] * 2


async def test_a_process_that_says_nothing_or_is_not_there_disturbs_nothing(tmp_path: Path):
    heard = list[Mapping[str, Any] | None]()
    for command in ((sys.executable, "-c", "print('no json')"), (str(tmp_path / "none"),), (sys.executable, "-c", "")):
        asked = list[int]()

        def ended(asked: list[int] = asked) -> int:
            asked.append(len(asked) + 1)
            return asked[-1]

        diagnosis = SharedDiagnosis(tmp_path, ended=ended, use=heard.append, command=command, every=0.0, turn=0.01)
        async with diagnosis.looking():
            await until(lambda: len(asked) > 2, within=LONG, what="it goes on")  # noqa: B023
    assert set(heard) <= {None}


async def test_who_watches_is_told_it(tmp_path: Path):
    one, other = tmp_path / "there.lightoff", tmp_path / "here.lightoff"
    with closing(Broker(tmp_path)) as broker:
        async with there(one, job_text(broker.port)) as technician, here(other, url(broker.port)) as viewer:
            await together(technician, viewer, within=LONG)
            assert technician.sharing.ended() == 0
            assert viewer.share.status["diagnosis"] is None
            use = technician.sharing.use_diagnosis
            async with SharedDiagnosis(one, ended=lambda: 1, use=use, command=ANSWERS, turn=0.01).looking():
                await until(lambda: viewer.share.status["diagnosis"] == TOLD, within=LONG, what="the diagnosis")
