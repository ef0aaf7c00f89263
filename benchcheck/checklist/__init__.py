"""The checklist: which checks, in what order, and what must hold before each."""
