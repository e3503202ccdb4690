"""The whole job of a person with nothing on a cable, by keys in a terminal: all they know stands on its screen."""

import json
import re
import time

from textual.renderables.digits import DIGITS, DIGITS3X3_BOLD

from runner.rehearsal.truth import truth_of
from tests.terminals import NEEDS_TMUX, Terminal

pytestmark = NEEDS_TMUX

RAMPS = """\
kind: procedure
name: by-hand
title: One ramp by hand
purpose: to be quick
protection: charge over-temperature
needs: [supply, probe]
cautions: [Be careful.]
ceilings: {temperature: trip + 12 K, voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - confirm: {say: Ready?}
  - charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}
  - repeat:
      each: sensor
      steps:
        - heat: {say: "Heat {sensor}.", rate: 2 K/min, approach: trip - 6 K, give_up: trip + 8 K}
  - off
findings: [trip]
"""
SPEED = 40  # 2 K/min are a degree in 0.75 s: time enough to see it and press
LATE = 0.35  # K: a mark that came later belongs to no degree
CURRENT = "marked the current"
DRAWN = 0.15  # s: until the screen shows what follows a key
APPEARS = 0.3  # s: a key that comes sooner after its question than a hand can is not taken
GLYPHS = {
    tuple(DIGITS3X3_BOLD[3 * n + row].ljust(3) for row in range(3)): digit for n, digit in enumerate(DIGITS) if n < 11
}


def big(screen, label):
    """The number in big digits below a label, or None."""
    lines = screen.splitlines()
    top = next((n for n, line in enumerate(lines) if label in line), None)
    if top is None or top + 3 >= len(lines):
        return None
    at, text = lines[top].index(label), ""
    rows = [line.ljust(80)[at : at + 20] for line in lines[top + 1 : top + 4]]
    while rows[0]:
        point = rows[2].startswith("•")
        text += "." if point else GLYPHS.get(tuple(row[:3] for row in rows), " ")
        rows = [row[1 if point else 3 :] for row in rows]
    return float(text.split()[0]) if re.match(r"\d+\.\d+( |$)", text) else None


class Person:
    """Reads the screen, heats and marks as it says, types what its displays show, confirms every switch."""

    def __init__(self, terminal):
        self.terminal, self.did = terminal, []
        self.marks, self.late = 0, False  # marks since this ramp began; one of the later ones was missed

    def does(self, what, *keys):
        self.did.append(what)
        self.terminal.press(*keys)

    def looks(self):
        """One look at the screen, and what it asks for; True once the run has ended."""
        screen = self.terminal.screen
        words = " ".join(screen.split())
        shown = re.search(r"simulated display shows ([\d.]+)", words)
        if "The run has ended. Enter:" in words:
            return True
        if shown is not None and re.search(r"^ (A|V|°C)\s*$", screen, re.MULTILINE):
            self.does(f"typed {shown[1]}", *shown[1])
        elif shown is not None:
            self.does("read", "Enter")
        elif "HOLD POINT" in words:
            self.does("went on", "Enter")
        elif "Enter: at that moment" in words:
            self.does(words[: words.index("Enter: at that moment")].split(" ▀")[-1], "Enter")
        elif "c Current gone or back" in words:
            self.ramps(words, big(screen, "probe / °C"), big(screen, "current / A"))
            return False
        else:
            time.sleep(0.1)
            return False
        time.sleep(APPEARS)
        return False

    def ramps(self, words, degrees, amps):
        """Mark each whole degree as the thermometer passes it, and the moment at which the clamp shows the change."""
        said = re.search(r"Enter: as it shows (\d+) °C", words)
        if said is None or degrees is None or amps is None:
            return
        beyond = degrees - float(said[1])
        if amps < 1.0:
            self.does(CURRENT, "c")
            self.marks = 0
            time.sleep(APPEARS)
        elif beyond >= 0:
            # the first comes late, in the fast approach
            missed = self.marks == 1 or (self.marks > 1 and beyond >= LATE)
            self.late |= missed and self.marks > 1
            self.does(f"{said[1]} was missed" if missed else f"marked {said[1]}", "m" if missed else "Enter")
            self.marks += 1
            time.sleep(DRAWN)
        else:
            time.sleep(0.03)


def test_a_person_with_nothing_on_a_cable_gets_to_a_certificate_by_keys(tmp_path):
    (tmp_path / "ramps.yaml").write_text(RAMPS)
    terminal = Terminal(tmp_path)
    try:
        terminal.begin(f"rehearse ramps.yaml --nothing-wired --sensor T1 --speed {SPEED}")
        person, deadline = Person(terminal), time.monotonic() + 150
        while not person.looks():
            assert time.monotonic() < deadline, (person.did, terminal.screen)
        terminal.press("Enter", "c")
        terminal.shows("certificate.html")
    finally:
        terminal.close()
    (run,) = tmp_path.glob("runs/*")
    assert (run / "certificate.html").stat().st_size > 10_000
    lines = [json.loads(line) for line in (run / "events.jsonl").read_text().splitlines()]
    (end,) = (each for each in lines if each.get("order") == "End")
    assert (end["early"], end["safe"]) == (False, True), (end["reason"], person.did[-12:])
    truth = json.loads((run / "truth.json").read_text())
    found = json.loads((run / "findings.json").read_text())["findings"]
    (trip,) = (each for each in found if each["name"] == "trip")
    if trip["value"] is None:  # keys come late on a machine that has much else to do, and such a ramp is not used
        assert "apart, usual here" in trip["reason"], person.did
    else:
        assert abs(trip["value"] - truth_of(trip, truth)) <= 2 * trip["expanded_uncertainty"] <= 2.0, person.did
    assert person.marks == 0
    assert person.did.count(CURRENT) == 1
    switched = [each["on"] for each in truth["switched"]]
    assert switched
    assert not switched[-1]
