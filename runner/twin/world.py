"""The simulated bench as one piece: time passes when somebody looks, and everything is where it has to be by then."""

from __future__ import annotations

import math
import random
import threading
from collections.abc import Callable

from runner.twin.aperture import Mean
from runner.twin.hands import LOOK_EVERY, Hands
from runner.twin.pack import Pack
from runner.twin.parameters import Truth
from runner.twin.path import ChargePath
from runner.twin.thermal import Spot, follow

LONGEST_STEP = 0.1  # s
REFRESH = 0.4  # s: how often a display shows something new
LEFT_OVER = 0.3  # V at the terminals of a pack whose discharge path is open


class World:
    """Pack, room, supply output, load and hands. ``now`` is the clock everybody shares; all methods hold ``lock``."""

    def __init__(self, truth: Truth, now: Callable[[], float]) -> None:
        self.truth, self.now = truth, now
        self.lock = threading.RLock()
        self.t = now()
        self.began = self.t
        dice = random.Random(f"world {truth.seed}")
        bench = truth.bench
        self.pack = Pack(truth.pack, dice)
        self.spots = {name: Spot(bench.ambient, lag, bench.loss_time) for name, lag in truth.pack.sensors.items()}
        self.hands = Hands(bench.ambient, bench.loss_time, bench.wobble, dice)
        self.hands.sensor = next(iter(self.spots), "")
        self.probe = bench.ambient
        self.supply_on = False
        self.supply_voltage = self.supply_current = 0.0
        self.load_on = False
        self.load_current = 0.0
        self.current = 0.0
        self._path, self.blocked = (
            ChargePath(truth.pack.path),
            False,
        )  # whether the pack lets less through than would flow
        self._means = (Mean(), Mean())  # of the voltage and the current of the supply,
        self._load_means, self._meter_mean = (Mean(), Mean()), Mean()  # and of load and voltmeter
        self.last_loaded, self._refreshed = 0.0, -1e9  # V that a display showed last while the load drew
        self.charge_total = 0.0  # A·s drawn since the beginning
        self.counted = (0.0, 0.0)  # A·s and J on the display of the counter in the line
        self.charge_out = self.energy_out = 0.0  # A·s and J drawn from the terminals
        self.switched: list[dict[str, object]] = []
        self.boxed: dict[str, float] = {}
        self.box_steps: list[dict[str, object]] = []  # what the box in a sensor's place was set to, in °C
        self._next_glance = self.t

    # ---- what goes wrong -------------------------------------------------------------------------------------

    def faulty(self, what: str) -> bool:
        """Whether a scripted fault is on now."""
        if not self.truth.faults:
            return False
        since = self.t - self.began
        return any(fault.what == what and fault.at <= since < fault.at + fault.lasts for fault in self.truth.faults)

    # ---- time ------------------------------------------------------------------------------------------------

    def catch_up(self) -> None:
        """Let everything happen that belongs before the clock's now."""
        until, system = self.now(), self.pack.system
        last = until - 1e-9
        while self.t < last:
            due = system.next_look if system.next_look < self._next_glance else self._next_glance
            step_end = min(until, self.t + LONGEST_STEP, max(due, self.t + 1e-6))
            self._pass(step_end - self.t)
            self.t = step_end
            if step_end >= self._next_glance - 1e-9:
                here = self.spots.get(self.hands.sensor)
                self.hands.look(step_end, here.spot if self.hands.is_plate and here else self.displayed())
                self._next_glance += LOOK_EVERY
            if system.next_look <= step_end + 1e-9:
                before = len(system.changes)
                system.look(step_end, self.pack.state(self.current, self.sensed()))
                if len(system.changes) != before:
                    self._settle(0.0)

    def _pass(self, dt: float) -> None:
        self._settle(dt)
        bench = self.truth.bench
        if self.current < 0:
            if self.t - self._refreshed > REFRESH:
                self.last_loaded, self._refreshed = self.terminal_voltage(), self.t
            charge, energy = -self.current * dt, -self.current * self.terminal_voltage() * dt
            self.charge_total += charge
            self.charge_out, self.energy_out = self.charge_out + charge, self.energy_out + energy
            gain, energy_gain = bench.counter_gain_error
            self.counted = (self.counted[0] + charge * gain, self.counted[1] + energy * energy_gain)
        self.pack.flow(self.current, dt)
        if bench.aperture:
            for mean, value in zip(self._means, (self.output_voltage(), max(self.current, 0.0)), strict=True):
                mean.add(self.t + dt, value, dt)
        if bench.load_aperture:
            for mean, value in zip(self._load_means, (self.load_voltage(), max(-self.current, 0.0)), strict=True):
                mean.add(self.t + dt, value, dt)
        if bench.meter_aperture:
            self._meter_mean.add(self.t + dt, self.terminal_voltage(), dt)
        here, drive = self.spots.get(self.hands.sensor), self.hands.drive
        before = here.spot if here else bench.ambient
        for spot in self.spots.values():
            spot.pass_time(drive if spot is here else 0.0, dt)
        self.probe = follow(self.probe, before, here.spot if here else before, bench.probe.lag, dt)

    def _settle(self, dt: float) -> None:
        """The current as supply, load, pack and leads make it."""
        if self.supply_on and self.faulty("supply trips"):
            self.switch_supply(False)
        if self.load_on and self.faulty("load trips"):
            self.switch_load(False)
        self.blocked = False
        if not (self.supply_on or self.load_on):
            self.current = 0.0
            return
        target, bench = 0.0, self.truth.bench
        if self.supply_on and not self.faulty("lead off"):
            path = self.truth.pack.resistance + (0.0 if bench.supply_sense else bench.lead_resistance)
            free = max(0.0, min(self.supply_current, (self.supply_voltage - self.pack.rest_voltage()) / path))
            is_open = self.pack.system.charge_open
            limit = self._path.limit(self.t, self.supply_current, self._kelvins(), is_open=is_open)
            self.blocked = limit < free or (is_open and limit == 0.0)
            target = min(free, limit)
        if self.load_on and not (
            self.pack.system.discharge_open or self.faulty("load lead off") or self.faulty("load stops")
        ):
            target -= self.load_current
        before = self.current
        if abs(target) > abs(before) or target * before < 0:
            rise = (bench.slew if target > 0 else bench.load_slew) * dt
            self.current = min(target, before + rise) if target > before else max(target, before - rise)
        else:
            self.current = target

    # ---- what instruments see --------------------------------------------------------------------------------

    def displayed(self) -> float:
        """What the thermometer shows, without its noise: °C."""
        probe = self.truth.bench.probe
        shown = self.probe + probe.calibration_error + probe.coupling_error
        if probe.growth or probe.direction:
            moving = (self.hands.rate > 0) - (self.hands.rate < 0)
            shown += probe.growth * (self.probe - self.truth.bench.ambient) + probe.direction * moving
        return shown

    def sensed(self) -> dict[str, float]:
        """°C that each of the pack's sensors, or the decade box in its place, says."""
        now = {name: spot.sensor for name, spot in self.spots.items()}
        return {**now, **self.boxed} if self.boxed else now

    def terminal_voltage(self) -> float:
        """V at the pack's own terminals; an open discharge path leaves next to nothing there."""
        if self.pack.system.discharge_open and self.current <= 0 and not self.supply_on:
            return LEFT_OVER
        if (
            self.supply_on
            and (self.blocked or self.current < 1e-6)
            and not self.load_on
            and not self.faulty("lead off")
        ):
            return max(self.supply_voltage, self.pack.rest_voltage())
        return self.pack.rest_voltage() + self.current * self.truth.pack.resistance

    def load_voltage(self) -> float:
        """V at the load's terminals."""
        if self.faulty("load lead off"):
            return 0.0
        leads = 0.0 if self.truth.bench.load_sense else self.truth.bench.load_lead_resistance
        return self.terminal_voltage() + min(self.current, 0.0) * leads

    def output_voltage(self) -> float:
        """V at the supply's terminals."""
        if not self.supply_on:
            return self.terminal_voltage() if not self.faulty("lead off") else 0.0
        if self.current < 1e-6 or self.blocked:
            return self.supply_voltage
        leads = 0.0 if self.truth.bench.supply_sense else self.truth.bench.lead_resistance
        return self.terminal_voltage() + self.current * leads

    def supply_reads(self) -> tuple[float, float]:
        """V and A as the supply's own meters have them, without their errors: now, or the means of their aperture."""
        now = self.output_voltage(), max(self.current, 0.0)
        means = [mean.over(self.truth.bench.aperture) for mean in self._means]
        return now if None in means else (means[0] or 0.0, means[1] or 0.0)

    def load_reads(self) -> tuple[float, float]:
        """The same of the load's meters."""
        now = self.load_voltage(), max(-self.current, 0.0)
        means = [mean.over(self.truth.bench.load_aperture) for mean in self._load_means]
        return now if None in means else (means[0] or 0.0, means[1] or 0.0)

    def meter_reads(self) -> float:
        """The same of the voltmeter on the pack's terminals."""
        mean = self._meter_mean.over(self.truth.bench.meter_aperture)
        return self.terminal_voltage() if mean is None else mean

    def _kelvins(self) -> float:
        """How far the nearest sensor is from the trip of charge over-temperature, in K."""
        if not (self.truth.pack.path.derates or self.truth.pack.path.slope):
            return math.inf
        trips = [truth for truth in self.truth.pack.protections if truth.kind == "charge_over_temperature"]
        sensed = self.sensed()
        return min(
            (t.trip + offset - sensed[name] for t in trips for name, offset in t.offsets.items()), default=math.inf
        )

    def regulation(self) -> str:
        """CC, CV or off."""
        if not self.supply_on:
            return "off"
        return "CC" if self.current >= self.supply_current - 1e-6 > 0 else "CV"

    def substitute(self, sensor: str, resistance: float) -> None:
        """A decade box set to a resistance takes a sensor's place, as far as the management system can tell."""
        curve = self.truth.pack.curves.get(sensor)
        if curve is not None and sensor in self.spots:
            before = self.sensed()[sensor]
            self.box_steps.append({"t": self.t - self.began, "sensor": sensor, "from": before, "to": curve(resistance)})
            self.boxed = {sensor: curve(resistance)}  # there is one box: the other sensors are plugged in

    def switch_supply(self, on: bool) -> None:
        """The output relay; every change is remembered for the truth."""
        if on != self.supply_on:
            self.switched.append({"t": self.t - self.began, "what": "supply", "on": on})
        self.supply_on = on
        if not on:
            self._settle(0.0)

    def switch_load(self, on: bool) -> None:
        """The load's input."""
        if on and not self.load_on:
            self.charge_out = self.energy_out = 0.0  # the last discharge is what a finding is about
        if on != self.load_on:
            self.switched.append({"t": self.t - self.began, "what": "load", "on": on})
        self.load_on = on
        self._settle(0.0)

    def report(self) -> dict[str, object]:
        """What really happened and when, in SI and °C, times since the beginning."""
        with self.lock:
            pack, probe = self.truth.pack, self.truth.bench.probe
            thresholds = {
                truth.kind: {
                    name: {"trip": truth.trip + offset, "release": truth.release + truth.release_offsets[name]}
                    for name, offset in truth.offsets.items()
                }
                for truth in pack.protections
                if truth.offsets
            }
            return {
                "schema": 1,
                "seed": self.truth.seed,
                "scenario": self.truth.scenario,
                "thresholds": thresholds,
                "protections": {
                    truth.kind: {"delay": truth.delay, "polling": truth.polling} for truth in pack.protections
                },
                "sensor_lag_s": pack.sensors,
                "probe_lag_s": probe.lag,
                "probe_error_K": probe.calibration_error,
                "coupling_error_K": probe.coupling_error,
                "changes": [
                    {**change, "t": float(str(change["t"])) - self.began} for change in self.pack.system.changes
                ],
                "looks_in_mean": pack.sensing.looks,
                "box_steps": self.box_steps,
                "switched": self.switched,
                "supply_on": self.supply_on,
                "load_on": self.load_on,
                "trips": {truth.kind: truth.trip for truth in pack.protections if not truth.offsets},
                "capacity_As": pack.capacity,
                "load_leads_Ohm": self.truth.bench.load_lead_resistance,
                "charge_out_As": self.charge_out,
                "energy_out_J": self.energy_out,
                "charge_moved_As": self.pack.moved,
                "until": self.t - self.began,
            }
