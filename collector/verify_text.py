"""What `lightoff verify` found, in words and as JSON."""

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from collector.recording import moment
from collector.verify import Verified


def lines(path: Path, found: Verified) -> Iterator[str]:
    """In words: what there is, what was lost when it was recorded, and what is damaged."""
    count = sum(one.count for one in found.channels)
    yield f"{path}: format {found.format}, {found.size:,} bytes, {count:,} readings of {len(found.channels)} channels"
    for one in found.channels:
        span = "" if one.first is None or one.last is None else f"  {moment(one.first)} to {moment(one.last)}"
        yield f"  {one.key}: {one.count:,} readings{span}"
    kinds = ", ".join(f"{number} {kind}" for kind, number in found.events.items())
    yield f"{sum(found.events.values())} events{f' ({kinds})' if kinds else ''}, {found.attachments} attachments"
    for gap in found.gaps:
        yield f"lost when it was recorded, {moment(gap.time)}: {gap.text}"
    for fault in found.faults:
        yield f"damaged: {fault.text}"
    if found.faults:
        yield f"{len(found.faults)} found; export and analyze read the rest. Keep this file as it is."
    else:
        yield "nothing is damaged"


def json_of(path: Path, found: Verified) -> str:
    """One object, times in nanoseconds since 1970, in UTC."""
    told = {
        "file": str(path),
        "format": found.format,
        "bytes": found.size,
        "whole": not found.faults,
        "channels": [asdict(one) for one in found.channels],
        "events": dict(found.events),
        "attachments": found.attachments,
        "lost": [{"at": gap.time, "text": gap.text, "data": dict(gap.data)} for gap in found.gaps],
        "damaged": [asdict(fault) for fault in found.faults],
    }
    return json.dumps(told, ensure_ascii=False, indent=2)
