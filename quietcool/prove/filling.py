"""How much coolant the loop takes, part by part."""

from __future__ import annotations

from dataclasses import dataclass

from quietcool.entry.build import PUMP, Build
from quietcool.physics.leaks import volume_in_tube

AGREEMENT = 0.05  # of the entered volume: what parts and file may differ by (common practice, no source) [-]


@dataclass(frozen=True)
class Filling:
    """Coolant of the loop."""

    parts: tuple[tuple[str, float | None], ...]  # what each holds; None where its sheet does not say [m3]
    entered: float  # volume of the build file [m3]

    @property
    def known(self) -> float:
        """Sum over the parts that say what they hold [m3]."""
        return sum(volume for _, volume in self.parts if volume is not None)

    @property
    def missing(self) -> tuple[str, ...]:
        """Parts that do not say what they hold."""
        return tuple(name for name, volume in self.parts if volume is None)

    @property
    def disagrees(self) -> bool:
        """Whether the parts contradict the file: they hold more, or all of them are known and hold less."""
        above = self.known > (1.0 + AGREEMENT) * self.entered
        return above or (not self.missing and self.known < (1.0 - AGREEMENT) * self.entered)


def filling(build: Build) -> Filling:
    """Return what every part of the loop holds."""
    cores = [(f"radiator of {path.name}", path.core.radiator.vessel) for path in build.air_paths if path.core]
    plates = [(f"plate of {source.name}", source.plate.vessel) for source in build.sources]
    tube = float(volume_in_tube(build.loop.tube.bore, build.loop.tube.length))
    vessels = [*cores, *plates, (PUMP, build.loop.pump.vessel), ("reservoir", build.loop.vessel)]
    return Filling((*((name, vessel.volume) for name, vessel in vessels), ("tube", tube)), build.loop.volume)
