"""The screen and the keyboard: what a person at the bench sees and types."""
