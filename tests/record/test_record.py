"""The run folder: what a crash may leave, and what must not pass unseen."""

import errno
import json
import os
from concurrent.futures import ThreadPoolExecutor

import pytest

from runner.errors import RecordError
from runner.events import Answered, OutputIsOff, Started
from runner.orders import Ask, End
from runner.record.folder import RunFolder, write_whole
from runner.record.journal import Journal, read_journal
from runner.record.samples import SampleWriter, as_events, read_samples
from tests.builders import sample

EVENTS = [Started(0.0, "2026-11-25T08:00:00Z"), Ask("q", "Ready? “ü”"), Answered(1.5, "q", "go on", "me"), OutputIsOff(2.0, True),
          End(False, True, "done")]  # fmt: skip


@pytest.fixture
def journal(tmp_path):
    path = tmp_path / "events.jsonl"
    journal = Journal(path)
    for index, what in enumerate(EVENTS):
        journal.append(float(index), "2026-11-25T08:00:00Z", what)
    journal.close()
    return path


def test_what_is_written_is_read_again(journal):
    assert [entry.what for entry in read_journal(journal)][1:4] == [
        EVENTS[1],
        Answered(2.0, "q", "go on", "me"),
        OutputIsOff(3.0, True),
    ]


def test_every_cut_of_the_last_line_leaves_the_lines_before_it(journal):
    whole = journal.read_bytes()
    start = whole.rstrip(b"\n").rindex(b"\n") + 1
    for cut in range(start, len(whole)):
        journal.write_bytes(whole[:cut])
        assert len(list(read_journal(journal))) == len(EVENTS) - 1


def test_a_changed_a_missing_and_an_added_line_break_the_chain(journal):
    lines = journal.read_bytes().splitlines(keepends=True)
    changed = [*lines[:2], lines[2].replace(b"go on", b"go off"), *lines[3:]]
    for broken, line in ((changed, 4), ([*lines[:1], *lines[2:]], 2), ([*lines[:2], lines[1], *lines[2:]], 3)):
        journal.write_bytes(b"".join(broken))
        with pytest.raises(RecordError) as caught:
            list(read_journal(journal))
        assert caught.value.where == f"{journal}:{line}"


def test_a_torn_line_in_the_middle_is_an_error(journal):
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(lines[0] + lines[1][:20] + b"\n" + lines[2])
    with pytest.raises(RecordError, match="is not a line of the journal"):
        list(read_journal(journal))


def test_a_line_of_the_journal_is_plain_json_with_the_hash_of_the_line_before(journal):
    first, second = (json.loads(line) for line in journal.read_bytes().splitlines()[:2])
    assert first["event"] == "Started"
    assert first["prev"] == "0" * 64
    assert (second["order"], second["say"], second["n"]) == ("Ask", "Ready? “ü”", 1)


SAMPLES = [
    sample(0.25, 4.0, 26.6, 50.0, mode="CC"),
    sample(0.5, None, temperature=50.1),
    sample(0.75, 0.0, 29.2, mode="CV", output=False),
]


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "samples.csv"
    writer = SampleWriter(path)
    for each in SAMPLES:
        writer.append(each)
    writer.close()
    return path


def test_samples_are_read_as_the_events_they_were_and_a_gap_stays_a_gap(table):
    found = list(as_events(read_samples(table)))
    assert [each.readings for each in found] == [each.readings for each in SAMPLES]
    assert [set(each.lost) for each in found] == [set(each.lost) for each in SAMPLES]
    assert [(each.mode, each.output) for each in found] == [(each.mode, each.output) for each in SAMPLES]


def test_half_a_row_is_never_taken_for_a_number(table):
    whole = table.read_bytes()
    for cut in range(whole.rstrip(b"\n").rindex(b"\n") + 1, len(whole)):
        table.write_bytes(whole[:cut])
        assert list(read_samples(table)["t_s"]) == [0.25, 0.5]


def test_the_units_are_in_the_names_of_the_columns(table):
    header = table.read_text().splitlines()[0].split(",")
    assert header[:3] == ["t_s", "supply_voltage_V", "supply_current_A"]
    assert {"load_voltage_V", "load_current_A", "meter_voltage_V", "probe_temperature_degC"} < set(header)


def test_a_folder_never_takes_anothers_name(tmp_path):
    names = [RunFolder.create(tmp_path, "20261125-080000", "TI/0001", "a b").number for _ in range(3)]
    assert names == ["20261125-080000-TI-0001-a-b", "20261125-080000-TI-0001-a-b-2", "20261125-080000-TI-0001-a-b-3"]


def test_a_file_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    path = tmp_path / "findings.json"
    write_whole(path, b"old")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordError):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_two_who_write_the_same_file_do_not_take_each_others_away(tmp_path):
    path = tmp_path / "findings.json"
    contents = [bytes([number]) * 50_000 for number in range(8)]
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda content: [write_whole(path, content) for _ in range(20)], contents))
    assert path.read_bytes() in contents
    assert list(tmp_path.iterdir()) == [path]
