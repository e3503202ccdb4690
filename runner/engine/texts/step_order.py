"""What is wrong with the order of a procedure's steps: each returns what, and what to do.

Steps go by their kind, protections by their name, paths and changes by their word in a procedure.
"""

from __future__ import annotations

from runner.vocabulary import Until

A_SENSOR = "a sensor"


def cells_not_compared(kind: str) -> tuple[str, str]:
    """Of a charge beyond full before which nobody looks at the cells."""
    what = f"{kind} goes beyond the full charge voltage, and the cells have not been compared before it"
    return what, "write cells: {say: …, within: 20 mV} before it"


def box_left_in(sensor: str) -> tuple[str, str]:
    """Of a procedure that ends without the sensor plugged back in."""
    what = f"the decade box is left in the place of {sensor or A_SENSOR} at the end"
    return what, "end with confirm: {say: …, box: out}, as the sensor is plugged back in"


def no_steps() -> tuple[str, str]:
    """Of a procedure of which nothing is left on this pack at this bench."""
    return "no step of this procedure applies to this pack and bench", "write steps that apply to it"


def wrong_way(kind: str, until: str, tested: str, wanted: Until) -> tuple[str, str]:
    """Of heat or cold that waits for the change which the other one brings."""
    what = f"{kind} until the current has {until}; in a test of {tested} it must be until {wanted}"
    return what, f"write until: {wanted}"


def everything_off(kind: str) -> tuple[str, str]:
    """Of a step that provokes a protection without a current."""
    what = f"{kind} comes while everything is off, so no current could be seen to stop or return"
    return what, "charge or drain until steady before it"


def on_the_other_path(kind: str, on: str, tested: str, opened: str) -> tuple[str, str]:
    """Of a step that provokes a protection while the path is on that this one does not open."""
    return (
        f"{kind} comes while the {on} is on; {tested} opens the path of the {opened}",
        "switch the other path on before it",
    )


def both_on(kind: str, path: str, on: str) -> tuple[str, str]:
    """Of a step that switches one path on while the other is."""
    return f"{kind} switches the {path} on while the {on} is still on", "write off before it"


def awake_already(on: str) -> tuple[str, str]:
    """Of a wake charge while a path is on."""
    return f"wake comes while the {on} is on; a pack that conducts is awake", "write off before it"


def looked_for_elsewhere(kind: str, path: str, tested: str, opened: str) -> tuple[str, str]:
    """Of a step that looks for a protection on the path which this one does not open."""
    return f"{kind} is on the path of the {path}; {tested} opens that of the {opened}", f"write path: {opened}"


def no_sensor(kind: str) -> tuple[str, str]:
    """Of heat, cold or a decade box at no sensor."""
    return f"{kind} has no sensor, so nothing would be measured", "put it inside repeat: {each: sensor, steps: …}"


def box_not_in(sensor: str) -> tuple[str, str]:
    """Of a decade box that is set before it is plugged in."""
    what = f"the decade box is not in the place of {sensor or A_SENSOR} when it is set"
    return what, "write confirm: {say: …, box: in} for this sensor before it"


def box_still_in(kind: str, sensor: str) -> tuple[str, str]:
    """Of heat or cold while a sensor is unplugged."""
    what = f"{kind} comes while the decade box is in the place of {sensor or A_SENSOR}; the sensor is unplugged then"
    return what, "write confirm: {say: …, box: out} before it"
