"""The board spec: what a board should measure, loaded with every fault of the file named at once."""
