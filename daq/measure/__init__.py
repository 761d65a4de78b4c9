"""From counts to readings: pure numpy, arrays in and arrays out.

`board_clock` and `ticks` put samples on a time grid, `calibration` turns counts into gauge pressures, `orifice` and
`leakage` hold the physics, `supply`, `air`, `stability` and `taps` watch the stream and carry a small state each.
Every stage gives the same bits for any split of its rows over calls.
"""
