from __future__ import annotations

from dataclasses import replace

import pytest

from acquisition.acceptance import check_rig_matches, reason_to_refuse
from acquisition.errors import DescriptionError
from acquisition.rig import RigDescription
from firmware_protocol.messages import Identity


def test_a_good_rig_is_accepted_at_first_and_when_it_is_back(identity: Identity) -> None:
    assert reason_to_refuse(identity, None) == ""
    assert reason_to_refuse(replace(identity, boot_count=99), identity) == ""


def test_a_rig_that_came_back_as_another_is_refused(identity: Identity) -> None:
    fewer = replace(identity, streams=identity.streams[:1])

    assert "other streams" in reason_to_refuse(fewer, identity)
    assert "another rig" in reason_to_refuse(replace(identity, rig_serial="R2"), identity)


def test_a_table_that_breaks_a_rule_and_a_rig_without_serial_are_refused(
    identity: Identity,
) -> None:
    fast = replace(identity.streams[0], rate_hz=float("inf"))
    broken = replace(identity, streams=(fast, identity.streams[1]))

    assert reason_to_refuse(broken, None) == (
        "rig 'RIG-01' has a stream table that makes no sense: stream 'force' has a rate of inf Hz"
    )
    assert "no serial" in reason_to_refuse(replace(identity, rig_serial=""), None)
    assert reason_to_refuse(replace(identity, rig_serial="Prüfstand 2"), None) == (
        "the rig calls itself 'Prüfstand 2'; a serial is 1 to 32 of the letters A to Z and a to z, "
        "digits, - and _, the first a letter or a digit: change it in its firmware"
    )


def test_a_description_must_belong_to_the_rig_that_answers(
    identity: Identity, rig: RigDescription
) -> None:
    check_rig_matches(rig, identity)

    with pytest.raises(DescriptionError, match="is for 'RIG-01', but 'RIG-77' answers"):
        check_rig_matches(rig, replace(identity, rig_serial="RIG-77"))
    force = identity.streams[0]
    six = replace(identity, streams=(replace(force, channels=force.channels * 2),))
    with pytest.raises(DescriptionError, match=r"cell\.axes = 3, .* sends 6 force channels"):
        check_rig_matches(rig, six)
