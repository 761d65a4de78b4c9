"""From points taken on the bench to calibrations: pure numpy, points in and records out.

`line` fits straight lines, `points` reads tables of them, `transducer`, `pairing` and `restrictor` judge the points
and make the record; `plateaus` finds the points of a pairing in the stream. Whatever cannot be right raises a
DataError that says what to do, and leaves the calibration in force as it is.
"""
