"""Power supply and circuit: what comes out as heat went in as power, and codes bound what flows for hours."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.build import Build, Electric, Supply
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.prove.supply import mains_current, power_at, quiet_ratings, supply_need

BOOTH = read_build(demo_path("booth_wall"))


def fed(**supply: float) -> Build:
    return replace(BOOTH, supply=Supply(**supply))  # type: ignore[arg-type]


def test_the_heaviest_state_by_hand() -> None:
    """Render: 150 + 460 + 460 W of sources, 90 W of air, 4 x 2.4 + 6 x 1.2 W of fans, 18 W of pump."""
    need = supply_need(BOOTH)
    assert (need.state, need.power) == ("render", pytest.approx(1070 + 90 + 9.6 + 7.2 + 18))


# Common practice, no source: 50 to 65 % of the rating keep the supply's own fan slow.
@pytest.mark.parametrize(
    ("power", "low", "high"), [(325.0, 500.0, 650.0), (1040.0, 1600.0, 2100.0), (260.1, 450.0, 550.0)]
)
def test_ratings_that_stay_quiet(power: float, low: float, high: float) -> None:
    assert quiet_ratings(power) == (low, high)


@given(st.floats(10.0, 5000.0))
def test_quiet_ratings_are_quiet_and_no_step_larger_than_needed(power: float) -> None:
    low, high = quiet_ratings(power)
    for rating, share in ((low, 0.65), (high, 0.50)):
        assert power <= (share + 1e-9) * rating  # quiet
        assert power > (share - 1e-9) * (rating - 50.0)  # one step less would not be


@pytest.mark.parametrize(
    ("rating", "load"), [(2000.0, "quiet"), (1600.0, "audible"), (1195.0, "audible"), (1194.0, "over")]
)
def test_the_load_of_a_supply(rating: float, load: str) -> None:
    need = supply_need(fed(rating=rating))
    assert (need.load, need.kept) == (load, load != "over")


@pytest.mark.parametrize(("circuit", "bears"), [(20.0, 16.0), (16.0, 12.8), (15.0, 12.0)])
def test_what_a_circuit_bears_for_hours(circuit: float, bears: float) -> None:
    # NFPA 70, "National Electrical Code", 210.20(A): the breaker is rated for at least 125 % of a continuous load,
    # so that 20 A bear 16 A.
    mains = supply_need(fed(rating=2000.0, mains_voltage=230.0, circuit_current=circuit)).mains
    assert mains is not None
    assert mains.continuous_limit == pytest.approx(bears)


def test_two_large_boards_are_too_much_for_a_small_circuit() -> None:
    """By hand: (1194.8 / 0.9 + 300) W / 120 V = 13.6 A, and a 15 A circuit bears 12 A for hours."""
    need = supply_need(fed(rating=2000.0, mains_voltage=120.0, circuit_current=15.0, other_load=300.0))
    assert need.mains is not None
    assert need.mains.current == pytest.approx((1194.8 / 0.9 + 300.0) / 120.0)
    assert not need.mains.kept
    assert not need.kept


def test_without_a_voltage_nothing_is_said_of_the_mains() -> None:
    assert supply_need(fed(rating=2000.0)).mains is None
    assert supply_need(replace(BOOTH, supply=None)).load == "unknown"


def test_peaks_stand_in_place_of_the_heat_of_their_sources() -> None:
    """By hand: both boards at 1000 W instead of 460 W add 1080 W."""
    need = supply_need(BOOTH)
    assert need.peak == pytest.approx(1194.8 + 1080.0)
    without = tuple(replace(source, peak=None) for source in BOOTH.sources)
    assert supply_need(replace(BOOTH, sources=without)).peak is None


def test_a_peak_below_the_heat_of_its_source_takes_nothing_off() -> None:
    lower = tuple(replace(source, peak=10.0) for source in BOOTH.sources)
    assert supply_need(replace(BOOTH, sources=lower)).peak == pytest.approx(1194.8)


def test_half_the_speed_takes_an_eighth_of_the_power() -> None:
    # ANSI/AMCA 210, fan laws (recalled, not re-read).
    assert power_at(Electric(8.0, 30.0), 15.0) == pytest.approx(1.0)
    assert power_at(Electric(), 10.0) == 0.0


@given(st.floats(1.0, 4000.0), st.floats(90.0, 480.0), st.floats(0.5, 1.0), st.floats(0.0, 2000.0))
def test_what_the_circuit_gives_is_what_arrives_and_what_is_lost(
    power: float, voltage: float, efficiency: float, other: float
) -> None:
    """Energy: the circuit gives the load, the loss of the supply, and the neighbours."""
    drawn = voltage * mains_current(power, voltage, efficiency, other)
    assert drawn == pytest.approx(power + power * (1.0 - efficiency) / efficiency + other)
