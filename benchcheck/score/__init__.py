"""From a reading to a verdict that says how sure it is."""
