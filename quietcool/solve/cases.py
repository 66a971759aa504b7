"""Case axes: flattening a build with arrays in it to columns of cases, and taking columns out of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Entered

Record = TypeVar("Record")

PLAIN = (float, int, str, Entered)  # never hold arrays, and a tuple that starts with one holds none either
SHAPES = "_array_shapes"  # name under which a record keeps them, no field of it
CHUNK = 4096  # cases solved together: their arrays stay in the processor's cache


def case_shape(*records: Any) -> tuple[int, ...] | None:
    """Broadcast shape of the case axes of every array found in the records; None where there is no array."""
    shapes = [shape for record in records for shape in _array_shapes(record)]
    return np.broadcast_shapes(*shapes) if shapes else None


def _array_shapes(record: Any) -> tuple[tuple[int, ...], ...]:
    """Shapes of all arrays of a record; kept with it, since a search asks the same records many times.

    A record is never changed in place, nor is a mapping in it: `dataclasses.replace` makes another one.
    """
    shapes: tuple[tuple[int, ...], ...] | None = vars(record).get(SHAPES)
    if shapes is None:
        found: list[tuple[int, ...]] = []

        def note(array: NDArray[np.float64]) -> NDArray[np.float64]:
            found.append(array.shape)
            return array

        map_arrays(record, note)
        shapes = vars(record)[SHAPES] = tuple(found)
    return shapes


def flatten_cases(record: Record, shape: tuple[int, ...]) -> Record:
    """Return the record with every array broadcast to `shape` and flattened to one case axis."""
    return cast(Record, map_arrays(record, lambda array: np.broadcast_to(array, shape).reshape(-1)))


def take_cases(record: Record, columns: slice | NDArray[np.intp]) -> Record:
    """Return the record with the named columns of every array; floats serve all cases."""
    return cast(Record, map_arrays(record, lambda array: array[columns]))


def any_case(record: Record) -> Record:
    """Return the record with one value of every array in place of it; NaN where an array has none."""
    return cast(Record, map_arrays(record, lambda array: np.append(array, np.nan)[:1]))


def map_arrays(record: Any, change: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> Any:
    """Copy nested records, tuples and mappings with `change` done to every array; unchanged parts are shared."""
    if record is None or isinstance(record, PLAIN):
        return record
    if isinstance(record, np.ndarray):
        return change(record) if record.ndim else float(record)
    if dataclasses.is_dataclass(record) and not isinstance(record, type):
        old = {f.name: getattr(record, f.name) for f in dataclasses.fields(record)}
        new = {name: map_arrays(value, change) for name, value in old.items()}
        return dataclasses.replace(record, **new) if any(new[n] is not old[n] for n in old) else record
    if isinstance(record, tuple):
        if record and isinstance(record[0], PLAIN):
            return record
        items = tuple(map_arrays(item, change) for item in record)
        return items if any(a is not b for a, b in zip(items, record, strict=True)) else record
    if isinstance(record, Mapping):
        mapped = {key: map_arrays(value, change) for key, value in record.items()}
        return mapped if any(mapped[key] is not record[key] for key in record) else record
    return record
