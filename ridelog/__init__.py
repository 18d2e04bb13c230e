"""ridelog: from a log file to when, where and for how long the engine ran hot, and on which map."""

__version__ = "0.1.0"
