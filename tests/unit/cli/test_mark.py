"""The answer to a mark is recognised among whatever else is said on the topic of replies."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.cli.mark import Bench, answer_to, mark
from daq.errors import UsageError


def test_the_answer_is_known_by_the_id_of_the_command() -> None:
    body = b'{"id": "7f", "status": "accepted", "reason": ""}'
    assert answer_to("7f", body) == {"id": "7f", "status": "accepted", "reason": ""}
    assert answer_to("80", body) is None


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff\xfe{}",
        b"null",
        b'["7f"]',
        b'{"id": "7f"}',
        b'{"id": "7f", "status": 1}',
        b'{"id": "7f", "status": "accepted", "reason": NaN}',
        b"[" * 100_000,
    ],
)
def test_what_is_no_reply_is_passed_over(body: bytes) -> None:
    assert answer_to("7f", body) is None


def test_words_that_no_command_can_carry_are_refused_before_they_are_sent(tmp_path: Path) -> None:
    config = tmp_path / "boretight.toml"
    config.write_text(f'[storage]\nfolder = "{tmp_path}"\n')
    with pytest.raises(UsageError, match="more than one command can carry"):
        mark("note", "x" * 5000, Bench(None, "127.0.0.1", 1, config), as_json=False)
