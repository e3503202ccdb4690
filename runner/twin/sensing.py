"""What a pack's converter makes of a quantity: noise, steps, and the mean of some looks. Ranges are common practice, no source."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class SensingTruth:
    """Standard deviation of a look (K, and V of a cell), steps (K), and over how many looks it takes the mean."""

    kelvins: float = 0.0
    volts: float = 0.0
    step: float = 0.0
    looks: int = 1

    @property
    def plain(self) -> bool:
        """Whether it sees everything as it is."""
        return not (self.kelvins or self.volts or self.step) and self.looks <= 1


class Senses:
    """One protection's view, look by look."""

    def __init__(self, truth: SensingTruth, dice: random.Random) -> None:
        self._truth, self._gauss = truth, dice.gauss
        self._before: dict[str, deque[float]] = {}
        self._looks = max(truth.looks, 1)

    def temperatures(self, sensors: Mapping[str, float]) -> dict[str, float]:
        """°C of each sensor as this look has it."""
        noise, step = self._truth.kelvins, self._truth.step
        if step:
            return {name: self._mean(name, round(value / step) * step, noise) for name, value in sensors.items()}
        return {name: self._mean(name, value, noise) for name, value in sensors.items()}

    def voltages(self, highest: float, lowest: float) -> tuple[float, float]:
        """V of the highest and the lowest cell."""
        noise = self._truth.volts
        return self._mean("+", highest, noise), self._mean("-", lowest, noise)

    def _mean(self, name: str, value: float, noise: float) -> float:
        if noise:
            value += self._gauss(0.0, noise)
        if self._looks == 1:
            return value
        kept = self._before.get(name)
        if kept is None:
            kept = self._before[name] = deque(maxlen=self._looks)
        kept.append(value)
        return sum(kept) / len(kept)
