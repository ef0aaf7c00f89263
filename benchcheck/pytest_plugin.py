"""The pytest plugin: spec files become test files, their checks test items."""
