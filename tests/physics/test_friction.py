"""Turbulent friction against the library fluids and the relation itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics.friction import friction_factor_colebrook_1939, friction_factor_haaland_1983


@pytest.mark.parametrize(
    ("re", "roughness", "colebrook", "haaland"),
    [  # library fluids
        (4000.0, 1.5e-4, 0.0400590, 0.0405208),
        (1e4, 1e-3, 0.032381806, 0.032174895),
        (1e5, 1e-4, 0.018513866, 0.018265053),
        (1e5, 1e-3, 0.022174536, 0.021966214),
        (1e5, 0.0, 0.0179898, 0.0178249),
    ],
)
def test_published_solutions(re: float, roughness: float, colebrook: float, haaland: float) -> None:
    assert friction_factor_colebrook_1939(re, roughness) == pytest.approx(colebrook, abs=6e-8)
    assert friction_factor_haaland_1983(re, roughness) == pytest.approx(haaland, abs=6e-8)


@given(re=st.floats(3000.0, 1e9), roughness=st.floats(0.0, 0.05))
def test_colebrook_satisfies_its_relation(re: float, roughness: float) -> None:
    f = float(friction_factor_colebrook_1939(re, roughness))
    assert f**-0.5 == pytest.approx(-2.0 * np.log10(roughness / 3.7 + 2.51 / (re * f**0.5)), rel=1e-12)


def test_smooth_turbulent_flow_is_near_blasius() -> None:
    # H. Blasius, "Das Aehnlichkeitsgesetz bei Reibungsvorgaengen in Fluessigkeiten", VDI Forschungsheft 131 (1913).
    re = np.array([5e3, 1e4, 3e4, 8e4])
    assert friction_factor_colebrook_1939(re) == pytest.approx(0.3164 * re**-0.25, rel=0.03)
    assert friction_factor_colebrook_1939(re[1]) == pytest.approx(
        float(friction_factor_colebrook_1939(re)[1]), rel=1e-14
    )
