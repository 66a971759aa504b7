"""Descents that advance together: published optima, the same ends on every run, an orderly end when stopped."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from quietcool.decide.descent import descend_together, look_round

Floats = NDArray[np.float64]
Owners = NDArray[np.intp]

SPAN = 6.0  # the published problem lives in -3 ... 3 on every axis


def rosen_suzuki(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
    """Hock, W. and Schittkowski, K., "Test Examples for Nonlinear Programming Codes", Springer 1981, problem 43
    (Rosen and Suzuki): least value -44 at (0, 1, 2, -1). Recalled, not re-read; the test checks the point itself."""
    x = SPAN * places - 3.0
    a, b, c, d = x.T
    value = a * a + b * b + 2 * c * c + d * d - 5 * a - 5 * b - 21 * c + 7 * d
    kept = [
        8 - a * a - b * b - c * c - d * d - a + b - c + d,
        10 - a * a - 2 * b * b - c * c - 2 * d * d + a + d,
        5 - 2 * a * a - b * b - c * c - 2 * a + b + d,
    ]
    return value, np.stack(kept, axis=-1)


def starts(count: int, n: int, seed: int = 0) -> Floats:
    return np.random.default_rng(seed).uniform(size=(count, n))


def test_the_published_optimum_is_an_optimum() -> None:
    """Karush, Kuhn and Tucker by hand at (0, 1, 2, -1): slope (-5, -3, -13, 5) = 1 * (..1) + 2 * (..3), -44 exactly."""
    value, kept = rosen_suzuki((np.array([[0.0, 1.0, 2.0, -1.0]]) + 3.0) / SPAN, np.zeros(1, dtype=np.intp))
    slope = np.array([-5.0, -3.0, -13.0, 5.0])
    first, third = np.array([-1.0, -1.0, -5.0, 3.0]), np.array([-2.0, -1.0, -4.0, 1.0])

    assert value[0] == pytest.approx(-44.0)
    assert kept[0] == pytest.approx([0.0, 1.0, 0.0])
    assert slope == pytest.approx(1.0 * first + 2.0 * third)


def test_every_start_ends_in_the_published_optimum() -> None:
    ends = descend_together(rosen_suzuki, starts(6, 4), precision=1e-5)

    for end in ends:
        assert end.level == pytest.approx(-44.0, abs=0.01)
        assert SPAN * end.place - 3.0 == pytest.approx([0.0, 1.0, 2.0, -1.0], abs=0.1)
        assert end.margins.min() > -1e-4


def two_fans(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
    """Noise of two fans by the fifth power of their speeds, the second 10 times as loud at equal speed, and a
    temperature over air that falls with the first power of each: 30 K at the lowest speeds of both alone."""
    speed = LOWEST * (1.0 + places * (HIGHEST / LOWEST - 1.0))
    level = 10.0 * np.log10((speed**5) @ LOUDNESS)
    return level, (20.0 - (30.0 / (speed / LOWEST)).mean(axis=1))[:, None]


LOWEST, HIGHEST = np.array([8.0, 8.0]), np.array([40.0, 40.0])
LOUDNESS = np.array([1.0, 10.0])


def test_two_fans_come_to_the_optimum_that_a_multiplier_gives() -> None:
    """Lagrange by hand: 5 a_i N_i^4 = lambda / N_i^2, so a_i N_i^6 is equal: N_1 / N_2 = 10^(1/6); the limit
    (15 / x_1 + 15 / x_2 = 20) then gives x_2 = 0.75 (1 + 10^(-1/6)), x the speed over the lowest; both above 1."""
    x = 0.75 * (1.0 + 10.0 ** (-1.0 / 6.0)) * np.array([10.0 ** (1.0 / 6.0), 1.0])
    ends = descend_together(two_fans, starts(5, 2), np.stack([LOWEST, HIGHEST]), precision=1e-5)

    assert np.all(x > 1.0)
    for end in ends:
        assert 1.0 + end.place * (HIGHEST / LOWEST - 1.0) == pytest.approx(x, abs=2e-3)
        assert end.level == pytest.approx(10.0 * np.log10(((LOWEST * x) ** 5) @ LOUDNESS), abs=1e-3)


def test_a_forecast_at_the_end_holds_a_tenth_of_the_speed_away() -> None:
    """Shares of noise by powers of their speeds are what the picture is made of: it knows them far from the place."""
    ranges = np.stack([LOWEST, HIGHEST])
    end = descend_together(two_fans, starts(1, 2), ranges)[0]
    along = [np.clip(place + np.array([-0.03, 0.0, 0.03]), 0.0, 1.0) for place in end.place]
    level, margins = end.forecast_all(along)
    around = np.stack([axis.ravel() for axis in np.meshgrid(*along, indexing="ij")], axis=-1)
    true_level, true_margins = two_fans(around, np.zeros(9, dtype=np.intp))

    assert level == pytest.approx(true_level, abs=0.01)
    assert margins == pytest.approx(true_margins, abs=0.05)
    assert np.abs(true_level - end.level).max() > 0.5  # it is not that nothing happens there


def test_a_group_that_stands_or_has_one_speed_is_left_where_it_is() -> None:
    """Ranges of a group that is stuck at rest and of one that knows one speed: neither has anywhere to go."""
    ranges = np.array([[0.0, 20.0, 8.0], [0.0, 20.0, 40.0]])

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        return 40.0 + 10.0 * places.sum(axis=1), np.zeros((len(places), 0))

    end = descend_together(ask, np.array([[0.7, 0.2, 0.9]]), ranges)[0]

    assert end.place[2] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.isfinite(end.forecast_all([np.zeros(1), np.zeros(1), np.array([0.5])])[0]))


def test_looking_round_a_place_goes_nowhere() -> None:
    ranges, places = np.stack([LOWEST, HIGHEST]), np.array([[0.3, 0.5], [1.0, 0.0]])
    found = look_round(two_fans, places, ranges)
    level, margins = two_fans(places, np.zeros(2, dtype=np.intp))

    assert np.array([one.place for one in found]) == pytest.approx(places)
    assert np.array([one.level for one in found]) == pytest.approx(level, abs=1e-9)
    assert np.array([one.margins for one in found]) == pytest.approx(margins, abs=1e-9)


def test_a_start_without_hope_is_given_up() -> None:
    """Two valleys, one 20 dB higher: with a limit of 5 dB the start in the higher one is not led to its floor."""

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        x = places[:, 0]
        level = np.where(x < 0.5, 20.0 + 300.0 * (x - 0.2) ** 2, 40.0 + 300.0 * (x - 0.8) ** 2)
        return level, np.zeros((len(x), 0))

    both = descend_together(ask, np.array([[0.4], [0.95]]))
    one = descend_together(ask, np.array([[0.4], [0.95]]), hopeless=5.0)

    assert [end.level for end in both] == pytest.approx([20.0, 40.0], abs=0.01)
    assert one[0].level == pytest.approx(20.0, abs=0.01)
    assert one[1].level > 41.0


def test_the_ends_lie_inside_the_range_even_where_the_level_falls_beyond_it() -> None:
    ends = descend_together(lambda p, _: (p.sum(axis=1), np.zeros((len(p), 0))), starts(4, 3))

    assert np.array([end.place for end in ends]) == pytest.approx(np.zeros((4, 3)), abs=1e-9)


def test_every_start_is_asked_under_its_own_number() -> None:
    """Start k seeks its own target; a mix-up of questions and answers would lead it to another's."""
    targets = starts(5, 2, seed=9)

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        return 50.0 * ((places - targets[owners]) ** 2).sum(axis=1), np.zeros((len(places), 0))

    ends = descend_together(ask, starts(5, 2), precision=1e-6)

    assert np.array([end.place for end in ends]) == pytest.approx(targets, abs=1e-3)


