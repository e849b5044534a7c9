from __future__ import annotations

import pytest

from acquisition.errors import PortError
from acquisition.transports import TRANSPORTS, transport_for
from acquisition.transports.scripted import ScriptedTransport
from acquisition.transports.url import at_least, parse_url, play_speed


def test_a_url_is_taken_apart() -> None:
    url = parse_url("Serial:/dev/ttyACM0?baud=115200&x=")

    assert (url.scheme, url.address) == ("serial", "/dev/ttyACM0")
    assert url.options == {"baud": "115200", "x": ""}
    assert parse_url("tcp://127.0.0.1:4551").address == "127.0.0.1:4551"
    assert parse_url("virtual:?trainee=T03&seed=7").address == ""
    assert parse_url(r"serial:\\.\COM12").address == r"\\.\COM12"


@pytest.mark.parametrize(
    ("url", "what"),
    [
        ("/dev/ttyACM0", "no port URL; write it like serial:"),
        ("", "no port URL"),
        ("usb:1", "unknown kind of port 'usb'; known: replay, serial, tcp, virtual"),
        ("serial:", "name a device"),
        ("serial:/dev/x?bauds=1", "unknown option 'bauds'; known: baud"),
        ("serial:/dev/x?baud=fast", "baud='fast' will not do"),
        ("serial:/dev/x?baud=0", "must be 1 or more"),
        ("serial:/dev/x?baud=1&baud=2", "given twice"),
        ("serial:/dev/x?baud", "written ?name=value"),
        ("tcp://127.0.0.1", "write it like tcp://"),
        ("tcp://127.0.0.1:notaport", "write it like tcp://"),
        ("tcp://127.0.0.1:99999", "write it like tcp://"),
        ("tcp://127.0.0.1:80/path", "write it like tcp://"),
        ("tcp://h:1?speed=1", "unknown option 'speed'; known: none"),
        ("replay:", "name a recording"),
        ("replay:x.h5?speed=0", "above 0, or max"),
        ("replay:x.h5?speed=nan", "above 0, or max"),
    ],
)
def test_a_url_that_makes_no_sense_is_refused_in_one_line(url: str, what: str) -> None:
    with pytest.raises(PortError) as raised:
        transport_for(url)

    assert what in str(raised.value)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("url", "name"),
    [
        ("serial:/dev/ttyACM0?baud=115200", "serial:/dev/ttyACM0"),
        ("tcp://127.0.0.1:4551", "tcp://127.0.0.1:4551"),
        ("tcp://[::1]:4551", "tcp://[::1]:4551"),
        ("virtual:?trainee=T03&seed=7", "virtual:?trainee=T03&seed=7"),
        ("replay:trial.h5?speed=max", "replay:trial.h5?speed=max"),
    ],
)
def test_every_kind_of_port_says_what_it_is(url: str, name: str) -> None:
    transport = transport_for(url)

    assert transport.name == name
    assert not transport.finished
    transport.close()
    transport.close()


def test_every_row_of_the_table_is_tried_above() -> None:
    assert set(TRANSPORTS) == {"serial", "tcp", "virtual", "replay"}
    assert ScriptedTransport.name.partition(":")[0] not in TRANSPORTS  # for tests only


def test_values_of_options_are_checked() -> None:
    assert at_least(1, int)("1") == 1
    assert play_speed("max") == float("inf")
    assert play_speed("2.5") == 2.5
    with pytest.raises(ValueError, match="1 or more"):
        at_least(1, float)("nan")
