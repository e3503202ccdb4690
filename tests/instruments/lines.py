"""The live bench of the tests with its supply on another kind of line: serial, Modbus TCP, Modbus RTU."""

from runner.twin.instruments import devices
from tests.instruments import bench
from tests.instruments.modbus import OverSerial, OverTcp
from tests.processes import LiveBench

SPEAKS = {
    "serial": ("few.yaml", bench.FEW_WORDS, "\n    serial: {write_end: CR, read_end: CR, echo: true}"),
    "modbus": ("registers.yaml", bench.MODBUS_SUPPLY, ""),
}


class OnALine(bench.Asked, LiveBench):
    """``kind``: serial, modbus tcp or modbus rtu."""

    kind = ""

    def __init__(self, folder, speed, seed=1):
        super().__init__(folder, speed, seed)
        self._devices = devices(self.world)
        make = {"serial": bench.few_words, "modbus tcp": self._tcp, "modbus rtu": self._rtu}[self.kind]
        self.supply = make(self)
        name, dialect, said = SPEAKS[self.kind.split()[0]]
        (folder / name).write_text(dialect)
        text = self.bench.read_text()
        begin, end = text.index("  supply:\n"), text.index("  probe:\n")
        lines = [line for line in text[begin:end].splitlines() if "identity:" not in line and "serial:" not in line]
        lines[1] = f"    address: {self.supply.address}\n    dialect: {name}{said}"
        self.bench.write_text(text[:begin] + "\n".join(lines) + "\n" + text[end:])

    @staticmethod
    def _tcp(live):
        return OverTcp(bench.modbus_supply(live))

    @staticmethod
    def _rtu(live):
        return OverSerial(bench.modbus_supply(live))

    def __exit__(self, *error):
        self.supply.close()
        return super().__exit__(*error)


LINES = {
    "": LiveBench,
    **{kind: type("Live", (OnALine,), {"kind": kind}) for kind in ("serial", "modbus tcp", "modbus rtu")},
}
