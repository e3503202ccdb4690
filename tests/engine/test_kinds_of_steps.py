"""A step that sets a current is looked at wherever that matters: a kind that is left out of a list would be safe from a check."""

from types import SimpleNamespace
from typing import get_args, get_type_hints

import pytest

from runner.engine.limits import SETS_CURRENT
from runner.engine.step_order import LEAVES_OFF, LEAVES_ON
from runner.measure.capacity import FLOWING
from runner.notation.fields import CurrentExpression
from runner.sheets.procedure import _used
from runner.sheets.steps import StepItem

NAMES = {"current", "from_", "to", "step", "drain"}  # what limits.py looks at, and the parts of a staircase
MARKS = {"end_current", "at_least"}  # a current that is waited for, or the least of a range, and not set


def currents_of(model):
    """The fields of a step that are currents to be set."""
    hints = get_type_hints(model, include_extras=True)
    found = {name for name, hint in hints.items() if CurrentExpression in (hint, *get_args(hint))}
    return found - MARKS


def kinds():
    """Every kind of step that sets a current, with its model."""
    for name, hint in get_type_hints(StepItem, include_extras=True).items():
        if name in StepItem.model_fields:
            model = get_args(hint)[0]
            if currents_of(model):
                yield name.rstrip("_"), model


KINDS = dict(kinds())


def test_the_kinds_are_found():
    assert {"charge", "drain", "stage", "wake", "try"} <= set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_its_current_is_held_against_pack_sheet_and_bench(kind):
    assert kind in SETS_CURRENT
    assert currents_of(KINDS[kind]) <= NAMES, "limits.py looks for a current under these names"


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_known_what_it_leaves_on_or_off(kind):
    assert kind in LEAVES_ON or kind in LEAVES_OFF


@pytest.mark.parametrize("kind", KINDS)
def test_what_it_puts_in_or_takes_out_counts_against_a_capacity(kind):
    assert kind in ("charge", "drain", *FLOWING)


@pytest.mark.parametrize("kind", KINDS)
def test_a_procedure_with_it_has_to_need_an_instrument(kind):
    path = "charge" if "path" in KINDS[kind].model_fields else ""
    assert list(_used(kind, SimpleNamespace(path=path)))
