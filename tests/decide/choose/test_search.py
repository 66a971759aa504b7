"""The choice against solving everything: no outside source knows the answer, so the exhaustive search is the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.choose.options import kept_rules, options_of, with_options
from quietcool.decide.choose.search import Choice, Solved, find_choice, solve_combination
from quietcool.decide.choose.workers import Here
from quietcool.entry.build import Build, State
from quietcool.entry.catalogue_records import Catalogue
from quietcool.errors import InputError
from tests.decide.choose.catalogues import ROOM, catalogue_for, coarse

RIG = coarse(ROOM, 50.0)
PATIENCE = 600.0


def exhaustive(build: Build, catalogue: Catalogue, state: str) -> tuple[float, int]:
    """Quietest level of all allowed combinations, and how many there are."""
    options = options_of(build, catalogue)
    kept = kept_rules(build, catalogue, options)
    levels = []
    for place in np.argwhere(kept):
        chosen = [column[i] for column, i in zip(options, place, strict=True)]
        level, margin, _ = solve_combination((with_options(build, catalogue, chosen), state, 0))
        levels.append(level if margin >= 0.0 else np.inf)
    return min(levels), int(kept.sum())


def same(one: Choice, other: Choice) -> bool:
    def told(each: Solved | None) -> object:
        return None if each is None else (each.combination, each.level, each.worst_margin, each.speeds.tolist())

    return (told(one.best), one.solved, one.next_bound, one.floor) == (
        told(other.best), other.solved, other.next_bound, other.floor,
    ) and [told(each) for each in one.runners_up] == [told(each) for each in other.runners_up]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_the_choice_is_that_of_solving_everything(seed: int) -> None:
    dice = np.random.default_rng(seed)
    paths = ("front intake", "bottom intake")[: 1 + seed % 2]
    catalogue = catalogue_for(RIG, paths, 2, 2, seed=seed)
    catalogue = replace(catalogue, most_fan_models=2, budget=None if dice.random() < 0.5 else 330.0)
    truth, count = exhaustive(RIG, catalogue, "bounce")
    choice = find_choice(RIG, catalogue, "bounce", seconds=PATIENCE)
    assert choice.allowed == count
    assert choice.proven
    assert choice.best is not None
    # The proof of the winner's speeds may find a setting that the search for it had missed.
    assert choice.best.level == pytest.approx(truth, abs=0.02)
    assert choice.floor <= truth
    assert choice.next_bound >= choice.best.level - 1e-6
    for one in choice.runners_up:
        assert choice.best.level <= one.level <= choice.best.level + 1.0
        assert one.bound <= one.level + 1e-6


def test_nothing_is_bought_where_no_combination_keeps_the_limits() -> None:
    """Coolant a kelvin over the room cannot carry the heat (Q = G dT): no cell of the bound is open then."""
    rig = coarse(ROOM, 100.0)
    states = (replace(s, limits=replace(s.limits, coolant=float(s.room_temp) + 1.0)) for s in rig.states)
    hot = replace(rig, states=tuple(states))
    choice = find_choice(hot, catalogue_for(hot, ("front intake",), 2, 2, seed=3), "bounce", seconds=PATIENCE)
    assert choice.best is None
    assert choice.build is None
    assert choice.runners_up == ()
    assert choice.proven
    assert choice.nothing_kept_below == choice.level_limit


def test_a_level_that_no_combination_reaches_is_proven_out_of_reach() -> None:
    """Every setting of every combination, solved one by one, is louder than the floor, and that than the limit."""
    rig = coarse(ROOM, 200.0)
    catalogue = catalogue_for(rig, ("front intake",), 1, 2, seed=11)
    quietest = exhaustive(rig, catalogue, "bounce")[0]
    places = tuple(replace(place, limit=quietest - 5.0) for place in rig.positions)
    choice = find_choice(replace(rig, positions=places), catalogue, "bounce", seconds=PATIENCE)
    assert choice.best is None
    assert choice.level_limit == pytest.approx(quietest - 5.0)
    assert choice.nothing_kept_below == choice.level_limit
    heard = replace(rig, positions=tuple(replace(place, limit=quietest + 5.0) for place in rig.positions))
    assert np.isnan(find_choice(heard, catalogue, "bounce", seconds=PATIENCE).nothing_kept_below)


def test_a_planted_winner_is_found() -> None:
    rig = coarse(ROOM, 100.0)
    catalogue = catalogue_for(rig, ("front intake",), 1, 3, seed=11)
    place = catalogue.places[0]
    fan = place.fans[1]
    quiet = replace(fan, sound=replace(fan.sound, power_level=fan.sound.power_level - 12.0))
    catalogue = replace(catalogue, places=(replace(place, fans=(place.fans[0], quiet, place.fans[2])),))
    choice = find_choice(rig, catalogue, "bounce", seconds=PATIENCE)
    assert choice.best is not None
    assert choice.best.options[0].fan.name == fan.name
    assert choice.proven


@pytest.mark.slow
def test_without_time_the_answer_is_the_best_so_far_and_claims_no_more() -> None:
    catalogue = catalogue_for(RIG, ("front intake", "bottom intake"), 2, 2, seed=3)
    choice = find_choice(RIG, catalogue, "bounce", seconds=0.0)
    assert choice.best is not None
    assert choice.next_bound < choice.best.level
    assert not choice.proven


def test_ctrl_c_gives_the_answer_so_far() -> None:
    class Impatient(Here):
        rounds = 0

        def map(self, function, jobs):  # type: ignore[no-untyped-def]
            self.rounds += 1
            if self.rounds > 1:
                raise KeyboardInterrupt
            return super().map(function, jobs)

    catalogue = catalogue_for(RIG, ("front intake",), 2, 2, seed=3)
    choice = find_choice(RIG, catalogue, "bounce", seconds=PATIENCE, workers=Impatient())
    assert choice.interrupted
    assert not choice.proven
    assert 1 <= choice.solved < choice.allowed


def test_a_state_without_a_limit_on_the_coolant_is_refused() -> None:
    state = RIG.state("bounce")
    free: State = replace(state, limits=replace(state.limits, coolant=None))
    rig = replace(RIG, states=(free,))
    with pytest.raises(InputError, match="add coolant_c to its limits"):
        find_choice(rig, catalogue_for(rig, ("front intake",), 1, 1, seed=0), "bounce")


@pytest.mark.slow
def test_workers_do_not_change_the_answer() -> None:
    from quietcool.decide.choose.workers import Processes

    catalogue = catalogue_for(RIG, ("front intake",), 2, 2, seed=5)
    alone = find_choice(RIG, catalogue, "bounce", seconds=PATIENCE)
    with Processes(2) as crew:
        together = find_choice(RIG, catalogue, "bounce", seconds=PATIENCE, workers=crew)
    assert same(alone, together)


def test_a_local_cluster_of_two_does_not_change_the_answer() -> None:
    distributed = pytest.importorskip("distributed")
    from quietcool.decide.choose.workers import Cluster

    rig = coarse(ROOM, 100.0)
    catalogue = catalogue_for(rig, ("front intake",), 1, 1, seed=5)
    alone = find_choice(rig, catalogue, "bounce", seconds=PATIENCE)
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, processes=False) as cluster,
        Cluster(cluster.scheduler_address) as crew,
    ):
        together = find_choice(rig, catalogue, "bounce", seconds=PATIENCE, workers=crew)
    assert same(alone, together)


def test_no_cluster_at_an_address_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    from quietcool.decide.choose import workers

    monkeypatch.setattr(workers, "PATIENCE", "1s")
    with pytest.raises(InputError, match="running Dask scheduler"):
        workers.Cluster("tcp://127.0.0.1:1")
