"""Where the two embedded demo builds lie, in a checkout and in an installed package."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).parents[1]
BUILD_FILE = "build.toml"


def demo_folder() -> Path:
    """Folder that holds the demo builds, one folder each."""
    installed = PACKAGE / "data_demo"
    return installed if installed.is_dir() else PACKAGE.parent / "data_demo"


def demo_names() -> tuple[str, ...]:
    """Names of the demo builds.

    Returns
    -------
    tuple of str
        Sorted.
    """
    return tuple(sorted(file.parent.name for file in demo_folder().glob(f"*/{BUILD_FILE}")))


def demo_path(name: str) -> Path:
    """Build file of a demo.

    Parameters
    ----------
    name : str
        One of `demo_names`.

    Returns
    -------
    Path
        The TOML file; its sheets lie beside it.

    Raises
    ------
    KeyError
        Naming the demos that there are.
    """
    if name not in demo_names():
        raise KeyError(f"no demo is called {name!r}; there are {', '.join(demo_names())}")
    return demo_folder() / name / BUILD_FILE
