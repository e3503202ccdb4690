"""The forms of pack sheet and bench file, by keys: whole sheets, a barcode reader, usual values, copies, drafts."""

import importlib
import pkgutil
from pathlib import Path

import pytest
from textual.binding import Binding
from textual.events import Key
from textual.screen import Screen

import runner.screen
from runner.errors import SheetError
from runner.screen.form import FormScreen
from runner.screen.themes import Dressed
from runner.sheets.bench import parse_bench
from runner.sheets.pack import not_declared, parse_pack
from runner.sheets.parts.protections import KINDS
from runner.workspace.drafts import drafts
from runner.workspace.forms import FORMS, written
from runner.workspace.job import DEMO_PACK
from runner.workspace.pack_form import PACK, copied, usual_of, usual_values
from tests.screen.played import SIZES, matches_golden, played, shows, text, until

BY_HAND = {"name": "AB-1", "serial": "0417", "chemistry": "LFP", "cells_in_series": "8", "sensors": "2"}
RATED = {"rated_capacity": "40 Ah", "maximum_charge_current": "12 A"}
VOLTS = {"nominal_voltage": "25.6 V", "full_charge_voltage": "29.2 V", "cut_off_voltage": "20 V"}


class FormApp(Dressed[Path | None]):
    """One form, and what it gave."""

    def __init__(self, kind="pack", folder=Path()):
        super().__init__()
        self.form = FormScreen(kind, folder)

    def on_mount(self):
        self.push_screen(self.form, self.exit)


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def by_keys(keys, size=(80, 24), kind="pack", before=lambda app: None, golden="", fast=False):
    """The form with these keys pressed; what it gave, and what stood there last."""
    seen = []

    async def play():
        app = FormApp(kind)
        before(app)
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "F2: save")
            if fast:  # as a barcode reader: every key is there before the first is handled
                for key in keys:
                    app.post_message(Key(key, key if len(key) == 1 else {"enter": "\r", "tab": "\t"}.get(key)))
                await until(pilot, lambda: app.form.focused is app.form._inputs["chemistry"], "the last field")
                await pilot.pause()
            else:
                await pilot.press(*keys)
            seen.append(text(app))
            seen.append({key: each.value for key, each in app.form._inputs.items()})
            if golden:
                await matches_golden(pilot, golden, size)
        return app.return_value

    return played(play()), *seen


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kind", ["pack", "bench"])
def test_a_form_shows_what_is_asked_and_what_is_needed(size, kind):
    by_keys([], size, kind, golden=f"form-{kind}")


@pytest.mark.parametrize("end", ["enter", "tab"])
def test_a_barcode_readers_speed_joins_no_fields_and_skips_none(end):
    scanned = ["TIM-840", "0417", "maker", "owner", "quay", "2026-11-26", "none"]
    keys = [key for word in scanned for key in (*word, end)]
    _, _, values = by_keys(keys, fast=True)
    assert [values[field.key] for field in PACK[:7]] == scanned


def test_a_whole_sheet_is_written_with_usual_values_said_to_be_such_and_delays_left_open():
    def fill(app):
        app.form.call_after_refresh(
            lambda: app.form._fill({**BY_HAND, **RATED, "charge_over_temperature.trip": "53 to 57 degC"}, set())
        )

    steps = ["pagedown"] * 1 + ["down"] * 2  # to the voltages
    path, _, _ = by_keys([*steps, "f4", "f4", "f4", "f2"], before=fill)
    assert path == Path("my-pack.yaml")
    saved = path.read_text(encoding="utf-8")
    pack = parse_pack(saved, "my-pack.yaml")
    trip = pack.protection("charge_over_temperature")
    assert (pack.nominal_voltage, pack.full_charge_voltage, pack.cut_off_voltage) == (25.6, 29.2, 20.0)
    assert (trip.trip_limits(), trip.sensors, trip.delay_range) == ((53.0, 57.0), ("T1", "T2"), (1.0, 5.0))
    assert saved.count("# usual for LFP, not from the data sheet") == 3
    assert pack.usual == ("nominal voltage", "full charge voltage", "cut-off voltage")
    assert "has usual values of the chemistry, not from the data sheet: nominal voltage" in next(not_declared(pack))
    assert usual_of(copied(saved, "p")[1]) == {"nominal_voltage", "full_charge_voltage", "cut_off_voltage"}
    assert drafts(Path(), "pack") == [], "what was saved is no draft"


