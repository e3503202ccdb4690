"""Which transport leads to an address, and all that has to be known to open it. Runner and guard share this file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from runner.bench.framing import Framing
from runner.bench.line import Transport
from runner.bench.transports.modbus import PREFIX, ModbusTransport
from runner.bench.transports.serial_port import Port, SerialTransport
from runner.bench.visa import VisaTransport


@dataclass(frozen=True)
class Wiring:
    """How one instrument is reached; ``timeout`` of an exchange in s. Travels to the guard as JSON."""

    address: str
    backend: str = "@py"
    timeout: float = 1.0
    framing: Framing = field(default_factory=Framing)
    port: Port = field(default_factory=Port)

    @classmethod
    def of(cls, content: Mapping[str, Any]) -> Wiring:
        """Back from its fields."""
        return cls(**{**content, "framing": Framing(**content["framing"]), "port": Port(**content["port"])})

    @property
    def key(self) -> str:
        """The same for all that have to share a connection."""
        return self.address.upper().removesuffix("::INSTR")

    @property
    def is_serial(self) -> bool:
        """Whether it is a serial line through VISA."""
        return self.address.upper().startswith("ASRL")

    @property
    def is_modbus(self) -> bool:
        """Whether it is spoken to in registers."""
        return self.address.upper().startswith(PREFIX)

    def transport(self) -> Transport:
        """A transport for one opening."""
        if self.is_modbus:
            return ModbusTransport(self.address, self.timeout, self.port)
        if self.is_serial:
            return SerialTransport(self.address, self.backend, self.port)
        return VisaTransport(self.address, self.backend, self.timeout)

    def load(self) -> None:
        """Load what the transport needs, so that opening is quick. Raises whatever a library raises."""
        if self.is_modbus:
            import pymodbus.client  # noqa: F401

            return
        VisaTransport(self.address, self.backend, self.timeout).load()
        if self.is_serial and self.backend == "@py":
            import serial  # noqa: F401
