"""Quietest fan and pump speeds for liquid-cooled workstations.

The public names below load on first use, so that `quietcool --help` loads no numerical library.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quietcool.decide.quietest import find_quietest
    from quietcool.entry.build import Build
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.demos import demo_names, demo_path
    from quietcool.entry.findings import check_build
    from quietcool.errors import InputError, QuietcoolError
    from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

__version__ = "0.1.0"

__all__ = [
    "Build",
    "InputError",
    "OperatingPoint",
    "QuietcoolError",
    "__version__",
    "check_build",
    "demo_names",
    "demo_path",
    "find_quietest",
    "read_build",
    "solve_operating_point",
]

_HOME = {
    "Build": "quietcool.entry.build",
    "InputError": "quietcool.errors",
    "OperatingPoint": "quietcool.solve.operating_point",
    "QuietcoolError": "quietcool.errors",
    "check_build": "quietcool.entry.findings",
    "demo_names": "quietcool.entry.demos",
    "demo_path": "quietcool.entry.demos",
    "find_quietest": "quietcool.decide.quietest",
    "read_build": "quietcool.entry.buildfile",
    "solve_operating_point": "quietcool.solve.operating_point",
}


def __getattr__(name: str) -> object:
    """Load a public name from its home on first use."""
    if name not in _HOME:
        raise AttributeError(f"module 'quietcool' has no attribute {name!r}; it offers {', '.join(__all__)}")
    value: object = getattr(import_module(_HOME[name]), name)
    globals()[name] = value  # the next use finds it without this function
    return value


def __dir__() -> list[str]:
    """List the public names, loaded or not."""
    return sorted({*globals(), *__all__})
