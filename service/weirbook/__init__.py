"""Weirbook: one husbandry record and calculation service for a room with many freshwater tanks."""

__version__ = "0.1.0"
