"""Ducts, fins and whole cores against tabulated and worked values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics import channels


def test_developed_laminar_ducts_meet_the_tabulated_values() -> None:
    # R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts", 1978, tables of rectangular ducts (recalled,
    # not re-read): aspect 0, 1/8, 1/4, 1/2, 1. The polynomials are within 0.1 % of them, Nu_T within 0.2 %.
    aspect = np.array([0.0, 0.125, 0.25, 0.5, 1.0])
    friction = np.array([24.0, 20.585, 18.233, 15.548, 14.227])
    h1 = np.array([8.235, 6.490, 5.331, 4.123, 3.608])
    t = np.array([7.541, 5.597, 4.439, 3.391, 2.976])
    assert channels.friction_laminar_rectangular(aspect) == pytest.approx(friction, rel=1e-3)
    assert channels.nusselt_laminar_rectangular_h1(aspect) == pytest.approx(h1, rel=1e-3)
    assert channels.nusselt_laminar_rectangular_t(aspect) == pytest.approx(t, rel=2e-3)


def test_polynomials_by_hand_and_by_ht() -> None:
    assert channels.nusselt_laminar_rectangular_h1(0.25) == pytest.approx(5.332667, rel=1e-6)
    assert channels.friction_laminar_rectangular(0.5) == pytest.approx(15.5573, rel=1e-5)
    ht = pytest.importorskip("ht")
    for aspect in (0.05, 0.2, 0.7, 1.0):
        reference = ht.Nu_laminar_rectangular_Shan_London(aspect)
        assert channels.nusselt_laminar_rectangular_h1(aspect) == pytest.approx(reference, rel=1e-9)


def test_developing_heat_transfer() -> None:
    # VDI-Waermeatlas Gb 7, equations 36 to 43, by hand: Pr 0.7073, L / D_h 13.04348, Re 200 and 400.
    got = channels.nusselt_developing([200.0, 400.0], 0.7073, 1.0 / 13.04348)
    assert got == pytest.approx(np.array([7.98390, 8.43095]), rel=2e-6)
    assert channels.nusselt_developing(200.0, 0.7073, 0.0) == pytest.approx(7.541)  # a long duct is developed


def test_developing_friction() -> None:
    # R. K. Shah, J. Fluids Eng. 100 (1978) 177, parallel plates, by hand at x = 0.005, 0.02, 0.05, 0.2.
    re, x = 100.0, np.array([0.005, 0.02, 0.05, 0.2])
    got = channels.friction_developing(re, 1.0 / (x * re), 0.0) * re
    assert got == pytest.approx(np.array([52.8392, 31.8774, 27.2326, 24.8301]), abs=6e-5)
    # Rectangular ducts at x = 0.005: the same equation written out, with f Re, K and C as tabulated by Shah and London
    # 1978 for aspects 0.2, 0.5, 1 (recalled, not re-read).
    mouth = 3.44 / 0.005**0.5
    for aspect, developed, loss, constant in (
        (0.2, 19.071, 0.931, 7.6e-5),
        (0.5, 15.548, 1.28, 2.1e-4),
        (1.0, 14.227, 1.43, 2.9e-4),
    ):
        expected = mouth + (loss / 0.02 + developed - mouth) / (1 + constant / 0.005**2)
        assert channels.friction_developing(re, 1 / (0.005 * re), aspect) * re == pytest.approx(expected, rel=1e-4)
    # The mouth: f Re = 3.44 / sqrt(x), boundary layers; the far end: developed flow.
    assert channels.friction_developing(re, 1.0 / (1e-7 * re), 0.0) * re == pytest.approx(3.44 / 1e-7**0.5, rel=2e-3)
    assert channels.friction_developing(re, 1e-9, 0.5) * re == pytest.approx(
        float(channels.friction_laminar_rectangular(0.5)), rel=1e-6
    )


def test_gnielinski() -> None:
    # V. Gnielinski 1976 as solved by the library ht.
    assert channels.nusselt_gnielinski_1976(1e5, 1.2, 0.0185) == pytest.approx(254.6268, rel=2e-7)
    ht = pytest.importorskip("ht")
    for re, prandtl, friction in ((4e3, 5.4, 0.04), (2e4, 0.7, 0.026)):
        reference = ht.turbulent_Gnielinski(re, prandtl, friction)
        assert channels.nusselt_gnielinski_1976(re, prandtl, friction) == pytest.approx(reference, rel=1e-12)


@pytest.mark.parametrize(
    ("film", "conductivity", "thickness", "length", "expected"),
    [  # tanh(mL) / (mL) by hand
        (50.0, 237.0, 1e-4, 3.5e-3, 0.983120),
        (50.0, 398.0, 5e-5, 3.5e-3, 0.979974),
        (80.0, 237.0, 8e-5, 4.0e-3, 0.957298),
        (100.0, 160.0, 1e-4, 5.0e-3, 0.907392),
        (25.0, 237.0, 1e-4, 20e-3, 0.789489),
    ],
)
def test_fin_efficiency(film: float, conductivity: float, thickness: float, length: float, expected: float) -> None:
    got = channels.fin_efficiency(film, conductivity, thickness=thickness, length=length)
    assert got == pytest.approx(expected, abs=6e-7)


@given(st.floats(1.0, 1e3), st.floats(10.0, 400.0), st.floats(1e-5, 1e-3), st.floats(1e-3, 5e-2))
def test_fins_between_nothing_and_perfect(film: float, conductivity: float, thickness: float, length: float) -> None:
    got = channels.fin_efficiency(film, conductivity, thickness=thickness, length=length)
    ml = np.sqrt(2 * film / (conductivity * thickness)) * length
    assert 1 / (1 + ml) * (1 - 1e-12) <= got <= min(1.0, 1 / ml) * (1 + 1e-12)  # tanh x between x / (1 + x) and 1


def test_core_pressure_drop() -> None:
    # "Heat Exchanger Design Handbook" 3.9.10 form, by hand: terms 5.658784 + 0.683470 + 31.174309 - 1.685892 Pa.
    got = channels.core_pressure_drop(
        4.0,
        0.09,
        free_area_ratio=0.75,
        area_ratio=50.0,
        density_in=1.184,
        density_out=1.127,
        contraction_loss=0.40,
        expansion_loss=0.20,
    )
    assert got == pytest.approx(5.658784 + 0.683470 + 31.174309 - 1.685892, rel=1e-7)
    assert got == pytest.approx(35.830671, rel=1e-7)
