"""Readings: typed, from a file or from a meter, each kept exactly as it was shown."""