def test_the_same_starts_give_the_same_bits() -> None:
    first, second = (descend_together(rosen_suzuki, starts(6, 4)) for _ in range(2))

    assert [end.place.tobytes() for end in first] == [end.place.tobytes() for end in second]
    assert [end.level for end in first] == [end.level for end in second]


def test_company_changes_nothing() -> None:
    together = descend_together(rosen_suzuki, starts(6, 4))
    alone = [descend_together(rosen_suzuki, start[None])[0] for start in starts(6, 4)]

    assert [end.place.tobytes() for end in together] == [end.place.tobytes() for end in alone]


def test_starts_share_their_questions() -> None:
    """A count, not seconds: as many rounds as the longest descent takes, not the sum over all of them."""
    rounds: list[int] = []

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        rounds.append(len(np.unique(owners)))
        return rosen_suzuki(places, owners)

    descend_together(ask, starts(8, 4))
    asked = sum(rounds)

    assert rounds[0] == 8
    assert asked / len(rounds) > 2.0


def test_a_place_without_answer_turns_the_search_back() -> None:
    """Left of the diagonal there is no steady state: infinitely loud, infinitely bad."""

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        lost = places.sum(axis=1) < 0.5
        level = np.where(lost, np.inf, 10.0 + 5.0 * ((places - 0.4) ** 2).sum(axis=1))
        return level, np.where(lost, -np.inf, 1.0)[:, None]

    ends = descend_together(ask, np.array([[0.9, 0.9], [0.35, 0.3], [0.9, 0.1]]))

    assert all(np.isfinite(end.level) for end in ends)
    assert min(end.level for end in ends) == pytest.approx(10.0, abs=1e-4)


