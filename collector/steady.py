"""What makes a process fit to follow readings in time; asked for by programs that record, never by their parts."""

import gc


def be_steady() -> None:
    """Never again look through what was there before the first reading.

    What the program has loaded stays to the end; looking through all of it for garbage stops every thread for a moment
    each time.
    """
    gc.collect()
    gc.freeze()
