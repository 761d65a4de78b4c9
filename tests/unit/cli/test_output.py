"""How the commands print."""

from __future__ import annotations

import pytest

from daq.cli.output import print_table


def test_what_somebody_typed_is_printed_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """No markup of the library that draws the table, which would swallow it or break off."""
    print_table("Tests [/x]", ["test"], [["[red]spring[/red]"], ["a [/b] :smile:"]])
    out = capsys.readouterr().out
    assert "Tests [/x]" in out and "[red]spring[/red]" in out and "a [/b] :smile:" in out
