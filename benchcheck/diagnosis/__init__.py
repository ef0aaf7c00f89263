"""What is likeliest wrong after the readings, and where the probes go next."""
