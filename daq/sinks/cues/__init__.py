"""Cues for the ear: a tone that says how urgent it is, then words, in processes that can never hold acquisition up."""

from daq.sinks.cues.sink import CueSink
from daq.sinks.cues.sound import Sound, find_sound
from daq.sinks.cues.words import Phrases

__all__ = ["CueSink", "Phrases", "Sound", "find_sound"]