def test_a_usual_value_that_is_changed_is_not_usual_any_more():
    def fill(app):
        app.form.call_after_refresh(lambda: app.form._fill({**BY_HAND, **RATED, **VOLTS}, {"nominal_voltage"}))

    path, _, _ = by_keys(["pagedown", "down", "down", "end", "backspace", "V", "f2"], before=fill)
    assert "usual" not in path.read_text(encoding="utf-8")


def test_every_protection_sensor_and_limit_of_a_sheet_has_its_field_and_a_copy_keeps_what_has_none():
    values, base = copied(DEMO_PACK.read_text(encoding="utf-8"), "pack.yaml")
    assert "serial" not in values
    text_again = written("pack", {**values, "serial": "TI-9"}, (), base)
    again, before = parse_pack(text_again, "p.yaml"), parse_pack(DEMO_PACK.read_text(encoding="utf-8"), "p.yaml")
    assert again == before.model_copy(update={"serial": "TI-9"})
    assert {field.key.partition(".")[0] for field in PACK if "." in field.key} == {*KINDS, "sensors"}


def test_a_pack_of_the_folder_is_copied_with_a_key_and_asks_for_its_serial_number(tmp_path):
    (tmp_path / "old.yaml").write_text(DEMO_PACK.read_text(encoding="utf-8"), encoding="utf-8")
    path, _, _ = by_keys(["f5", *"TI-9", "f2"])
    pack = parse_pack(path.read_text(encoding="utf-8"), "p")
    assert (pack.name, pack.serial, pack.sensors[0].lag) == ("TIM-840", "TI-9", 8.0)


@pytest.mark.parametrize("chemistry", ["LFP", "NMC", "NCA", "NMC HV", "LCO", "LMO", "LTO", "Na-ion"])
def test_usual_values_of_every_chemistry_make_a_valid_sheet(chemistry):
    usual = usual_values({"chemistry": chemistry, "cells_in_series": "10"})
    values = {**BY_HAND, **RATED, **usual, "chemistry": chemistry, "cells_in_series": "10"}
    pack = parse_pack(written("pack", values, set(usual)), "p.yaml")
    assert all(pack.protection(kind) is not None for kind in KINDS if KINDS[kind] != "current")


def test_leaving_loses_nothing_and_the_next_opening_offers_it():
    path, _, _ = by_keys([*"TIM-840", "enter", *"0418", "escape"])
    assert path is None
    assert list(Path().glob("*.yaml")) == []
    _, screen, _ = by_keys([])
    assert "TIM-840 0418, 2 fields" in " ".join(screen.split())
    _, _, values = by_keys(["f6"])
    assert (values["name"], values["serial"]) == ("TIM-840", "0418")


def test_what_was_typed_before_a_crash_is_kept():
    class Crash(Exception):
        pass

    async def play():
        app = FormApp()
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "F2: save")
            await pilot.press(*"x-1 (x)")  # among others x is a letter
            await until(pilot, lambda: bool(drafts(Path(), "pack")), "the draft")
            raise Crash

    with pytest.raises(Crash):
        played(play())
    assert drafts(Path(), "pack")[0].values["name"].startswith("x-1")


def test_a_wrong_unit_is_said_and_marked_at_its_field_and_nothing_is_saved(tmp_path):
    keys = ["pagedown", *"LFP", "enter", "8", "enter", *"25", "space", "A"]
    _, screen, _ = by_keys(keys)
    assert "nominal voltage:" in screen
    assert "25 A" in next(line for line in screen.splitlines() if "✗" in line)
    _, screen, _ = by_keys([*keys, "f2"])
    assert "rated capacity: missing" in " ".join(screen.split())
    assert list(tmp_path.glob("*.yaml")) == []


