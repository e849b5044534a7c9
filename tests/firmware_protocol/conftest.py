"""What any message may look like: hypothesis finds it by its type, `st.from_type(Status)`."""

from __future__ import annotations

from typing import get_args

from hypothesis import strategies as st

from firmware_protocol import messages as m

u8, u32, u64 = st.integers(0, 255), st.integers(0, 2**32 - 1), st.integers(0, 2**64 - 1)
i32 = st.integers(-(2**31), 2**31 - 1)
f32 = st.floats(width=32, allow_nan=False)
values = st.binary(max_size=900)


def texts(limit: int) -> st.SearchStrategy[str]:
    return st.text(max_size=limit).filter(lambda text: len(text.encode()) <= limit)


channels = st.builds(m.ChannelSpec, texts(32), texts(8), f32, i32, i32)
streams = st.builds(
    m.StreamSpec,
    u8,
    texts(32),
    st.sampled_from(m.SampleType),
    f32,
    st.lists(channels, max_size=3).map(tuple),
)
tables = st.lists(streams, max_size=3).map(tuple)
rows = st.binary(min_size=1, max_size=50)
blocks = st.integers(1, 20).flatmap(
    lambda count: st.builds(
        m.SampleBlock, u8, u32, u64, u32, st.just(count), rows.map(lambda row: row * count)
    )
)
EACH: dict[type[m.Message], st.SearchStrategy[m.Message]] = {
    m.Identify: st.builds(m.Identify, u8),
    m.Start: st.builds(m.Start, u8),
    m.Stop: st.builds(m.Stop, u8),
    m.Configure: st.builds(m.Configure, u8, u8, f32, u8),
    m.ReadConfiguration: st.builds(m.ReadConfiguration, u8, u8),
    m.ZeroElectrical: st.builds(m.ZeroElectrical, u8, u8),
    m.Ping: st.builds(m.Ping, u8, u64),
    m.SelfTest: st.builds(m.SelfTest, u8),
    m.RestartCounters: st.builds(m.RestartCounters, u8),
    m.ReadStore: st.builds(m.ReadStore, u8, texts(32)),
    m.WriteStore: st.builds(m.WriteStore, u8, texts(32), values),
    m.Identity: st.builds(m.Identity, u8, st.just(1), u8, texts(32), texts(32), u32, tables),
    m.Reply: st.builds(m.Reply, u8, u8.map(m.Outcome)),
    m.Configuration: st.builds(m.Configuration, u8, u8, f32, u8),
    m.Pong: st.builds(m.Pong, u8, u64, u64, u64),
    m.SelfTestResult: st.builds(m.SelfTestResult, u8, st.booleans(), texts(64)),
    m.StoreValue: st.builds(m.StoreValue, u8, texts(32), values),
    m.SampleBlock: blocks,
    m.Status: st.builds(m.Status, u64, st.booleans(), u32),
    m.Fault: st.builds(m.Fault, u64, st.integers(1, 255).map(m.FaultCode), u8, texts(64)),
}
assert set(EACH) == set(get_args(m.Message)), "a message without a strategy"
for kind, strategy in EACH.items():
    st.register_type_strategy(kind, strategy)
