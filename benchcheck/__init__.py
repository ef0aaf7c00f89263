"""benchcheck: proof, with the meter you own, that a repaired low-voltage board is right."""

__version__ = "0.1.0"