@pytest.mark.parametrize("count", ["²", "9" * 12])
def test_what_is_no_count_of_cells_or_sensors_breaks_no_form(count):
    (cells,) = (field for field in PACK if field.key == "cells_in_series")
    assert "is not a whole number" in cells.fault(count)
    assert usual_values({"chemistry": "LFP", "cells_in_series": count}) == {}
    assert [
        each.place for each in parse_pack(written("pack", {**BY_HAND, **RATED, **VOLTS, "sensors": count}), "p").sensors
    ] == [count]


@pytest.mark.parametrize(
    ("key", "typed", "fault"),
    [
        ("state_of_charge_on_arrival", "50", "is not a percentage; write it like 50 %"),
        ("state_of_charge_on_arrival", "1", "is not a percentage; write it like 50 %"),
        ("state_of_charge_on_arrival", "500 %", "is more than 100 %"),
        ("state_of_charge_on_arrival", "..%", "is not a number with a unit"),
        ("state_of_charge_on_arrival", "50%", ""),
        ("state_of_charge_on_arrival", "", ""),
        ("chemistry", "lfp", ""),
        ("chemistry", "LFB", "LFB is not a known chemistry; write one of LFP, "),
    ],
)
def test_a_slip_in_a_percentage_or_a_chemistry_is_said_at_its_field(key, typed, fault):
    (field,) = (field for field in PACK if field.key == key)
    assert fault in field.fault(typed)
    assert bool(fault) is bool(field.fault(typed))


def test_a_bench_file_is_written_and_parses():
    typed = {
        "name": "bench 1",
        "supply": "TCPIP::192.0.2.10::5025::SOCKET",
        "supply_voltage": "31 V",
        "supply_current": "18 A",
        "probe_uncertainty": "0.2 K",
        "coupling": "0.3 K",
        "load_current": "10 A",
    }
    path, _, _ = by_keys(
        ["f2"], kind="bench", before=lambda app: app.form.call_after_refresh(lambda: app.form._fill(typed, set()))
    )
    bench = parse_bench(path.read_text(encoding="utf-8"), "my-bench.yaml")
    assert bench.instruments.probe.by_hand
    assert bench.instruments.supply.limits.current == 18.0
    assert {field.key for field in FORMS["bench"]} > set(typed)


def test_the_stop_key_is_bound_by_the_run_alone_and_enter_leaves_no_form():
    """Every screen there is, by its modules."""
    for module in pkgutil.walk_packages(runner.screen.__path__, "runner.screen."):
        importlib.import_module(module.name)
    kinds, found = [Screen], set()
    while kinds:
        kind = kinds.pop()
        kinds += kind.__subclasses__()
        found |= {kind.__name__ for each in kind.__dict__.get("BINDINGS", ()) if "f8" in _keys(each)}
    assert found == {"RunScreen"}
    leaves = {each.action for each in FormScreen.BINDINGS if {"enter", "f8", "x", "space"} & _keys(each)}
    assert leaves == {"next"}


def _keys(binding):
    return set((binding.key if isinstance(binding, Binding) else binding[0]).split(","))


def test_how_often_a_pack_measures_and_what_its_sensors_are_can_be_typed_and_need_not():
    whole = {**BY_HAND, **RATED, **VOLTS, "charge_over_temperature.trip": "55 degC"}
    plain = parse_pack(written("pack", whole), "p")
    assert (plain.sensors[0].lag, plain.sensors[0].curve) == (None, None)
    more = {"sensors.lag": "8 s", "sensors.resistance_at_25": "10 kohm", "sensors.b": "3435 K"}
    pack = parse_pack(written("pack", {**whole, **more, "charge_over_temperature.polling": "0.5 s"}), "p")
    assert [each.lag for each in pack.sensors] == [8.0, 8.0]
    assert [each.curve.resistance(25.0) for each in pack.sensors] == [10_000.0, 10_000.0]
    assert pack.protection("charge_over_temperature").polling == 0.5
    with pytest.raises(SheetError, match="b and resistance_at_25 belong together"):
        written("pack", {**whole, "sensors.b": "3435 K"})


def test_a_copied_sheet_keeps_what_it_knows_of_its_sensors():
    values, base = copied(DEMO_PACK.read_text(), "p")
    values["serial"] = "0418"
    before, after = (
        parse_pack(text, "p").sensors for text in (DEMO_PACK.read_text(), written("pack", values, (), base))
    )
    assert after == before
