"""What a person sees in the terminal: one live face of the bench, and a line for each thing that happened."""

from daq.sinks.terminal.face import Face, face_lines
from daq.sinks.terminal.sentences import sentence
from daq.sinks.terminal.sink import TerminalSink

__all__ = ["Face", "TerminalSink", "face_lines", "sentence"]
