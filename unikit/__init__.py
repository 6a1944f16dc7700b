"""Engineering kit for a geared, electrically assisted unicycle."""

__version__ = "0.1.0"
