"""Run the command line with `python -m quietcool`."""

from __future__ import annotations

from quietcool.cli import main

if __name__ == "__main__":
    main()
