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
        self._truth, self._dice = truth, dice
        self._before: dict[str, deque[float]] = {}

    def temperatures(self, sensors: Mapping[str, float]) -> dict[str, float]:
        """°C of each sensor as this look has it."""
        truth = self._truth
        return {name: self._mean(name, self._stepped(value), truth.kelvins) for name, value in sensors.items()}

    def voltages(self, highest: float, lowest: float) -> tuple[float, float]:
        """V of the highest and the lowest cell."""
        return self._mean("+", highest, self._truth.volts), self._mean("-", lowest, self._truth.volts)

    def _stepped(self, value: float) -> float:
        step = self._truth.step
        return round(value / step) * step if step else value

    def _mean(self, name: str, value: float, noise: float) -> float:
        kept = self._before.setdefault(name, deque(maxlen=max(self._truth.looks, 1)))
        kept.append(value + self._dice.gauss(0.0, noise) if noise else value)
        return sum(kept) / len(kept)
