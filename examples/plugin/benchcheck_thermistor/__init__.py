"""NTC thermistors for benchcheck."""
