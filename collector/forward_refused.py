"""Which of several lines a server refuses, found by sending halves of them."""

from collections.abc import Callable, Sequence

from collector.sinks.sink import RefusedError


def refused_of(lines: Sequence[str], send: Callable[[Sequence[str]], None], *, most: int) -> dict[int, str]:
    """Places of the lines that are refused, and why; all others were taken. Other errors of `send` go through.

    The largest group that was refused is halved next. After the `most` tries that this may take, what is still refused
    as a group counts as refused as a whole.
    """
    groups: list[tuple[int, int, str]] = []
    tries = 0

    def attempt(begin: int, end: int) -> None:
        nonlocal tries
        tries += 1
        try:
            send(lines[begin:end])
        except RefusedError as error:
            groups.append((begin, end, error.what))

    attempt(0, len(lines))
    while tries < most:
        begin, end, why = max(groups, key=lambda group: group[1] - group[0], default=(0, 0, ""))
        if end - begin < 2:
            break
        groups.remove((begin, end, why))
        middle = (begin + end) // 2
        attempt(begin, middle)
        attempt(middle, end)
    return {place: why for begin, end, why in groups for place in range(begin, end)}
