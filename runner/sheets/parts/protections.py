"""The protections that a pack sheet declares: trip, release, tolerances, delay; and what is taken where the sheet is silent."""

from __future__ import annotations

from typing import Any, ClassVar, Self

from pydantic import Field, PrivateAttr, ValidationInfo, field_validator, model_validator

from runner.notation.fields import (
    AS_IT_WAS,
    DeratingTemperatures,
    DeratingVoltages,
    PositiveCurrent,
    PositiveDifference,
    PositiveVoltage,
    Sheet,
    Temperature,
    Time,
    Voltage,
)
from runner.notation.wrong import Wrong

# s between which a delay is taken to lie that the sheet does not declare (common practice, no source)
DELAYS = {"temperature": (1.0, 5.0), "under_voltage": (0.05, 10.0), "over_voltage": (0.5, 5.0), "current": (0.01, 20.0)}
LONGEST_WAIT = 10.0  # s: more is not waited for such a delay at one level of a current that is too large
SENSORS = "sensors"  # key of the validation context: the sensor names of the pack


class Protection(Sheet):
    """One declared protection. Trip and release carry the unit of the kind; delay and polling are seconds.

    ``delay`` is how long the condition must hold before the pack acts; ``polling`` how often the pack looks. A sheet that gives
    only a range has ``between`` and no ``trip``, which is its middle then; of a delay that is not declared a range is assumed.
    ``tolerance`` is a symmetric half-width about trip and, unless ``release_tolerance`` says otherwise, about release. A
    sheet that declares none is taken at its word: no statement is made, unless the bench file assumes one for it.
    """

    dimension: ClassVar[str]
    trip: Any = None
    tolerance: Any = None
    between: Any = None
    release: Any = None
    release_tolerance: Any = None
    delay: Time = Field(default=None)
    delay_tolerance: Time | None = None
    polling: Time = 0.0
    latching: bool = False
    _delay_range: tuple[float, float] | None = PrivateAttr(default=None)

    @model_validator(mode="after")
    def _tolerances_fit(self) -> Self:
        if self.tolerance is not None and self.between is not None:
            raise Wrong("tolerance and between are both given", "keep one of them")
        if self.trip is None and self.between is None:
            raise Wrong(
                "trip is missing", "add trip: or, where the data sheet gives a range only, between: [lowest, highest]"
            )
        if self.between is not None and self.between[0] > self.between[1]:
            raise Wrong("the lower limit of between comes first", "swap the two")
        if self.trip is None:
            object.__setattr__(self, "trip", (self.between[0] + self.between[1]) / 2)
        elif self.between is not None and not self.between[0] <= self.trip <= self.between[1]:
            raise Wrong("trip is not between the two limits", "give the lower one first")
        return self

    @property
    def trip_declared(self) -> bool:
        """False where the sheet gives a range only."""
        return "trip" in self.model_fields_set

    @property
    def delay_range(self) -> tuple[float, float] | None:
        """Between which values (s) a delay is assumed that the sheet does not declare; None where it does."""
        return self._delay_range

    @property
    def delay_to_wait(self) -> float:
        """The delay (s) that steps wait for: the declared one, else the longest that is likely."""
        return self.delay if self._delay_range is None else min(self._delay_range[1], LONGEST_WAIT)

    def assume_delay(self, kind: str) -> None:
        """Take the middle of the usual range where no delay is declared."""
        if self.delay is None:
            low, high = DELAYS[kind] if kind in DELAYS else DELAYS[self.dimension]
            object.__setattr__(self, "delay", (low + high) / 2)
            object.__setattr__(self, "_delay_range", (low, high))

    def trip_limits(self) -> tuple[float, float] | None:
        """(lowest, highest) trip value that the sheet allows, or None where it declares no tolerance."""
        if self.between is not None:
            return float(self.between[0]), float(self.between[1])
        return (
            None if self.tolerance is None else (float(self.trip - self.tolerance), float(self.trip + self.tolerance))
        )

    def release_limits(self) -> tuple[float, float] | None:
        """(lowest, highest) release value that the sheet allows; None without a release or a tolerance."""
        half = self.release_tolerance if self.release_tolerance is not None else self.tolerance
        if self.release is None or half is None:
            return None
        return float(self.release - half), float(self.release + half)


