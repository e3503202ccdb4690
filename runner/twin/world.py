"""The simulated bench as one piece: time passes when somebody looks, and everything is where it has to be by then."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable

from runner.twin.hands import LOOK_EVERY, Hands
from runner.twin.pack import Pack
from runner.twin.parameters import Truth
from runner.twin.thermal import Spot, follow

LONGEST_STEP = 0.1  # s


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
        self.switched: list[dict[str, object]] = []
        self._next_glance = self.t

    # ---- what goes wrong -------------------------------------------------------------------------------------

    def faulty(self, what: str) -> bool:
        """Whether a scripted fault is on now."""
        since = self.t - self.began
        return any(fault.what == what and fault.at <= since < fault.at + fault.lasts for fault in self.truth.faults)

    # ---- time ------------------------------------------------------------------------------------------------

    def catch_up(self) -> None:
        """Let everything happen that belongs before the clock's now."""
        until = self.now()
        while self.t < until - 1e-9:
            step_end = min(
                until,
                self.t + LONGEST_STEP,
                max(self.pack.system.next_look, self.t + 1e-6),
                max(self._next_glance, self.t + 1e-6),
            )
            self._pass(step_end - self.t)
            self.t = step_end
            if self.t >= self._next_glance - 1e-9:
                self.hands.look(self.t, self.displayed())
                self._next_glance += LOOK_EVERY
            if self.pack.system.next_look <= self.t + 1e-9:
                highest, lowest = self.pack.extremes(self.current)
                sensors = {name: spot.sensor for name, spot in self.spots.items()}
                self.pack.system.look(self.t, sensors, highest, lowest, self.current)
                self._settle(0.0)

    def _pass(self, dt: float) -> None:
        self._settle(dt)
        self.pack.flow(self.current, dt)
        here = self.spots.get(self.hands.sensor)
        before = here.spot if here else self.truth.bench.ambient
        for name, spot in self.spots.items():
            spot.pass_time(self.hands.drive if name == self.hands.sensor else 0.0, dt)
        self.probe = follow(self.probe, before, here.spot if here else before, self.truth.bench.probe.lag, dt)

    def _settle(self, dt: float) -> None:
        """The current as supply, load, pack and leads make it."""
        charging = 0.0
        if self.supply_on and not self.pack.system.charge_open and not self.faulty("lead off"):
            source = self.pack.rest_voltage()
            path = self.truth.pack.resistance + self.truth.bench.lead_resistance
            charging = max(0.0, min(self.supply_current, (self.supply_voltage - source) / path))
        drawing = self.load_current if self.load_on and not self.pack.system.discharge_open else 0.0
        target = charging - drawing
        rise = self.truth.bench.slew * dt
        self.current = min(target, self.current + rise) if target > self.current else target

    # ---- what instruments see --------------------------------------------------------------------------------

    def displayed(self) -> float:
        """What the thermometer shows, without its noise: °C."""
        probe = self.truth.bench.probe
        return self.probe + probe.calibration_error + probe.coupling_error

    def terminal_voltage(self) -> float:
        """V at the pack's own terminals."""
        if (
            self.supply_on
            and (self.pack.system.charge_open or self.current < 1e-6)
            and not self.load_on
            and not self.faulty("lead off")
        ):
            return max(self.supply_voltage, self.pack.rest_voltage())
        return self.pack.rest_voltage() + self.current * self.truth.pack.resistance

    def output_voltage(self) -> float:
        """V at the supply's terminals."""
        if not self.supply_on:
            return self.terminal_voltage() if not self.faulty("lead off") else 0.0
        if self.current < 1e-6:
            return self.supply_voltage
        return self.terminal_voltage() + self.current * self.truth.bench.lead_resistance

    def regulation(self) -> str:
        """CC, CV or off."""
        if not self.supply_on:
            return "off"
        return "CC" if self.current >= self.supply_current - 1e-6 > 0 else "CV"

    def switch_supply(self, on: bool) -> None:
        """The output relay; every change is remembered for the truth."""
        if on != self.supply_on:
            self.switched.append({"t": self.t - self.began, "what": "supply", "on": on})
        self.supply_on = on
        if not on:
            self._settle(0.0)

    def switch_load(self, on: bool) -> None:
        """The load's input."""
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
                "switched": self.switched,
                "supply_on": self.supply_on,
                "load_on": self.load_on,
                "charge_moved_As": self.pack.moved,
                "until": self.t - self.began,
            }
