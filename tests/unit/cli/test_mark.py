"""The answer to a mark is recognised among whatever else is said on the topic of replies."""

from __future__ import annotations

import pytest

from daq.cli.mark import answer_to


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
