"""Texts of bench files, dialects and procedures that the instruments of the tests are used with."""

POWER = """
    limits: {voltage: 31 V, current: 18 A}
    voltage_accuracy: {gain: 0.05 %, offset: 10 mV, resolution: 10 mV}
    current_accuracy: {gain: 0.1 %, offset: 10 mA, resolution: 10 mA}"""
PROBE = """
    accuracy: {expanded_uncertainty: 0.2 K, coverage_factor: 2, resolution: 0.01 K}
    coupling: 0.15 K
    lag: 1.75 s
    lag_uncertainty: 0.72 s"""
DRAIN = """\
kind: procedure
name: drain
title: One discharge
purpose: to be quick
protection: discharge over-temperature
needs: [load, probe]
cautions: [Be careful.]
ceilings: {temperature: trip + 12 K, voltage: full charge voltage + 0.4 V, current: 0.35 C, time: 2 h}
steps:
  - confirm: {say: Ready?}
  - repeat:
      each: sensor
      steps:
        - drain: {current: 0.1 C, until: steady, steady: 10 s, floor: cut-off voltage + 3 V, say: "Keep clear."}
        - heat: {say: "Heat {sensor}.", rate: 4 K/min, approach: trip - 5 K, give_up: trip + 8 K}
        - off
findings: [trip]
"""
LOAD_IN_REGISTERS = """\
kind: dialect
name: made-up load in registers
role: load
commands:
  set_current: {holding: 0, scale: 0.01}
  input_on: {coil: 0, value: 1}
  input_off: {coil: 0, value: 0}
queries:
  current_setting: {holding: 0, scale: 0.01}
  input: {coil: 0}
  voltage: {input: 0, type: s32, scale: 0.001}
  current: {input: 2, type: s32, scale: 0.001}
"""
SCANNER = """\
kind: dialect
name: made-up scanner
role: {role}
commands: {{select_channel: "ROUT:CLOS (@{{channel}})"}}
queries: {{{quantity}: "READ?"}}
"""
