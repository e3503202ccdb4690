"""The pack sheet: what the data sheet of the unit under test declares. Nothing here is measured, nothing is invented."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from runner.sheets.curve import Curve
from runner.sheets.fields import (
    PositiveCharge,
    PositiveCurrent,
    PositiveDifference,
    PositiveEnergy,
    PositiveVoltage,
    Ratio,
    Sheet,
    Temperature,
    Time,
)
from runner.sheets.problems import checked
from runner.sheets.source import read

SENSORS = "sensors"  # key of the validation context: the sensor names of the pack


class Sensor(Sheet):
    """A temperature sensor of the pack. ``lag`` is its first-order time constant in still contact, if anybody knows it.

    ``curve`` is needed where a decade box stands in for the sensor.
    """

    name: str
    place: str
    lag: Time | None = None
    lag_uncertainty: Time | None = None
    curve: Curve | None = None


class Protection(Sheet):
    """One declared protection. Trip and release carry the unit of the kind; delay and polling are seconds.

    ``delay`` is how long the condition must hold before the pack acts; ``polling`` how often the pack looks.
    ``tolerance`` is a symmetric half-width about trip and, unless ``release_tolerance`` says otherwise, about release. A
    sheet that declares none is taken at its word: no statement is made, unless the bench file assumes one for it.
    """

    dimension: ClassVar[str]
    trip: Any
    tolerance: Any = None
    between: Any = None
    release: Any = None
    release_tolerance: Any = None
    delay: Time
    delay_tolerance: Time | None = None
    polling: Time = 0.0
    latching: bool = False

    @model_validator(mode="after")
    def _tolerances_fit(self) -> Self:
        if self.tolerance is not None and self.between is not None:
            raise ValueError("tolerance and between are both given; keep one of them")
        if self.between is not None and not self.between[0] <= self.trip <= self.between[1]:
            raise ValueError("trip is not between the two limits; give the lower one first")
        return self

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
    """Trip and release in °C, tolerances in K; every sensor named has to provoke it by itself."""

    dimension: ClassVar[str] = "temperature"
    trip: Temperature
    tolerance: PositiveDifference | None = None
    between: tuple[Temperature, Temperature] | None = None
    release: Temperature | None = None
    release_tolerance: PositiveDifference | None = None
    sensors: tuple[str, ...] = ()

    @field_validator("sensors", mode="before")
    @classmethod
    def _known_sensors(cls, value: object, info: ValidationInfo) -> object:
        known = (info.context or {}).get(SENSORS, ())
        if value == "all":
            return tuple(known)
        unknown = [str(name) for name in value if str(name) not in known] if isinstance(value, list) else []
        if unknown:
            raise ValueError(
                f"{', '.join(unknown)} is not a sensor of this pack; known are {', '.join(known) or 'none'}"
            )
        return value


class VoltageProtection(Protection):
    """Trip and release in V at the pack's terminals."""

    dimension: ClassVar[str] = "voltage"
    trip: PositiveVoltage
    tolerance: PositiveVoltage | None = None
    between: tuple[PositiveVoltage, PositiveVoltage] | None = None
    release: PositiveVoltage | None = None
    release_tolerance: PositiveVoltage | None = None


class CurrentProtection(Protection):
    """Trip in A. A current protection comes back by time or by hand, so it has no release value."""

    dimension: ClassVar[str] = "current"
    trip: PositiveCurrent
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


KINDS: dict[str, str] = {
    name: ("temperature" if "temperature" in name else "voltage" if "voltage" in name else "current")
    for name in Protections.model_fields
}


class PackSheet(Sheet):
    """The unit under test as its data sheet has it. Voltages in V, currents in A, charge in A·s."""

    kind: Literal["pack"]
    name: str
    serial: str
    maker: str = ""
    customer: str = ""
    note: str = ""
    chemistry: str
    cells_in_series: int = Field(ge=1, le=1000)
    nominal_voltage: PositiveVoltage
    full_charge_voltage: PositiveVoltage
    cut_off_voltage: PositiveVoltage
    rated_capacity: PositiveCharge
    minimum_capacity: PositiveCharge | None = None
    rated_energy: PositiveEnergy | None = None
    minimum_energy: PositiveEnergy | None = None
    maximum_charge_current: PositiveCurrent
    maximum_discharge_current: PositiveCurrent | None = None
    state_of_charge_on_arrival: Ratio | None = None
    sensors: tuple[Sensor, ...] = ()
    protections: Protections

    @model_validator(mode="after")
    def _voltages_in_order(self) -> Self:
        if not self.cut_off_voltage < self.nominal_voltage < self.full_charge_voltage:
            raise ValueError(
                "cut_off_voltage, nominal_voltage and full_charge_voltage do not rise in this order; correct them"
            )
        return self

    def protection(self, kind: str) -> Protection | None:
        """The declared protection of a kind, or None."""
        return getattr(self.protections, kind, None)

    def values(self) -> dict[str, float]:
        """The pack's own names for expressions, in SI."""
        found = {name: getattr(self, name) for name in PACK_NAMES}
        return {name: float(value) for name, value in found.items() if value is not None}


PACK_NAMES: Mapping[str, str] = {
    "nominal_voltage": "voltage",
    "full_charge_voltage": "voltage",
    "cut_off_voltage": "voltage",
    "rated_capacity": "charge",
    "minimum_capacity": "charge",
    "maximum_charge_current": "current",
    "maximum_discharge_current": "current",
}


def parse_pack(text: str, file: str) -> PackSheet:
    """A pack sheet from its text. Raises SheetError with all that is wrong."""
    source = read(text, file)
    raw = source.values.get("sensors") if isinstance(source.values, dict) else None
    names = [item.get("name") for item in raw if isinstance(item, dict)] if isinstance(raw, list) else []
    for index, name in enumerate(names):
        if name in names[:index]:
            source.problems.append(
                source.problem(("sensors", index, "name"), f"two sensors are called {name!r}", "rename one")
            )
    return checked(source, PackSheet, {SENSORS: [str(name) for name in names]})
