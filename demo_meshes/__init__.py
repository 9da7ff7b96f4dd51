"""Invented anatomy for the demo case, with the generator that made it."""
