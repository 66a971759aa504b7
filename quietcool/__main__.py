"""The door of the command line, of `python -m quietcool` too: light, so that an interruption meets it early."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType

INTERRUPTED = 130
THREADS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


def main() -> None:
    """Run the command line of this process and end it; an interruption while it still loads is one sentence too."""
    try:
        signal.signal(signal.SIGTERM, _interrupt)
        # How many threads share a sum decides how it is rounded, and with it which settings a search looks at. The
        # matrices here are too small to gain by them.
        os.environ.update(dict.fromkeys(THREADS, "1"))
        from quietcool.cli import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = INTERRUPTED
        if sys.stderr is not None:
            sys.stderr.write("quietcool: interrupted.\n")
    finally:  # all is said and written: from here on a signal ends the process without a word
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)
    sys.exit(code)


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


if __name__ == "__main__":
    main()