@pytest.mark.parametrize("strip", [(0.52, 0.56), (0.53, 0.54), (0.44, 0.46), (0.30, 0.35)])
def test_a_strip_without_answers_beside_the_way_does_not_stop_a_descent(strip: tuple[float, float]) -> None:
    """Settings on the brink of a reversal have no answer: the search goes round, or over, them."""

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        lost = (places[:, 0] > strip[0]) & (places[:, 0] < strip[1])
        level = 20.0 + 50.0 * np.log10(1.0 + 3.0 * places[:, 0])
        return np.where(lost, np.inf, level), np.where(lost, -np.inf, 1.0)[:, None]

    end = descend_together(ask, np.array([[0.495]]), np.array([[5.0], [20.0]]))[0]

    assert end.place[0] == pytest.approx(0.0, abs=1e-6)
    assert end.level == pytest.approx(20.0)


def test_an_absurd_answer_counts_as_none() -> None:
    """Minimised temperatures know no ceiling: an enclosure with next to no air through it may answer 1e7 K."""

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        return np.where(places[:, 0] > 0.5, 1e7, 20.0 + places[:, 0]), np.ones((len(places), 1))

    end = descend_together(ask, np.array([[0.49]]))[0]

    assert end.level == pytest.approx(20.0, abs=0.01)


def test_a_group_at_rest_is_neither_asked_about_nor_moved() -> None:
    asked: list[Floats] = []

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        asked.append(places)
        return two_fans(places, owners)

    ranges = np.stack([LOWEST, HIGHEST])
    ends = descend_together(ask, starts(2, 2), ranges, resting=np.array([[True, False], [False, False]]))

    assert ends[0].place[0] == 0.0
    assert ends[1].place[0] > 0.01
    assert len(asked[0]) == 3 + 5  # a place and two steps on each axis that turns


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError])
def test_whatever_stops_the_answers_stops_the_descents(error: type[BaseException]) -> None:
    calls = 0

    def ask(places: Floats, owners: Owners) -> tuple[Floats, Floats]:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise error("stop")
        return rosen_suzuki(places, owners)

    with pytest.raises(error):
        descend_together(ask, starts(4, 4))
    assert calls == 3
