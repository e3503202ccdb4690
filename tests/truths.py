"""What the simulated bench says was true, for each finding."""

import math

FAR = 6.0  # K beyond the threshold: the one long step of a box procedure


def truth_of(finding, truth):
    """The true value of a finding, from what the simulated bench wrote down; None where it has none of its own."""
    kind, name, sensor = finding["protection"], finding["name"], finding["sensor"]
    mine = [change for change in truth["changes"] if change["kind"] == kind]
    if sensor is not None and name in ("trip", "release"):
        return truth["thresholds"][kind][sensor][name]
    if sensor is not None and name == "hysteresis":
        return abs(truth["thresholds"][kind][sensor]["trip"] - truth["thresholds"][kind][sensor]["release"])
    if name == "delay":
        return truth["protections"][kind]["delay"] + filtering(kind, sensor, truth)
    if name in ("trip", "release") and kind.endswith("voltage"):
        return [change["stack_V"] for change in mine if change["change"] == name][-1]
    if name == "trip":
        return truth["trips"][kind]
    if name == "capacity":
        return truth["charge_out_As"]
    if name == "energy":
        return truth["energy_out_J"]
    if name == "recovery time":
        trip, back = [change for change in mine if change["change"] == "trip"][-1], mine[-1]
        return back["t"] - trip["t"]
    if name == "leads":
        return truth["load_leads_Ohm"]
    return None


def filtering(kind, sensor, truth):
    """s that a mean of some looks takes to pass the threshold after the box's one long step, beyond the first look.

    It is part of the time a protection takes to operate, as the box's findings have it.
    """
    looks = truth.get("looks_in_mean", 1)
    if looks <= 1 or sensor is None:
        return 0.0
    threshold, sign = truth["thresholds"][kind][sensor]["trip"], 1.0 if "over" in kind else -1.0
    mine = [each for each in truth["box_steps"] if each["sensor"] == sensor and each["from"] != each["to"]]
    far = [each for each in mine if sign * (each["to"] - threshold) > FAR and sign * (each["from"] - threshold) < 0]
    share = (threshold - far[-1]["from"]) / (far[-1]["to"] - far[-1]["from"])
    return math.floor(share * looks) * truth["protections"][kind]["polling"]
