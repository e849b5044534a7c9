"""``perpend ports``: who answers, and why others do not."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acquisition.transports.serial_port import PortInfo
from ui.cli.exit_codes import DONE

Perpend = Callable[..., Any]


@pytest.fixture(autouse=True)
def no_devices(monkeypatch: pytest.MonkeyPatch) -> None:
    """This machine has no serial device, whatever machine it is."""
    monkeypatch.setattr("acquisition.transports.serial_port.list_ports", list)


def test_a_rig_that_answers_is_named(perpend: Perpend) -> None:
    said = perpend("ports", "--probe", "virtual:?trainee=E01", "--json")

    (asked,) = json.loads(said.out)
    assert said.code == DONE
    assert asked["rig"] == "R01"
    assert asked["streams"] == {"force": 1000.0, "imu": 500.0}


def test_a_port_that_cannot_be_opened_says_why(perpend: Perpend, tmp_path: Path) -> None:
    url = f"serial:{tmp_path / 'nothing'}"

    said = perpend("ports", "--probe", url, "--probe", "virtual:")

    assert said.code == DONE
    assert f"{url}\n    no rig here: " in said.out
    assert "virtual:\n    rig R01" in said.out


def test_devices_of_this_machine_are_listed(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PortInfo("serial:/dev/ttyX7", "/dev/ttyX7", "USB adapter", "A1B2")
    monkeypatch.setattr("acquisition.transports.serial_port.list_ports", lambda: [port])

    said = perpend("ports", "--no-ask")

    assert said.out == "serial:/dev/ttyX7  USB adapter\n"


def test_a_listed_device_is_asked_once_with_the_options_given(
    perpend: Perpend, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = PortInfo("serial:/dev/ttyX7", "/dev/ttyX7", "USB adapter", "A1B2")
    monkeypatch.setattr("acquisition.transports.serial_port.list_ports", lambda: [port])
    url = "serial:/dev/ttyX7?baud=115200"

    said = perpend(
        "ports", "--no-ask", "--probe", url, "--probe", "virtual:", "--probe", "virtual:"
    )

    assert said.out == f"{url}  USB adapter\nvirtual:\n"


def test_without_a_device_it_says_what_to_do(perpend: Perpend) -> None:
    assert "is the rig plugged in?" in perpend("ports").out
