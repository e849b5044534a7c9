"""A real receiver in another process gets the very values and times that were sent.

Loopback only: multicast may be shut off where tests run, so the receiver asks a known peer, and a
session name of our own keeps other streams of the network away.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from uuid import uuid4

import pytest

pytest.importorskip("pylsl", reason="the lsl extra is not installed")

CONFIGURATION = """\
[multicast]
ResolveScope = machine
[lab]
KnownPeers = {{127.0.0.1}}
SessionID = {session}
[log]
level = -3
"""
SENDER = """
import sys
import numpy as np
from acquisition.clock import SystemClock
from acquisition.virtual_rig import default_rig
from firmware_protocol.messages import Identity
from ui.live.lab_outlet import LabOutlet

identity = Identity(1, 1, 0, "fw", sys.argv[1], 0, ())
outlet = LabOutlet(identity, side="left", fs_hz=1000.0, clock=SystemClock())
print("open", flush=True)
if not outlet.wait_for_receiver(30.0):
    sys.exit("nobody came")
values = np.arange(1400.0).reshape(200, 7)
values[3, :3] = np.nan
host_ns = 5_000_000_000 + np.arange(200) * 1_000_000.0
outlet.push(values, host_ns)
print(SystemClock().now_ns(), flush=True)
sys.stdin.read()  # until the receiver has it all
"""
RECEIVER = """
import json, sys
import pylsl

(found,) = pylsl.resolve_byprop("source_id", "perpend-" + sys.argv[1], timeout=30.0)
inlet = pylsl.StreamInlet(found)
inlet.open_stream(timeout=30.0)
labels, units = [], []
channel = inlet.info(30.0).desc().child("channels").child("channel")
while not channel.empty():
    labels.append(channel.child_value("label"))
    channel = channel.next_sibling()
values, times = [], []
while len(times) < 200:
    more, stamps = inlet.pull_chunk(timeout=30.0)
    if not stamps:
        break
    values += more
    times += stamps
print(json.dumps([found.name(), found.type(), found.nominal_srate(), labels, values, times]))
"""


def test_a_receiver_in_another_process_gets_values_and_times(tmp_path: Path) -> None:
    rig = f"R-{uuid4().hex[:8]}"
    configuration = tmp_path / "lsl.cfg"
    configuration.write_text(CONFIGURATION.format(session=rig), encoding="utf-8")
    environment = {**os.environ, "LSLAPICFG": str(configuration)}
    python = [sys.executable, "-c"]
    with subprocess.Popen(  # noqa: S603, RUF100 - our own interpreter and text
        [*python, SENDER, rig], stdin=-1, stdout=-1, text=True, env=environment
    ) as sender:
        assert sender.stdout is not None
        assert sender.stdout.readline() == "open\n"
        done = subprocess.run(  # noqa: S603, RUF100 - likewise
            [*python, RECEIVER, rig],
            capture_output=True,
            text=True,
            env=environment,
            timeout=50,
            check=False,
        )
        sender.communicate(timeout=30)

    assert done.returncode == 0, done.stderr
    name, kind, rate_hz, labels, values, times = json.loads(done.stdout)
    assert (name, kind, rate_hz) == (f"perpend {rig}", "PushDirection", 1000.0)
    assert labels[:2] == ["azimuth", "superior_angle"]
    assert labels[-1] == "valid"
    assert len(times) == 200
    assert values[2] == [14.0, 15.0, 16.0, 17.0, 18.0, 19.0, 20.0]
    assert str(values[3][:4]) == "[nan, nan, nan, 24.0]"
    # Times of 5 s on our steady clock, which is the layer's as well: moments of long ago arrive
    # as such, whenever they were sent.
    assert times[0] == pytest.approx(5.0, abs=0.01)
    assert times[-1] - times[0] == pytest.approx(0.199, abs=1e-9)
