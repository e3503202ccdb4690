"""What claims about a measured under-voltage are built from: a declaration, attempts, and the lines of a budget."""

from runner.events import DISCHARGE, LOAD_VOLTAGE, METER_VOLTAGE, SUPPLY_VOLTAGE
from runner.measure.fits.averaging import of_window
from runner.measure.recording import Accuracy, Attempt, Specification

ACCURACY = {channel: Accuracy(0.001, 0.02, 0.01) for channel in (METER_VOLTAGE, LOAD_VOLTAGE, SUPPLY_VOLTAGE)}


def attempt(kind, began, at, outcome, **more):
    return Attempt(kind, "", 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


def declared(**more):
    values = {"trip": 20.4, "trip_limits": (19.9, 20.9), "release": 22.4, "release_limits": (22.1, 22.7)}
    values |= {"delay": 2.0, "delay_uncertainty": 0.2, "polling": 0.25, "accuracy": ACCURACY, "cells": 8}
    values |= {
        "cell_noise": 0.0,
        "filter_lag": 0.0,
        "averaging": dict.fromkeys((METER_VOLTAGE, DISCHARGE), of_window(0.0)),
    }
    return Specification("under_voltage", **{**values, **more})
