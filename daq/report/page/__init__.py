"""What the page shows of stored things: engines, tests, reports, history, the calibration and its certificate."""

from daq.report.page.shelf import books

__all__ = ["books"]
