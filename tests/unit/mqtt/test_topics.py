from __future__ import annotations

import pytest

from daq.errors import ConfigError
from daq.sinks.topics import CHANNELS, Topics, channel_of, everything


def test_topics_stand_under_root_version_and_bench() -> None:
    topics = Topics("bay-2")
    assert topics["status"] == "boretight/v1/bay-2/status"
    assert topics["last/3"] == "boretight/v1/bay-2/last/3"
    assert Topics("bay-2", "shop")["command/+"] == "shop/v1/bay-2/command/+"


def test_a_topic_of_another_bench_has_no_name_here() -> None:
    topics = Topics("bay-2")
    assert topics.name_of("boretight/v1/bay-2/command/next") == "command/next"
    for other in ("boretight/v1/bay-22/live", "boretight/v2/bay-2/live", "shop/v1/bay-2/live", "boretight/v1/bay-2"):
        assert topics.name_of(other) is None


@pytest.mark.parametrize("name", ["", "a/b", "+", "#", "Bay", "bay 2", "x" * 33, "bay\n", "é"])
def test_a_name_that_would_break_the_tree_is_refused(name: str) -> None:
    with pytest.raises(ConfigError, match="a-z, 0-9"):
        Topics(name)
    with pytest.raises(ConfigError):
        Topics("bench", name)


def test_the_feed_follows_one_bench_or_all() -> None:
    assert everything("boretight", "bay-2") == "boretight/v1/bay-2/#"
    assert everything("boretight", None) == "boretight/v1/+/#"


def test_only_live_may_be_lost_and_only_state_is_retained() -> None:
    assert [name for name, channel in CHANNELS.items() if channel.qos == 0] == ["live"]
    assert {name for name, channel in CHANNELS.items() if channel.retain} == {
        "availability", "status", "describe", "session", "last", "verdict",
    }  # fmt: skip
    assert channel_of("last/12") == CHANNELS["last"]
