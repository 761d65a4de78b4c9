"""The daemon: one source, one driver, many sinks; and what other commands want to know of its bench."""
