"""A person with nothing on a cable, by keys in a terminal: all they know stands on its screen."""

import re
import time

from textual.renderables.digits import DIGITS, DIGITS3X3_BOLD

LATE = 0.35  # K: a mark that came later belongs to no degree
LEAD = 1.0  # K: where the approach ends the thermometer races, and a finger that waits for the number comes late
GONE = 0.1  # of what flowed: less is none on a clamp
CURRENT = "marked the current"
APPEARS = 0.3  # s: a key that comes sooner after its question than a hand can is not taken
EMPTY = ("A", "V", "°C", "Ah", "Wh", "type the word or its number")  # what stands in a field in which nothing was typed
DRAWN = 0.15  # s: until the screen shows the last of several keys
LONGEST_ANSWER = 12
MARK = "Enter: at that moment"
GLYPHS = {
    tuple(DIGITS3X3_BOLD[3 * n + row].ljust(3) for row in range(3)): digit
    for n, digit in enumerate(DIGITS)
    if digit in " 0123456789-"
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
    number = re.match(r"(-?\d+\.\d+)( |$)", text)
    return None if number is None else float(number[1])


def asked(screen):
    """What stands above the readings, less the seconds that are counted down in it."""
    return re.sub(r"\d:\d\d", "", screen.split("probe / °C")[0])


def field(screen):
    """What stands in the field for an answer, which is the last line above the readings, or None."""
    lines = asked(screen).rstrip().splitlines()
    return lines[-1].strip() if lines else None


class Person:
    """Reads the screen, heats and marks as it says, types what its displays show, confirms every switch."""

    def __init__(self, terminal):
        self.terminal, self.did = terminal, []
        self.marks = 0  # since this ramp began
        self._flowed = 0.0  # A that the clamp has shown since something was switched on

    def does(self, what, *keys):
        self.did.append(what)
        self.terminal.press(*keys)

    def looks(self):
        """One look at the screen, and what it asks for; True once the run has ended."""
        screen = self.terminal.screen
        words = " ".join(screen.split())
        if "The run has ended. Enter:" in words:
            return True
        shown = re.search(r"simulated display shows ([−-]?[\d.]+)", words)
        if "c Current gone or back" in words and shown is None:
            self.ramps(screen, big(screen, "probe / °C"), big(screen, "current / A"))
        elif (shown is not None and "Type a number in" in words) or "Type the number or the word" in words:
            self.types("1" if shown is None else shown[1].replace("−", "-"), field(screen))
        elif "HOLD POINT" in words:
            time.sleep(APPEARS)
            self.gives("went on", screen)
        elif MARK in words and self.is_the_moment(words, screen):
            time.sleep(0.0 if "Watch" in words else APPEARS)
            self.gives(words[: words.index(MARK)].split(" ▀")[-1], screen)
        else:
            time.sleep(0.1)
        return False

    def types(self, answer, typed):
        """An answer: typed, looked at, given; what else stands in the field is taken away first."""
        screen = self.terminal.screen
        if typed == answer:
            self.gives(f"gave {answer}", screen)
        elif typed in EMPTY:
            self.gives(f"typed {answer}", screen, *answer)
        elif typed is not None and len(typed) < 2 * LONGEST_ANSWER:
            self.gives(f"took back {typed}", screen, *["BSpace"] * len(typed))

    def gives(self, what, screen, *keys):
        """Keys (Enter if none is named), and a wait until the screen shows something else."""
        self.does(what, *(keys or ("Enter",)))
        deadline = time.monotonic() + 1.5
        while asked(self.terminal.screen) == asked(screen) and time.monotonic() < deadline:
            time.sleep(0.03)
        time.sleep(DRAWN if len(keys) > 1 else 0.0)

    def is_the_moment(self, words, screen):
        """What is switched is switched now; what is watched is waited for."""
        amps, volts = big(screen, "current / A"), big(screen, "pack terminals / V")
        if "Watch the load" in words:
            self._flowed = max(self._flowed, abs(amps or 0.0))
            return amps is not None and abs(amps) < GONE * self._flowed
        if "Watch the voltmeter" in words:
            return volts is not None and volts > 5.0
        self._flowed = 0.0
        return True

    def ramps(self, screen, degrees, amps):
        """Mark each whole degree as the thermometer passes it, and the moment at which the clamp shows the change."""
        words = " ".join(asked(screen).split())
        said = re.search(r"Enter: as it shows ([−-]?\d+) °C", words)
        sought = re.search(r"the current is (gone|back)\.", words)
        if said is None or sought is None or degrees is None or amps is None:
            return
        lead = LEAD if self.marks == 0 else 0.0
        beyond = lead + (degrees - float(said[1].replace("−", "-"))) * (-1 if "Cool T1" in words else 1)
        if (amps < 1.0) == (sought[1] == "gone"):
            self.gives(CURRENT, screen, "c")
            self.marks = 0
        elif beyond >= 0:
            missed = self.marks == 1 or (self.marks > 1 and beyond >= LATE)
            self.gives(f"{said[1]} was missed" if missed else f"marked {said[1]}", screen, "m" if missed else "Enter")
            self.marks += 1
        else:
            time.sleep(0.03)
