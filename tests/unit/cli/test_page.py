"""`boretight page`: the link, and a QR code where a phone could use it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from daq.cli.page import page, qr_code, tell_page
from daq.errors import UnavailableError

HERE = "http://127.0.0.1:8034/open?token=abc"
THERE = "http://192.168.0.7:8034/open?token=abc"


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def told(link: str, out: io.StringIO) -> str:
    tell_page(link, out)
    return out.getvalue()


def test_a_code_is_shown_where_a_phone_could_open_it() -> None:
    assert THERE in told(THERE, Terminal()) and "▀" in told(THERE, Terminal())


def test_no_code_for_this_computer_alone_nor_for_a_pipe() -> None:
    assert told(HERE, Terminal()) == f"Page {HERE}\n"
    assert told(THERE, io.StringIO()) == f"Page {THERE}\n"


def test_the_code_is_dark_on_light_on_any_terminal() -> None:
    lines = qr_code(THERE).splitlines()
    assert len(lines) > 12 and all(line.startswith("\x1b[97;40m") and line.endswith("\x1b[0m") for line in lines)


def test_the_link_of_the_running_bench_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = tmp_path / "bench.toml"
    config.write_text(f'[storage]\nfolder = "{tmp_path}"\n')
    with pytest.raises(UnavailableError, match="No page is served"):
        page(config, as_json=False)
    (tmp_path / "page-link").write_text(f"{HERE}\n")
    page(config, as_json=True)
    assert HERE in capsys.readouterr().out
