"""The instruments of a bench file, and the table of roles: all that the program knows of a role without speaking to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Self

from pydantic import model_validator

from runner.events import ACTUATOR_TEMPERATURE, CHARGE, DISCHARGE, METER_VOLTAGE, PROBE_TEMPERATURE, channel_named
from runner.notation.fields import (
    Charge,
    Energy,
    PositiveCurrent,
    PositiveRate,
    PositiveVoltage,
    Ratio,
    Sheet,
    Temperature,
    Time,
)
from runner.notation.source import Path
from runner.notation.wrong import Wrong
from runner.sheets.instrument_parts import (
    CurrentAccuracy,
    InstrumentSheet,
    Leads,
    PowerSheet,
    SupplyLimits,
    TemperatureLimits,
    VoltageAccuracy,
)
from runner.sheets.parts.meters import (
    ITSELF,
    NAME,
    RESERVED,
    TERMINALS,
    FurtherMeter,
    FurtherProbe,
    MeterSheet,
    ProbeSheet,
    Stamp,
)
from runner.vocabulary import Role

# K: an actuator stops at its set point, and the probe may read so much less (common practice, no source)
REACH = 2.0
OWN_LIMITS = 1.2  # of its limits on this bench: what an instrument's own protection is set to at most


class SupplySheet(PowerSheet):
    """The programmable supply that charges the pack.

    ``averages``: over how long each of its readings is the mean, in s; None: found out from the run. ``stamp``: where in that
    time the reading belongs; most instruments give the mean of the time just past.
    """

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()
    averages: Time | None = None
    stamp: Stamp = "end"

    @property
    def bounds(self) -> Mapping[str, tuple[float, float]]:
        most = {"voltage": self.limits.voltage, "current": self.limits.current}
        return {what: (0.0, value) for what, value in most.items()} | {
            f"over{what}": (0.0, OWN_LIMITS * value) for what, value in most.items()
        }

    @model_validator(mode="after")
    def _on_a_cable(self) -> Self:
        if self.by_hand:
            raise Wrong(
                "the supply cannot be read by hand: it must be switched off without a person", "give its address"
            )
        return self


class LoadSheet(PowerSheet):
    """The load that discharges the pack; by hand, one that a person switches, such as a lamp, of about ``draws`` A."""

    limits: SupplyLimits
    voltage_accuracy: VoltageAccuracy = VoltageAccuracy()
    current_accuracy: CurrentAccuracy = CurrentAccuracy()
    averages: Time | None = None
    stamp: Stamp = "end"
    draws: PositiveCurrent | None = None

    @property
    def bounds(self) -> Mapping[str, tuple[float, float]]:
        return {"voltage": (0.0, self.limits.voltage), "current": (0.0, self.limits.current)}

    @model_validator(mode="after")
    def _draws_something(self) -> Self:
        if self.by_hand and self.draws is None:
            raise Wrong("a load that is switched by hand needs draws", "add draws: with the approximate current in A")
        return self


class ActuatorSheet(InstrumentSheet):
    """A chamber, a plate or a heater that goes to a temperature, at a rate, when it is told to.

    Within ``limits``, and no faster than ``fastest``. ``rest``: where it goes when heat and cold are to be taken away; without
    it, it is switched off then. ``places``: which of its outputs is on which sensor, if it has several.
    """

    limits: TemperatureLimits
    fastest: PositiveRate
    rest: Temperature | None = None
    places: dict[str, str] = {}

    @property
    def outputs(self) -> tuple[str, ...]:
        return tuple(self.places.values())

    @property
    def bounds(self) -> Mapping[str, tuple[float, float]]:
        within = (self.limits.lowest, self.limits.highest)
        return {"temperature": within, "limit": within, "rate": (0.0, self.fastest * 60)}

    def cannot_ramp(self, sensor: str, rate: float, end: float, *, heats: bool) -> Iterator[tuple[Path, str, str]]:
        """Why it cannot, where it cannot."""
        limits = self.limits
        if self.places and sensor not in self.places:
            yield ("places",), f"no output is on {sensor or 'the pack'}", f"add {sensor or 'the pack'} with its output"
        if rate > self.fastest * (1 + 1e-9):
            what = f"asks for {rate * 60:.3g} K/min, the actuator can do {self.fastest * 60:.3g} K/min"
            yield ("fastest",), what, "use a procedure with slower ramps"
        key, bound, reach = (
            ("highest", limits.highest, end + REACH) if heats else ("lowest", limits.lowest, end - REACH)
        )
        if not limits.lowest <= reach <= limits.highest:
            what = (
                f"goes to {end:.1f} °C and needs {REACH:g} K beyond that to get there, the limit here is {bound:.1f} °C"
            )
            yield ("limits", key), what, "widen it if that is safe"

    @model_validator(mode="after")
    def _within_its_limits(self) -> Self:
        if self.by_hand:
            raise Wrong("an actuator cannot be by hand", "remove it: without an actuator, a person heats and cools")
        if self.rest is not None and not self.limits.lowest <= self.rest <= self.limits.highest:
            raise Wrong("rest is outside the limits", "correct one of them")
        return self


class OnlyByHand(InstrumentSheet):
    """An instrument that a person reads or sets."""

    @model_validator(mode="after")
    def _without_a_cable(self) -> Self:
        if not self.by_hand:
            raise Wrong("this is read or set by hand here", "write by_hand: true in place of its address")
        return self


class ChargerSheet(OnlyByHand):
    """A charger that a person switches. It gives ``current`` up to ``voltage`` and may taper there; neither can be set."""

    voltage: PositiveVoltage
    current: PositiveCurrent


class ClampSheet(OnlyByHand):
    """A clamp meter on the lead between the pack and what charges or loads it. ``refresh``: s from one reading to the next."""

    current_accuracy: CurrentAccuracy = CurrentAccuracy()
    refresh: Time = 0.4


class CounterSheet(OnlyByHand):
    """A meter in the line that adds up charge and energy and shows the totals. ``gain``: ± limits, as a ratio.

    ``leads``: what lies between it and the pack's terminals; where nobody says, what bench leads may have.
    """

    charge_gain: Ratio = 0.0
    energy_gain: Ratio = 0.0
    charge_resolution: Charge = 0.0
    energy_resolution: Energy = 0.0
    leads: Leads | None = None


class DisplaySheet(OnlyByHand):
    """What the pack itself shows, on a phone or a panel: its temperature, its lowest cell, its alarms."""


class BoxSheet(OnlyByHand):
    """A decade box that stands in for a sensor. ``accuracy``: ± limits of its resistance, as a ratio."""

    accuracy: Ratio


class Instruments(Sheet):
    """One instrument a role. A role that is missing is a role this bench has not got.

    ``probes`` and ``meters`` are further ones, each with a name of its own.
    """

    supply: SupplySheet | None = None
    probe: ProbeSheet | None = None
    meter: MeterSheet | None = None
    load: LoadSheet | None = None
    charger: ChargerSheet | None = None
    clamp: ClampSheet | None = None
    counter: CounterSheet | None = None
    display: DisplaySheet | None = None
    box: BoxSheet | None = None
    actuator: ActuatorSheet | None = None
    probes: dict[NAME, FurtherProbe] = {}
    meters: dict[NAME, FurtherMeter] = {}

    @model_validator(mode="after")
    def _one_name_and_one_reference_each(self) -> Self:
        names = [*self.probes, *self.meters]
        for name in names:
            if name in RESERVED or names.count(name) > 1:
                raise Wrong(f"{name!r} cannot be the name of a further instrument here", "give each a name of its own")
        held = [sensor for probe in self.probes.values() for sensor in probe.sensors]
        beside = [sensor for probe in self.probes.values() for sensor in probe.beside]
        for sensors, what in ((held, "the reference of"), (beside, "the second one at")):
            if twice := next((sensor for sensor in sensors if sensors.count(sensor) > 1), ""):
                raise Wrong(f"two probes are {what} {twice}", "leave it to one of them")
        for probe in (self.probe, *self.probes.values()):
            self._has_its_terminals(probe)
        if (held or beside) and (self.probe is None or self.probe.by_hand):
            remedy = f"add probe:, or remove {'sensors' if held else 'beside'}"
            raise Wrong("further probes are references beside a first one that has an address", remedy)
        return self

    def _has_its_terminals(self, probe: ProbeSheet | None) -> None:
        name = probe.terminals_from if probe is not None else ""
        if name and name != ITSELF and (name not in self.probes or self.probes[name].reads == "voltage"):
            raise Wrong(
                f"terminals_from: {name} is no further probe that reads by itself", "name one of probes:, or itself"
            )

    def further(self, role: str) -> Mapping[str, InstrumentSheet]:
        """Those of a role beside the first one, by name."""
        if role == Role.PROBE:
            return self.probes
        return self.meters if role == Role.METER else {}

    @property
    def references(self) -> dict[str, FurtherProbe]:
        """The further probes that are the reference of a sensor, by the sensor."""
        return {sensor: probe for probe in self.probes.values() for sensor in probe.sensors}

    @property
    def seconds(self) -> dict[str, str]:
        """The name of the further probe that is the second one at a sensor, by the sensor."""
        return {sensor: name for name, probe in self.probes.items() for sensor in probe.beside}


def key_of(role: str, name: str) -> str:
    """How an instrument is called beside all others: its role, and of a further one its name."""
    return f"{role} {name}" if name else role


def role_of(key: str) -> Role:
    """The role of an instrument that is called so."""
    return Role(key.partition(" ")[0])


def place_of(key: str) -> Path:
    """Where it stands in a bench file."""
    role, _, name = key.partition(" ")
    return ("instruments", f"{role}s", name) if name else ("instruments", role)


def facts_of(key: str) -> RoleFacts:
    """What the program knows of it."""
    return ROLE_FACTS[role_of(key)]


def reads_into(key: str, channel: str) -> str:
    """The channel that its reading goes into; ``channel`` is that of the first one of its role."""
    name = key.partition(" ")[2]
    return channel_named(channel, name) if name else channel


@dataclass(frozen=True)
class RoleFacts:
    """What the program knows of a role.

    A dialect has to have its ``commands`` and ``queries``, at least one of its ``choices``, and may have what is ``optional``
    (commands) and the ``optional_queries``, without which something is done by hand or cannot be read back.
    ``polled`` are the queries that are asked slowly during a run, each with its channel; ``path`` is the path through the pack
    whose current and voltage it reads, polled fast. ``off``: the command that switches it off and the query that shows it; with
    ``carries`` what is switched is the pack's current. ``heats``: it heats and cools when it is told to.
    """

    sheet: type[InstrumentSheet]
    commands: tuple[str, ...] = ()
    queries: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    optional_queries: tuple[str, ...] = ()
    polled: tuple[tuple[str, str], ...] = ()
    path: str = ""
    off: tuple[str, str] | None = None
    carries: bool = False
    heats: bool = False


# in the order in which a bench file and every list of instruments has them
ROLE_FACTS: Mapping[Role, RoleFacts] = {
    Role.SUPPLY: RoleFacts(
        SupplySheet,
        commands=("set_voltage", "set_current", "output_on", "output_off"),
        queries=("voltage", "current"),
        optional=("set_overvoltage", "set_overcurrent"),
        optional_queries=(
            "voltage_setting",
            "current_setting",
            "overvoltage_setting",
            "overcurrent_setting",
            "output",
        ),
        path=CHARGE,
        off=("output_off", "output"),
        carries=True,
    ),
    Role.PROBE: RoleFacts(
        ProbeSheet,
        choices=("temperature", "resistance", "voltage"),
        optional_queries=(TERMINALS,),
        polled=(("temperature", PROBE_TEMPERATURE),),
    ),
    Role.METER: RoleFacts(MeterSheet, queries=("voltage",), polled=(("voltage", METER_VOLTAGE),)),
    Role.LOAD: RoleFacts(
        LoadSheet,
        commands=("set_current", "input_on", "input_off"),
        queries=("voltage", "current"),
        optional_queries=("current_setting", "input"),
        path=DISCHARGE,
        off=("input_off", "input"),
        carries=True,
    ),
    Role.CHARGER: RoleFacts(ChargerSheet),
    Role.CLAMP: RoleFacts(ClampSheet),
    Role.COUNTER: RoleFacts(CounterSheet),
    Role.DISPLAY: RoleFacts(DisplaySheet),
    Role.BOX: RoleFacts(BoxSheet),
    Role.ACTUATOR: RoleFacts(
        ActuatorSheet,
        commands=("set_temperature", "set_rate", "set_limit", "output_on", "output_off"),
        queries=("temperature_setting", "rate_setting", "limit_setting", "output", "temperature"),
        optional=("select",),
        polled=(("temperature", ACTUATOR_TEMPERATURE),),
        off=("output_off", "output"),
        heats=True,
    ),
}
ROLES = tuple(role.value for role in ROLE_FACTS)
UNITS = {"voltage": "V", "current": "A", "temperature": "°C", "resistance": "Ω"}  # of what a query of that name gives
# those that may have an address: there are words to speak to them
ON_A_CABLE = tuple(role.value for role, facts in ROLE_FACTS.items() if facts.queries or facts.choices)
