"""The electronic load: set, read back, switch on, measure."""

from __future__ import annotations

from runner.bench.dialect import Driver
from runner.bench.supply import PowerReading, Settings, off_current, read_power
from runner.errors import BenchError
from runner.sheets import instruments as sheets


class Load:
    """Speaks for the load, in constant current. Currents in A."""

    def __init__(self, speaker: Driver, sheet: sheets.LoadSheet) -> None:
        self.speaker, self.sheet, self.settings = speaker, sheet, Settings(speaker, "input", off_current(sheet))

    def set(self, current: float) -> float:
        """Program the current; what reads back. Raises BenchError; then the input is as it was."""
        if current > self.sheet.limits.current:
            raise BenchError(
                f"{current:g} A are asked for, at most {self.sheet.limits.current:g} A are allowed",
                "load",
                "",
                "correct limits in the bench file if load and pack allow it",
            )
        return self.settings.set("current", current, 1.5 * self.sheet.current_accuracy.resolution)

    def on(self) -> None:
        """Input on, and read back as on. Raises BenchError; then it may be on, and has to be switched off."""
        self.settings.before_on()
        self.settings.ordered = True
        self.speaker.switch("input", True)

    def read(self) -> PowerReading:
        """Voltage, current and input. Raises LinkError."""
        return self.settings.checked(lambda: read_power(self.speaker, "input", str))
