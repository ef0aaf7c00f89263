"""The doors of the house: the hooks a plugin may answer, and the manager that lets plugins in."""
