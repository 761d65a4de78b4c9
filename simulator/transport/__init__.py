"""Offering a simulated board to a host: on a pseudo-terminal or on TCP, in real time or a multiple of it."""
