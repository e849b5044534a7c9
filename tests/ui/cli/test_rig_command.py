"""``perpend rig``: how a rig is set, what it keeps, and what it refuses."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest

from acquisition.clock import SystemClock
from acquisition.rig import load_rig
from acquisition.rig_store import store_with
from acquisition.virtual_rig import VirtualRig, default_rig, trainee
from acquisition.virtual_rig.device import RigDevice
from acquisition.virtual_rig.rigs import RIG_FILES
from acquisition.virtual_rig.serve import serve_tcp
from ui.cli.exit_codes import DONE, FAILED

Perpend = Callable[..., Any]
WAIT_S = 20.0


@pytest.fixture
def serve() -> Iterator[Callable[[dict[str, bytes]], str]]:
    """Return a server of one rig that keeps what the dictionary holds; it gives the port."""
    stop, threads = Event(), list[Thread]()
    rig = VirtualRig(default_rig(), trainee("E01"))

    def start(store: dict[str, bytes]) -> str:
        address, known = list[str](), Event()

        def tell(url: str) -> None:
            address.append(url)
            known.set()

        def work() -> None:
            serve_tcp(
                lambda: RigDevice(rig, store=store),
                clock=SystemClock(), stop=stop, on_address=tell, speed=float("inf"),
            )  # fmt: skip

        threads.append(Thread(target=work))
        threads[-1].start()
        assert known.wait(WAIT_S)
        return address[0]

    yield start
    stop.set()
    for thread in threads:
        thread.join(WAIT_S)
        assert not thread.is_alive()


def test_it_tells_who_the_rig_is_and_how_it_is_set(perpend: Perpend) -> None:
    said = perpend("rig", "--port", "virtual:")

    assert said.code == DONE
    assert "rig R01, firmware virtual 1, protocol 1.0" in said.out
    assert "1000 Hz, 10 samples in a block" in said.out
    assert "self-test    passed" in said.out


def test_rate_block_and_notes_are_set(perpend: Perpend) -> None:
    said = perpend(
        "rig", "--port", "virtual:", "--configure", "force=500:5", "--set", "place=left bench",
        "--restart-counters", "--json",
    )  # fmt: skip

    told = json.loads(said.out)
    assert told["streams"][0] == {"name": "force", "rate_hz": 500.0, "block_samples": 5}
    assert told["kept"] == {"place": "left bench"}
    assert told["self_test"] == {"passed": True, "detail": ""}


def test_the_description_travels_with_the_rig(
    perpend: Perpend, serve: Callable[[dict[str, bytes]], str], tmp_path: Path
) -> None:
    port, file = serve({}), RIG_FILES["right", 3]
    refused = perpend("record", "--port", port, "--seconds", 1, "--out", tmp_path / "no.h5")

    saved = perpend("rig", "--port", port, "--save-description", file)
    fetched = perpend("rig", "--port", port, "--fetch-description", tmp_path / "rig.toml")
    recorded = perpend("record", "--port", port, "--seconds", 1, "--out", tmp_path / "a.h5")

    assert refused.code == FAILED
    assert "the rig keeps no description: give --rig RIG.toml, or put it" in refused.err
    assert (saved.code, fetched.code, recorded.code) == (DONE, DONE, DONE)
    assert "description  right side, 3 axes, calibrated on" in saved.out
    assert (tmp_path / "rig.toml").read_text() == file.read_text()
    assert load_rig(tmp_path / "rig.toml") == load_rig(file)


def test_a_file_is_not_overwritten_by_what_is_fetched(
    perpend: Perpend, serve: Callable[[dict[str, bytes]], str], tmp_path: Path
) -> None:
    (tmp_path / "rig.toml").write_text("mine")

    said = perpend(
        "rig", "--port", serve(store_with(default_rig())),
        "--fetch-description", tmp_path / "rig.toml",
    )  # fmt: skip

    assert said.code == FAILED
    assert "or --force to replace it" in said.err
    assert (tmp_path / "rig.toml").read_text() == "mine"


def test_a_file_is_replaced_by_what_is_fetched_if_asked_to(
    perpend: Perpend, serve: Callable[[dict[str, bytes]], str], tmp_path: Path
) -> None:
    (tmp_path / "rig.toml").write_text("old")

    said = perpend(
        "rig", "--port", serve(store_with(default_rig())),
        "--fetch-description", tmp_path / "rig.toml", "--force",
    )  # fmt: skip

    assert said.code == DONE
    assert load_rig(tmp_path / "rig.toml") == default_rig()


def test_what_the_rig_makes_of_a_wish_is_told_where_it_differs(perpend: Perpend) -> None:
    nearest = perpend("rig", "--port", "virtual:", "--configure", "force=50000:200")
    exact = perpend("rig", "--port", "virtual:", "--configure", "force=333.3:8")

    assert (nearest.code, exact.code, exact.err) == (DONE, DONE, "")
    assert nearest.err == (
        "force: asked for 50000 Hz in blocks of 200, the rig took 2000 Hz in blocks of 83\n"
    )


def test_a_value_is_printed_alone(
    perpend: Perpend, serve: Callable[[dict[str, bytes]], str]
) -> None:
    port = serve({"place": b"left bench"})

    assert perpend("rig", "--port", port, "--get", "place").out == "left bench\n"
    missing = perpend("rig", "--port", port, "--get", "nothing")
    assert missing.code == FAILED
    assert "keeps nothing under 'nothing'" in missing.err


def test_what_is_asked_for_with_a_value_is_done_before_it_is_printed(
    perpend: Perpend, serve: Callable[[dict[str, bytes]], str], tmp_path: Path
) -> None:
    store = dict[str, bytes]()
    port, file = serve(store), tmp_path / "rig.toml"

    said = perpend(
        "rig", "--port", port, "--set", "place=left bench", "--get", "place",
        "--save-description", RIG_FILES["right", 3], "--fetch-description", file,
    )  # fmt: skip
    refused = perpend("rig", "--port", port, "--zero", "force", "--get", "place")

    assert (said.code, said.out) == (DONE, "left bench\n")
    assert store["place"] == b"left bench"
    assert load_rig(file) == default_rig()
    assert (refused.code, refused.out) == (FAILED, "")
    assert "refuses the command to balance" in refused.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--configure", "force"), "must be STREAM=HZ or STREAM=HZ:SAMPLES"),
        (("--configure", "force=1000:300"), "a block has 1 to 255 samples; 0 leaves it to the rig"),
        (("--configure", "force=1000:-1"), "a block has 1 to 255 samples"),
        (("--configure", "force=1000:2.5"), "must be STREAM=HZ or STREAM=HZ:SAMPLES"),
        (("--configure", "force=0"), "the rate must be above 0, 100000 Hz at most"),
        (("--configure", "force=nan"), "the rate must be above 0"),
        (("--configure", "force=inf"), "the rate must be above 0"),
        (("--configure", "pad=5"), "no stream 'pad'; the rig has force, imu"),
        (("--set", "place"), "must be KEY=VALUE"),
        (("--set", "rig.toml.0=x"), "is kept with --save-description"),
        (("--set", "\udcff=1"), "--set: the key '\\udcff' is not UTF-8"),
        (("--set", "a=\udcff"), "--set: the value '\\udcff' is not UTF-8"),
        (("--set", "k" * 33 + "=1"), "has 33 bytes, a rig takes 32"),
        (("--set", "k=" + "v" * 897), "has 897 bytes, a rig takes 896; keep a longer text in"),
        (("--get", "k" * 33), "--get: the key 'k"),
        (("--get", ""), "--get: a key has 1 to 32 bytes, no control characters"),
        (("--get", "none"), "keeps nothing under 'none'; without --get all that it keeps is"),
        (("--zero", "force"), "the rig refuses the command to balance its amplifiers"),
        (("--save-description", "no.toml"), "no.toml: no such file"),
    ],
)
def test_what_makes_no_sense_is_one_line(
    perpend: Perpend, words: tuple[str, ...], said: str
) -> None:
    answer = perpend("rig", "--port", "virtual:", *words)

    assert answer.code == FAILED
    assert said in answer.err
    assert len(answer.err.strip().splitlines()) == 1
