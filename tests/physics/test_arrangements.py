"""The other flow arrangements against textbooks and the library ht."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics import arrangements as arr

SUBTYPES = {
    "counterflow": (arr.effectiveness_counterflow, arr.ntu_from_effectiveness_counterflow),
    "parallel": (arr.effectiveness_parallel, arr.ntu_from_effectiveness_parallel),
    "crossflow, mixed Cmax": (arr.effectiveness_cross_max_mixed, arr.ntu_from_effectiveness_cross_max_mixed),
    "crossflow, mixed Cmin": (arr.effectiveness_cross_min_mixed, arr.ntu_from_effectiveness_cross_min_mixed),
}


@pytest.mark.parametrize("subtype", SUBTYPES)
@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0])
def test_agrees_with_ht(subtype: str, ratio: float) -> None:
    ht = pytest.importorskip("ht")
    ntu = np.array([0.25, 1.0, 3.0, 5.0])
    reference = np.array([ht.effectiveness_from_NTU(n, ratio, subtype=subtype) for n in ntu])
    assert SUBTYPES[subtype][0](ntu, ratio) == pytest.approx(reference, rel=1e-12)


@pytest.mark.parametrize(
    ("subtype", "expected"),
    [  # NTU 5, C_r 0.7: from the tests of the library ht
        ("counterflow", 0.920670368605),
        ("parallel", 0.5881156068417585),
        ("crossflow, mixed Cmax", 0.7158099831204696),
        ("crossflow, mixed Cmin", 0.7497843941508544),
    ],
)
def test_one_published_point(subtype: str, expected: float) -> None:
    assert SUBTYPES[subtype][0](5.0, 0.7) == pytest.approx(expected, rel=1e-11)


def test_oil_heated_by_steam() -> None:
    # J. Holman, "Heat Transfer", 10th edition, the oil heater of chapter 10 (C_max mixed), as quoted and solved by ht:
    # 5.2 kg/s of 1860 J/(kg K) from 130 degC; 1.45 kg/s of 1900 J/(kg K) from 15 to 85 degC.
    smaller, larger = 1.45 * 1900.0, 5.2 * 1860.0
    heat = smaller * 70.0
    assert heat == pytest.approx(192850.0)
    ntu = arr.ntu_from_effectiveness_cross_max_mixed(heat / (smaller * 115.0), smaller / larger)
    assert ntu == pytest.approx(1.1040839, rel=1e-7)
    assert ntu * smaller == pytest.approx(3041.7512, rel=1e-7)
    assert 130.0 - heat / larger == pytest.approx(110.061001, rel=1e-7)
    # half the oil, same surface (U 275 W/(m2 K), 10.82 m2): 131675.327 W
    effectiveness = arr.effectiveness_cross_max_mixed(275.0 * 10.82 / 1377.5, 1377.5 / larger)
    assert effectiveness * 1377.5 * 115.0 == pytest.approx(131675.327, rel=1e-8)


def test_balanced_counterflow() -> None:
    # NTU / (1 + NTU), Kays and London, chapter 2; and no step on the way there.
    assert arr.effectiveness_counterflow(9.0, 1.0) == pytest.approx(0.9, rel=1e-14)
    distance = 10.0 ** -np.arange(3.0, 17.0)
    slope = 0.5 * 81.0 / 100.0  # NTU^2 / (2 (1 + NTU)^2), expanded by hand
    near = arr.effectiveness_counterflow(9.0, 1.0 - distance)
    assert near == pytest.approx(0.9 + slope * distance, rel=0.0, abs=1e-6)
    assert near[-8:] == pytest.approx(0.9 + slope * distance[-8:], rel=0.0, abs=1e-15)
    assert arr.ntu_from_effectiveness_counterflow(0.9, 1.0) == pytest.approx(9.0)


@pytest.mark.parametrize("functions", SUBTYPES.values(), ids=SUBTYPES)
@given(ntu=st.floats(1e-3, 4.0), ratio=st.floats(0.05, 1.0))
def test_round_trip(functions: tuple[Callable[..., float], Callable[..., float]], ntu: float, ratio: float) -> None:
    forward, backward = functions
    assert backward(forward(ntu, ratio), ratio) == pytest.approx(ntu, rel=1e-9)


@given(ntu=st.floats(0.0, 50.0), ratio=st.floats(0.01, 1.0))
def test_order_of_arrangements(ntu: float, ratio: float) -> None:
    # Second-law order of the plain arrangements, Kays and London, chapter 2: counterflow best, parallel flow worst.
    parallel, counterflow = arr.effectiveness_parallel(ntu, ratio), arr.effectiveness_counterflow(ntu, ratio)
    for mixed in (arr.effectiveness_cross_max_mixed(ntu, ratio), arr.effectiveness_cross_min_mixed(ntu, ratio)):
        assert parallel * (1 - 1e-12) <= mixed <= counterflow * (1 + 1e-12)
    assert counterflow <= 1.0 + 1e-15
