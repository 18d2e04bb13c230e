"""ridelog: from a log file to when, where and why the engine ran hot."""

from importlib.metadata import version

__version__ = version("ridelog")
