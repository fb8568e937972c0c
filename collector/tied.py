"""`python -m collector.tied` is the `lightoff` command that stops by itself, in good order, when its input ends.

Whoever started it holds the other end: where that one is killed, no program is left behind.
"""

import os
import signal
import threading

from collector.cli import main


def _stop_with_input() -> None:
    while os.read(0, 4096):
        pass
    signal.raise_signal(signal.SIGTERM)


if __name__ == "__main__":
    threading.Thread(target=_stop_with_input, name="standard input", daemon=True).start()
    main()
