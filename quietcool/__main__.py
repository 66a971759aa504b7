"""The door of the command line, of `python -m quietcool` too: light, so that an interruption meets it early."""

from __future__ import annotations

import signal
import sys
from types import FrameType

INTERRUPTED = 130


def main() -> None:
    """Run the command line of this process and end it; an interruption while it still loads is one sentence too."""
    try:
        signal.signal(signal.SIGTERM, _interrupt)
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
