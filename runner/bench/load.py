"""The electronic load: set, read back, switch on, measure."""

from __future__ import annotations

from runner.bench.dialect import Driver
from runner.bench.supply import PowerReading, read_power
from runner.errors import BenchError, SettingError
from runner.sheets import instruments as sheets


class Load:
    """Speaks for the load, in constant current. Currents in A."""

    def __init__(self, speaker: Driver, sheet: sheets.LoadSheet) -> None:
        self.speaker, self.sheet = speaker, sheet

    def set(self, current: float) -> float:
        """Program the current; what reads back. Raises BenchError; then the input is as it was."""
        if current > self.sheet.limits.current:
            raise BenchError(
                f"{current:g} A are asked for, at most {self.sheet.limits.current:g} A are allowed",
                "load",
                "",
                "correct limits in the bench file if load and pack allow it",
            )
        self.speaker.command("set_current", current)
        got = self.speaker.number("current_setting")
        if abs(got - current) > max(1.5 * self.sheet.current_accuracy.resolution, 1e-3 * current):
            raise SettingError.reads_back("load", "current", current, got)
        return got

    def on(self) -> None:
        """Input on, and read back as on. Raises BenchError; then it may be on, and has to be switched off."""
        self.speaker.command("input_on")
        if not self.speaker.number("input"):
            raise SettingError.reads_back("load", "input", 1, 0)

    def read(self) -> PowerReading:
        """Voltage, current and input. Raises LinkError."""
        return read_power(self.speaker, "input", str)
