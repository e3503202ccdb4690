"""What the simulated bench says was true, for each finding."""


def truth_of(finding, truth):
    """The true value of a finding, from what the simulated bench wrote down; None where it has none of its own."""
    kind, name, sensor = finding["protection"], finding["name"], finding["sensor"]
    mine = [change for change in truth["changes"] if change["kind"] == kind]
    if sensor is not None and name in ("trip", "release"):
        return truth["thresholds"][kind][sensor][name]
    if sensor is not None and name == "hysteresis":
        return abs(truth["thresholds"][kind][sensor]["trip"] - truth["thresholds"][kind][sensor]["release"])
    if name == "delay":
        return truth["protections"][kind]["delay"]
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