class TemperatureProtection(Protection):
    """Trip and release in °C, tolerances in K; every sensor named has to provoke it by itself.

    ``derates``: from which temperatures on the pack asks for less current before it trips; empty if nobody knows which.
    """

    dimension: ClassVar[str] = "temperature"
    trip: Temperature = Field(default=None)
    tolerance: PositiveDifference | None = None
    between: tuple[Temperature, Temperature] | None = None
    release: Temperature | None = None
    release_tolerance: PositiveDifference | None = None
    sensors: tuple[str, ...] = ()
    derates: DeratingTemperatures = None

    @field_validator("sensors", mode="before")
    @classmethod
    def _known_sensors(cls, value: object, info: ValidationInfo) -> object:
        known = (info.context or {}).get(SENSORS, ())
        if value == "all":
            return tuple(known)
        twice = [str(name) for name in value if value.count(name) > 1] if isinstance(value, list) else []
        if twice and not (info.context or {}).get(AS_IT_WAS):
            raise Wrong(f"{twice[0]} is named twice", "name every sensor once")
        unknown = [str(name) for name in value if str(name) not in known] if isinstance(value, list) else []
        if unknown:
            raise Wrong(
                f"{', '.join(unknown)} is not a sensor of this pack", f"its sensors: {', '.join(known) or 'none'}"
            )
        return value


class VoltageProtection(Protection):
    """Trip and release in V at the pack's terminals.

    ``cell_noise`` is the standard deviation, in V, of one of the pack's readings of a cell, after its filter; ``filter_lag`` how
    old, in s, what it compares is by its filter: half of the span of a mean, the time constant of a first-order one. What is not
    given is taken as what packs are like, and allowed for. ``derates`` as of a temperature, in V.
    """

    dimension: ClassVar[str] = "voltage"
    trip: PositiveVoltage = Field(default=None)
    tolerance: PositiveVoltage | None = None
    between: tuple[PositiveVoltage, PositiveVoltage] | None = None
    release: PositiveVoltage | None = None
    release_tolerance: PositiveVoltage | None = None
    cell_noise: Voltage | None = None
    filter_lag: Time | None = None
    derates: DeratingVoltages = None


class CurrentProtection(Protection):
    """Trip in A. A current protection comes back by time or by hand, so it has no release value."""

    dimension: ClassVar[str] = "current"
    trip: PositiveCurrent = Field(default=None)
    tolerance: PositiveCurrent | None = None
    between: tuple[PositiveCurrent, PositiveCurrent] | None = None
    release: None = None
    release_tolerance: None = None


class Protections(Sheet):
    """The protections this program knows; the field names are the kinds."""

    charge_over_temperature: TemperatureProtection | None = None
    charge_under_temperature: TemperatureProtection | None = None
    discharge_over_temperature: TemperatureProtection | None = None
    discharge_under_temperature: TemperatureProtection | None = None
    over_voltage: VoltageProtection | None = None
    under_voltage: VoltageProtection | None = None
    charge_over_current: CurrentProtection | None = None
    discharge_over_current: CurrentProtection | None = None

    @model_validator(mode="after")
    def _delays(self) -> Self:
        for kind in type(self).model_fields:
            if (protection := getattr(self, kind)) is not None:
                protection.assume_delay(kind)
        return self


KINDS: dict[str, str] = {
    name: ("temperature" if "temperature" in name else "voltage" if "voltage" in name else "current")
    for name in Protections.model_fields
}


def protection_name(kind: str) -> str:
    """A protection as people read it: charge over-temperature."""
    return kind.replace("over_", "over-").replace("under_", "under-").replace("_", " ")
