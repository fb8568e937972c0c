"""A recording handed over, also while it is recorded: SQLite's own backup of one moment, sealed like a finished one."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from collector.database import RecordingError, back_up, on_medium, said
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError


def handed_over(source: Path, target: Path, progress: Callable[[float], None]) -> int:
    """Make the target, whole or not at all; readings in it. RecordingError or InputError in one sentence.

    Copying the file of a running recording instead would miss what stands in its log, or tear it.
    """
    if target.exists() and target.samefile(source):
        raise InputError(f"{target} is what is to be handed over", "choose another name with -o")
    if not target.absolute().parent.is_dir():
        raise InputError(f"there is no folder {target.absolute().parent}", "make it, or name another")
    part = target.with_name(f"{target.name}.part")
    half_made = [part, *(Path(f"{part}{ending}") for ending in ("-wal", "-shm", "-journal", ".lock"))]
    for left in half_made:
        left.unlink(missing_ok=True)
    try:
        back_up(source, part, progress)
        Store(part).close()  # what was fresh is sealed, and an older format is raised
        with Recording(part, past_damage=True) as recording:
            count = sum(recording.counts().values())
        with said(part, "write"):
            if any(left.exists() and left.stat().st_size for left in half_made[1:]):
                raise RecordingError(f"cannot write {target}: its log could not be taken into it", "look at the medium")
            on_medium(part)
            part.replace(target)
            on_medium(target.absolute().parent)
    finally:
        for left in half_made:
            with suppress(OSError):
                left.unlink(missing_ok=True)
    return count
