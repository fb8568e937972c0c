"""Takes readings in, records them, steps the alarms and offers them to whoever looks on."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # arrays here are small: further threads only spin and wait
