"""`python -m daq.cli` is the command `boretight`."""

from daq.cli.main import main

main()
