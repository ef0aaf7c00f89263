"""Instruments: links over VISA, drivers over dialect data, and the process that keeps power safe."""
