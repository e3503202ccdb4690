"""What the manuals say is so: commands exist, files exist, and the two commands are what CI runs."""

import re
from pathlib import Path

import pytest

from runner.cli import _parser
from runner.measure.conformity import Decision, percent
from runner.twin.parameters import SCENARIOS
from runner.vocabulary import Rule

ROOT = Path(__file__).resolve().parent.parent
README, DEVELOPERS = (ROOT / "README.md").read_text(), (ROOT / "DEVELOPERS.md").read_text()


def commands():
    (action,) = (each for each in _parser()._actions if hasattr(each, "choices") and each.choices)
    return action.choices


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_command_is_in_the_readme(name):
    assert f"`tripwitness {name}" in README


def test_every_command_the_readme_names_exists():
    assert set(re.findall(r"tripwitness ([a-z]+)[ `]", README)) <= set(commands())


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_link_leads_somewhere(text):
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / target).exists(), target


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_file_that_is_named_exists(text):
    for target in re.findall(r"`((?:runner|reports|procedures|tests|\.ci)/[A-Za-z0-9_./-]+)`", text):
        assert (ROOT / target).exists(), target


def test_ci_runs_the_readmes_test_command():
    (command,) = re.findall(r"<!-- tests -->\n```console\n\$ (.*)\n```", README)
    assert ".ci/check" in command
    assert "sed -n '/^<!-- tests -->$/" in (ROOT / ".ci/run").read_text()


def test_every_scenario_is_told():
    assert "--scenario list" in README
    assert all(SCENARIOS.values())


def test_every_decision_rule_is_in_the_readme_with_its_risk():
    for rule in Rule:
        (row,) = re.findall(rf"^\| `{rule}`(.*)\|$", README, re.MULTILINE)
        stated = Decision(rule, maximum=0.05)
        assert percent(stated.risk) in row.split("|")[-1]
    assert Decision(Rule.GUARD_BAND).risk == Decision(Rule.WITH_CONDITIONS).risk == pytest.approx(0.025)
