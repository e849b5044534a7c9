"""``perpend check`` at a terminal."""

from __future__ import annotations

import json

import pytest

from ui.cli.main import main


def test_the_virtual_rig_passes(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["check", "--port", "virtual:?trainee=E01&speed=max", "--no-prompt", "--json"])

    rows = json.loads(capsys.readouterr().out)
    assert code == 0
    assert {row["result"] for row in rows} == {"pass"}
    versions = next(row["value"] for row in rows if row["key"] == "versions")
    assert versions == "rig R01, firmware virtual 1, protocol 1.0, boot count 1"
    wanted = {"self_test", "sign_and_side", "zero_offset", "gravity_at_rest"}
    assert wanted <= {row["key"] for row in rows}


def test_a_rig_that_fails_ends_in_exit_code_1(capsys: pytest.CaptureFixture[str]) -> None:
    port = "virtual:?trainee=E01&speed=max&faults=saturate:5"

    code = main(["check", "--port", port, "--no-prompt"])

    said = capsys.readouterr()
    assert code == 1
    assert "FAIL  saturated" in said.out


def test_a_fault_that_the_rig_reports_fails_the_check(capsys: pytest.CaptureFixture[str]) -> None:
    port = "virtual:?trainee=E01&speed=max&faults=bridge:2"

    code = main(["check", "--port", port, "--no-prompt"])

    said = capsys.readouterr()
    assert code == 1
    assert "FAIL  rig faults: bridge open" in said.out


def test_a_rig_at_which_nobody_pushed_is_not_passed(capsys: pytest.CaptureFixture[str]) -> None:
    """Trainee T06 touches with 6 N only: nobody knows then whether sign and side are right."""
    code = main(["check", "--port", "virtual:?trainee=T06&speed=max", "--no-prompt"])

    said = capsys.readouterr()
    assert code == 1
    assert "FAIL  sign and side: not known: no push at home was seen" in said.out
    assert said.err == "perpend check: not fit for use: sign and side\n"


def test_it_tells_the_person_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "--port", "virtual:?trainee=E01&speed=max"])

    assert "hands off" in capsys.readouterr().err
