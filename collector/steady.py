"""What makes a process fit to follow readings in time; asked for by programs that record, never by their parts."""

import gc
import sys

TURN = 0.0005
"""Longest time one thread works in Python while another waits for its turn. [s]"""


def be_steady() -> None:
    """Give threads their turn soon, and never again look through what was there before the first reading.

    The thread that writes gives up its turn at each call of SQLite, and waits for the next one while readings are
    taken in: at Python's own 5 ms a batch of some calls waits longer for that than for the medium. What the program
    has loaded stays to the end; looking through all of it for garbage stops every thread for a moment each time.
    """
    sys.setswitchinterval(TURN)
    gc.collect()
    gc.freeze()
