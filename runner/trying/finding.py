"""What answers here: USB, GPIB and serial ports; a range of network addresses only when it was asked for.

Rule 1: what is wrong with the file to write and with the range is said before anything is looked for.
Rule 2: nothing is broadcast, and nothing is sent to a serial port: nobody knows what a byte does to what hangs on it.
"""

from __future__ import annotations

import importlib.util
import ipaddress
import itertools
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from runner.bench.link import Link
from runner.bench.transports.choose import Wiring
from runner.errors import BenchError, Problem, RecordError, SheetError
from runner.vocabulary import Exit

MOST_HOSTS = 256
KNOCK = 0.4  # s
PORTS = {5025: "TCPIP::{host}::5025::SOCKET", 4880: "TCPIP::{host}::hislip0::INSTR", 502: "MODBUS::{host}::502"}
SERIAL = ("/dev/serial/by-id/*", "/dev/ttyUSB*", "/dev/ttyACM*", "/dev/tty.usb*")
HEAD = """\
# Made by tripwitness bench --find. Give each instrument its role: take one block a role out of the comments, complete it, take
# away the {{}} behind instruments:, and check the file with: tripwitness check {name}
# A supply and a load need limits: {{voltage: 30 V, current: 5 A}}, a probe accuracy: {{limit: 0.3 K}} and coupling: 0.1 K.
kind: bench
name: my bench
instruments: {{}}
"""
BLOCK = """\
#  supply:            # or load, probe, meter, actuator
#    address: "{address}"
#    # {said}
"""


def find(network: str, write_to: Path | None) -> int:
    """Print what was found, and write a bench file of it where one is wanted; the exit status. Raises SheetError, RecordError."""
    hosts, problems = _hosts(network)
    if problems := [*problems, *([] if write_to is None else _cannot_be_made(write_to))]:
        raise SheetError(problems)
    found = [*_usb_and_gpib(), *_serial(), *_on_network(hosts)]
    for address, said in found:
        print(f"{address}\n         {said}")
    if not found:
        print("nothing found; a network is looked through only when asked: --network 192.0.2.0/28")
    for name, extra in (("serial", "serial"), ("usb", "usb")):
        if importlib.util.find_spec(name) is None:
            print(f"not looked for: {extra} (pip install 'tripwitness[{extra}]')")
    if write_to is not None:
        _write(write_to, found)
        print(f"{write_to}: written")
    return Exit.PASS


def _write(path: Path, found: list[tuple[str, str]]) -> None:
    text = HEAD.format(name=path.name) + "".join(BLOCK.format(address=address, said=said) for address, said in found)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error


def _usb_and_gpib() -> Iterator[tuple[str, str]]:
    """Without the library's own list, which broadcasts on every network that the computer is on."""
    import pyvisa
    from pyvisa import constants

    pyvisa.ResourceManager("@py")
    from pyvisa_py.sessions import Session

    wanted = (constants.InterfaceType.usb, constants.InterfaceType.gpib)
    for (kind, _), session in Session.iter_valid_session_classes():
        if kind in wanted:
            for address in _listed(session):
                yield address, _identity(address)


def _listed(session: Any) -> list[str]:
    try:
        return list(session.list_resources())
    except (OSError, ValueError, AttributeError):  # no driver, no permission
        return []


def _serial() -> Iterator[tuple[str, str]]:
    """Serial ports, with what the system says of them."""
    seen = set()
    if importlib.util.find_spec("serial") is not None:
        from serial.tools import list_ports

        for port in list_ports.comports():
            seen.add(Path(port.device).resolve())
            yield (
                f"ASRL{port.device}::INSTR",
                f"serial port: {port.description}; add serial: with baud rate and line ends",
            )
    for pattern in SERIAL:
        for path in sorted(Path("/").glob(pattern[1:])):
            if path.resolve() not in seen:
                seen.add(path.resolve())
                yield f"ASRL{path}::INSTR", "serial port; add serial: with baud rate and line ends"


def _cannot_be_made(path: Path) -> Iterator[Problem]:
    """Why a bench file cannot be made here."""
    if path.exists():
        yield Problem(str(path), 0, 0, "is there already, and is not written over", "give another name")
    elif not path.absolute().parent.is_dir():
        yield Problem(str(path), 0, 0, f"there is no folder {path.parent}", "make it, or give another name")


def _hosts(network: str) -> tuple[list[str], list[Problem]]:
    """The addresses of a range, and what is wrong with it."""
    if not network:
        return [], []
    try:
        asked = ipaddress.ip_network(network, strict=False)
        hosts = [
            str(host) for host in itertools.islice(asked.hosts(), MOST_HOSTS + 1)
        ]  # a wide range is never written out
    except ValueError as error:
        return [], [Problem("--network", 0, 0, str(error), "write for example 192.0.2.0/28")]
    if len(hosts) > MOST_HOSTS:
        what = f"{network} has more than {MOST_HOSTS} addresses"
        return [], [Problem("--network", 0, 0, what, "give a smaller range")]
    return hosts, []


def _on_network(hosts: list[str]) -> Iterator[tuple[str, str]]:
    places = [(host, port) for host in hosts for port in PORTS]
    with ThreadPoolExecutor(32) as threads:
        answers = list(threads.map(lambda place: _knocked(*place), places))
    for (host, port), there in zip(places, answers, strict=True):
        if there:
            address = PORTS[port].format(host=host)
            said = "Modbus; add unit: and a dialect with its registers" if port == 502 else _identity(address)
            yield address, said


def _knocked(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), KNOCK):
            return True
    except OSError:
        return False


def _identity(address: str) -> str:
    wired = Wiring(address)
    link = Link(wired.transport, address, "instrument", timeout=1.0, identify="*IDN?")
    try:
        return link.ask("*IDN?")[0]
    except BenchError as fault:
        return f"does not say who it is: {fault.what}"
    finally:
        link.close()
