"""A file that grows holds whole pieces only, whatever the disk does; and one that is gone is noticed at the next piece."""

import errno
import os
import shutil

import pytest

from runner.errors import RecordError
from runner.events import Sampled, Started
from runner.record.appending import Appender
from runner.record.journal import Journal, read_journal
from runner.record.samples import SampleWriter


def test_a_disk_that_takes_less_than_it_is_given_gets_the_rest(tmp_path, monkeypatch):
    write = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: write(fd, bytes(data[:3])))
    file = Appender(tmp_path / "a")
    file.append(b"a whole line\n")
    assert (tmp_path / "a").read_bytes() == b"a whole line\n"
    file.close()


@pytest.mark.parametrize("room", range(13))
def test_what_does_not_fit_is_cut_off_again(tmp_path, monkeypatch, room):
    """Twelve bytes too few, eleven, …: a disk that is full in the middle of a line."""
    file = Appender(tmp_path / "a")
    file.append(b"before\n")
    write, left = os.write, [room]

    def full(fd, data):
        part = bytes(data[: left[0]])
        if not part:
            raise OSError(errno.ENOSPC, "No space left on device")
        left[0] -= len(part)
        return write(fd, part)

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(RecordError, match="No space left"):
        file.append(b"a whole line\n")
    assert (tmp_path / "a").read_bytes() == b"before\n"
    left[0] = 100
    file.append(b"next\n")
    assert (tmp_path / "a").read_bytes() == b"before\nnext\n"
    file.close()


def test_a_journal_that_met_a_full_disk_has_a_whole_chain(tmp_path, monkeypatch):
    journal = Journal(tmp_path / "events.jsonl")
    journal.append(0.0, "u", Started(0.0, "u"))
    write, calls = os.write, []

    def full_once(fd, data):
        calls.append(len(data))
        if len(calls) == 1:
            return write(fd, bytes(data[:10]))
        if len(calls) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(fd, bytes(data))

    monkeypatch.setattr(os, "write", full_once)
    with pytest.raises(RecordError):
        journal.append(1.0, "u", Started(1.0, "u"))
    journal.append(2.0, "u", Started(2.0, "u"))  # the last words of a run, once there is room
    journal.close()
    assert [entry.t for entry in read_journal(tmp_path / "events.jsonl")] == [0.0, 2.0]


@pytest.mark.parametrize("how", ["removed", "moved", "exchanged"])
def test_a_folder_that_is_not_there_any_more_is_noticed_at_the_next_line(tmp_path, how):
    folder = tmp_path / "run"
    folder.mkdir()
    journal = Journal(folder / "events.jsonl")
    journal.append(0.0, "u", Started(0.0, "u"))
    if how == "removed":
        shutil.rmtree(folder)
    else:
        folder.rename(tmp_path / "elsewhere")
        if how == "exchanged":
            shutil.copytree(tmp_path / "elsewhere", folder)
    with pytest.raises(RecordError, match="was removed or moved"):
        journal.append(1.0, "u", Started(1.0, "u"))
    journal.close()


def test_samples_notice_it_within_a_second_or_two(tmp_path):
    import time

    folder = tmp_path / "run"
    folder.mkdir()
    samples = SampleWriter(folder / "samples.csv")
    shutil.rmtree(folder)
    deadline = time.monotonic() + 10
    fault = None
    while fault is None and time.monotonic() < deadline:
        time.sleep(0.05)
        try:
            samples.append(Sampled(0.0, {}))
        except RecordError as error:
            fault = error
    samples.close()
    assert "was removed or moved" in str(fault)
