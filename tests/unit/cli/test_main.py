"""The exit code says what kind of error it was, whoever found it. Ref: BSD sysexits.h, EX_USAGE."""

from __future__ import annotations

import pytest

from daq.cli.main import app, main
from daq.errors import DataError


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nothing"], "No such command"),
        (["run", "--nothing"], "No such option"),
        (["run", "--speed", "fast"], "'--speed'"),
        (["board", "check"], "Missing argument"),
    ],
)
def test_wrong_words_end_with_64(
    words: list[str], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["boretight", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 64 and said in capsys.readouterr().err


def test_help_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["boretight", "run", "--help"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0


def test_other_errors_keep_their_code(monkeypatch: pytest.MonkeyPatch) -> None:
    @app.command("spoil")
    def spoil() -> None:
        raise DataError("spoilt")

    try:
        monkeypatch.setattr("sys.argv", ["boretight", "spoil"])
        with pytest.raises(SystemExit) as ended:
            main()
    finally:
        app.registered_commands.pop()
    assert ended.value.code == 65
