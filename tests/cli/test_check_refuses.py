"""What would be found out with the output on is refused when the file is read: `check` says where, and what to do."""

import pytest

from runner.cli import main
from runner.workspace.job import DEMO_PACK
from tests.bench.test_dialect import OWN
from tests.builders import BENCH, SHORT_PROCEDURE, a_file

TEXT = BENCH.format(port=5025)


def checked(tmp_path, text, capsys):
    path = a_file(tmp_path / "bench.yaml", text)
    status = main(["check", str(path)])
    return status, capsys.readouterr().err.replace(str(path), "bench.yaml").splitlines()


@pytest.mark.parametrize(
    ("old", "new", "line", "part"),
    [
        ("name: test bench", "name: test bench\nspeed: 20", 3, "speed is for simulated benches"),
        ("name: test bench", "name: test bench\nbackend: /tmp/library.so", 3, "is not one of '@py' or '@ivi'"),
        ("instruments:\n", "instruments:\n  hands: {address: 'TCPIP::127.0.0.1::9::SOCKET'}\n", 4, "hands is no longer a role"),
        ("instruments:\n", "instruments:\n  display: {address: 'TCPIP::127.0.0.1::9::SOCKET'}\n", 4, "read or set by hand here"),
        ("instruments:\n", "instruments:\n  box: {address: 'TCPIP::127.0.0.1::9::SOCKET', accuracy: 1 %}\n", 4, "read or set by hand here"),
        ("    coupling: 0.15 K", "    coupling: 0.15 K\n    channel: 2", 11, "scpi cannot select a channel"),
        ("    limits:", "    dialect: own.yaml\n    limits:", 4, "own.yaml needs a channel"),
    ],
)  # fmt: skip
def test_a_bench_file_that_would_harm_is_wrong(tmp_path, capsys, old, new, line, part):
    a_file(tmp_path / "own.yaml", OWN)
    status, said = checked(tmp_path, TEXT.replace(old, new, 1), capsys)
    assert status == 2
    assert len(said) == 1
    assert said[0].startswith(f"bench.yaml:{line}:")
    assert part in said[0]


def test_a_typo_in_what_switches_off_is_said_with_its_place_in_the_dialect(tmp_path, capsys):
    a_file(tmp_path / "own.yaml", OWN.replace('output_off: "OUT{channel} 0"', 'output_off: "OUT{chan} 0"'))
    status, said = checked(
        tmp_path, TEXT.replace("    limits:", "    dialect: own.yaml\n    channel: 1\n    limits:", 1), capsys
    )
    assert status == 2
    assert len(said) == 1
    assert "own.yaml:14:15: output_off:" in said[0]
    assert "{chan}" in said[0]


def test_what_a_simulated_bench_may_have_is_taken_there(tmp_path, capsys):
    text = TEXT.replace("name: test bench", "name: test bench\nsimulated: true\nspeed: 20")
    assert checked(tmp_path, text, capsys) == (0, [])


@pytest.mark.parametrize(
    "address", ["127.0.0.1", "TCPP::127.0.0.1::5025::SOCKET", "TCPIP::127.0.0.1:5025::SOCKET", "COM3"]
)
def test_an_address_of_no_form_of_visa_is_said_at_its_place(tmp_path, capsys, address):
    """VPP-4.3, 4.3.1: the forms of resource names."""
    text = TEXT.replace("TCPIP::127.0.0.1::5025::SOCKET", address, 1)
    assert address in text
    status, said = checked(tmp_path, text, capsys)
    assert status == 2
    assert len(said) == 1
    assert said[0].startswith("bench.yaml:5:14: ")
    assert f"{address!r} is not an address" in said[0]


@pytest.mark.parametrize(
    "address",
    ["GPIB0::5::INSTR", "USB0::0x1234::0x5678::SN1::INSTR", "ASRL/dev/ttyUSB0::INSTR", "TCPIP::host::inst0::INSTR"],
)
def test_every_form_of_visa_is_taken(tmp_path, capsys, address):
    assert checked(tmp_path, TEXT.replace("TCPIP::127.0.0.1::5025::SOCKET", address, 1), capsys) == (0, [])


def test_a_plan_refuses_what_the_planner_refuses(tmp_path, capsys):
    """A plan of a procedure that the run would refuse is no plan."""
    path = a_file(tmp_path / "too-much.yaml", SHORT_PROCEDURE.replace("current: 0.1 C", "current: 2 C"))
    assert main(["check", str(path)]) == 0, "by itself nothing is wrong with it"
    assert "no errors by itself" in capsys.readouterr().out
    assert main(["rehearse", str(path), "--plan", "--unattended"]) == 3
    out, _ = capsys.readouterr()
    assert "left out" in out
    assert "80 A" in out


def test_a_value_of_the_wrong_sign_needs_no_pack_sheet_to_be_seen(tmp_path, capsys):
    path = a_file(tmp_path / "p.yaml", SHORT_PROCEDURE.replace("current: 0.1 C", "current: -4 A"))
    assert main(["check", str(path)]) == 2
    assert "-4 A is not more than 0 A" in capsys.readouterr().err


def test_a_procedure_is_checked_with_the_pack_and_the_bench_named_beside_it(tmp_path, capsys):
    """Files that are right each by itself, and come to 80 A, for which the bench file has no room."""
    bench = a_file(tmp_path / "bench.yaml", BENCH.format(port=1))
    good = a_file(tmp_path / "good.yaml", SHORT_PROCEDURE)
    much = a_file(tmp_path / "much.yaml", SHORT_PROCEDURE.replace("current: 0.1 C", "current: 2 C"))
    pack = str(DEMO_PACK)
    assert main(["check", str(good), pack, str(bench)]) == 0
    assert f"together: no errors in {good} with this pack and this bench" in capsys.readouterr().out
    assert main(["check", str(good), str(much), pack, str(bench)]) == 2
    out, err = capsys.readouterr()
    assert "together: no errors" not in out
    assert "much.yaml" in err
    assert "80 A" in err
    assert main(["check", str(much), pack]) == 0, "on which bench nobody said"
    assert "one pack sheet and one bench file" in capsys.readouterr().out
