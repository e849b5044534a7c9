"""``perpend check`` at a terminal."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.rigs import RIG_FILES
from firmware_protocol.messages import HostMessage, Outcome, Reply, SelfTest, SelfTestResult
from ui.cli.main import main


def calibrated(folder: Path, on: date) -> Path:
    """Return the description of the virtual rig with another date of its calibration."""
    text, found = re.subn(
        r"calibrated_on = [0-9-]+",
        f"calibrated_on = {on.isoformat()}",
        RIG_FILES["right", 3].read_text(encoding="utf-8"),
    )
    assert found == 1
    (folder / "rig.toml").write_text(text, encoding="utf-8")
    return folder / "rig.toml"


@pytest.fixture
def fresh(tmp_path: Path) -> str:
    """Return a rig that was calibrated this year."""
    return str(calibrated(tmp_path, today()))


def today() -> date:
    return datetime.now(UTC).date()


def test_the_virtual_rig_passes(capsys: pytest.CaptureFixture[str], fresh: str) -> None:
    port = "virtual:?trainee=E01&speed=max"

    code = main(["check", "--port", port, "--rig", fresh, "--no-prompt", "--json"])

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


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("bridge", "FAIL  rig faults: bridge open (limit: none)"),
        ("saturate", "FAIL  rig faults: converter saturated, force (fx at its rail) (limit: none)"),
        ("imu", "FAIL  rig faults: IMU not answering, imu (limit: none)"),
        ("overrun", "FAIL  rig faults: buffer overrun (limit: none)"),
    ],
)
def test_a_fault_that_the_rig_reports_fails_the_check(
    capsys: pytest.CaptureFixture[str], fault: str, said: str
) -> None:
    port = f"virtual:?trainee=E01&speed=max&faults={fault}:2"

    code = main(["check", "--port", port, "--no-prompt"])

    assert code == 1
    assert said in capsys.readouterr().out


def test_a_cell_noisier_than_at_its_calibration_fails(capsys: pytest.CaptureFixture[str]) -> None:
    port = "virtual:?trainee=E01&speed=max&noise_n=0.16"

    code = main(["check", "--port", port, "--no-prompt"])

    assert code == 1
    said = capsys.readouterr().out
    assert re.search(
        r"FAIL  noise: 0\.16\d N, one sample, . of the cell \(limit: 0\.120 N, 1\.5 ", said
    )


def test_a_rig_at_which_nobody_pushed_is_not_passed(capsys: pytest.CaptureFixture[str]) -> None:
    """Trainee T06 touches with 6 N only: nobody knows then whether sign and side are right."""
    code = main(["check", "--port", "virtual:?trainee=T06&speed=max", "--no-prompt"])

    said = capsys.readouterr()
    assert code == 1
    assert (
        "FAIL  sign and side: not known: no push at home was seen (limit: within 35° of the target)"
        in said.out
    )
    assert said.err == "perpend check: not fit for use: sign and side\n"


def test_it_tells_the_person_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "--port", "virtual:?trainee=E01&speed=max"])

    asked = [line.split(",")[0] for line in capsys.readouterr().err.splitlines()]
    assert asked == [
        "hands off",
        "now push backward and a little outward",
        "let go",
    ]


def test_a_rig_that_can_be_used_is_said_to_be_fit_and_what_to_mind(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, fresh: str
) -> None:
    words = ["check", "--port", "virtual:?trainee=E01&speed=max", "--no-prompt", "--rig"]

    code, lines = main([*words, fresh]), capsys.readouterr().out.splitlines()
    assert (code, lines[-1]) == (0, "fit for use")

    old = calibrated(tmp_path, today() - timedelta(days=2000))
    code, lines = main([*words, str(old)]), capsys.readouterr().out.splitlines()
    assert (code, lines[-1]) == (0, "fit for use, but mind: calibration age")
    assert lines[0] == "warn  calibration age: 2000 days (limit: 365 days)"


@pytest.mark.parametrize(
    ("answer", "code", "line"),
    [
        (
            lambda number: Reply(number, Outcome.UNKNOWN_COMMAND),
            0,
            "warn  self test: not done: the rig refuses the command to test itself: its firmware",
        ),
        (
            lambda number: SelfTestResult(number, False, "IMU: no answer"),
            1,
            "FAIL  self test: IMU: no answer (limit: passed)",
        ),
    ],
    ids=["cannot", "fails"],
)
def test_what_the_rig_s_own_test_says_is_told(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    fresh: str,
    answer: Callable[[int], Reply | SelfTestResult],
    code: int,
    line: str,
) -> None:
    obey = RigDevice._obey_at_rest

    def obey_otherwise(self: RigDevice, message: HostMessage) -> None:
        if isinstance(message, SelfTest):
            self._say(answer(message.request_id))
        else:
            obey(self, message)

    monkeypatch.setattr(RigDevice, "_obey_at_rest", obey_otherwise)

    ended = main(["check", "--port", "virtual:?speed=max", "--no-prompt", "--rig", fresh])

    assert ended == code
    assert capsys.readouterr().out.startswith(line)
